//! Prices that an author noted before the program did, added before what the ledger has.

use super::super::columns::{Terms, millis};
use super::super::error::LedgerError;
use super::super::journal::{self, JournalEntry};
use super::super::matching::{OfferRow, PartMatch};
use super::super::open::Ledger;
use super::super::polls::feed_row;
use super::super::rows::{self, Opening};
use crate::market::{Availability, Condition, FeedId, RetailerId, Sku};
use crate::money::Money;
use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::{Connection, OptionalExtension as _, params};
use std::collections::BTreeMap;

/// One price that was seen once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PastPrice {
    /// Its line in the author's file.
    pub line: u64,
    pub retailer: RetailerId,
    /// The part's id stands for it where the author noted none.
    pub sku: Sku,
    /// The part's id in the catalogue.
    pub part: Option<String>,
    pub title: String,
    pub at: DateTime<Utc>,
    pub price: Money,
    pub tax_included: bool,
    pub availability: Availability,
}

/// What was added.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Imported {
    pub prices: u64,
    /// Offers that the ledger did not have.
    pub offers: u64,
    pub intervals: u64,
}

/// Why a price cannot be added.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PriceRefusal {
    #[error(
        "the ledger has prices of this offer from {} on; leave out what is not older",
        .since.to_rfc3339()
    )]
    Overlaps { since: DateTime<Utc> },
    #[error("line {other} says another price of the same offer at the same instant")]
    Twice { other: u64 },
    #[error(
        "the offer is taken for \"{part}\"; leave the part out, or say what it is with `rigtide match`"
    )]
    TakenFor { part: String },
    #[error("line {other} says that this offer is another part")]
    OtherPart { other: u64 },
}

/// Where the prices of one offer go.
struct Target {
    row: Option<OfferRow>,
    part: Option<PartMatch>,
    /// From when on the ledger has prices of it.
    since: Option<DateTime<Utc>>,
}

impl Ledger {
    /// Adds prices that are older than what the ledger has of their offers, all or none. An offer
    /// that it does not have comes into the feed `RETAILER/imported`, as one that was given up
    /// a day after its last price. Equal prices that follow each other become one interval.
    ///
    /// # Errors
    /// [`LedgerError`]. Prices that cannot be added come back with their lines; then none was.
    pub fn import_prices(
        &mut self,
        prices: &[PastPrice],
        now: DateTime<Utc>,
    ) -> Result<Result<Imported, Vec<(u64, PriceRefusal)>>, LedgerError> {
        let mut offers: BTreeMap<(&RetailerId, &Sku), Vec<&PastPrice>> = BTreeMap::new();
        for price in prices {
            let key = (&price.retailer, &price.sku);
            offers.entry(key).or_default().push(price);
        }
        for found in offers.values_mut() {
            found.sort_by_key(|price| (price.at, price.line));
        }
        self.write(|connection| {
            let mut refused = Vec::new();
            let mut targets = Vec::new();
            for ((retailer, sku), prices) in &offers {
                let target = target(connection, retailer, sku, prices)?;
                refused.extend(refusals(prices, &target));
                targets.push(target);
            }
            if !refused.is_empty() {
                refused.sort_by_key(|(line, _)| *line);
                return Ok(Err(refused));
            }
            let mut imported = Imported::default();
            for (((retailer, sku), prices), target) in offers.iter().zip(targets) {
                add(connection, (*retailer, *sku), prices, target, &mut imported)?;
            }
            journal::insert(connection, &entry(&imported, now))?;
            Ok(Ok(imported))
        })
    }
}

fn entry(imported: &Imported, at: DateTime<Utc>) -> JournalEntry {
    let Imported { prices, offers, .. } = imported;
    JournalEntry {
        at,
        kind: "prices_imported".to_owned(),
        feed: None,
        brief: None,
        part: None,
        text: format!("{prices} prices of the past imported, {offers} offers of them new"),
        data: serde_json::json!({ "prices": prices, "offers": offers }),
    }
}

/// The offer that the ledger has, and from when on it has prices of it or, where the author noted
/// no SKU, of the part.
fn target(
    connection: &Connection,
    retailer: &RetailerId,
    sku: &Sku,
    prices: &[&PastPrice],
) -> rusqlite::Result<Target> {
    let own = connection
        .prepare_cached(
            "SELECT o.id, o.part, o.matched_by, o.confidence_percent
             FROM offer o JOIN feed f ON f.id = o.feed_id
             WHERE f.retailer = ?1 AND o.sku = ?2 AND o.seller = '' AND o.condition = ?3
             ORDER BY f.name LIMIT 1",
        )?
        .query_row(
            (retailer.as_str(), sku.as_str(), Condition::New.name()),
            |row| {
                Ok((
                    OfferRow(row.get(0)?),
                    super::super::matching::read_match(row, 1)?,
                ))
            },
        )
        .optional()?;
    let part = prices.iter().find_map(|price| price.part.as_deref());
    let stands_for_part = part == Some(sku.as_str());
    let since: Option<i64> = connection
        .prepare_cached(
            "SELECT from_ms FROM interval WHERE offer_id IN
                 (SELECT o.id FROM offer o JOIN feed f ON f.id = o.feed_id
                  WHERE f.retailer = ?1 AND (o.id = ?2 OR (?3 AND o.part = ?4)))
             ORDER BY from_ms LIMIT 1",
        )?
        .query_row(
            params![
                retailer.as_str(),
                own.as_ref().map(|(row, _)| row.0),
                stands_for_part,
                part
            ],
            |row| row.get(0),
        )
        .optional()?;
    let (row, part) = own.map_or((None, None), |(row, part)| (Some(row), part));
    Ok(Target {
        row,
        part,
        since: since.and_then(DateTime::from_timestamp_millis),
    })
}

fn refusals(prices: &[&PastPrice], target: &Target) -> Vec<(u64, PriceRefusal)> {
    let mut refused = Vec::new();
    let named = prices.iter().find(|price| price.part.is_some());
    for (at, price) in prices.iter().enumerate() {
        if let Some(since) = target.since.filter(|since| price.at >= *since) {
            refused.push((price.line, PriceRefusal::Overlaps { since }));
        }
        let before = at.checked_sub(1).and_then(|before| prices.get(before));
        if let Some(before) = before.filter(|before| before.at == price.at)
            && terms(before) != terms(price)
        {
            let other = before.line;
            refused.push((price.line, PriceRefusal::Twice { other }));
        }
        let (Some(part), Some(named)) = (&price.part, named) else {
            continue;
        };
        if named.part.as_ref() != Some(part) {
            let other = named.line;
            refused.push((price.line, PriceRefusal::OtherPart { other }));
        }
        if let Some(known) = target.part.as_ref().filter(|known| known.part != *part) {
            let part = known.part.clone();
            refused.push((price.line, PriceRefusal::TakenFor { part }));
        }
    }
    refused
}

fn add(
    connection: &Connection,
    (retailer, sku): (&RetailerId, &Sku),
    prices: &[&PastPrice],
    target: Target,
    imported: &mut Imported,
) -> rusqlite::Result<()> {
    let (Some(first), Some(last)) = (prices.first(), prices.last()) else {
        return Ok(());
    };
    let (first_ms, last_ms) = (millis(first.at), millis(last.at));
    let is_new = target.row.is_none();
    let said = prices.iter().find_map(|price| price.part.clone());
    let said = said.map(|part| PartMatch {
        part,
        by: "author".to_owned(),
        confidence_percent: 100,
    });
    let part = target.part.or(said);
    // Nobody looked again, so its last price counts for a day.
    let gone_ms = millis(last.at + TimeDelta::days(1));
    let row = match target.row {
        Some(row) => {
            let earlier = "UPDATE offer SET first_seen_ms = min(first_seen_ms, ?2) WHERE id = ?1";
            connection.execute(earlier, (row.0, first_ms))?;
            row
        }
        None => {
            let feed = FeedId::new(format!("{retailer}/imported"));
            let feed = feed_row(connection, &feed, retailer)?;
            imported.offers += 1;
            connection.execute(
                "INSERT INTO offer (feed_id, sku, seller, condition, title, gtins, notes, part,
                     matched_by, confidence_percent, first_seen_ms, last_seen_ms, present,
                     gone_since_ms)
                 VALUES (?1, ?2, '', ?3, ?4, '', '[]', ?5, ?6, ?7, ?8, ?9, 0, ?10)",
                params![
                    feed,
                    sku.as_str(),
                    Condition::New.name(),
                    first.title,
                    part.as_ref().map(|part| &part.part),
                    part.as_ref().map(|part| &part.by),
                    part.as_ref().map(|part| part.confidence_percent),
                    first_ms,
                    last_ms,
                    gone_ms
                ],
            )?;
            OfferRow(connection.last_insert_rowid())
        }
    };
    if part.is_some() {
        let insert = &mut *connection.prepare_cached(rows::INSERT_MATCH)?;
        rows::insert_match(insert, row, part.as_ref(), first_ms)?;
    }
    imported.prices += prices.len() as u64;
    imported.intervals += open_and_close(connection, row, prices)?;
    if is_new {
        let gone = "UPDATE observation SET gone_ms = ?3 WHERE offer_id = ?1 AND until_ms = ?2";
        connection.execute(gone, (row.0, last_ms, gone_ms))?;
    }
    Ok(())
}

/// Writes the intervals; returns how many.
fn open_and_close(
    connection: &Connection,
    row: OfferRow,
    prices: &[&PastPrice],
) -> rusqlite::Result<u64> {
    let mut insert = connection.prepare_cached(rows::END)?;
    let mut n_intervals = 0;
    for same in prices.chunk_by(|before, after| terms(before) == terms(after)) {
        let (Some(first), Some(last)) = (same.first(), same.last()) else {
            continue;
        };
        let opening = Opening {
            row,
            from_ms: millis(first.at),
            known_ms: None,
            terms: terms(first),
        };
        rows::end(&mut insert, &opening, millis(last.at))?;
        n_intervals += 1;
    }
    Ok(n_intervals)
}

fn terms(price: &PastPrice) -> Terms {
    Terms {
        price: price.price,
        availability: price.availability,
        list_price: None,
        shipping: None,
        tax_included: price.tax_included,
        minimum_quantity: 1,
        lead_days: None,
        available_from: None,
    }
}
