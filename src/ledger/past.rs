//! What was last believed of one offer, for readers that do not write a poll.

use super::columns::{currency, instant, optional_instant};
use super::error::LedgerError;
use super::gaps::WENT_WELL;
use super::open::Reader;
use crate::catalogue::PartId;
use crate::decide::Low;
use crate::history::Reading;
use crate::market::{Availability, FeedId, Offer};
use crate::money::{Currency, Money};
use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::OptionalExtension;
use rusqlite::types::ValueRef;

impl Reader {
    /// Every instant at which a feed was read with success, in the order of time. A copy that was
    /// older than what was known told nothing and is left out.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn readings(&self, feed: &FeedId) -> Result<Vec<Reading>, LedgerError> {
        self.run(|connection| {
            // A year has thousands: whatever SQLite need not do for each, it is not asked to do.
            let mut statement = connection.prepare_cached(&format!(
                "SELECT p.at_ms, p.is_complete
                 FROM poll p WHERE p.feed_id = (SELECT id FROM feed WHERE name = ?1)
                     AND {WENT_WELL}
                 ORDER BY p.at_ms"
            ))?;
            let mut rows = statement.query([feed.as_str()])?;
            let mut readings = Vec::new();
            while let Some(row) = rows.next()? {
                readings.push(Reading {
                    at: instant(row, 0)?,
                    is_complete: row.get_ref(1)? != ValueRef::Integer(0),
                });
            }
            Ok(readings)
        })
    }

    /// The lowest price of a part now, and the lowest in so many days before that began, of new goods
    /// that could be ordered. It hangs on no instant but that at which today's price was first seen.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn low(
        &self,
        part: &PartId,
        own: Currency,
        days: Option<i64>,
    ) -> Result<Option<Low>, LedgerError> {
        let held = self.run(|connection| {
            let mut statement = connection.prepare_cached(
                "SELECT price_minor, currency, from_ms, until_ms, availability FROM interval
                 WHERE offer_id IN (SELECT id FROM offer WHERE part = ?1 AND condition = 'new')
                     AND currency = ?2",
            )?;
            let held = statement.query_map((part.as_str(), own.to_string()), |row| {
                let availability: String = row.get(4)?;
                let availability = Availability::parse_name(&availability);
                Ok(Held {
                    price: Money::from_minor(row.get(0)?, currency(row, 1)?),
                    from: instant(row, 2)?,
                    until: optional_instant(row, 3)?,
                    is_orderable: availability.is_some_and(Availability::is_orderable),
                })
            })?;
            held.collect::<Result<Vec<Held>, _>>()
        })?;
        Ok(low(&held, days))
    }

    /// The last believed price of the offer with this SKU, seller and condition in a feed.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn last_price(&self, feed: &FeedId, offer: &Offer) -> Result<Option<Money>, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(
                "SELECT price_minor, currency FROM interval WHERE offer_id IN
                     (SELECT o.id FROM offer o JOIN feed f ON f.id = o.feed_id
                      WHERE f.name = ?1 AND o.sku = ?2 AND o.seller = ?3 AND o.condition = ?4)
                 ORDER BY from_ms DESC LIMIT 1",
            )?;
            let seller = offer.seller.as_deref().unwrap_or("");
            let identity = (
                feed.as_str(),
                offer.sku.as_str(),
                seller,
                offer.condition.name(),
            );
            statement
                .query_row(identity, |row| {
                    Ok(Money::from_minor(row.get(0)?, currency(row, 1)?))
                })
                .optional()
        })
    }
}

/// A price that an offer had for a while.
struct Held {
    price: Money,
    from: DateTime<Utc>,
    until: Option<DateTime<Utc>>,
    is_orderable: bool,
}

fn low(held: &[Held], days: Option<i64>) -> Option<Low> {
    let orderable = || held.iter().filter(|one| one.is_orderable);
    let now = orderable()
        .filter(|one| one.until.is_none())
        .min_by_key(|one| (one.price.minor(), one.from))?;
    let window = days.and_then(|days| now.from.checked_sub_signed(TimeDelta::days(days)));
    let is_within = |one: &Held| match (window, one.until) {
        (Some(window), Some(until)) => until >= window,
        (_, None) | (None, _) => true,
    };
    let before = || orderable().filter(|one| one.from < now.from && is_within(one));
    let lowest = before().min_by_key(|one| one.price.minor())?;
    let first = before().map(|one| one.from).min()?;
    let since = window.map_or(first, |window| window.max(first));
    Some(Low {
        now: now.price,
        before: lowest.price,
        days: now.from.signed_duration_since(since).num_days(),
    })
}
