//! The schema's versions. Append only: a migration that has shipped is never edited.

use super::error::LedgerError;
use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior};
use std::path::Path;

/// Marks a file as a ledger: "RGTD" in ASCII.
pub(super) const APPLICATION_ID: i32 = i32::from_be_bytes(*b"RGTD");

/// The name and the statements of version 1, 2, ...
pub(super) const MIGRATIONS: &[(&str, &str)] = &[
    ("first", include_str!("migrations/0001_first.sql")),
    ("decisions", include_str!("migrations/0002_decisions.sql")),
    ("properties", include_str!("migrations/0003_properties.sql")),
    (
        "marks and older copies",
        include_str!("migrations/0004_marks_and_copies.sql"),
    ),
    (
        "matched with",
        include_str!("migrations/0005_matched_with.sql"),
    ),
    ("past", include_str!("migrations/0006_past.sql")),
    ("lead time", include_str!("migrations/0007_lead_time.sql")),
    ("reading", include_str!("migrations/0008_reading.sql")),
    ("deciding", include_str!("migrations/0009_deciding.sql")),
    ("dropped", include_str!("migrations/0010_dropped.sql")),
    ("editions", include_str!("migrations/0011_editions.sql")),
    (
        "marks apart",
        include_str!("migrations/0012_marks_apart.sql"),
    ),
    ("refusals", include_str!("migrations/0013_refusals.sql")),
    ("ended", include_str!("migrations/0014_ended.sql")),
    ("standing", include_str!("migrations/0015_standing.sql")),
];

/// The version that this program writes.
pub(super) const KNOWN: i64 = MIGRATIONS.len() as i64;

/// Brings the file to [`KNOWN`], in one transaction.
pub(super) fn migrate(connection: &mut Connection, path: &Path) -> Result<(), LedgerError> {
    let fault = |source| LedgerError::of(path, source);
    if version(connection, path)? == KNOWN {
        return Ok(());
    }
    let transaction =
        Transaction::new(connection, TransactionBehavior::Immediate).map_err(fault)?;
    // Read again: another process may have migrated while this one waited for the lock.
    let found = version(&transaction, path)?;
    apply(&transaction, found).map_err(fault)?;
    transaction.commit().map_err(fault)
}

/// The version of the file; 0 when it is empty.
///
/// # Errors
/// [`LedgerError::NotALedger`] and [`LedgerError::Newer`], before anything was written.
pub(super) fn version(connection: &Connection, path: &Path) -> Result<i64, LedgerError> {
    let fault = |source| LedgerError::of(path, source);
    let path = path.to_owned();
    let application: i32 = connection
        .pragma_query_value(None, "application_id", |row| row.get(0))
        .map_err(fault)?;
    let first_table: Option<String> = connection
        .query_row("SELECT name FROM sqlite_schema LIMIT 1", [], |row| {
            row.get(0)
        })
        .optional()
        .map_err(fault)?;
    match (application, first_table) {
        (0, None) => return Ok(0),
        (APPLICATION_ID, Some(_)) => {}
        _ => return Err(LedgerError::NotALedger { path }),
    }
    let found: i64 = connection
        .query_row("SELECT max(version) FROM schema_version", [], |row| {
            row.get(0)
        })
        .map_err(fault)?;
    if found > KNOWN {
        let known = KNOWN;
        return Err(LedgerError::Newer { path, found, known });
    }
    Ok(found)
}

fn apply(transaction: &Transaction<'_>, found: i64) -> rusqlite::Result<()> {
    apply_between(transaction, found, KNOWN)
}

/// Makes an empty file a ledger of an earlier version, for records of that time.
pub(super) fn apply_up_to(transaction: &Transaction<'_>, version: i64) -> rusqlite::Result<()> {
    apply_between(transaction, 0, version)
}

fn apply_between(transaction: &Transaction<'_>, found: i64, last: i64) -> rusqlite::Result<()> {
    if found == 0 {
        transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
        transaction.execute_batch(
            "CREATE TABLE schema_version (version INTEGER PRIMARY KEY, name TEXT NOT NULL) STRICT",
        )?;
    }
    for (version, (name, statements)) in (1_i64..=last).zip(MIGRATIONS) {
        if version > found {
            transaction.execute_batch(statements)?;
            transaction.execute(
                "INSERT INTO schema_version (version, name) VALUES (?1, ?2)",
                (version, name),
            )?;
        }
    }
    Ok(())
}
