//! Which part each offer is taken for, and the offers as they are stored.

use super::columns::{
    TERMS_WIDTH, Terms, condition, millis, optional_instant, properties, texts, unreadable,
};
use super::error::LedgerError;
use super::journal::{self, JournalEntry};
use super::marks::{self, Mark};
use super::open::{Ledger, Reader};
use super::rows;
use crate::catalogue::Gtin;
use crate::market::{FeedId, Offer, RetailerId, Sku};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension as _, Row};
use std::collections::BTreeSet;

/// The number of an offer in this ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct OfferRow(pub i64);

/// The evidence that an offer is a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartMatch {
    /// The part's id in the catalogue.
    pub part: String,
    /// What matched: `gtin`, `mpn`, `title` ...
    pub by: String,
    /// 0 to 100.
    pub confidence_percent: u8,
}

/// An offer that a feed lists, with the part it is taken for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredOffer {
    pub row: OfferRow,
    pub feed: FeedId,
    pub offer: Offer,
    pub part: Option<PartMatch>,
}

/// The columns that [`read_offer`] wants, in its order; the terms come after them.
macro_rules! offer_columns {
    () => {
        offer_columns!("o.title", "o.link")
    };
    ($title:literal, $link:literal) => {
        concat!(
            "f.retailer, o.sku, o.seller, o.condition, ",
            $title,
            ", o.brand, o.gtins, o.mpn, ",
            $link,
            ", o.valid_until_ms, o.notes, o.properties, b.price_minor, b.currency, b.availability,
             b.list_minor, b.list_currency, b.shipping_minor, b.shipping_currency, b.tax_included,
             b.minimum_quantity, b.lead_days, b.available_from_ms"
        )
    };
}
pub(super) use offer_columns;

const TEXT_WIDTH: usize = 12;
/// How many columns [`offer_columns`] names.
pub(super) const OFFER_WIDTH: usize = TEXT_WIDTH + TERMS_WIDTH;

impl Reader {
    /// Every offer that is listed and believed, matched or not, in the order of feed and SKU.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn listed_offers(&self) -> Result<Vec<StoredOffer>, LedgerError> {
        let mut listed = Vec::new();
        self.each_listed_offer(|offer| listed.push(offer))?;
        Ok(listed)
    }

    /// Shows every offer that [`Reader::listed_offers`] lists, one at a time, so that a large
    /// ledger need not fit in memory.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn each_listed_offer(&self, show: impl FnMut(StoredOffer)) -> Result<(), LedgerError> {
        self.each_offer(true, show)
    }

    /// The same of those that are taken for no part.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn each_unmatched_offer(&self, show: impl FnMut(StoredOffer)) -> Result<(), LedgerError> {
        self.each_offer(false, show)
    }

    fn each_offer(
        &self,
        with_matched: bool,
        mut show: impl FnMut(StoredOffer),
    ) -> Result<(), LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(concat!(
                "SELECT ",
                offer_columns!(),
                ", o.id, f.name, o.part, o.matched_by, o.confidence_percent
                 FROM offer o JOIN feed f ON f.id = o.feed_id
                 JOIN standing b ON b.offer_id = o.id
                 WHERE ?1 OR o.part IS NULL
                 ORDER BY f.name, o.sku, o.seller, o.condition"
            ))?;
            let offers = statement.query_map([with_matched], |row| {
                Ok(StoredOffer {
                    row: OfferRow(row.get(OFFER_WIDTH)?),
                    feed: FeedId::new(row.get::<_, String>(OFFER_WIDTH + 1)?),
                    offer: read_offer(row)?,
                    part: read_match(row, OFFER_WIDTH + 2)?,
                })
            })?;
            for offer in offers {
                show(offer?);
            }
            Ok(())
        })
    }
}

impl Reader {
    /// The mark of the catalogue that all stored offers were last matched against.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn matched_with(&self) -> Result<Option<Mark>, LedgerError> {
        self.run(|connection| {
            let sql = "SELECT catalogue FROM matched_with";
            connection.query_row(sql, [], |row| row.get(0)).optional()
        })
    }
}

impl Ledger {
    /// Takes offers for other parts from `at` on, for the catalogue has changed to the one that
    /// `catalogue` marks, and notes why; all or none.
    ///
    /// # Errors
    /// [`LedgerError`]; then no match has changed.
    pub fn rematch(
        &mut self,
        matches: &[(OfferRow, Option<PartMatch>)],
        entry: Option<&JournalEntry>,
        catalogue: Mark,
        at: DateTime<Utc>,
    ) -> Result<(), LedgerError> {
        self.write(|connection| {
            take_for(connection, matches, at)?;
            connection.execute(
                "INSERT INTO matched_with (only, catalogue) VALUES (1, ?1)
                 ON CONFLICT (only) DO UPDATE SET catalogue = excluded.catalogue",
                [catalogue],
            )?;
            entry.map_or(Ok(()), |entry| journal::insert(connection, entry))
        })
    }
}

/// Takes offers for other parts. What their feeds list is to be read again: by a catalogue or decisions of
/// which none of their marks speaks.
pub(super) fn take_for(
    connection: &Connection,
    matches: &[(OfferRow, Option<PartMatch>)],
    at: DateTime<Utc>,
) -> rusqlite::Result<()> {
    let mut feed_of = connection.prepare_cached("SELECT feed_id FROM offer WHERE id = ?1")?;
    let mut feeds = BTreeSet::new();
    for (row, part) in matches {
        rows::update_match(connection, *row, part.as_ref(), millis(at))?;
        feeds.insert(feed_of.query_row([row.0], |row| row.get::<_, i64>(0))?);
    }
    feeds
        .into_iter()
        .try_for_each(|feed| marks::forget(connection, feed))
}

/// Reads the columns of [`offer_columns`], which come first in the row.
pub(super) fn read_offer(row: &Row<'_>) -> rusqlite::Result<Offer> {
    let seller: String = row.get(2)?;
    let terms = Terms::read(row, TEXT_WIDTH)?;
    Ok(Offer {
        retailer: RetailerId::new(row.get::<_, String>(0)?),
        sku: Sku::new(row.get::<_, String>(1)?),
        title: row.get(4)?,
        brand: row.get(5)?,
        gtins: read_gtins(row, 6)?,
        mpn: row.get(7)?,
        price: terms.price,
        list_price: terms.list_price,
        tax_included: terms.tax_included,
        availability: terms.availability,
        lead_days: terms.lead_days,
        available_from: terms.available_from,
        condition: condition(row, 3)?,
        seller: Some(seller).filter(|seller| !seller.is_empty()),
        shipping: terms.shipping,
        minimum_quantity: terms.minimum_quantity,
        link: row.get(8)?,
        valid_until: optional_instant(row, 9)?,
        notes: texts(row, 10)?,
        properties: properties(row, 11)?,
    })
}

/// Reads a part, what matched it and the confidence.
pub(super) fn read_match(row: &Row<'_>, first: usize) -> rusqlite::Result<Option<PartMatch>> {
    let Some(part) = row.get(first)? else {
        return Ok(None);
    };
    Ok(Some(PartMatch {
        part,
        by: row.get(first + 1)?,
        confidence_percent: row.get(first + 2)?,
    }))
}

fn read_gtins(row: &Row<'_>, column: usize) -> rusqlite::Result<Vec<Gtin>> {
    let text = row.get_ref(column)?.as_str()?;
    let gtins = text.split_ascii_whitespace().map(Gtin::parse);
    gtins
        .collect::<Result<_, _>>()
        .map_err(|fault| unreadable(column, fault))
}
