//! The offers of parts as they stand now, in the form that markets are made from.
//!
//! Every question reads all of them, so this takes the columns that a market asks for and no others,
//! and puts them in order itself: rows that wide cost the database more to sort than to read.

use super::columns::{TERMS_WIDTH, Terms, condition, instant, terms_columns};
use super::error::LedgerError;
use super::market::{CurrentOffer, SEEN_UNTIL};
use super::open::Reader;
use crate::catalogue::PartId;
use crate::market::{Listed, RetailerId, Sku, waiting_days};
use rusqlite::Row;
use std::cmp::Ordering;

impl Reader {
    /// What [`Reader::current_offers`] says of now, in the same order.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn listed(&self) -> Result<Vec<Listed>, LedgerError> {
        let select = format!(
            "SELECT {terms}, f.name, f.retailer, o.sku, o.part, o.title, o.seller, o.condition,
                    o.link, {SEEN_UNTIL}
             FROM offer o JOIN feed f ON f.id = o.feed_id
             JOIN observation b ON b.offer_id = o.id AND b.until_ms IS NULL
             WHERE o.part IS NOT NULL",
            terms = terms_columns!()
        );
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&select)?;
            let offers = statement.query_map([], read_listed)?;
            let mut offers: Vec<(String, Listed)> = offers.collect::<Result<_, _>>()?;
            // They come feed by feed, each mostly in order: a sort that finds runs has little to do.
            offers.sort_by(in_order);
            Ok(offers.into_iter().map(|(_, listed)| listed).collect())
        })
    }
}

impl From<CurrentOffer> for Listed {
    fn from(current: CurrentOffer) -> Listed {
        let offer = current.offer;
        Listed {
            retailer: offer.retailer,
            sku: offer.sku,
            part: PartId::new(current.part.part),
            title: offer.title,
            price: offer.price,
            tax_included: offer.tax_included,
            availability: offer.availability,
            lead_days: waiting_days(offer.lead_days, offer.available_from, current.seen_at),
            condition: offer.condition,
            seller: offer.seller,
            shipping: offer.shipping,
            minimum_quantity: offer.minimum_quantity,
            link: offer.link,
            seen_at: current.seen_at,
        }
    }
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
