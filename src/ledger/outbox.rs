//! The outbox: which bulletin each channel still has to deliver.

use super::columns::{instant, json, millis};
use super::error::LedgerError;
use super::open::{Ledger, Reader};
use crate::decide::{Bulletin, BulletinId};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension, Row, params};

/// A bulletin that a channel should deliver now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueDelivery {
    pub bulletin: Bulletin,
    pub channel: String,
    /// Attempts that failed so far.
    pub attempts: u32,
}

pub(super) const BULLETIN: &str = "b.id, b.brief, b.at_ms, b.subject, b.text, b.data";
pub(super) const BULLETIN_WIDTH: usize = 6;

impl Reader {
    /// Deliveries that are due at `now`, oldest bulletin first.
    ///
    /// What a channel is told of a brief it is told in order: behind a delivery that failed and waits
    /// for its next attempt, the later ones wait too. One that quiet hours hold back has not failed,
    /// and holds up nothing.
    ///
    /// A delivery that was last touched in the future is due as well: the clock has been set
    /// back since, and its next attempt may lie years away.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn due(&self, now: DateTime<Utc>, limit: u32) -> Result<Vec<DueDelivery>, LedgerError> {
        let select = format!(
            "SELECT {BULLETIN}, o.channel, o.attempts
             FROM outbox o JOIN bulletin b ON b.id = o.bulletin_id
             WHERE o.state = 'waiting' AND o.digest_ms IS NULL
                 AND (o.next_ms <= ?1 OR o.touched_ms > ?1)
                 AND NOT EXISTS (
                     SELECT 1 FROM outbox e JOIN bulletin eb ON eb.id = e.bulletin_id
                     WHERE e.state = 'waiting' AND e.id < o.id AND e.channel = o.channel
                         AND eb.brief = b.brief AND e.attempts > 0
                         AND e.next_ms > ?1 AND e.touched_ms <= ?1)
             ORDER BY o.id LIMIT ?2"
        );
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&select)?;
            let due = statement.query_map((millis(now), limit), |row| {
                Ok(DueDelivery {
                    bulletin: read_bulletin(row)?,
                    channel: row.get(BULLETIN_WIDTH)?,
                    attempts: row.get(BULLETIN_WIDTH + 1)?,
                })
            })?;
            due.collect()
        })
    }

    /// When the next waiting delivery is due; none when nothing waits.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn next_due(&self) -> Result<Option<DateTime<Utc>>, LedgerError> {
        self.run(|connection| {
            let select = "SELECT next_ms FROM outbox WHERE state = 'waiting'
                          ORDER BY next_ms LIMIT 1";
            let mut statement = connection.prepare_cached(select)?;
            statement.query_row([], |row| instant(row, 0)).optional()
        })
    }

    /// Why a channel with this address is not to be used, if its receiver said so.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn disabled(&self, channel: &str, address: &str) -> Result<Option<String>, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(
                "SELECT reason FROM disabled_channel WHERE channel = ?1 AND address = ?2",
            )?;
            let found = statement.query_row((channel, address), |row| row.get(0));
            found.optional()
        })
    }
}

impl Ledger {
    /// The channel has delivered the bulletin; it is not due again.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn mark_sent(
        &mut self,
        bulletin: &BulletinId,
        channel: &str,
        at: DateTime<Utc>,
    ) -> Result<(), LedgerError> {
        // What was once settled stays so: a late report cannot change it.
        self.write(|connection| {
            connection.execute(
                "UPDATE outbox SET state = 'sent', touched_ms = ?3, fault = NULL
                 WHERE bulletin_id = ?1 AND channel = ?2 AND state = 'waiting'",
                params![bulletin.as_str(), channel, millis(at)],
            )?;
            Ok(())
        })
    }

    /// An attempt failed; the next is at `next`.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn mark_failed(
        &mut self,
        bulletin: &BulletinId,
        channel: &str,
        at: DateTime<Utc>,
        fault: &str,
        next: DateTime<Utc>,
    ) -> Result<(), LedgerError> {
        self.write(|connection| {
            connection.execute(
                "UPDATE outbox SET attempts = attempts + 1, touched_ms = ?3, fault = ?4,
                     next_ms = ?5
                 WHERE bulletin_id = ?1 AND channel = ?2 AND state = 'waiting'",
                params![bulletin.as_str(), channel, millis(at), fault, millis(next)],
            )?;
            Ok(())
        })
    }

    /// Puts a delivery off to `next` without an attempt.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn postpone(
        &mut self,
        bulletin: &BulletinId,
        channel: &str,
        at: DateTime<Utc>,
        next: DateTime<Utc>,
    ) -> Result<(), LedgerError> {
        self.write(|connection| {
            connection.execute(
                "UPDATE outbox SET touched_ms = ?3, next_ms = ?4
                 WHERE bulletin_id = ?1 AND channel = ?2 AND state = 'waiting'",
                params![bulletin.as_str(), channel, millis(at), millis(next)],
            )?;
            Ok(())
        })
    }

    /// Gives a delivery up; it is kept as a dead letter.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn mark_dead(
        &mut self,
        bulletin: &BulletinId,
        channel: &str,
        at: DateTime<Utc>,
        fault: &str,
    ) -> Result<(), LedgerError> {
        self.write(|connection| {
            connection.execute(
                "UPDATE outbox SET state = 'dead', attempts = attempts + 1, touched_ms = ?3,
                     fault = ?4
                 WHERE bulletin_id = ?1 AND channel = ?2 AND state = 'waiting'",
                params![bulletin.as_str(), channel, millis(at), fault],
            )?;
            Ok(())
        })
    }

    /// Remembers that the receiver at this address (a hash of the channel's settings) wants no
    /// more.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn disable_channel(
        &mut self,
        channel: &str,
        address: &str,
        at: DateTime<Utc>,
        reason: &str,
    ) -> Result<(), LedgerError> {
        self.write(|connection| {
            connection.execute(
                "INSERT OR REPLACE INTO disabled_channel (channel, address, at_ms, reason)
                 VALUES (?1, ?2, ?3, ?4)",
                params![channel, address, millis(at), reason],
            )?;
            Ok(())
        })
    }
}

/// Adds a bulletin to a channel's deliveries, unless it is there.
pub(super) fn insert(
    connection: &Connection,
    channel: &str,
    bulletin: &Bulletin,
    at: DateTime<Utc>,
) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "INSERT INTO bulletin (id, brief, at_ms, subject, text, data)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT (id) DO NOTHING",
    )?;
    statement.execute(params![
        bulletin.id.as_str(),
        bulletin.brief,
        millis(bulletin.at),
        bulletin.subject,
        bulletin.text,
        bulletin.data.to_string(),
    ])?;
    let mut statement = connection.prepare_cached(
        "INSERT INTO outbox (bulletin_id, channel, state, touched_ms, next_ms)
         VALUES (?1, ?2, 'waiting', ?3, ?3) ON CONFLICT (bulletin_id, channel) DO NOTHING",
    )?;
    statement.execute(params![bulletin.id.as_str(), channel, millis(at)])?;
    Ok(())
}

pub(super) fn read_bulletin(row: &Row<'_>) -> rusqlite::Result<Bulletin> {
    Ok(Bulletin {
        id: BulletinId::from_stored(row.get::<_, String>(0)?),
        brief: row.get(1)?,
        at: instant(row, 2)?,
        subject: row.get(3)?,
        text: row.get(4)?,
        data: json(row, 5)?,
    })
}
