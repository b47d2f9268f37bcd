//! How long an offer's price has not been undercut, from the ledger's record.

use crate::decide::{PastPrice, PickRecord};
use crate::history::{Asked, Facts, Reading, Series, Stock, lowest_of};
use crate::ledger::{Interval, LedgerError, OfferRow, Reader};
use crate::market::FeedId;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

/// When feeds were read, kept while several prices are looked up.
#[derive(Debug, Default)]
pub struct Readings(BTreeMap<FeedId, Vec<Reading>>);

impl Readings {
    fn of(&mut self, reader: &Reader, feed: &FeedId) -> Result<&[Reading], LedgerError> {
        if !self.0.contains_key(feed) {
            self.0.insert(feed.clone(), reader.readings(feed)?);
        }
        Ok(self.0.get(feed).map_or(&[], Vec::as_slice))
    }
}

/// What the record says of the lowest price of all offers of the pick's part that compare with its
/// own: of the same condition, in the same currency, with tax or without.
///
/// # Errors
/// [`LedgerError`]
pub fn past_price(
    reader: &Reader,
    readings: &mut Readings,
    pick: &PickRecord,
    at: DateTime<Utc>,
) -> Result<Option<PastPrice>, LedgerError> {
    let intervals = reader.series(pick.part.as_str())?;
    let is_own = |one: &&Interval| {
        one.is_open
            && pick.retailer.as_ref() == Some(&one.retailer)
            && pick.sku.as_ref() == Some(&one.sku)
    };
    let Some(own) = intervals.iter().find(is_own) else {
        return Ok(None);
    };
    let currency = own.price.currency();
    let is_alike = |one: &&Interval| {
        one.condition == own.condition
            && one.price.currency() == currency
            && one.tax_included == own.tax_included
    };
    let mut offers: BTreeMap<OfferRow, Vec<&Interval>> = BTreeMap::new();
    for interval in intervals.iter().filter(is_alike) {
        let of_offer = offers.entry(interval.observation.offer).or_default();
        of_offer.push(interval);
    }
    let mut all = Vec::new();
    for intervals in offers.into_values() {
        let Some(first) = intervals.first() else {
            continue;
        };
        let asked = intervals.iter().map(|interval| Asked {
            from: interval.from,
            until: interval.until,
            gone_since: interval.gone_since,
            minor: interval.price.minor(),
            stock: Stock::of(interval.availability),
        });
        let asked: Vec<Asked> = asked.collect();
        let of_feed = readings.of(reader, &first.feed)?;
        all.push(Series::of_offer(currency, &asked, of_feed, at));
    }
    let lowest = lowest_of(currency, &all.iter().collect::<Vec<_>>());
    Ok(Facts::of(&lowest).and_then(|facts| PastPrice::new(&facts, currency)))
}
