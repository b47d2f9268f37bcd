//! Deliveries as a person sees them: listed, counted, tried again, dropped.

use super::columns::{instant, millis, optional_instant, unreadable};
use super::error::LedgerError;
use super::journal::{self, JournalEntry};
use super::open::{Ledger, Reader};
use crate::decide::BulletinId;
use chrono::{DateTime, Utc};
use rusqlite::{Connection, Row, params};

/// Where a delivery stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DeliveryState {
    /// Due now or later.
    Waiting,
    Sent,
    /// Given up by the program.
    Dead,
    /// Given up by a person.
    Dropped,
}

/// One bulletin for one channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    pub id: i64,
    pub bulletin: BulletinId,
    pub brief: String,
    pub subject: String,
    pub channel: String,
    pub state: DeliveryState,
    /// Attempts that failed.
    pub attempts: u32,
    /// When the bulletin was written.
    pub at: DateTime<Utc>,
    /// When anything last happened to the delivery.
    pub touched: DateTime<Utc>,
    /// The next attempt, while it waits.
    pub next: Option<DateTime<Utc>>,
    /// Of the last attempt that failed.
    pub fault: Option<String>,
}

/// How many deliveries stand where.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct DeliveryCounts {
    pub waiting: u64,
    pub sent: u64,
    pub dead: u64,
    pub dropped: u64,
    /// When the oldest bulletin that waits was written.
    pub oldest_waiting: Option<DateTime<Utc>>,
}

#[derive(Debug, thiserror::Error)]
#[error("\"{0}\" is no state of a delivery")]
struct UnknownState(String);

const COLUMNS: &str = "o.id, b.id, b.brief, b.subject, o.channel, o.state, o.attempts, b.at_ms, \
                       o.touched_ms, o.next_ms, o.fault";

impl DeliveryState {
    pub const ALL: [DeliveryState; 4] = [
        DeliveryState::Waiting,
        DeliveryState::Sent,
        DeliveryState::Dead,
        DeliveryState::Dropped,
    ];

    pub fn name(self) -> &'static str {
        match self {
            DeliveryState::Waiting => "waiting",
            DeliveryState::Sent => "sent",
            DeliveryState::Dead => "dead",
            DeliveryState::Dropped => "dropped",
        }
    }

    pub fn from_name(name: &str) -> Option<DeliveryState> {
        let mut all = DeliveryState::ALL.into_iter();
        all.find(|state| state.name() == name)
    }
}

impl Reader {
    /// Deliveries in any of these states, newest first.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn deliveries(
        &self,
        states: &[DeliveryState],
        limit: u32,
    ) -> Result<Vec<Delivery>, LedgerError> {
        let is_asked = |state| states.contains(&state);
        let [waiting, sent, dead, dropped] = DeliveryState::ALL.map(is_asked);
        let select = format!(
            "SELECT {COLUMNS} FROM outbox o JOIN bulletin b ON b.id = o.bulletin_id
             WHERE (o.state = 'waiting' AND ?1) OR (o.state = 'sent' AND ?2)
                OR (o.state = 'dead' AND ?3) OR (o.state = 'dropped' AND ?4)
             ORDER BY o.id DESC LIMIT ?5"
        );
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&select)?;
            let found =
                statement.query_map(params![waiting, sent, dead, dropped, limit], read_delivery)?;
            found.collect()
        })
    }

    /// One delivery by its number.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn delivery(&self, id: i64) -> Result<Option<Delivery>, LedgerError> {
        let select = format!(
            "SELECT {COLUMNS} FROM outbox o JOIN bulletin b ON b.id = o.bulletin_id WHERE o.id = ?1"
        );
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&select)?;
            let mut found = statement.query_map([id], read_delivery)?;
            found.next().transpose()
        })
    }

    /// # Errors
    /// [`LedgerError`]
    pub fn delivery_counts(&self) -> Result<DeliveryCounts, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(
                "SELECT count(*) FILTER (WHERE o.state = 'waiting'),
                        count(*) FILTER (WHERE o.state = 'sent'),
                        count(*) FILTER (WHERE o.state = 'dead'),
                        count(*) FILTER (WHERE o.state = 'dropped'),
                        min(b.at_ms) FILTER (WHERE o.state = 'waiting')
                 FROM outbox o JOIN bulletin b ON b.id = o.bulletin_id",
            )?;
            statement.query_row([], |row| {
                Ok(DeliveryCounts {
                    waiting: row.get(0)?,
                    sent: row.get(1)?,
                    dead: row.get(2)?,
                    dropped: row.get(3)?,
                    oldest_waiting: optional_instant(row, 4)?,
                })
            })
        })
    }
}

impl Ledger {
    /// Makes deliveries due now that wait or were given up, as after a channel's settings were
    /// corrected, and lifts the bans of their channels. The entries stand or fall with it.
    /// Returns how many; one that was sent stays so.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn retry_deliveries(
        &mut self,
        ids: &[i64],
        at: DateTime<Utc>,
        entries: &[JournalEntry],
    ) -> Result<usize, LedgerError> {
        self.write(|connection| {
            let mut n_retried = 0;
            for id in ids {
                let n_due = connection.execute(
                    "UPDATE outbox SET state = 'waiting', attempts = 0, touched_ms = ?2,
                         next_ms = ?2
                     WHERE id = ?1 AND state <> 'sent'",
                    (id, millis(at)),
                )?;
                if n_due > 0 {
                    connection.execute(
                        "DELETE FROM disabled_channel
                         WHERE channel = (SELECT channel FROM outbox WHERE id = ?1)",
                        [id],
                    )?;
                }
                n_retried += n_due;
            }
            note(connection, entries)?;
            Ok(n_retried)
        })
    }

    /// Gives a delivery up for good, unless it was sent; it is kept as dropped. True if it was not
    /// settled before.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn drop_delivery(
        &mut self,
        id: i64,
        at: DateTime<Utc>,
        entries: &[JournalEntry],
    ) -> Result<bool, LedgerError> {
        self.write(|connection| {
            let n_dropped = connection.execute(
                "UPDATE outbox SET state = 'dropped', touched_ms = ?2
                 WHERE id = ?1 AND state IN ('waiting', 'dead')",
                (id, millis(at)),
            )?;
            if n_dropped > 0 {
                note(connection, entries)?;
            }
            Ok(n_dropped > 0)
        })
    }
}

fn note(connection: &Connection, entries: &[JournalEntry]) -> rusqlite::Result<()> {
    let mut entries = entries.iter();
    entries.try_for_each(|entry| journal::insert(connection, entry))
}

fn read_delivery(row: &Row<'_>) -> rusqlite::Result<Delivery> {
    const STATE: usize = 5;
    let name: String = row.get(STATE)?;
    let state = DeliveryState::from_name(&name);
    let state = state.ok_or_else(|| unreadable(STATE, UnknownState(name)))?;
    Ok(Delivery {
        id: row.get(0)?,
        bulletin: BulletinId::from_stored(row.get::<_, String>(1)?),
        brief: row.get(2)?,
        subject: row.get(3)?,
        channel: row.get(4)?,
        state,
        attempts: row.get(6)?,
        at: instant(row, 7)?,
        touched: instant(row, 8)?,
        next: (state == DeliveryState::Waiting)
            .then(|| instant(row, 9))
            .transpose()?,
        fault: row.get(10)?,
    })
}
