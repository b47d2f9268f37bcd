//! One poll's snapshot, written offer by offer in one transaction.

use super::columns::{Terms, millis};
use super::decisions;
use super::ended::{self, Ended, Packing};
use super::error::LedgerError;
use super::gaps;
use super::held::{self, Holding};
use super::journal::{self, JournalEntry};
use super::marks::{KnownRecord, Mark, Marking, Marks};
use super::matching::{OfferRow, PartMatch};
use super::open::{Ledger, Patience};
use super::polls::{self, PollRecord, PollStatus};
use super::rows::{self, Opening};
use super::standing::{self, Known, Listed, Open, Sought, Standing};
use crate::market::{FeedId, Offer, RetailerId};
use chrono::{DateTime, Utc};
use rusqlite::{CachedStatement, Connection, Transaction};
use std::fmt;
use std::num::NonZeroU32;
use std::path::Path;

/// A poll that is being written. Nothing of it stands before [`PollWriter::commit`]; dropping it
/// undoes all of it.
#[derive(Debug)]
pub struct PollWriter<'a> {
    hot: Hot<'a>,
    transaction: Transaction<'a>,
    path: &'a Path,
    patience: Patience,
    feed: i64,
    /// When the feed's present offers were last seen before this poll.
    feed_seen_ms: i64,
    at: DateTime<Utc>,
    listed: Listed,
    /// Offers that are not given up, as far as the poll has come.
    n_standing: u64,
    /// Offers among the listed that were given up and stay so, for what is said of them is held.
    n_gone_listed: u64,
    /// The feed had no offers before this poll.
    is_first: bool,
    ended: Packing,
    marks: Marks,
    marking: Marking,
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
    /// The same price was held before, and waits on.
    HeldStill,
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

/// The statements that nearly every offer runs, prepared once for all: finding one in the
/// connection's cache, by its text, took a seventh of the time of running it.
struct Hot<'a> {
    find: CachedStatement<'a>,
    insert_offer: CachedStatement<'a>,
    insert_match: CachedStatement<'a>,
    stand: CachedStatement<'a>,
    end: CachedStatement<'a>,
    pack_ended: CachedStatement<'a>,
}

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
        let (transaction, connection, path) = self.begin()?;
        let fault = |source| LedgerError::of(path, source);
        let feed = polls::feed_row(connection, feed, retailer).map_err(fault)?;
        let at = polls::next_instant(connection, feed, at).map_err(fault)?;
        let (marks, marking) = Marking::read(connection, feed).map_err(fault)?;
        Ok(PollWriter {
            hot: Hot::prepare(connection).map_err(fault)?,
            transaction,
            path,
            patience,
            feed,
            feed_seen_ms: polls::seen_until_ms(connection, feed).map_err(fault)?,
            at,
            listed: Listed::default(),
            n_standing: polls::n_standing(connection, feed).map_err(fault)?,
            n_gone_listed: 0,
            is_first: rows::has_no_offers(connection, feed).map_err(fault)?,
            ended: Packing::new(at),
            marks,
            marking,
        })
    }
}

impl PollWriter<'_> {
    /// The instant under which the poll is stored.
    pub fn at(&self) -> DateTime<Utc> {
        self.at
    }

    /// The records that need not be read again, by what they are known; asked for once.
    pub fn take_marks(&mut self) -> Marks {
        std::mem::take(&mut self.marks)
    }

    /// Stores that the snapshot lists an offer whose record is one of [`PollWriter::take_marks`], which
    /// takes no writing. False when an earlier record of the snapshot was the same offer: then it
    /// must be read again, to be held against that one.
    #[must_use]
    pub fn confirm(&mut self, offer: OfferRow) -> bool {
        self.listed.insert(offer)
    }

    /// Finds the offer with this SKU, seller and condition, to compare with and to store by. One
    /// that is new is added: unless it is observed or held then, the poll must be dropped. `mark`
    /// is what its record is known by if it is observed.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn admit(
        &mut self,
        offer: &Offer,
        part: Option<&PartMatch>,
        mark: Option<Mark>,
    ) -> Result<Standing, LedgerError> {
        self.run_mut(|this| {
            // All but a few offers of a feed's first poll are new, and not worth looking for.
            if this.is_first
                && let Some(added) = this.add(offer, part, mark)?
            {
                return Ok(Standing(added));
            }
            let sought = Sought {
                feed: this.feed,
                feed_seen_ms: this.feed_seen_ms,
                offer,
                part,
                mark,
                listed: &this.listed,
            };
            let found = match standing::find(&this.transaction, &mut this.hot.find, &sought)? {
                Some(known) => Some(known),
                None => this.add(offer, part, mark)?,
            };
            // It cannot be neither found nor added: both go by the same key.
            let known = found.ok_or(rusqlite::Error::QueryReturnedNoRows)?;
            Ok(Standing(known))
        })
    }

    /// Stores that the snapshot lists the offer with these terms. A held observation of it is
    /// thereby cleared. `standing` is what [`PollWriter::admit`] said of the same values.
    ///
    /// # Errors
    /// [`LedgerError`]; the poll should then be dropped.
    pub fn observe(
        &mut self,
        standing: &Standing,
        offer: &Offer,
        part: Option<&PartMatch>,
    ) -> Result<Effect, LedgerError> {
        let Standing(known) = standing;
        if known.repeat.is_some() {
            return Ok(Effect::Repeated);
        }
        self.run_mut(|this| {
            this.refresh_text(known, offer, part)?;
            let record = KnownRecord {
                row: known.row,
                is_part: part.is_some(),
            };
            this.marking.set(&this.transaction, record, known.mark)?;
            if known.is_held {
                rows::delete_held(&this.transaction, known.row)?;
            }
            if !known.is_present || known.is_missing || known.is_gone {
                rows::mark_present(&this.transaction, known.row, millis(this.at))?;
                this.n_standing += u64::from(known.is_gone);
            }
            this.listed.insert(known.row);
            match known.open {
                Open::Same => Ok(Effect::Unchanged),
                Open::Other(other) => {
                    let until_ms = known.seen_until_ms;
                    rows::end(&mut this.hot.end, &other, until_ms)?;
                    let ended = Ended::of(&other, until_ms);
                    this.ended.add(&mut this.hot.pack_ended, &ended)?;
                    this.stand(known.row, offer)?;
                    Ok(Effect::Changed)
                }
                Open::None => {
                    this.stand(known.row, offer)?;
                    Ok(if known.is_gone {
                        Effect::Returned
                    } else {
                        Effect::New
                    })
                }
            }
        })
    }

    /// Stores apart what cannot be right. The offer's current terms stand and are not seen again
    /// by this; once the newest [`Patience::confirm_after_polls`] polls that list it say the
    /// same price, it is believed, unless a person dropped it or must confirm it. `standing` is
    /// what [`PollWriter::admit`] said of the same values.
    ///
    /// # Errors
    /// [`LedgerError`]; the poll should then be dropped.
    pub fn hold(
        &mut self,
        standing: &Standing,
        offer: &Offer,
        part: Option<&PartMatch>,
        reason: &str,
        confirms: Confirms,
    ) -> Result<Effect, LedgerError> {
        let Standing(known) = standing;
        if known.repeat.is_some() {
            return Ok(Effect::Repeated);
        }
        self.run_mut(|this| {
            this.refresh_text(known, offer, part)?;
            rows::mark_absent(&this.transaction, known.row, known.seen_until_ms, 0)?;
            this.marking.take_away(&this.transaction, known.row)?;
            this.listed.insert(known.row);
            let holding = Holding {
                row: known.row,
                at_ms: millis(this.at),
                terms: Terms::of(offer),
                reason,
                confirm_after_polls: match confirms {
                    Confirms::Polls => this.patience.confirm_after_polls,
                    Confirms::Person => NonZeroU32::MAX,
                },
            };
            let effect = held::hold(&this.transaction, &holding)?;
            let is_held = matches!(effect, Effect::Held | Effect::HeldStill);
            this.n_gone_listed += u64::from(known.is_gone && is_held);
            this.n_standing += u64::from(known.is_gone && !is_held);
            Ok(effect)
        })
    }

    /// Adds a journal entry that stands or falls with the poll.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn note(&mut self, entry: &JournalEntry) -> Result<(), LedgerError> {
        self.run(|this| journal::insert(&this.transaction, entry))
    }

    /// Remembers that an offer is no longer the listing that the author decided on. True when it
    /// is told for the first time since that decision.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn mark_listing_changed(&mut self, offer: &Offer) -> Result<bool, LedgerError> {
        self.run(|this| decisions::mark_changed(&this.transaction, offer, this.at))
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
            this.ended.store(&mut this.hot.pack_ended)?;
            let (missing, gone) = match snapshot {
                SnapshotIs::Complete => this.count_absent()?,
                SnapshotIs::Partial => {
                    this.mark_listed_seen()?;
                    let (listed, seen_ms) = (&this.listed, this.feed_seen_ms);
                    gaps::extend_unlisted(&this.transaction, this.feed, listed, seen_ms, this.at)?;
                    (0, 0)
                }
            };
            this.n_standing = this.n_standing.saturating_sub(gone);
            polls::set_n_standing(&this.transaction, this.feed, this.n_standing)?;
            this.marking.store(&this.transaction)?;
            gaps::extend_absent(&this.transaction, this.feed, this.at)?;
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

    /// Adds an offer; `None` when it is there already.
    fn add(
        &mut self,
        offer: &Offer,
        part: Option<&PartMatch>,
        mark: Option<Mark>,
    ) -> rusqlite::Result<Option<Known>> {
        let at_ms = millis(self.at);
        let (connection, insert) = (&self.transaction, &mut self.hot.insert_offer);
        let added = rows::insert_offer(connection, insert, self.feed, offer, part, at_ms)?;
        if let (Some(row), Some(_)) = (added, part) {
            rows::insert_match(&mut self.hot.insert_match, row, part, at_ms)?;
        }
        self.n_standing += u64::from(added.is_some());
        Ok(added.map(|row| Known::added(row, mark, at_ms)))
    }

    fn refresh_text(
        &mut self,
        known: &Known,
        offer: &Offer,
        part: Option<&PartMatch>,
    ) -> rusqlite::Result<()> {
        if !known.has_same_text {
            rows::update_text(&self.transaction, known.row, offer, millis(self.at))?;
        }
        if !known.has_same_match {
            rows::update_match(&self.transaction, known.row, part, millis(self.at))?;
        }
        Ok(())
    }

    fn stand(&mut self, row: OfferRow, offer: &Offer) -> rusqlite::Result<()> {
        let opening = Opening {
            row,
            from_ms: millis(self.at),
            known_ms: None,
            terms: Terms::of(offer),
        };
        rows::stand(&mut self.hot.stand, &opening)
    }

    /// Counts against the offers that a complete snapshot left out, and gives up those that have
    /// been missing for long enough. Returns how many are missing and how many are gone now.
    fn count_absent(&mut self) -> rusqlite::Result<(u64, u64)> {
        // Where as many stand as are listed and stand, none is absent.
        if self.n_standing == self.listed.len() - self.n_gone_listed {
            return Ok((0, 0));
        }
        // Asks for nothing but the number, which the index alone tells: the offers themselves,
        // spread over the whole file, are read where they are absent.
        let mut standing = self
            .transaction
            .prepare_cached("SELECT id FROM offer WHERE feed_id = ?1 AND gone_since_ms IS NULL")?;
        let mut seen = self.transaction.prepare_cached(
            "SELECT missing_polls, max(last_seen_ms, iif(present, ?2, 0))
             FROM offer WHERE id = ?1",
        )?;
        let mut absent: Vec<OfferRow> = Vec::new();
        let mut found = standing.query([self.feed])?;
        while let Some(row) = found.next()? {
            let offer = OfferRow(row.get(0)?);
            if !self.listed.contains(offer) {
                absent.push(offer);
            }
        }
        let (mut missing, mut gone) = (0, 0);
        for row in absent {
            let (missed, seen_until_ms): (u32, i64) = seen
                .query_row((row.0, self.feed_seen_ms), |row| {
                    Ok((row.get(0)?, row.get(1)?))
                })?;
            let missed = missed.saturating_add(1);
            rows::mark_absent(&self.transaction, row, seen_until_ms, missed)?;
            self.marking.take_away(&self.transaction, row)?;
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

impl<'a> Hot<'a> {
    fn prepare(connection: &'a Connection) -> rusqlite::Result<Hot<'a>> {
        Ok(Hot {
            find: connection.prepare_cached(standing::FIND)?,
            insert_offer: connection.prepare_cached(rows::INSERT_OFFER)?,
            insert_match: connection.prepare_cached(rows::INSERT_MATCH)?,
            stand: connection.prepare_cached(rows::STAND)?,
            end: connection.prepare_cached(rows::END)?,
            pack_ended: connection.prepare_cached(ended::INSERT)?,
        })
    }
}

impl fmt::Debug for Hot<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Hot").finish_non_exhaustive()
    }
}
