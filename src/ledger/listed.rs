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
            let mut rows = statement.query(params_from_iter(past))?;
            let mut feeds = Feeds::default();
            let mut offers = Vec::new();
            while let Some(row) = rows.next()? {
                let feed = feeds.number(row.get_ref(TERMS_WIDTH)?.as_str()?);
                offers.push((feed, read_listed(row)?));
            }
            Ok(in_order(&feeds, offers))
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

/// The names of the feeds, by the numbers that they have here.
#[derive(Default)]
struct Feeds {
    names: Vec<String>,
    last: usize,
}

impl Feeds {
    /// The number of a feed. Offers of one feed come one after another, most of them.
    fn number(&mut self, name: &str) -> usize {
        if self.names.get(self.last).is_none_or(|last| last != name) {
            let known = self.names.iter().position(|known| known == name);
            self.last = known.unwrap_or(self.names.len());
            if known.is_none() {
                self.names.push(name.to_owned());
            }
        }
        self.last
    }
}

/// By part, feed, SKU, seller and condition; no two offers agree in all of them. Offers are wide, so
/// their places are sorted and each is moved once.
fn in_order(feeds: &Feeds, offers: Vec<(usize, Listed)>) -> Vec<Listed> {
    let compare = |one: &usize, other: &usize| {
        let ((feed, one), (other_feed, other)) = (&offers[*one], &offers[*other]);
        one.part
            .cmp(&other.part)
            .then_with(|| feeds.names[*feed].cmp(&feeds.names[*other_feed]))
            .then_with(|| one.sku.cmp(&other.sku))
            // The retailer itself comes first, before any name.
            .then_with(|| one.seller.cmp(&other.seller))
            .then_with(|| one.condition.name().cmp(other.condition.name()))
    };
    let mut places: Vec<usize> = (0..offers.len()).collect();
    places.sort_by(compare);
    let mut offers: Vec<Option<Listed>> = offers.into_iter().map(|(_, one)| Some(one)).collect();
    let sorted = places.into_iter().filter_map(|place| offers[place].take());
    sorted.collect()
}

/// Reads the columns of both selections; the name of the feed stands at [`TERMS_WIDTH`].
fn read_listed(row: &Row<'_>) -> rusqlite::Result<Listed> {
    const FIRST: usize = TERMS_WIDTH;
    let terms = Terms::read(row, 0)?;
    let seller: String = row.get(FIRST + 5)?;
    let seen_at = instant(row, FIRST + 8)?;
    Ok(Listed {
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
    })
}
