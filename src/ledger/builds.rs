//! Answers: the build that each brief was given, with what was said about it.

use super::columns::{instant, millis};
use super::error::LedgerError;
use super::journal::{self, JournalEntry};
use super::open::{Ledger, Reader};
use super::outbox;
use crate::decide::Bulletin;
use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension, params};

/// An answer to a brief and everything that follows from it, to be stored as one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decision {
    pub brief: String,
    pub at: DateTime<Utc>,
    /// Equal for two answers that say the same, though one was seen later than the other.
    pub fingerprint: String,
    pub answer_json: String,
    pub journal: Vec<JournalEntry>,
    /// Each with the name of the channel that is to deliver it.
    pub bulletins: Vec<(String, Bulletin)>,
}

/// The answer that a brief had for a while.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredAnswer {
    pub brief: String,
    /// When it was first given, and when it was last found to hold.
    pub since: DateTime<Utc>,
    pub until: DateTime<Utc>,
    pub fingerprint: String,
    /// As it was last given.
    pub answer_json: String,
}

impl Ledger {
    /// Stores an answer, its journal entries and its bulletins, all or none. An answer with the
    /// fingerprint of the one before extends it; a bulletin that is there already stays as it is.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn record_decision(&mut self, decision: &Decision) -> Result<(), LedgerError> {
        self.write(|connection| {
            write_answer(connection, decision)?;
            for entry in &decision.journal {
                journal::insert(connection, entry)?;
            }
            for (channel, bulletin) in &decision.bulletins {
                outbox::insert(connection, channel, bulletin, decision.at)?;
            }
            Ok(())
        })
    }
}

impl Reader {
    /// The newest answer to a brief.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn last_answer(&self, brief: &str) -> Result<Option<StoredAnswer>, LedgerError> {
        self.answer_at(brief, DateTime::<Utc>::MAX_UTC)
    }

    /// The newest answer to a brief that had been given by an instant. Its parts are those of
    /// then; the rest of it is as it was last given with these parts.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn answer_at(
        &self,
        brief: &str,
        at: DateTime<Utc>,
    ) -> Result<Option<StoredAnswer>, LedgerError> {
        self.run(|connection| {
            newest(connection, brief, at).map(|found| found.map(|(_, stored)| stored))
        })
    }
}

fn write_answer(connection: &Connection, decision: &Decision) -> rusqlite::Result<()> {
    let newest = newest(connection, &decision.brief, DateTime::<Utc>::MAX_UTC)?;
    let at = newest.as_ref().map_or(decision.at, |(_, stored)| {
        // Stamps do not go backwards, whatever the clock does.
        stored.until.max(decision.at)
    });
    match newest {
        Some((id, stored)) if stored.fingerprint == decision.fingerprint => connection.execute(
            "UPDATE answer SET until_ms = ?2, answer_json = ?3 WHERE id = ?1",
            params![id, millis(at), decision.answer_json],
        )?,
        _ => connection.execute(
            "INSERT INTO answer (brief, since_ms, until_ms, fingerprint, answer_json)
             VALUES (?1, ?2, ?2, ?3, ?4)",
            params![
                decision.brief,
                millis(at),
                decision.fingerprint,
                decision.answer_json
            ],
        )?,
    };
    Ok(())
}

fn newest(
    connection: &Connection,
    brief: &str,
    at: DateTime<Utc>,
) -> rusqlite::Result<Option<(i64, StoredAnswer)>> {
    let mut statement = connection.prepare_cached(
        "SELECT id, brief, since_ms, until_ms, fingerprint, answer_json FROM answer
         WHERE brief = ?1 AND since_ms <= ?2 ORDER BY id DESC LIMIT 1",
    )?;
    let found = statement.query_row((brief, millis(at)), |row| {
        let stored = StoredAnswer {
            brief: row.get(1)?,
            since: instant(row, 2)?,
            until: instant(row, 3)?,
            fingerprint: row.get(4)?,
            answer_json: row.get(5)?,
        };
        Ok((row.get(0)?, stored))
    });
    found.optional()
}
