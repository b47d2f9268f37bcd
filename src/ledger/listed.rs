//! The offers of parts as they stand or stood, in the form that markets are made from.
//!
//! Every question reads all of them, so this takes the columns that a market asks for and no others,
//! and puts them in order itself: rows that wide cost the database more to sort than to read.

use super::believed::{Believed, BelievedThen, ENDED_A_STEP};
use super::columns::{Terms, condition, instant, millis, read_instant, terms_columns};
use super::error::LedgerError;
use super::gaps::WENT_WELL;
use super::market::{SEEN_NOW, STANDING_NOW};
use super::matching::OfferRow;
use super::open::Reader;
use crate::catalogue::PartId;
use crate::market::{Listed, RetailerId, Sku, waiting_days};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, Row};

impl Reader {
    /// What [`Reader::current_offers`] says of now, or as it was said at an instant: with the prices,
    /// the stock, the matches, the titles and the links known then, without what was gone by then.
    ///
    /// What several writes said of one millisecond counts as the last of them left it. A poll counts
    /// from its instant on, though it takes a moment until it is stored.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn listed(&self, past: Option<DateTime<Utc>>) -> Result<Vec<Listed>, LedgerError> {
        match past {
            None => self.listed_now(),
            Some(at) => self.listed_then(at, ENDED_A_STEP),
        }
    }

    fn listed_now(&self) -> Result<Vec<Listed>, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&select_now())?;
            let mut found = statement.query([])?;
            let mut rows = Rows::for_all(connection)?;
            while let Some(row) = found.next()? {
                let terms = Terms::read(row, WIDTH + 1)?;
                rows.add(row, &terms, instant(row, WIDTH)?)?;
            }
            Ok(rows.in_order())
        })
    }

    pub(super) fn listed_then(
        &self,
        at: DateTime<Utc>,
        step: usize,
    ) -> Result<Vec<Listed>, LedgerError> {
        let at_ms = millis(at);
        self.run(|connection| {
            // One state of the ledger for all three, while polls go on.
            let snapshot = connection.unchecked_transaction()?;
            let mut then = BelievedThen::read(&snapshot, at_ms, step)?;
            let mut statement = snapshot.prepare_cached(&select_then())?;
            let mut found = statement.query([at_ms])?;
            let mut rows = Rows::for_all(&snapshot)?;
            while let Some(row) = found.next()? {
                if let Some(believed) = then.of(OfferRow(row.get(WIDTH)?))? {
                    rows.add(row, &believed.terms, seen_at(row, &believed)?)?;
                }
            }
            Ok(rows.in_order())
        })
    }
}

/// What an offer is called and taken for, in the first columns of both selections.
const WIDTH: usize = 8;

/// Further columns: when its terms were last seen, and the terms.
fn select_now() -> String {
    let terms = terms_columns!();
    format!(
        "SELECT f.name, f.retailer, o.sku, o.part, o.title, o.seller, o.condition, o.link,
                {SEEN_NOW}, {terms}
         {STANDING_NOW}"
    )
}

/// Further columns: the offer, and what [`seen_at`] needs. A row of a group that has its `max` gives the
/// group's other columns, as SQLite has it; all tables are read in the order of the offers.
fn select_then() -> String {
    format!(
        "WITH newest AS MATERIALIZED (
             SELECT f.id AS feed_id,
                    (SELECT p.at_ms FROM poll p
                     WHERE p.feed_id = f.id AND p.at_ms <= ?1 AND {WENT_WELL}
                     ORDER BY p.at_ms DESC LIMIT 1) AS at_ms
             FROM feed f)
         SELECT f.name, f.retailer, o.sku, m.part, coalesce(l.title, o.title), o.seller,
                o.condition, iif(l.offer_id IS NULL, o.link, l.link), o.id,
                max(o.last_seen_ms, iif(o.present, coalesce(f.seen_until_ms, 0), 0)), n.at_ms,
                g.seen_ms, g.until_ms
         FROM (SELECT offer_id, part, max(since_ms) FROM matching WHERE since_ms <= ?1
               GROUP BY offer_id) m
         CROSS JOIN offer o ON o.id = m.offer_id
         CROSS JOIN feed f ON f.id = o.feed_id
         CROSS JOIN newest n ON n.feed_id = f.id
         LEFT JOIN listing l ON l.offer_id = o.id AND l.until_ms =
             (SELECT min(until_ms) FROM listing WHERE offer_id = o.id AND until_ms > ?1)
         LEFT JOIN gap g ON g.offer_id = o.id AND g.seen_ms =
             (SELECT max(seen_ms) FROM gap WHERE offer_id = o.id AND seen_ms < n.at_ms)
         WHERE m.part IS NOT NULL AND o.first_seen_ms <= ?1
             AND (o.gone_since_ms IS NULL OR o.gone_since_ms > ?1)"
    )
}

/// When terms had last been seen at the instant that was asked about: by the newest poll up to it,
/// unless that lies in a gap or they were seen no more.
fn seen_at(row: &Row<'_>, believed: &Believed) -> rusqlite::Result<DateTime<Utc>> {
    let offer_seen_ms: i64 = row.get(WIDTH + 1)?;
    let newest_ms: Option<i64> = row.get(WIDTH + 2)?;
    let gap: Option<(i64, i64)> = row
        .get::<_, Option<i64>>(WIDTH + 3)?
        .zip(row.get(WIDTH + 4)?);
    let newest_ms = newest_ms.map(|newest_ms| match gap {
        Some((seen_ms, until_ms)) if seen_ms >= believed.from_ms && until_ms >= newest_ms => {
            seen_ms
        }
        _ => newest_ms,
    });
    let seen_ms = newest_ms.map_or(believed.from_ms, |newest| newest.max(believed.from_ms));
    read_instant(
        WIDTH,
        seen_ms.min(believed.until_ms.unwrap_or(offer_seen_ms)),
    )
}

/// Offers, each with the number of its feed.
struct Rows {
    feeds: Feeds,
    offers: Vec<(usize, Listed)>,
}

/// The names of the feeds and their retailers, by the numbers that they have here.
#[derive(Default)]
struct Feeds {
    known: Vec<(String, RetailerId)>,
    last: usize,
}

impl Feeds {
    /// The number of the feed of a row. Offers of one feed come one after another, most of them.
    fn number(&mut self, row: &Row<'_>) -> rusqlite::Result<usize> {
        let name = row.get_ref(0)?.as_str()?;
        if self
            .known
            .get(self.last)
            .is_none_or(|(last, _)| last != name)
        {
            let known = self.known.iter().position(|(known, _)| known == name);
            self.last = known.unwrap_or(self.known.len());
            if known.is_none() {
                let retailer = RetailerId::new(row.get_ref(1)?.as_str()?);
                self.known.push((name.to_owned(), retailer));
            }
        }
        Ok(self.last)
    }

    fn name(&self, number: usize) -> &str {
        &self.known[number].0
    }

    fn retailer(&self, number: usize) -> RetailerId {
        self.known[number].1.clone()
    }
}

impl Rows {
    /// With room for as many offers as stand now; to make room one by one would move all of them often.
    fn for_all(connection: &Connection) -> rusqlite::Result<Rows> {
        let n_standing: u32 = connection
            .prepare_cached("SELECT count(*) FROM standing")?
            .query_row([], |row| row.get(0))?;
        Ok(Rows {
            feeds: Feeds::default(),
            offers: Vec::with_capacity(n_standing as usize),
        })
    }

    /// Adds the offer of a row of either selection.
    fn add(
        &mut self,
        row: &Row<'_>,
        terms: &Terms,
        seen_at: DateTime<Utc>,
    ) -> rusqlite::Result<()> {
        let feed = self.feeds.number(row)?;
        let retailer = self.feeds.retailer(feed);
        let listed = read_listed(row, retailer, terms, seen_at)?;
        self.offers.push((feed, listed));
        Ok(())
    }

    /// By part, feed, SKU, seller and condition; no two offers agree in all of them. Offers are wide,
    /// so their places are sorted and each is moved once.
    fn in_order(self) -> Vec<Listed> {
        let Rows { feeds, offers } = self;
        let compare = |one: &usize, other: &usize| {
            let ((feed, one), (other_feed, other)) = (&offers[*one], &offers[*other]);
            one.part
                .cmp(&other.part)
                .then_with(|| feeds.name(*feed).cmp(feeds.name(*other_feed)))
                .then_with(|| one.sku.cmp(&other.sku))
                // The retailer itself comes first, before any name.
                .then_with(|| one.seller.cmp(&other.seller))
                .then_with(|| one.condition.name().cmp(other.condition.name()))
        };
        let mut places: Vec<usize> = (0..offers.len()).collect();
        places.sort_unstable_by(compare);
        let mut offers: Vec<Option<(usize, Listed)>> = offers.into_iter().map(Some).collect();
        // An iterator that may leave some out does not say how many there will be.
        let mut sorted = Vec::with_capacity(places.len());
        sorted.extend(
            places
                .into_iter()
                .filter_map(|place| offers[place].take())
                .map(|(_, one)| one),
        );
        sorted
    }
}

fn read_listed(
    row: &Row<'_>,
    retailer: RetailerId,
    terms: &Terms,
    seen_at: DateTime<Utc>,
) -> rusqlite::Result<Listed> {
    let seller: String = row.get(5)?;
    Ok(Listed {
        retailer,
        sku: Sku::new(row.get_ref(2)?.as_str()?),
        part: PartId::new(row.get_ref(3)?.as_str()?),
        title: row.get(4)?,
        price: terms.price,
        tax_included: terms.tax_included,
        availability: terms.availability,
        lead_days: waiting_days(terms.lead_days, terms.available_from, seen_at),
        condition: condition(row, 6)?,
        seller: Some(seller).filter(|seller| !seller.is_empty()),
        shipping: terms.shipping,
        minimum_quantity: terms.minimum_quantity,
        link: row.get(7)?,
        seen_at,
    })
}
