//! Answers: the build that each brief was given, with what was said about it.

use super::columns::{instant, millis};
use super::digests;
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

/// What a look at the market led to for one brief, to be stored as one.
#[derive(Debug, Clone, PartialEq)]
pub struct Settled {
    pub brief: String,
    pub at: DateTime<Utc>,
    /// What deciding remembers, as JSON.
    pub memory: String,
    /// The fingerprint and the JSON of an answer that stands from now on.
    pub answer: Option<(String, String)>,
    pub journal: Vec<JournalEntry>,
    pub posts: Vec<Post>,
}

/// A bulletin for one channel.
#[derive(Debug, Clone, PartialEq)]
pub struct Post {
    pub channel: String,
    pub bulletin: Bulletin,
    /// It does not go out before.
    pub goes_out: DateTime<Utc>,
    /// It goes out with others of its channel as the digest of `goes_out`.
    pub is_for_digest: bool,
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
            let answer = (&decision.fingerprint, &decision.answer_json);
            write_answer(connection, &decision.brief, decision.at, answer)?;
            for entry in &decision.journal {
                journal::insert(connection, entry)?;
            }
            for (channel, bulletin) in &decision.bulletins {
                outbox::insert(connection, channel, bulletin, decision.at)?;
            }
            Ok(())
        })
    }

    /// Stores what was remembered, and the answer, the journal entries and the bulletins that go with
    /// it, all or none.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn settle(&mut self, settled: &Settled) -> Result<(), LedgerError> {
        self.write(|connection| {
            connection.execute(
                "INSERT OR REPLACE INTO deciding (brief, at_ms, memory) VALUES (?1, ?2, ?3)",
                params![settled.brief, millis(settled.at), settled.memory],
            )?;
            if let Some((fingerprint, json)) = &settled.answer {
                write_answer(connection, &settled.brief, settled.at, (fingerprint, json))?;
            }
            for entry in &settled.journal {
                journal::insert(connection, entry)?;
            }
            for post in &settled.posts {
                outbox::insert(connection, &post.channel, &post.bulletin, settled.at)?;
                digests::put_off(connection, post)?;
            }
            Ok(())
        })
    }
}

impl Reader {
    /// What deciding remembers of a brief, as JSON.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn remembered_of(&self, brief: &str) -> Result<Option<String>, LedgerError> {
        self.run(|connection| {
            let mut statement =
                connection.prepare_cached("SELECT memory FROM deciding WHERE brief = ?1")?;
            statement.query_row([brief], |row| row.get(0)).optional()
        })
    }

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

fn write_answer(
    connection: &Connection,
    brief: &str,
    at: DateTime<Utc>,
    (fingerprint, json): (&String, &String),
) -> rusqlite::Result<()> {
    let newest = newest(connection, brief, DateTime::<Utc>::MAX_UTC)?;
    // Stamps do not go backwards, whatever the clock does.
    let at = newest
        .as_ref()
        .map_or(at, |(_, stored)| stored.until.max(at));
    match newest {
        Some((id, stored)) if stored.fingerprint == *fingerprint => connection.execute(
            "UPDATE answer SET until_ms = ?2, answer_json = ?3 WHERE id = ?1",
            params![id, millis(at), json],
        )?,
        _ => connection.execute(
            "INSERT INTO answer (brief, since_ms, until_ms, fingerprint, answer_json)
             VALUES (?1, ?2, ?2, ?3, ?4)",
            params![brief, millis(at), fingerprint, json],
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
