//! A year of five retailers in small: what each hourly poll lists, without a feed to read.

use crate::prng::Prng;
use anyhow::Result;
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::ledger::{Effect, Ledger, Mark, Marks, PartMatch, PollRecord, SnapshotIs};
use rigtide::market::{Availability, Condition, FeedId, Offer, RetailerId, Sku};
use rigtide::money::{Currency, Money};

pub const N_RETAILERS: u32 = 5;
/// Of ten thousand offers, how many have another price in an hour, and how many other stock.
/// Common practice, no source: a price stays for three days, stock for a week.
const PRICE_CHANGES: u32 = 139;
const STOCK_CHANGES: u32 = 60;

pub struct World {
    random: Prng,
    feeds: Vec<Feed>,
}

struct Feed {
    id: FeedId,
    retailer: RetailerId,
    offers: Vec<Listed>,
}

struct Listed {
    offer: Offer,
    part: PartMatch,
    version: u64,
    /// It is offered otherwise than an hour ago.
    has_changed: bool,
}

/// What polls wrote.
#[derive(Debug, Clone, Copy, Default)]
pub struct Wrote {
    pub polls: u64,
    pub changes: u64,
}

pub fn begin() -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::days(20_000)
}

impl World {
    pub fn new(seed: u64, n_parts: u32, n_offers: u32) -> World {
        let mut random = Prng::new(seed);
        let each = n_offers / N_RETAILERS;
        let feeds = (0..N_RETAILERS).map(|shop| {
            let retailer = RetailerId::new(format!("shop-{shop}"));
            let offers = (0..each).map(|number| {
                let part = (number + shop * each) % n_parts;
                listed(&retailer, number, part, random.between(1_000, 90_999))
            });
            Feed {
                id: FeedId::new(format!("{retailer}/all")),
                offers: offers.collect(),
                retailer,
            }
        });
        let feeds = feeds.collect();
        World { random, feeds }
    }

    /// Lets an hour pass at the retailers.
    pub fn pass(&mut self) {
        for listed in self.feeds.iter_mut().flat_map(|feed| &mut feed.offers) {
            change(&mut self.random, listed);
        }
    }

    /// What each retailer offers otherwise than an hour ago, by number.
    pub fn changed(&self) -> impl Iterator<Item = impl Iterator<Item = (i64, &Offer)>> {
        let mut first = 1;
        self.feeds.iter().map(move |feed| {
            let numbered = (first..).zip(&feed.offers);
            first += feed.offers.len() as i64;
            let changed = numbered.filter(|(_, listed)| listed.has_changed);
            changed.map(|(number, listed)| (number, &listed.offer))
        })
    }

    /// Polls every feed once.
    pub fn poll(&self, ledger: &mut Ledger, at: DateTime<Utc>) -> Result<Wrote> {
        let mut wrote = Wrote::default();
        for feed in &self.feeds {
            let mut writer = ledger.begin_poll(&feed.id, &feed.retailer, at)?;
            let marks: Marks = writer.take_marks();
            for (place, listed) in (0_u64..).zip(&feed.offers) {
                let mark = listed.mark(place);
                if let Some(known) = marks.get(mark)
                    && writer.confirm(known.row)
                {
                    continue;
                }
                let part = Some(&listed.part);
                let standing = writer.admit(&listed.offer, part, Some(mark))?;
                let effect = writer.observe(&standing, &listed.offer, part)?;
                wrote.changes += u64::from(matches!(effect, Effect::New | Effect::Changed));
            }
            let record = PollRecord {
                records: feed.offers.len() as u64,
                offers: feed.offers.len() as u64,
                ..PollRecord::default()
            };
            writer.commit(&record, SnapshotIs::Complete)?;
            wrote.polls += 1;
        }
        Ok(wrote)
    }
}

impl Listed {
    /// Stands for the digest of a record: the same while the record is, and spread as evenly.
    fn mark(&self, place: u64) -> Mark {
        let one = place << 32 | self.version;
        let mut bytes = [0; 16];
        bytes[..8].copy_from_slice(&one.wrapping_mul(0x9e37_79b9_7f4a_7c15).to_be_bytes());
        bytes[8..].copy_from_slice(&one.to_be_bytes());
        Mark(bytes)
    }
}

fn change(random: &mut Prng, listed: &mut Listed) {
    let drawn = random.between(0, 9_999);
    let offer = &mut listed.offer;
    let before = (offer.price, offer.availability);
    if drawn < PRICE_CHANGES {
        let minor = offer.price.minor();
        let step = i64::from(random.between(0, 99)) - 50;
        offer.price = Money::from_minor((minor + minor * step / 1000).max(100), Currency::EUR);
        listed.version += 1;
    } else if drawn < PRICE_CHANGES + STOCK_CHANGES {
        offer.availability = match offer.availability {
            Availability::InStock => Availability::OutOfStock,
            _ => Availability::InStock,
        };
        listed.version += 1;
    }
    listed.has_changed = (offer.price, offer.availability) != before;
}

fn listed(retailer: &RetailerId, number: u32, part: u32, price_minor: u32) -> Listed {
    let part_id = format!("part-{part}");
    Listed {
        offer: Offer {
            retailer: retailer.clone(),
            sku: Sku::new(format!("{retailer}-{number}")),
            title: format!("Quillon Harbour {part} with a title of usual length, boxed"),
            brand: Some("Quillon".to_owned()),
            gtins: Vec::new(),
            mpn: Some(format!("QH-{part}")),
            price: Money::from_minor(i64::from(price_minor), Currency::EUR),
            list_price: None,
            tax_included: true,
            availability: Availability::InStock,
            lead_days: None,
            available_from: None,
            condition: Condition::New,
            seller: None,
            shipping: None,
            minimum_quantity: 1,
            link: Some(format!("https://{retailer}.example/{number}")),
            valid_until: None,
            properties: Vec::new(),
            notes: Vec::new(),
        },
        part: PartMatch {
            part: part_id,
            by: "mpn".to_owned(),
            confidence_percent: 95,
        },
        version: 0,
        has_changed: true,
    }
}
