//! The offers of parts as they stand or stood, in the form that markets are made from.
//!
//! Every question reads all of them, so this takes the columns that a market asks for and no others,
//! and puts them in order itself: rows that wide cost the database more to sort than to read. Of the
//! past, each offer's terms lie on a page of their own, so two connections read half of them each.

use super::columns::{TERMS_WIDTH, Terms, condition, instant, millis, terms_columns};
use super::error::LedgerError;
use super::market::{SEEN_UNTIL, STANDING_NOW, StandingThen};
use super::open::Reader;
use crate::catalogue::PartId;
use crate::market::{Listed, RetailerId, Sku, waiting_days};
use chrono::{DateTime, Utc};
use rusqlite::{Params, Row};
use std::ops::RangeInclusive;

/// Fewer offers are read faster by one connection than by two.
const OFFERS_FOR_TWO: i64 = 2_000;

impl Reader {
    /// What [`Reader::current_offers`] says of now or of an instant, in the same order.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn listed(&self, past: Option<DateTime<Utc>>) -> Result<Vec<Listed>, LedgerError> {
        match past {
            None => Ok(self.rows(&select_now(), [])?.in_order()),
            Some(at) => self.listed_then(at),
        }
    }

    /// What stood at an instant is written no more, so it does not matter that the two see the
    /// ledger at slightly different moments of today.
    fn listed_then(&self, at: DateTime<Utc>) -> Result<Vec<Listed>, LedgerError> {
        let last = self.run(|connection| {
            let select = "SELECT coalesce(max(id), 0) FROM offer";
            connection.query_row(select, [], |row| row.get::<_, i64>(0))
        })?;
        let of = |reader: &Reader, offers: RangeInclusive<i64>| {
            let parameters = (millis(at), *offers.start(), *offers.end());
            reader.rows(&select_then(), parameters).map(Rows::sorted)
        };
        if last < OFFERS_FOR_TWO {
            return Ok(of(self, 0..=last)?.in_order());
        }
        let middle = last / 2;
        let path = self.path();
        let (first, second) = std::thread::scope(|threads| {
            let second = threads.spawn(|| of(&Reader::open(path)?, middle + 1..=last));
            (of(self, 0..=middle), second.join())
        });
        let mut rows = first?;
        match second {
            Ok(second) => rows.extend(second?),
            Err(panic) => std::panic::resume_unwind(panic),
        }
        Ok(rows.in_order())
    }

    fn rows(&self, select: &str, parameters: impl Params) -> Result<Rows, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(select)?;
            let mut found = statement.query(parameters)?;
            let mut rows = Rows::default();
            while let Some(row) = found.next()? {
                let feed = rows.feeds.number(row.get_ref(TERMS_WIDTH)?.as_str()?);
                rows.offers.push((feed, read_listed(row)?));
            }
            Ok(rows)
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
         {from} AND o.id BETWEEN ?2 AND ?3"
    )
}

/// Offers, each with the number of its feed.
#[derive(Default)]
struct Rows {
    feeds: Feeds,
    offers: Vec<(usize, Listed)>,
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

impl Rows {
    fn extend(&mut self, others: Rows) {
        let Rows { feeds, offers } = others;
        let numbers = feeds.names.iter().map(|name| self.feeds.number(name));
        let numbers: Vec<usize> = numbers.collect();
        let offers = offers.into_iter().map(|(feed, one)| (numbers[feed], one));
        self.offers.extend(offers);
    }

    /// By part, feed, SKU, seller and condition; no two offers agree in all of them. Offers are wide,
    /// so their places are sorted and each is moved once.
    fn sorted(self) -> Rows {
        let Rows { feeds, offers } = self;
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
        // What two connections brought are two runs in order, which this sort merges.
        places.sort_by(compare);
        let mut offers: Vec<Option<(usize, Listed)>> = offers.into_iter().map(Some).collect();
        let sorted = places.into_iter().filter_map(|place| offers[place].take());
        Rows {
            offers: sorted.collect(),
            feeds,
        }
    }

    fn in_order(self) -> Vec<Listed> {
        self.sorted()
            .offers
            .into_iter()
            .map(|(_, one)| one)
            .collect()
    }
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
