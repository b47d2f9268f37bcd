//! The journal: what happened, in order.

use super::columns::{instant, json, millis};
use super::error::LedgerError;
use super::open::{Ledger, Reader};
use crate::market::FeedId;
use chrono::{DateTime, Utc};
use rusqlite::{Connection, Row, params};

/// One thing that happened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JournalEntry {
    pub at: DateTime<Utc>,
    /// A stable word for what happened, such as `build_changed`.
    pub kind: String,
    pub feed: Option<FeedId>,
    pub brief: Option<String>,
    pub part: Option<String>,
    /// One sentence for a person.
    pub text: String,
    pub data: serde_json::Value,
}

/// An entry and its number, which grows with time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JournalLine {
    pub number: i64,
    pub entry: JournalEntry,
}

/// Which entries are wanted; what is left out is no condition.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct JournalWanted {
    pub brief: Option<String>,
    /// A feed, or a retailer for all of its feeds.
    pub feed: Option<String>,
    pub kind: Option<String>,
    pub since: Option<DateTime<Utc>>,
    /// Only entries that came after the one with this number.
    pub after: Option<i64>,
    /// Only entries that came before the one with this number.
    pub before: Option<i64>,
}

impl Ledger {
    /// Adds entries that belong to no poll and no decision, such as a feed given up for now.
    ///
    /// # Errors
    /// [`LedgerError`]; then none was added.
    pub fn note(&mut self, entries: &[JournalEntry]) -> Result<(), LedgerError> {
        self.write(|connection| {
            entries
                .iter()
                .try_for_each(|entry| insert(connection, entry))
        })
    }
}

impl Reader {
    /// The newest entries, newest first.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn journal(&self, limit: u32) -> Result<Vec<JournalLine>, LedgerError> {
        self.journal_of(&JournalWanted::default(), limit)
    }

    /// The newest of the entries that are wanted, newest first.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn journal_of(
        &self,
        wanted: &JournalWanted,
        limit: u32,
    ) -> Result<Vec<JournalLine>, LedgerError> {
        self.run(|connection| {
            // A retailer's name stands for all of its feeds.
            let mut statement = connection.prepare_cached(
                "SELECT id, at_ms, kind, feed, brief, part, text, data FROM journal
                 WHERE (?1 IS NULL OR brief = ?1)
                   AND (?2 IS NULL OR feed = ?2 OR substr(feed, 1, length(?2) + 1) = ?2 || '/')
                   AND (?3 IS NULL OR kind = ?3)
                   AND (?4 IS NULL OR at_ms >= ?4)
                   AND id > ?5 AND id < ?6
                 ORDER BY id DESC LIMIT ?7",
            )?;
            let since = wanted.since.map(millis);
            let lines = statement.query_map(
                params![
                    wanted.brief,
                    wanted.feed,
                    wanted.kind,
                    since,
                    wanted.after.unwrap_or(i64::MIN),
                    wanted.before.unwrap_or(i64::MAX),
                    limit
                ],
                read_line,
            )?;
            lines.collect()
        })
    }
}

fn read_line(row: &Row<'_>) -> rusqlite::Result<JournalLine> {
    let feed: Option<String> = row.get(3)?;
    Ok(JournalLine {
        number: row.get(0)?,
        entry: JournalEntry {
            at: instant(row, 1)?,
            kind: row.get(2)?,
            feed: feed.map(FeedId::new),
            brief: row.get(4)?,
            part: row.get(5)?,
            text: row.get(6)?,
            data: json(row, 7)?,
        },
    })
}

pub(super) fn insert(connection: &Connection, entry: &JournalEntry) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "INSERT INTO journal (at_ms, kind, feed, brief, part, text, data)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?;
    statement.execute(params![
        millis(entry.at),
        entry.kind,
        entry.feed.as_ref().map(FeedId::as_str),
        entry.brief,
        entry.part,
        entry.text,
        entry.data.to_string(),
    ])?;
    Ok(())
}
