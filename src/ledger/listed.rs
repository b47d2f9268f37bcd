//! The offers of parts as they stand or stood, in the form that markets are made from.
//!
//! Every question reads all of them, so this takes the columns that a market asks for and no others,
//! and puts them in order itself: rows that wide cost the database more to sort than to read.

use super::columns::{TERMS_WIDTH, Terms, condition, instant, millis, terms_columns};
use super::error::LedgerError;
use super::market::{SEEN_UNTIL, STANDING_NOW, StandingThen};
use super::open::Reader;
use crate::catalogue::PartId;
use crate::market::{Listed, RetailerId, Sku, waiting_days};
use chrono::{DateTime, Utc};
use rusqlite::{Row, params_from_iter};
use std::cmp::Ordering;

impl Reader {
    /// What [`Reader::current_offers`] says of now or of an instant, in the same order.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn listed(&self, past: Option<DateTime<Utc>>) -> Result<Vec<Listed>, LedgerError> {
        let select = past.map_or_else(select_now, |_| select_then());
        let past = past.map(millis);
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&select)?;
            let offers = statement.query_map(params_from_iter(past), read_listed)?;
            let mut offers: Vec<(String, Listed)> = offers.collect::<Result<_, _>>()?;
            // They come offer by offer as they were first seen, each feed's mostly in order: a sort that
            // finds runs has little to do.
            offers.sort_by(in_order);
            Ok(offers.into_iter().map(|(_, listed)| listed).collect())
        })
    }
}

fn select_now() -> String {
    let terms = terms_columns!();
    format!(
        "SELECT {terms}, f.name, f.retailer, o.sku, o.part, o.title, o.seller, o.condition,
                o.link, {SEEN_UNTIL}
         {STANDING_NOW}"
    )
}

fn select_then() -> String {
    let terms = terms_columns!();
    let StandingThen {
        with,
        seen_until,
        from,
    } = StandingThen::sql();
    format!(
        "{with}
         SELECT {terms}, f.name, f.retailer, o.sku, m.part, coalesce(l.title, o.title), o.seller,
                o.condition, iif(l.offer_id IS NULL, o.link, l.link), {seen_until}
         {from}"
    )
}

/// By part, feed, SKU, seller and condition; no two offers agree in all of them.
fn in_order(one: &(String, Listed), other: &(String, Listed)) -> Ordering {
    let ((feed, one), (other_feed, other)) = (one, other);
    one.part
        .cmp(&other.part)
        .then_with(|| feed.cmp(other_feed))
        .then_with(|| one.sku.cmp(&other.sku))
        // The retailer itself comes first, before any name.
        .then_with(|| one.seller.cmp(&other.seller))
        .then_with(|| one.condition.name().cmp(other.condition.name()))
}

/// An offer, and the name of the feed that it is from.
fn read_listed(row: &Row<'_>) -> rusqlite::Result<(String, Listed)> {
    const FIRST: usize = TERMS_WIDTH;
    let terms = Terms::read(row, 0)?;
    let seller: String = row.get(FIRST + 5)?;
    let seen_at = instant(row, FIRST + 8)?;
    let listed = Listed {
        retailer: RetailerId::new(row.get::<_, String>(FIRST + 1)?),
        sku: Sku::new(row.get::<_, String>(FIRST + 2)?),
        part: PartId::new(row.get::<_, String>(FIRST + 3)?),
        title: row.get(FIRST + 4)?,
        price: terms.price,
        tax_included: terms.tax_included,
        availability: terms.availability,
        lead_days: waiting_days(terms.lead_days, terms.available_from, seen_at),
        condition: condition(row, FIRST + 6)?,
        seller: Some(seller).filter(|seller| !seller.is_empty()),
        shipping: terms.shipping,
        minimum_quantity: terms.minimum_quantity,
        link: row.get(FIRST + 7)?,
        seen_at,
    };
    Ok((row.get(FIRST)?, listed))
}
