//! Held observations: terms that cannot be right, kept apart until they are confirmed.

use super::columns::{
    TERMS_WIDTH, Terms, currency, instant, millis, optional_instant, terms_columns,
};
use super::error::LedgerError;
use super::gaps;
use super::matching::OfferRow;
use super::observations::Effect;
use super::open::{Ledger, Reader};
use super::rows::{self, Opening};
use crate::market::{FeedId, RetailerId, Sku};
use crate::money::Money;
use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension, Row};
use std::num::NonZeroU32;

/// The number of a held observation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct HeldId(pub i64);

/// An observation that waits for confirmation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldOffer {
    pub id: HeldId,
    pub feed: FeedId,
    pub retailer: RetailerId,
    pub sku: Sku,
    pub seller: Option<String>,
    pub title: String,
    pub part: Option<String>,
    pub price: Money,
    /// What is believed instead, if anything.
    pub current_price: Option<Money>,
    pub reason: String,
    pub first_seen: DateTime<Utc>,
    pub last_seen: DateTime<Utc>,
    /// How many of the newest polls that listed it said the same.
    pub times: u32,
}

/// What a poll wants held.
#[derive(Debug)]
pub(super) struct Holding<'a> {
    pub row: OfferRow,
    pub at_ms: i64,
    pub terms: Terms,
    pub reason: &'a str,
    pub confirm_after_polls: NonZeroU32,
}

/// A held row as it is believed.
struct Believed {
    first_seen_ms: i64,
    last_seen_ms: i64,
    times: u32,
    is_dropped: bool,
    terms: Terms,
}

impl Reader {
    /// Every observation that waits, oldest first; those that a person dropped do not wait.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn list_held(&self) -> Result<Vec<HeldOffer>, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(
                "SELECT h.id, f.name, f.retailer, o.sku, o.seller, o.title, o.part, h.reason,
                        h.first_seen_ms, h.last_seen_ms, h.times, b.price_minor, b.currency,
                        h.price_minor, h.currency
                 FROM held h JOIN offer o ON o.id = h.offer_id JOIN feed f ON f.id = o.feed_id
                 LEFT JOIN standing b ON b.offer_id = o.id
                 WHERE h.is_dropped = 0 ORDER BY h.first_seen_ms, h.id",
            )?;
            let rows = statement.query_map([], read_held)?;
            rows.collect()
        })
    }
}

impl Ledger {
    /// Believes a held observation: it held from the poll that first saw it, and counts as known
    /// from `at`. False when nothing of that number waits any more.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn confirm_held(&mut self, held: HeldId, at: DateTime<Utc>) -> Result<bool, LedgerError> {
        self.write(|connection| {
            let Some(row) = offer_of(connection, held)? else {
                return Ok(false);
            };
            let Some(believed) = read_believed(connection, row)? else {
                return Ok(false);
            };
            let (last_poll, fresh): (Option<DateTime<Utc>>, Option<i64>) = connection.query_row(
                "SELECT f.last_poll_ms, f.fresh_ms FROM feed f JOIN offer o ON o.feed_id = f.id
                 WHERE o.id = ?1",
                [row.0],
                |row| Ok((optional_instant(row, 0)?, row.get(1)?)),
            )?;
            let known_ms = millis(last_poll.map_or(at, |last| last.max(at)));
            believe(connection, row, &believed, known_ms)?;
            // Only when the newest snapshot said the same does the feed speak for it from now on.
            if fresh == Some(believed.last_seen_ms) {
                rows::mark_present(connection, row, believed.last_seen_ms)?;
            } else {
                let seen_until_ms = believed.last_seen_ms;
                let statement =
                    "UPDATE offer SET last_seen_ms = ?2, gone_since_ms = NULL WHERE id = ?1";
                connection.execute(statement, (row.0, seen_until_ms))?;
                gaps::open_after(connection, row, seen_until_ms)?;
            }
            Ok(true)
        })
    }

    /// Rules a held observation out: polls that say the same price will not confirm it. False
    /// when nothing of that number waits any more.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn drop_held(&mut self, held: HeldId) -> Result<bool, LedgerError> {
        self.write(|connection| {
            let statement = "UPDATE held SET is_dropped = 1 WHERE id = ?1 AND is_dropped = 0";
            Ok(connection.execute(statement, [held.0])? > 0)
        })
    }
}

/// Holds the terms, or believes them when enough polls in a row have said the same price.
pub(super) fn hold(connection: &Connection, holding: &Holding<'_>) -> rusqlite::Result<Effect> {
    let held = read_believed(connection, holding.row)?;
    let same = held.filter(|held| held.terms.price == holding.terms.price);
    let times = same.as_ref().map_or(1, |same| same.times.saturating_add(1));
    let first_seen_ms = same
        .as_ref()
        .map_or(holding.at_ms, |same| same.first_seen_ms);
    let is_dropped = same.as_ref().is_some_and(|same| same.is_dropped);
    if times >= holding.confirm_after_polls.get() && !is_dropped {
        let believed = Believed {
            first_seen_ms,
            last_seen_ms: holding.at_ms,
            times,
            is_dropped,
            terms: holding.terms,
        };
        let effect = believe(connection, holding.row, &believed, holding.at_ms)?;
        rows::mark_present(connection, holding.row, holding.at_ms)?;
        return Ok(effect);
    }
    write_held(connection, holding, first_seen_ms, times, is_dropped)?;
    Ok(match times {
        1 => Effect::Held,
        _ => Effect::HeldStill,
    })
}

/// Lets the offer stand with what was held.
fn believe(
    connection: &Connection,
    row: OfferRow,
    believed: &Believed,
    known_ms: i64,
) -> rusqlite::Result<Effect> {
    let (is_gone, seen_until_ms): (bool, i64) = connection
        .prepare_cached("SELECT gone_since_ms IS NOT NULL, last_seen_ms FROM offer WHERE id = ?1")?
        .query_row([row.0], |row| Ok((row.get(0)?, row.get(1)?)))?;
    // Holding took the offer's own instant, so `seen_until_ms` lies before the held row.
    let stood = rows::end_standing(connection, row, seen_until_ms, None)?;
    let opening = Opening {
        row,
        from_ms: believed.first_seen_ms,
        known_ms: (known_ms > believed.first_seen_ms).then_some(known_ms),
        terms: believed.terms,
    };
    rows::stand(&mut *connection.prepare_cached(rows::STAND)?, &opening)?;
    rows::delete_held(connection, row)?;
    Ok(match (stood, is_gone) {
        (true, _) => Effect::Changed,
        (false, true) => Effect::Returned,
        (false, false) => Effect::New,
    })
}

fn write_held(
    connection: &Connection,
    holding: &Holding<'_>,
    first_seen_ms: i64,
    times: u32,
    is_dropped: bool,
) -> rusqlite::Result<()> {
    // The number stays while the price stays, so that a person can name what they looked at.
    if times == 1 {
        rows::delete_held(connection, holding.row)?;
    }
    let mut statement = connection.prepare_cached(concat!(
        "INSERT INTO held (offer_id, first_seen_ms, last_seen_ms, times, is_dropped, reason, ",
        terms_columns!(),
        ") VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17)
         ON CONFLICT (offer_id) DO UPDATE SET last_seen_ms = ?3, times = ?4, reason = ?6,
             availability = ?9, list_minor = ?10, list_currency = ?11, shipping_minor = ?12,
             shipping_currency = ?13, tax_included = ?14, minimum_quantity = ?15, lead_days = ?16,
             available_from_ms = ?17"
    ))?;
    const { assert!(6 + TERMS_WIDTH == 17, "one parameter for each column") };
    statement.raw_bind_parameter(1, holding.row.0)?;
    statement.raw_bind_parameter(2, first_seen_ms)?;
    statement.raw_bind_parameter(3, holding.at_ms)?;
    statement.raw_bind_parameter(4, times)?;
    statement.raw_bind_parameter(5, is_dropped)?;
    statement.raw_bind_parameter(6, holding.reason)?;
    holding.terms.bind(&mut statement, 7)?;
    statement.raw_execute()?;
    Ok(())
}

fn offer_of(connection: &Connection, held: HeldId) -> rusqlite::Result<Option<OfferRow>> {
    connection
        .query_row(
            "SELECT offer_id FROM held WHERE id = ?1 AND is_dropped = 0",
            [held.0],
            |row| Ok(OfferRow(row.get(0)?)),
        )
        .optional()
}

fn read_believed(connection: &Connection, row: OfferRow) -> rusqlite::Result<Option<Believed>> {
    let mut statement = connection.prepare_cached(concat!(
        "SELECT first_seen_ms, last_seen_ms, times, is_dropped, ",
        terms_columns!(),
        " FROM held WHERE offer_id = ?1"
    ))?;
    statement
        .query_row([row.0], |row| {
            Ok(Believed {
                first_seen_ms: row.get(0)?,
                last_seen_ms: row.get(1)?,
                times: row.get(2)?,
                is_dropped: row.get(3)?,
                terms: Terms::read(row, 4)?,
            })
        })
        .optional()
}

fn read_held(row: &Row<'_>) -> rusqlite::Result<HeldOffer> {
    let seller: String = row.get(4)?;
    let current: Option<i64> = row.get(11)?;
    Ok(HeldOffer {
        id: HeldId(row.get(0)?),
        feed: FeedId::new(row.get::<_, String>(1)?),
        retailer: RetailerId::new(row.get::<_, String>(2)?),
        sku: Sku::new(row.get::<_, String>(3)?),
        seller: Some(seller).filter(|seller| !seller.is_empty()),
        title: row.get(5)?,
        part: row.get(6)?,
        reason: row.get(7)?,
        first_seen: instant(row, 8)?,
        last_seen: instant(row, 9)?,
        times: row.get(10)?,
        current_price: match current {
            Some(minor) => Some(Money::from_minor(minor, currency(row, 12)?)),
            None => None,
        },
        price: Money::from_minor(row.get(13)?, currency(row, 14)?),
    })
}
