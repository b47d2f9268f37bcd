//! Behaviour of the ledger on real files.

use super::*;
use crate::catalogue::Gtin;
use crate::catalogue::reading::Property;
use crate::decide::{Bulletin, BulletinId};
use crate::market::{Availability, Condition, FeedId, Offer, RetailerId, Sku};
use crate::money::{Currency, Money};
use chrono::{DateTime, TimeDelta, Utc};
use std::path::PathBuf;
use tempfile::TempDir;

mod answers;
mod copies;
mod deciding;
mod editions;
mod holding;
mod listed;
mod marking;
mod opening;
mod polls;
mod property;
mod then;
mod thinning;
mod verifying;
mod versions;

/// A ledger in a folder of its own, with one feed that is polled minute by minute.
struct Bench {
    ledger: Ledger,
    folder: TempDir,
}

impl PollWriter<'_> {
    /// Looks an offer up and stores it as believed.
    fn see(&mut self, offer: &Offer, part: Option<&PartMatch>) -> Result<Effect, LedgerError> {
        let standing = self.admit(offer, part, None)?;
        self.observe(&standing, offer, part)
    }

    /// Looks an offer up and sets it apart.
    fn doubt(&mut self, offer: &Offer, part: Option<&PartMatch>, confirms: Confirms) -> Effect {
        let standing = self.admit(offer, part, None).unwrap();
        self.hold(&standing, offer, part, "it is doubted", confirms)
            .unwrap()
    }
}

impl Bench {
    fn new() -> Bench {
        let folder = tempfile::tempdir().unwrap();
        let ledger = Ledger::open(&folder.path().join("ledger.db")).unwrap();
        Bench { ledger, folder }
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("ledger.db")
    }

    /// Polls a complete snapshot of these offers.
    fn poll(&mut self, minute: i64, offers: &[Offer]) -> Vec<Effect> {
        self.poll_as(minute, offers, SnapshotIs::Complete)
    }

    fn poll_as(&mut self, minute: i64, offers: &[Offer], snapshot: SnapshotIs) -> Vec<Effect> {
        let mut writer = self
            .ledger
            .begin_poll(&feed(), &retailer(), at(minute))
            .unwrap();
        let effects = offers
            .iter()
            .map(|offer| writer.see(offer, Some(&part("cpu-a"))).unwrap())
            .collect();
        writer.commit(&PollRecord::default(), snapshot).unwrap();
        effects
    }

    fn hold(&mut self, minute: i64, offer: &Offer) -> Effect {
        let mut writer = self
            .ledger
            .begin_poll(&feed(), &retailer(), at(minute))
            .unwrap();
        let effect = writer.doubt(offer, Some(&part("cpu-a")), Confirms::Polls);
        writer
            .commit(&PollRecord::default(), SnapshotIs::Complete)
            .unwrap();
        effect
    }

    fn unchanged(&mut self, minute: i64) {
        self.quiet(minute, NoSnapshot::Unchanged);
    }

    fn quiet(&mut self, minute: i64, outcome: NoSnapshot) {
        let record = PollRecord::default();
        self.ledger
            .record_poll(&feed(), &retailer(), at(minute), outcome, &record)
            .unwrap();
    }

    fn current(&self) -> Vec<CurrentOffer> {
        self.ledger.read().current_offers().unwrap()
    }

    /// Minutes from and until, and the price, of each interval.
    fn series(&self) -> Vec<(i64, i64, i64)> {
        let intervals = self.ledger.read().series("cpu-a").unwrap();
        let minutes = |at: DateTime<Utc>| at.timestamp() / 60;
        intervals
            .iter()
            .map(|found| {
                (
                    minutes(found.from),
                    minutes(found.until),
                    found.price.minor(),
                )
            })
            .collect()
    }

    fn count(&self, table: &str) -> i64 {
        let count = |connection: &rusqlite::Connection| {
            let select = format!("SELECT count(*) FROM {table}");
            connection.query_row(&select, [], |row| row.get(0))
        };
        self.ledger.read().run(count).unwrap()
    }
}

fn at(minute: i64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::minutes(minute)
}

fn feed() -> FeedId {
    FeedId::new("northlight/all")
}

fn retailer() -> RetailerId {
    RetailerId::new("northlight")
}

fn part(id: &str) -> PartMatch {
    PartMatch {
        part: id.to_owned(),
        by: "gtin".to_owned(),
        confidence_percent: 100,
    }
}

fn offer(sku: &str, price_minor: i64) -> Offer {
    Offer {
        retailer: retailer(),
        sku: Sku::new(sku),
        title: format!("Quillon K7 {sku}"),
        brand: Some("Quillon".to_owned()),
        gtins: vec![Gtin::parse("4006588234018").unwrap_or(Gtin::parse("071588234019").unwrap())],
        mpn: Some("QK7-\"8'".to_owned()),
        price: Money::from_minor(price_minor, Currency::EUR),
        list_price: Some(Money::from_minor(price_minor + 500, Currency::EUR)),
        tax_included: true,
        availability: Availability::InStock,
        lead_days: None,
        available_from: None,
        condition: Condition::New,
        seller: None,
        shipping: Some(Money::from_minor(490, Currency::parse("USD").unwrap())),
        minimum_quantity: 1,
        link: Some("https://shop.example/k7?a=1&b=%22".to_owned()),
        valid_until: Some(at(90_000)),
        properties: vec![Property {
            name: "Länge".to_owned(),
            value: "30 \"cm\"".to_owned(),
            unit: Some("MMT".to_owned()),
        }],
        notes: vec!["sale, until Sunday".to_owned(), "grau \"ä\"".to_owned()],
    }
}

fn bulletin(answer: &str) -> Bulletin {
    Bulletin {
        id: BulletinId::derive("media-room", answer, at(1)),
        brief: "media-room".to_owned(),
        at: at(1),
        subject: "another processor".to_owned(),
        text: "out: K7\nin: K9".to_owned(),
        data: serde_json::json!({"score": "104.20", "in": ["K9"]}),
    }
}

fn decision(minute: i64, fingerprint: &str) -> Decision {
    Decision {
        brief: "media-room".to_owned(),
        at: at(minute),
        fingerprint: fingerprint.to_owned(),
        answer_json: format!("{{\"build\":\"{fingerprint}\",\"minute\":{minute}}}"),
        journal: vec![JournalEntry {
            at: at(minute),
            kind: "build_changed".to_owned(),
            feed: None,
            brief: Some("media-room".to_owned()),
            part: Some("cpu-a".to_owned()),
            text: "the best build changed".to_owned(),
            data: serde_json::json!({"minute": minute}),
        }],
        bulletins: vec![
            ("phone".to_owned(), bulletin(fingerprint)),
            ("desk".to_owned(), bulletin(fingerprint)),
        ],
    }
}
