//! Polls: every attempt leaves a record, and each feed has a state.

use super::columns::{instant, millis, optional_instant, texts, texts_json};
use super::error::LedgerError;
use super::gaps;
use super::journal::{self, JournalEntry};
use super::matching::OfferRow;
use super::observations::SnapshotIs;
use super::open::{Ledger, Reader};
use super::rows;
use crate::market::{FeedId, RetailerId};
use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::{Connection, OptionalExtension, params};

/// What was asked to be remembered of a feed, in the form of whoever asked.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Remembered {
    /// For asking the retailer for news only.
    pub memory: Option<String>,
    /// How the feed has fared.
    pub health: Option<String>,
    /// Why the newest poll that could be read refused records.
    pub refusals: Option<String>,
}

/// The counts and words of one poll.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PollRecord {
    pub records: u64,
    pub offers: u64,
    pub matched: u64,
    pub refused: u64,
    pub held: u64,
    pub changed: u64,
    pub duration_ms: u64,
    /// What to remember; an unchanged poll that says nothing keeps what is there.
    pub remembered: Remembered,
    pub error: Option<String>,
    pub notes: Vec<String>,
}

/// A poll that brought no snapshot to store.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoSnapshot {
    /// The retailer says, or the bytes show, that nothing changed: present offers are seen again.
    Unchanged,
    /// What came is older than what is known: recorded as unchanged, and it confirms no offer.
    OlderCopy,
    Failed,
    /// It looked like success and was not believed.
    Suspicious,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PollStatus {
    Fresh(SnapshotIs),
    Unchanged,
    Failed,
    Suspicious,
}

/// A stored poll.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PollLine {
    pub at: DateTime<Utc>,
    pub status: PollStatus,
    /// What is remembered is kept for the newest poll alone, so it is empty here.
    pub record: PollRecord,
}

/// Where a feed stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FeedState {
    pub feed: FeedId,
    pub retailer: RetailerId,
    pub last_poll: Option<DateTime<Utc>>,
    /// The newest poll that brought a snapshot.
    pub last_fresh: Option<DateTime<Utc>>,
    /// The newest poll that confirmed the offers, with a snapshot or without.
    pub seen_until: Option<DateTime<Utc>>,
    /// Failed and suspicious polls since the last good one.
    pub failures: u32,
    pub remembered: Remembered,
    /// Offers listed, believed and not given up.
    pub offers: u64,
    /// Of those, offers taken for a part.
    pub matched: u64,
}

impl PollStatus {
    pub fn name(self) -> &'static str {
        match self {
            PollStatus::Fresh(_) => "fresh",
            PollStatus::Unchanged => "unchanged",
            PollStatus::Failed => "failed",
            PollStatus::Suspicious => "suspicious",
        }
    }
}

impl Ledger {
    /// Records a poll without a snapshot and returns the instant under which it is stored (see
    /// [`Ledger::begin_poll`]). An unchanged one says that every present offer was seen again and
    /// that the missing ones are missing still; the others touch no offer.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn record_poll(
        &mut self,
        feed: &FeedId,
        retailer: &RetailerId,
        at: DateTime<Utc>,
        outcome: NoSnapshot,
        poll: &PollRecord,
    ) -> Result<DateTime<Utc>, LedgerError> {
        self.record_poll_with(feed, retailer, at, (outcome, poll), None)
    }

    /// The same with a journal entry that stands or falls with it.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn record_poll_with(
        &mut self,
        feed: &FeedId,
        retailer: &RetailerId,
        at: DateTime<Utc>,
        (outcome, poll): (NoSnapshot, &PollRecord),
        entry: Option<&JournalEntry>,
    ) -> Result<DateTime<Utc>, LedgerError> {
        let gone_after_polls = self.patience.gone_after_polls.get();
        self.write(|connection| {
            let feed = feed_row(connection, feed, retailer)?;
            let at = next_instant(connection, feed, at)?;
            let status = match outcome {
                NoSnapshot::Unchanged | NoSnapshot::OlderCopy => PollStatus::Unchanged,
                NoSnapshot::Failed => PollStatus::Failed,
                NoSnapshot::Suspicious => PollStatus::Suspicious,
            };
            record(connection, feed, at, status, poll)?;
            match outcome {
                NoSnapshot::Unchanged => {
                    confirm_offers(connection, feed, at)?;
                    count_missing_again(connection, feed, at, gone_after_polls)?;
                    gaps::extend_absent(connection, feed, at)?;
                }
                NoSnapshot::OlderCopy => mark_older_copy(connection, feed, at)?,
                NoSnapshot::Failed | NoSnapshot::Suspicious => {}
            }
            if let Some(entry) = entry {
                journal::insert(connection, entry)?;
            }
            Ok(at)
        })
    }
}

impl Reader {
    /// Every feed that was ever polled, by name.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn feed_states(&self) -> Result<Vec<FeedState>, LedgerError> {
        self.run(|connection| read_states(connection, None))
    }

    /// One feed, if it was ever polled; the offers of the others are not counted for it.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn feed_state(&self, feed: &FeedId) -> Result<Option<FeedState>, LedgerError> {
        let states = self.run(|connection| read_states(connection, Some(feed)))?;
        Ok(states.into_iter().next())
    }

    /// The newest polls of a feed, newest first.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn last_polls(&self, feed: &FeedId, limit: u32) -> Result<Vec<PollLine>, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(
                "SELECT p.at_ms, p.status, p.is_complete, p.records, p.offers, p.matched,
                        p.refused, p.held, p.changed, p.duration_ms, p.error, p.notes
                 FROM poll p JOIN feed f ON f.id = p.feed_id
                 WHERE f.name = ?1 ORDER BY p.at_ms DESC LIMIT ?2",
            )?;
            let lines = statement.query_map((feed.as_str(), limit), |row| {
                let status = row.get_ref(1)?.as_str()?;
                let is_complete: Option<bool> = row.get(2)?;
                Ok(PollLine {
                    at: instant(row, 0)?,
                    // The table's checks admit these alone.
                    status: match (status, is_complete) {
                        (_, Some(true)) => PollStatus::Fresh(SnapshotIs::Complete),
                        (_, Some(false)) => PollStatus::Fresh(SnapshotIs::Partial),
                        ("unchanged", None) => PollStatus::Unchanged,
                        ("suspicious", None) => PollStatus::Suspicious,
                        (_, None) => PollStatus::Failed,
                    },
                    record: PollRecord {
                        records: row.get(3)?,
                        offers: row.get(4)?,
                        matched: row.get(5)?,
                        refused: row.get(6)?,
                        held: row.get(7)?,
                        changed: row.get(8)?,
                        duration_ms: row.get(9)?,
                        error: row.get(10)?,
                        notes: texts(row, 11)?,
                        ..PollRecord::default()
                    },
                })
            })?;
            lines.collect()
        })
    }

    /// What is remembered of a feed; nothing of one that was never polled.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn remembered(&self, feed: &FeedId) -> Result<Remembered, LedgerError> {
        self.run(|connection| {
            let mut statement = connection
                .prepare_cached("SELECT memory, health, refusals FROM feed WHERE name = ?1")?;
            let found = statement.query_row([feed.as_str()], |row| {
                Ok(Remembered {
                    memory: row.get(0)?,
                    health: row.get(1)?,
                    refusals: row.get(2)?,
                })
            });
            Ok(found.optional()?.unwrap_or_default())
        })
    }
}

/// The states of all feeds, or of one.
fn read_states(connection: &Connection, only: Option<&FeedId>) -> rusqlite::Result<Vec<FeedState>> {
    let mut statement = connection.prepare_cached(
        "SELECT f.name, f.retailer, f.last_poll_ms, f.fresh_ms, f.seen_until_ms,
                f.failures, f.memory, f.health, f.refusals,
                count(o.id), count(o.part)
         FROM feed f LEFT JOIN offer o ON o.feed_id = f.id AND o.gone_since_ms IS NULL
             AND EXISTS (SELECT 1 FROM standing b WHERE b.offer_id = o.id)
         WHERE ?1 IS NULL OR f.name = ?1
         GROUP BY f.id ORDER BY f.name",
    )?;
    let states = statement.query_map([only.map(FeedId::as_str)], |row| {
        Ok(FeedState {
            feed: FeedId::new(row.get::<_, String>(0)?),
            retailer: RetailerId::new(row.get::<_, String>(1)?),
            last_poll: optional_instant(row, 2)?,
            last_fresh: optional_instant(row, 3)?,
            seen_until: optional_instant(row, 4)?,
            failures: row.get(5)?,
            remembered: Remembered {
                memory: row.get(6)?,
                health: row.get(7)?,
                refusals: row.get(8)?,
            },
            offers: row.get(9)?,
            matched: row.get(10)?,
        })
    })?;
    states.collect()
}

/// The feed's row, made where it is new.
pub(super) fn feed_row(
    connection: &Connection,
    feed: &FeedId,
    retailer: &RetailerId,
) -> rusqlite::Result<i64> {
    let names = (feed.as_str(), retailer.as_str());
    let known = connection
        .prepare_cached("SELECT id FROM feed WHERE name = ?1 AND retailer = ?2")?
        .query_row(names, |row| row.get(0))
        .optional()?;
    if let Some(known) = known {
        return Ok(known);
    }
    let mut statement = connection.prepare_cached(
        "INSERT INTO feed (name, retailer) VALUES (?1, ?2)
         ON CONFLICT (name) DO UPDATE SET retailer = ?2 RETURNING id",
    )?;
    statement.query_row(names, |row| row.get(0))
}

/// `at`, or the next millisecond after the feed's newest poll where the clock was set back.
pub(super) fn next_instant(
    connection: &Connection,
    feed: i64,
    at: DateTime<Utc>,
) -> rusqlite::Result<DateTime<Utc>> {
    let mut statement = connection.prepare_cached("SELECT last_poll_ms FROM feed WHERE id = ?1")?;
    let last = statement.query_row([feed], |row| optional_instant(row, 0))?;
    let earliest = last.and_then(|last| last.checked_add_signed(TimeDelta::milliseconds(1)));
    Ok(earliest.map_or(at, |earliest| earliest.max(at)))
}

/// When the feed's present offers were last seen; 0 before its first good poll.
pub(super) fn seen_until_ms(connection: &Connection, feed: i64) -> rusqlite::Result<i64> {
    let mut statement =
        connection.prepare_cached("SELECT coalesce(seen_until_ms, 0) FROM feed WHERE id = ?1")?;
    statement.query_row([feed], |row| row.get(0))
}

/// How many offers of the feed are not given up. Counting them takes a tenth of a large poll, so the last poll
/// left the number, if nothing has changed it since.
pub(super) fn n_standing(connection: &Connection, feed: i64) -> rusqlite::Result<u64> {
    let known: Option<u64> = connection
        .prepare_cached("SELECT offers_standing FROM feed WHERE id = ?1")?
        .query_row([feed], |row| row.get(0))?;
    if let Some(known) = known {
        return Ok(known);
    }
    connection
        .prepare_cached("SELECT count(*) FROM offer WHERE feed_id = ?1 AND gone_since_ms IS NULL")?
        .query_row([feed], |row| row.get(0))
}

pub(super) fn set_n_standing(
    connection: &Connection,
    feed: i64,
    n_standing: u64,
) -> rusqlite::Result<()> {
    connection
        .prepare_cached("UPDATE feed SET offers_standing = ?2 WHERE id = ?1")?
        .execute((feed, n_standing))
        .map(drop)
}

/// Stores the poll's line and the feed's new state.
pub(super) fn record(
    connection: &Connection,
    feed: i64,
    at: DateTime<Utc>,
    status: PollStatus,
    poll: &PollRecord,
) -> rusqlite::Result<()> {
    let is_complete = match status {
        PollStatus::Fresh(snapshot) => Some(snapshot == SnapshotIs::Complete),
        PollStatus::Unchanged | PollStatus::Failed | PollStatus::Suspicious => None,
    };
    if status == PollStatus::Failed && failed_again(connection, feed, at, poll)? {
        return advance_feed(connection, feed, at, status, poll);
    }
    let mut statement = connection.prepare_cached(
        "INSERT INTO poll (feed_id, at_ms, status, is_complete, records, offers, matched, refused,
             held, changed, duration_ms, error, notes)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
    )?;
    statement.execute(params![
        feed,
        millis(at),
        status.name(),
        is_complete,
        poll.records,
        poll.offers,
        poll.matched,
        poll.refused,
        poll.held,
        poll.changed,
        poll.duration_ms,
        poll.error,
        texts_json(&poll.notes),
    ])?;
    advance_feed(connection, feed, at, status, poll)
}

/// Where the two newest polls failed in the same way as this one, the newer is moved up to it: of polls
/// that fail alike in a row the first and the last are kept. A network that is gone for a week is tried
/// every minute.
fn failed_again(
    connection: &Connection,
    feed: i64,
    at: DateTime<Utc>,
    poll: &PollRecord,
) -> rusqlite::Result<bool> {
    let mut statement = connection.prepare_cached(
        "WITH newest AS (SELECT id, at_ms, status, error FROM poll WHERE feed_id = ?1
                         ORDER BY at_ms DESC LIMIT 2)
         UPDATE poll SET at_ms = ?2, duration_ms = ?3
         WHERE id = (SELECT id FROM newest ORDER BY at_ms DESC LIMIT 1)
           AND (SELECT count(*) FROM newest WHERE status = 'failed' AND error IS ?4) = 2",
    )?;
    let moved = statement.execute(params![feed, millis(at), poll.duration_ms, poll.error])?;
    Ok(moved > 0)
}

fn advance_feed(
    connection: &Connection,
    feed: i64,
    at: DateTime<Utc>,
    status: PollStatus,
    poll: &PollRecord,
) -> rusqlite::Result<()> {
    let at_ms = millis(at);
    let Remembered {
        memory,
        health,
        refusals,
    } = &poll.remembered;
    let advance = match status {
        PollStatus::Fresh(SnapshotIs::Complete) => {
            "UPDATE feed SET last_poll_ms = ?2, fresh_ms = ?2, seen_until_ms = ?2,
                 failures = 0, memory = ?3, health = coalesce(?4, health), refusals = ?5 WHERE id = ?1"
        }
        // "Not modified" must never be said of a snapshot that was only part of the whole.
        PollStatus::Fresh(SnapshotIs::Partial) => {
            "UPDATE feed SET last_poll_ms = ?2, fresh_ms = ?2, failures = 0,
                 memory = ?3, health = coalesce(?4, health), refusals = ?5
             WHERE id = ?1"
        }
        PollStatus::Unchanged => {
            "UPDATE feed SET last_poll_ms = ?2, failures = 0,
                 memory = coalesce(?3, memory), health = coalesce(?4, health),
                 refusals = coalesce(?5, refusals) WHERE id = ?1"
        }
        PollStatus::Failed | PollStatus::Suspicious => {
            "UPDATE feed SET last_poll_ms = ?2, failures = failures + 1,
                 memory = coalesce(?3, memory), health = coalesce(?4, health),
                 refusals = coalesce(?5, refusals) WHERE id = ?1"
        }
    };
    let memory = memory
        .as_ref()
        .filter(|_| status != PollStatus::Fresh(SnapshotIs::Partial));
    connection
        .prepare_cached(advance)?
        .execute(params![feed, at_ms, memory, health, refusals])?;
    Ok(())
}

/// Every offer of the last snapshot was seen again.
fn confirm_offers(connection: &Connection, feed: i64, at: DateTime<Utc>) -> rusqlite::Result<()> {
    let mut statement =
        connection.prepare_cached("UPDATE feed SET seen_until_ms = ?2 WHERE id = ?1")?;
    statement.execute((feed, millis(at))).map(drop)
}

/// The poll confirmed no offer, which its status does not tell.
fn mark_older_copy(connection: &Connection, feed: i64, at: DateTime<Utc>) -> rusqlite::Result<()> {
    let mut statement = connection
        .prepare_cached("UPDATE poll SET is_older_copy = 1 WHERE feed_id = ?1 AND at_ms = ?2")?;
    statement.execute((feed, millis(at))).map(drop)
}

/// An unchanged snapshot lacks what the last one lacked.
fn count_missing_again(
    connection: &Connection,
    feed: i64,
    at: DateTime<Utc>,
    gone_after_polls: u32,
) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "SELECT id, missing_polls, last_seen_ms FROM offer
         WHERE feed_id = ?1 AND missing_polls > 0 AND gone_since_ms IS NULL",
    )?;
    let missing = statement.query_map([feed], |row| {
        Ok((OfferRow(row.get(0)?), row.get(1)?, row.get(2)?))
    })?;
    let missing: Vec<(OfferRow, u32, i64)> = missing.collect::<rusqlite::Result<_>>()?;
    for (row, missed, seen_until_ms) in missing {
        let missed = missed.saturating_add(1);
        rows::mark_absent(connection, row, seen_until_ms, missed)?;
        if missed >= gone_after_polls {
            rows::mark_gone(connection, row, millis(at))?;
        }
    }
    Ok(())
}
