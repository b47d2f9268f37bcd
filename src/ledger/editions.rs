//! Editions: what was published, frozen.
//!
//! A hash is SHA-256 (FIPS 180-4) over the bytes that are kept, in lower-case hexadecimal.

use super::columns::{instant, millis};
use super::error::LedgerError;
use super::journal::{self, JournalEntry};
use super::market::ObservationId;
use super::open::{Ledger, Reader};
use crate::money::Money;
use chrono::{DateTime, Utc};
use ring::digest::{SHA256, digest};
use rusqlite::{Connection, OptionalExtension, Row, params};

/// An edition to be frozen.
#[derive(Debug, Clone, Copy)]
pub struct NewEdition<'e> {
    pub brief: &'e str,
    pub number: u32,
    pub at: DateTime<Utc>,
    pub document: &'e str,
    /// The name of each form and its text.
    pub forms: &'e [(String, String)],
    /// The prices that it rests on.
    pub seen: &'e [(ObservationId, Money)],
    pub entry: &'e JournalEntry,
}

/// What came of freezing an edition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Freezing {
    /// It is kept, under this hash.
    Done(String),
    /// Another edition has been published meanwhile; nothing was kept.
    NumberTaken,
    /// A price that it rests on has moved meanwhile; nothing was kept.
    PriceMoved,
}

/// An edition as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredEdition {
    pub brief: String,
    pub number: u32,
    pub at: DateTime<Utc>,
    pub sha256: String,
    pub document: String,
}

const COLUMNS: &str = "brief, number, at_ms, sha256, document";

/// The hash of a text's bytes.
pub fn sha256(text: &str) -> String {
    let digest = digest(&SHA256, text.as_bytes());
    digest
        .as_ref()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

impl Ledger {
    /// Freezes an edition with its forms and its journal entry, all or none. The prices that it rests
    /// on are looked at in the same transaction.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn freeze(&mut self, edition: &NewEdition<'_>) -> Result<Freezing, LedgerError> {
        self.write(|connection| {
            if last_number(connection, edition.brief)? + 1 != edition.number {
                return Ok(Freezing::NumberTaken);
            }
            for (observation, price) in edition.seen {
                if !stands(connection, observation, *price)? {
                    return Ok(Freezing::PriceMoved);
                }
            }
            let hash = sha256(edition.document);
            connection.execute(
                "INSERT INTO edition (brief, number, at_ms, sha256, document)
                 VALUES (?1, ?2, ?3, ?4, ?5)",
                params![
                    edition.brief,
                    edition.number,
                    millis(edition.at),
                    hash,
                    edition.document
                ],
            )?;
            let id = connection.last_insert_rowid();
            for (form, text) in edition.forms {
                connection.execute(
                    "INSERT INTO edition_form (edition_id, form, sha256, content)
                     VALUES (?1, ?2, ?3, ?4)",
                    params![id, form, sha256(text), text],
                )?;
            }
            journal::insert(connection, edition.entry)?;
            Ok(Freezing::Done(hash))
        })
    }
}

impl Reader {
    /// Every edition of a brief, or of all, by brief and number.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn editions(&self, brief: Option<&str>) -> Result<Vec<StoredEdition>, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM edition WHERE ?1 IS NULL OR brief = ?1
                 ORDER BY brief, number"
            ))?;
            let found = statement.query_map([brief], read)?;
            found.collect()
        })
    }

    /// One edition of a brief; the newest where no number is given.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn edition(
        &self,
        brief: &str,
        number: Option<u32>,
    ) -> Result<Option<StoredEdition>, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM edition
                 WHERE brief = ?1 AND (?2 IS NULL OR number = ?2)
                 ORDER BY number DESC LIMIT 1"
            ))?;
            statement.query_row(params![brief, number], read).optional()
        })
    }

    /// The number of a brief's newest edition; 0 where none is published.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn last_edition(&self, brief: &str) -> Result<u32, LedgerError> {
        self.run(|connection| last_number(connection, brief))
    }

    /// An edition in a form, byte for byte as it was published.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn edition_form(
        &self,
        brief: &str,
        number: u32,
        form: &str,
    ) -> Result<Option<String>, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(
                "SELECT f.content FROM edition_form f JOIN edition e ON e.id = f.edition_id
                 WHERE e.brief = ?1 AND e.number = ?2 AND f.form = ?3",
            )?;
            let key = params![brief, number, form];
            statement.query_row(key, |row| row.get(0)).optional()
        })
    }
}

/// Editions and forms whose bytes are not those that they were frozen with.
pub(super) fn altered(connection: &Connection) -> rusqlite::Result<Vec<String>> {
    let select = "SELECT 'edition ' || number || ' of ' || brief, sha256, document FROM edition
         UNION ALL SELECT f.form || ' of edition ' || e.number || ' of ' || e.brief, f.sha256,
             f.content FROM edition_form f JOIN edition e ON e.id = f.edition_id";
    let mut statement = connection.prepare(select)?;
    let mut rows = statement.query([])?;
    let mut altered = Vec::new();
    while let Some(row) = rows.next()? {
        if row.get_ref(1)?.as_str()? != sha256(row.get_ref(2)?.as_str()?) {
            altered.push(row.get(0)?);
        }
    }
    Ok(altered)
}

fn last_number(connection: &Connection, brief: &str) -> rusqlite::Result<u32> {
    let select = "SELECT coalesce(max(number), 0) FROM edition WHERE brief = ?1";
    connection
        .prepare_cached(select)?
        .query_row([brief], |row| row.get(0))
}

/// True while an offer still has these terms.
fn stands(
    connection: &Connection,
    observation: &ObservationId,
    price: Money,
) -> rusqlite::Result<bool> {
    let mut statement = connection.prepare_cached(
        "SELECT EXISTS (SELECT 1 FROM standing WHERE offer_id = ?1 AND from_ms = ?2
             AND price_minor = ?3 AND currency = ?4)",
    )?;
    let (offer, from) = (observation.offer.0, millis(observation.from));
    let currency = price.currency();
    let key = params![offer, from, price.minor(), currency.code()];
    statement.query_row(key, |row| row.get(0))
}

fn read(row: &Row<'_>) -> rusqlite::Result<StoredEdition> {
    Ok(StoredEdition {
        brief: row.get(0)?,
        number: row.get(1)?,
        at: instant(row, 2)?,
        sha256: row.get(3)?,
        document: row.get(4)?,
    })
}
