//! What the ledger says of prices: the market at an instant, and the series of one part.

use super::columns::{Terms, condition, currency, instant, optional_instant, terms_columns};
use super::error::LedgerError;
use super::matching::{OFFER_WIDTH, OfferRow, PartMatch, offer_columns, read_match, read_offer};
use super::open::Reader;
use crate::market::{Availability, Condition, FeedId, Offer, RetailerId, Sku};
use crate::money::Money;
use chrono::{DateTime, Utc};
use rusqlite::Row;

/// Names one interval of one offer for good.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct ObservationId {
    pub offer: OfferRow,
    pub from: DateTime<Utc>,
}

/// An offer of a part as it stood at an instant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CurrentOffer {
    pub observation: ObservationId,
    pub feed: FeedId,
    pub offer: Offer,
    pub part: PartMatch,
    /// When these terms were last seen.
    pub seen_at: DateTime<Utc>,
}

/// What a retailer asks for a part now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ask {
    /// The part's id in the catalogue.
    pub part: String,
    pub retailer: RetailerId,
    pub price: Money,
}

/// Terms that one offer of a part kept for a while.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Interval {
    pub observation: ObservationId,
    pub feed: FeedId,
    pub retailer: RetailerId,
    pub sku: Sku,
    pub seller: Option<String>,
    pub condition: Condition,
    pub from: DateTime<Utc>,
    /// When these terms were last seen.
    pub until: DateTime<Utc>,
    /// True while nothing else has been seen since.
    pub is_open: bool,
    /// When the offer was given up, where that ended the interval.
    pub gone_since: Option<DateTime<Utc>>,
    pub price: Money,
    pub list_price: Option<Money>,
    pub shipping: Option<Money>,
    pub tax_included: bool,
    pub availability: Availability,
}

/// When the terms that an offer stands with were last seen, as it or its feed says.
pub(super) const SEEN_NOW: &str =
    "max(o.last_seen_ms, iif(o.present, coalesce(f.seen_until_ms, 0), 0))";

/// The offers that are taken for parts, and the terms that they stand with now. Each table is read in
/// the order of the offers, so that no page is read twice.
pub(super) const STANDING_NOW: &str = "FROM standing b CROSS JOIN offer o ON o.id = b.offer_id
     CROSS JOIN feed f ON f.id = o.feed_id
     WHERE o.part IS NOT NULL";

impl Reader {
    /// The offers that are taken for parts, as they stand now, with all that is known of them. Sorted
    /// by part, feed, SKU, seller and condition.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn current_offers(&self) -> Result<Vec<CurrentOffer>, LedgerError> {
        let select = format!(
            "SELECT {offer}, o.id, f.name, o.part, o.matched_by, o.confidence_percent, b.from_ms,
                    {SEEN_NOW}
             {STANDING_NOW}
             ORDER BY o.part, f.name, o.sku, o.seller, o.condition",
            offer = offer_columns!()
        );
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&select)?;
            let offers = statement.query_map([], read_current)?;
            offers.filter_map(Result::transpose).collect()
        })
    }

    /// When the record begins: with the first poll, or a price of the past that was imported.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn record_begins(&self) -> Result<Option<DateTime<Utc>>, LedgerError> {
        self.run(|connection| {
            let select = "SELECT min(at_ms) FROM (SELECT min(at_ms) AS at_ms FROM poll
                 UNION ALL SELECT min(first_seen_ms) FROM offer)";
            connection.query_row(select, [], |row| optional_instant(row, 0))
        })
    }

    /// The price of every offer that is taken for a part and believed now, in no order.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn asks(&self) -> Result<Vec<Ask>, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&format!(
                "SELECT o.part, f.retailer, b.price_minor, b.currency {STANDING_NOW}"
            ))?;
            let asks = statement.query_map([], |row| {
                Ok(Ask {
                    part: row.get(0)?,
                    retailer: RetailerId::new(row.get::<_, String>(1)?),
                    price: Money::from_minor(row.get(2)?, currency(row, 3)?),
                })
            })?;
            asks.collect()
        })
    }

    /// Every interval of the offers that are taken for a part now, by feed, SKU and time.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn series(&self, part: &str) -> Result<Vec<Interval>, LedgerError> {
        // Two selections, for SQLite would first write out all that `interval` has to join it with another table.
        let of = |seen_until: &str, gone: &str, table: &str| {
            format!(
                "SELECT o.id, f.name, f.retailer, o.sku, o.seller, o.condition, b.from_ms,
                        {seen_until}, {gone}, {terms}
                 FROM offer o JOIN feed f ON f.id = o.feed_id JOIN {table} b ON b.offer_id = o.id
                 WHERE o.part = ?1",
                terms = terms_columns!()
            )
        };
        let select = format!(
            "{ended} UNION ALL {standing} ORDER BY 2, 4, 5, 6, 7",
            ended = of("b.until_ms", "0, b.gone_ms", "observation"),
            standing = of(SEEN_NOW, "1, NULL", "standing"),
        );
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&select)?;
            let intervals = statement.query_map([part], read_interval)?;
            intervals.collect()
        })
    }
}

pub(super) fn read_current(row: &Row<'_>) -> rusqlite::Result<Option<CurrentOffer>> {
    let Some(part) = read_match(row, OFFER_WIDTH + 2)? else {
        return Ok(None);
    };
    Ok(Some(CurrentOffer {
        observation: ObservationId {
            offer: OfferRow(row.get(OFFER_WIDTH)?),
            from: instant(row, OFFER_WIDTH + 5)?,
        },
        feed: FeedId::new(row.get::<_, String>(OFFER_WIDTH + 1)?),
        offer: read_offer(row)?,
        part,
        seen_at: instant(row, OFFER_WIDTH + 6)?,
    }))
}

fn read_interval(row: &Row<'_>) -> rusqlite::Result<Interval> {
    let seller: String = row.get(4)?;
    let from = instant(row, 6)?;
    let terms = Terms::read(row, 10)?;
    Ok(Interval {
        observation: ObservationId {
            offer: OfferRow(row.get(0)?),
            from,
        },
        feed: FeedId::new(row.get::<_, String>(1)?),
        retailer: RetailerId::new(row.get::<_, String>(2)?),
        sku: Sku::new(row.get::<_, String>(3)?),
        seller: Some(seller).filter(|seller| !seller.is_empty()),
        condition: condition(row, 5)?,
        from,
        until: instant(row, 7)?,
        is_open: row.get(8)?,
        gone_since: optional_instant(row, 9)?,
        price: terms.price,
        list_price: terms.list_price,
        shipping: terms.shipping,
        tax_included: terms.tax_included,
        availability: terms.availability,
    })
}
