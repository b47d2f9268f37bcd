//! One poll's snapshot, written offer by offer in one transaction.

use super::columns::{Terms, instant, millis, terms_columns};
use super::error::LedgerError;
use super::held::{self, Holding};
use super::journal::{self, JournalEntry};
use super::matching::{OfferRow, PartMatch};
use super::open::{Ledger, Patience};
use super::polls::{self, PollRecord, PollStatus};
use super::rows::{self, Known, Opening};
use crate::market::{Availability, FeedId, Offer, RetailerId};
use crate::money::Money;
use chrono::{DateTime, Utc};
use rusqlite::{OptionalExtension, Transaction};
use std::num::NonZeroU32;
use std::path::Path;

/// A poll that is being written. Nothing of it stands before [`PollWriter::commit`]; dropping it
/// undoes all of it.
#[derive(Debug)]
pub struct PollWriter<'a> {
    transaction: Transaction<'a>,
    path: &'a Path,
    patience: Patience,
    feed: i64,
    at: DateTime<Utc>,
    listed: Listed,
    /// The feed had no offers before this poll.
    is_first: bool,
}

/// What an observation did to the ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effect {
    /// The first observation of the offer.
    New,
    /// An offer that was gone is listed again.
    Returned,
    Changed,
    Unchanged,
    /// Stored apart; the offer's current terms stand and age.
    Held,
    /// The same snapshot listed this offer (SKU, seller and condition) before; the first stands.
    Repeated,
}

/// What may confirm a held observation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Confirms {
    /// A person, or as many polls in a row as [`Patience`] asks for.
    Polls,
    /// A person alone: what contradicts itself does not get truer by being repeated.
    Person,
}

/// Whether a snapshot lists everything that the retailer offers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SnapshotIs {
    /// What it leaves out is missing.
    Complete,
    /// What it leaves out was not asked for or could not be read.
    Partial,
}

/// What the ledger believed of an offer before this poll.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PreviousSeen {
    pub price: Money,
    pub availability: Availability,
    pub since: DateTime<Utc>,
    pub seen_at: DateTime<Utc>,
    pub is_gone: bool,
}

/// What a committed poll did beyond its offers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Committed {
    /// The instant under which it was stored; see [`Ledger::begin_poll`].
    pub at: DateTime<Utc>,
    /// Offers that the snapshot left out and that are not given up yet.
    pub missing: u64,
    /// Offers given up by this poll.
    pub gone: u64,
}

/// Offers that the snapshot listed: one bit each, as row numbers are dense.
#[derive(Debug, Default)]
struct Listed(Vec<u64>);

impl Ledger {
    /// Starts to write a fresh snapshot. No other process can write until it is done.
    ///
    /// The instants of a feed only grow: where the clock was set back, the poll is stored one
    /// millisecond after the one before.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn begin_poll(
        &mut self,
        feed: &FeedId,
        retailer: &RetailerId,
        at: DateTime<Utc>,
    ) -> Result<PollWriter<'_>, LedgerError> {
        let patience = self.patience;
        let (transaction, path) = self.begin()?;
        let fault = |source| LedgerError::of(path, source);
        let feed = polls::feed_row(&transaction, feed, retailer).map_err(fault)?;
        let at = polls::next_instant(&transaction, feed, at).map_err(fault)?;
        let is_first = rows::has_no_offers(&transaction, feed).map_err(fault)?;
        Ok(PollWriter {
            transaction,
            path,
            patience,
            feed,
            at,
            listed: Listed::default(),
            is_first,
        })
    }
}

impl PollWriter<'_> {
    /// The instant under which the poll is stored.
    pub fn at(&self) -> DateTime<Utc> {
        self.at
    }

    /// What was last believed of the offer with this SKU, seller and condition.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn previous(&self, offer: &Offer) -> Result<Option<PreviousSeen>, LedgerError> {
        if self.is_first {
            return Ok(None);
        }
        self.run(|this| {
            let mut statement = this.transaction.prepare_cached(concat!(
                "SELECT b.from_ms,
                        coalesce(b.until_ms, max(o.last_seen_ms,
                            iif(o.present, coalesce(f.seen_until_ms, 0), 0))),
                        o.gone_since_ms IS NOT NULL, ",
                terms_columns!(),
                " FROM offer o JOIN feed f ON f.id = o.feed_id
                 JOIN observation b ON b.offer_id = o.id
                 WHERE o.feed_id = ?1 AND o.sku = ?2 AND o.seller = ?3 AND o.condition = ?4
                 ORDER BY b.from_ms DESC LIMIT 1"
            ))?;
            statement
                .query_row(rows::identity(this.feed, offer), |row| {
                    let terms = Terms::read(row, 3)?;
                    Ok(PreviousSeen {
                        price: terms.price,
                        availability: terms.availability,
                        since: instant(row, 0)?,
                        seen_at: instant(row, 1)?,
                        is_gone: row.get(2)?,
                    })
                })
                .optional()
        })
    }

    /// Stores that the snapshot lists the offer with these terms. A held observation of it is
    /// thereby cleared.
    ///
    /// # Errors
    /// [`LedgerError`]; the poll should then be dropped.
    pub fn observe(
        &mut self,
        offer: &Offer,
        part: Option<&PartMatch>,
    ) -> Result<Effect, LedgerError> {
        self.run_mut(|this| {
            let known = rows::find(&this.transaction, this.feed, offer, part)?;
            match known {
                None => this.observe_new(offer, part),
                Some(known) if this.listed.contains(known.row) => Ok(Effect::Repeated),
                Some(known) => this.observe_known(&known, offer, part),
            }
        })
    }

    /// Stores apart what cannot be right. The offer's current terms stand and are not seen again
    /// by this; once the newest [`Patience::confirm_after_polls`] polls that list it say the
    /// same price, it is believed, unless a person dropped it or must confirm it.
    ///
    /// # Errors
    /// [`LedgerError`]; the poll should then be dropped.
    pub fn hold(
        &mut self,
        offer: &Offer,
        part: Option<&PartMatch>,
        reason: &str,
        confirms: Confirms,
    ) -> Result<Effect, LedgerError> {
        self.run_mut(|this| {
            let transaction = &this.transaction;
            let at_ms = millis(this.at);
            let row = match rows::find(transaction, this.feed, offer, part)? {
                None => {
                    let held = rows::Arrives::Held;
                    rows::insert_offer(transaction, this.feed, offer, part, at_ms, held)?
                }
                Some(known) if this.listed.contains(known.row) => return Ok(Effect::Repeated),
                Some(known) => {
                    this.refresh_text(&known, offer, part)?;
                    rows::mark_absent(transaction, known.row, known.seen_until_ms, 0)?;
                    known.row
                }
            };
            this.listed.insert(row);
            let holding = Holding {
                row,
                at_ms,
                terms: Terms::of(offer),
                reason,
                confirm_after_polls: match confirms {
                    Confirms::Polls => this.patience.confirm_after_polls,
                    Confirms::Person => NonZeroU32::MAX,
                },
            };
            held::hold(&this.transaction, &holding)
        })
    }

    /// Adds a journal entry that stands or falls with the poll.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn note(&mut self, entry: &JournalEntry) -> Result<(), LedgerError> {
        self.run(|this| journal::insert(&this.transaction, entry))
    }

    /// Makes the poll stand. When this returns, a power cut cannot undo it.
    ///
    /// A partial snapshot forgets the feed's memory, so that the next poll asks for all.
    ///
    /// # Errors
    /// [`LedgerError`]; then nothing of the poll stands.
    pub fn commit(
        mut self,
        record: &PollRecord,
        snapshot: SnapshotIs,
    ) -> Result<Committed, LedgerError> {
        let committed = self.run_mut(|this| {
            let (missing, gone) = match snapshot {
                SnapshotIs::Complete => this.count_absent()?,
                SnapshotIs::Partial => {
                    this.mark_listed_seen()?;
                    (0, 0)
                }
            };
            let status = PollStatus::Fresh(snapshot);
            polls::record(&this.transaction, this.feed, this.at, status, record)?;
            let at = this.at;
            Ok(Committed { at, missing, gone })
        })?;
        let path = self.path;
        self.transaction
            .commit()
            .map_err(|source| LedgerError::of(path, source))?;
        Ok(committed)
    }

    fn observe_new(&mut self, offer: &Offer, part: Option<&PartMatch>) -> rusqlite::Result<Effect> {
        let at_ms = millis(self.at);
        let (connection, believed) = (&self.transaction, rows::Arrives::Believed);
        let row = rows::insert_offer(connection, self.feed, offer, part, at_ms, believed)?;
        self.open(row, offer)?;
        self.listed.insert(row);
        Ok(Effect::New)
    }

    fn observe_known(
        &mut self,
        known: &Known,
        offer: &Offer,
        part: Option<&PartMatch>,
    ) -> rusqlite::Result<Effect> {
        self.refresh_text(known, offer, part)?;
        if known.is_held {
            rows::delete_held(&self.transaction, known.row)?;
        }
        if !known.is_present || known.is_missing || known.is_gone {
            rows::mark_present(&self.transaction, known.row, millis(self.at))?;
        }
        let effect = match known.open_is_same {
            Some(true) => Effect::Unchanged,
            Some(false) => {
                rows::close_interval(&self.transaction, known.row, known.seen_until_ms)?;
                self.open(known.row, offer)?;
                Effect::Changed
            }
            None => {
                self.open(known.row, offer)?;
                if known.is_gone {
                    Effect::Returned
                } else {
                    Effect::New
                }
            }
        };
        self.listed.insert(known.row);
        Ok(effect)
    }

    fn refresh_text(
        &self,
        known: &Known,
        offer: &Offer,
        part: Option<&PartMatch>,
    ) -> rusqlite::Result<()> {
        if !known.has_same_text {
            rows::update_text(&self.transaction, known.row, offer)?;
        }
        if !known.has_same_match {
            rows::update_match(&self.transaction, known.row, part, millis(self.at))?;
        }
        Ok(())
    }

    fn open(&self, row: OfferRow, offer: &Offer) -> rusqlite::Result<()> {
        let opening = Opening {
            row,
            from_ms: millis(self.at),
            known_ms: None,
            terms: Terms::of(offer),
        };
        rows::open_interval(&self.transaction, &opening)
    }

    /// Counts against the offers that a complete snapshot left out, and gives up those that have
    /// been missing for long enough. Returns how many are missing and how many are gone now.
    fn count_absent(&self) -> rusqlite::Result<(u64, u64)> {
        let mut statement = self.transaction.prepare_cached(
            "SELECT o.id, o.missing_polls,
                    max(o.last_seen_ms, iif(o.present, coalesce(f.seen_until_ms, 0), 0))
             FROM offer o JOIN feed f ON f.id = o.feed_id
             WHERE o.feed_id = ?1 AND o.gone_since_ms IS NULL",
        )?;
        let mut absent: Vec<(OfferRow, u32, i64)> = Vec::new();
        let mut found = statement.query([self.feed])?;
        while let Some(row) = found.next()? {
            let offer = OfferRow(row.get(0)?);
            if !self.listed.contains(offer) {
                absent.push((offer, row.get(1)?, row.get(2)?));
            }
        }
        let (mut missing, mut gone) = (0, 0);
        for (row, missed, seen_until_ms) in absent {
            let missed = missed.saturating_add(1);
            rows::mark_absent(&self.transaction, row, seen_until_ms, missed)?;
            if missed >= self.patience.gone_after_polls.get() {
                rows::mark_gone(&self.transaction, row, millis(self.at))?;
                gone += 1;
            } else {
                missing += 1;
            }
        }
        Ok((missing, gone))
    }

    /// After a partial snapshot the offers it listed have an instant of their own.
    fn mark_listed_seen(&self) -> rusqlite::Result<()> {
        let mut statement = self
            .transaction
            .prepare_cached("UPDATE offer SET last_seen_ms = ?2 WHERE id = ?1 AND present = 1")?;
        for row in self.listed.iter() {
            statement.execute((row.0, millis(self.at)))?;
        }
        Ok(())
    }

    fn run<T>(&self, work: impl FnOnce(&Self) -> rusqlite::Result<T>) -> Result<T, LedgerError> {
        work(self).map_err(|source| LedgerError::of(self.path, source))
    }

    fn run_mut<T>(
        &mut self,
        work: impl FnOnce(&mut Self) -> rusqlite::Result<T>,
    ) -> Result<T, LedgerError> {
        work(self).map_err(|source| LedgerError::of(self.path, source))
    }
}

impl Listed {
    fn insert(&mut self, row: OfferRow) {
        let (word, bit) = Listed::place(row);
        if self.0.len() <= word {
            self.0.resize(word + 1, 0);
        }
        self.0[word] |= bit;
    }

    fn contains(&self, row: OfferRow) -> bool {
        let (word, bit) = Listed::place(row);
        self.0.get(word).is_some_and(|bits| bits & bit != 0)
    }

    fn iter(&self) -> impl Iterator<Item = OfferRow> {
        (0_i64..)
            .zip(&self.0)
            .flat_map(|(word, bits)| (0..64).map(move |bit| (word * 64 + bit, bits >> bit & 1)))
            .filter(|(_, bit)| *bit == 1)
            .map(|(row, _)| OfferRow(row))
    }

    /// SQLite numbers rows from 1, one by one.
    fn place(row: OfferRow) -> (usize, u64) {
        let row = row.0.unsigned_abs();
        ((row / 64) as usize, 1 << (row % 64))
    }
}
