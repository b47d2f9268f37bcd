//! Behaviour of the ledger on real files.

use super::*;
use crate::catalogue::Gtin;
use crate::decide::{Bulletin, BulletinId};
use crate::market::{Availability, Condition, FeedId, Offer, RetailerId, Sku};
use crate::money::{Currency, Money};
use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// A ledger in a folder of its own, with one feed that is polled minute by minute.
struct Bench {
    ledger: Ledger,
    folder: TempDir,
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
            .map(|offer| writer.observe(offer, Some(&part("cpu-a"))).unwrap())
            .collect();
        writer.commit(&PollRecord::default(), snapshot).unwrap();
        effects
    }

    fn hold(&mut self, minute: i64, offer: &Offer) -> Effect {
        let mut writer = self
            .ledger
            .begin_poll(&feed(), &retailer(), at(minute))
            .unwrap();
        let effect = writer
            .hold(
                offer,
                Some(&part("cpu-a")),
                "a hundredth of yesterday's price",
            )
            .unwrap();
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
        self.ledger.read().current_offers(None).unwrap()
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
        condition: Condition::New,
        seller: None,
        shipping: Some(Money::from_minor(490, Currency::parse("USD").unwrap())),
        minimum_quantity: 1,
        link: Some("https://shop.example/k7?a=1&b=%22".to_owned()),
        valid_until: Some(at(90_000)),
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

#[test]
fn an_offer_reads_back_as_it_was_seen() {
    let mut bench = Bench::new();
    let seen = offer("q-1", 19_990);
    assert_eq!(bench.poll(1, std::slice::from_ref(&seen)), [Effect::New]);
    let reader = Reader::open(&bench.path()).unwrap();
    let current = reader.current_offers(None).unwrap();
    assert_eq!(current.len(), 1);
    assert_eq!(current[0].offer, seen);
    assert_eq!(current[0].part, part("cpu-a"));
    assert_eq!(current[0].seen_at, at(1));
    assert_eq!(current[0].feed, feed());
    let listed = reader.listed_offers().unwrap();
    assert_eq!(listed.len(), 1);
    assert_eq!(
        (&listed[0].offer, &listed[0].part),
        (&seen, &Some(part("cpu-a")))
    );
}

#[test]
fn an_unchanged_price_is_one_row_however_often_it_is_seen() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 19_990)]);
    for minute in 1..288 {
        match minute % 2 {
            0 => bench.unchanged(minute),
            _ => assert_eq!(
                bench.poll(minute, &[offer("q-1", 19_990)]),
                [Effect::Unchanged]
            ),
        }
    }
    assert_eq!(bench.series(), [(0, 287, 19_990)]);
    assert_eq!(bench.count("observation"), 1);
    assert_eq!(bench.count("poll"), 288);
    assert_eq!(bench.current()[0].seen_at, at(287));
}

#[test]
fn every_term_that_moves_opens_an_interval_and_text_does_not() {
    let mut bench = Bench::new();
    let mut next = offer("q-1", 100);
    bench.poll(0, std::slice::from_ref(&next));
    let changes: [fn(&mut Offer); 9] = [
        |offer| offer.price = Money::from_minor(101, Currency::EUR),
        |offer| offer.price = Money::from_minor(101, Currency::parse("CHF").unwrap()),
        |offer| offer.availability = Availability::OutOfStock,
        |offer| offer.list_price = None,
        |offer| offer.shipping = Some(Money::from_minor(490, Currency::EUR)),
        |offer| offer.shipping = None,
        |offer| offer.tax_included = false,
        |offer| offer.minimum_quantity = 2,
        |offer| offer.list_price = Some(Money::zero(Currency::EUR)),
    ];
    let mut minute = 0;
    for change in changes {
        minute += 1;
        change(&mut next);
        assert_eq!(
            bench.poll(minute, std::slice::from_ref(&next)),
            [Effect::Changed]
        );
        assert_eq!(bench.current()[0].offer, next);
    }
    let rows = bench.count("observation");
    next.title = "Quillon K7 boxed".to_owned();
    next.link = None;
    next.notes.clear();
    assert_eq!(
        bench.poll(100, std::slice::from_ref(&next)),
        [Effect::Unchanged]
    );
    assert_eq!(bench.current()[0].offer, next);
    assert_eq!(bench.count("observation"), rows);
}

#[test]
fn an_offer_missing_once_and_back_is_neither_gone_nor_new() {
    // Pitfall F39: a feed drops an offer for one poll and brings it back.
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100), offer("q-2", 200)]);
    bench.poll(1, &[offer("q-2", 200)]);
    let current = bench.current();
    assert_eq!(current.len(), 2);
    assert_eq!(current[0].seen_at, at(0), "a missing offer ages");
    assert_eq!(current[1].seen_at, at(1));
    let effects = bench.poll(2, &[offer("q-1", 100), offer("q-2", 200)]);
    assert_eq!(effects, [Effect::Unchanged, Effect::Unchanged]);
    assert_eq!(bench.series(), [(0, 2, 100), (0, 2, 200)]);
}

#[test]
fn an_offer_missing_from_three_snapshots_is_gone_and_may_return() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100), offer("q-2", 200)]);
    bench.poll(1, &[offer("q-2", 200)]);
    bench.quiet(2, NoSnapshot::Failed);
    bench.quiet(3, NoSnapshot::Suspicious);
    bench.unchanged(4);
    assert_eq!(bench.current().len(), 2, "two snapshots lacked it so far");
    bench.poll(5, &[offer("q-2", 200)]);
    assert_eq!(bench.current().len(), 1);
    assert_eq!(bench.ledger.read().feed_states().unwrap()[0].offers, 1);
    let gone = &bench.ledger.read().series("cpu-a").unwrap()[0];
    assert_eq!((gone.until, gone.gone_since), (at(0), Some(at(5))));
    let then = |minute| {
        bench
            .ledger
            .read()
            .current_offers(Some(at(minute)))
            .unwrap()
    };
    assert_eq!((then(4).len(), then(5).len()), (2, 1));
    assert_eq!(
        bench.poll(6, &[offer("q-1", 100), offer("q-2", 200)])[0],
        Effect::Returned
    );
    assert_eq!(bench.series(), [(0, 0, 100), (6, 6, 100), (0, 6, 200)]);
}

#[test]
fn a_partial_snapshot_removes_nothing_and_forgets_the_validators() {
    // Pitfall F35: a page of the feed failed.
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100), offer("q-2", 200)]);
    for minute in 1..10 {
        bench.poll_as(
            minute,
            &[offer("q-2", 200 + minute % 2)],
            SnapshotIs::Partial,
        );
    }
    let current = bench.current();
    assert_eq!(current.len(), 2);
    assert_eq!((current[0].seen_at, current[1].seen_at), (at(0), at(9)));
    bench.poll(10, &[offer("q-1", 100), offer("q-2", 201)]);
    assert_eq!(bench.series()[0], (0, 10, 100));

    let validators = Validators {
        etag: Some("\"a\"".to_owned()),
        last_modified: None,
    };
    let record = PollRecord {
        validators: validators.clone(),
        body_hash: Some("b".to_owned()),
        ..PollRecord::default()
    };
    let writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(11))
        .unwrap();
    writer.commit(&record, SnapshotIs::Complete).unwrap();
    let kept = (validators, Some("b".to_owned()));
    assert_eq!(bench.ledger.read().validators(&feed()).unwrap(), kept);
    bench.quiet(12, NoSnapshot::Failed);
    bench.unchanged(13);
    assert_eq!(bench.ledger.read().validators(&feed()).unwrap(), kept);
    let writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(14))
        .unwrap();
    writer.commit(&record, SnapshotIs::Partial).unwrap();
    assert_eq!(
        bench.ledger.read().validators(&feed()).unwrap(),
        (Validators::default(), None)
    );
}

#[test]
fn one_sku_of_two_sellers_is_two_offers_and_a_repeat_is_none() {
    let mut bench = Bench::new();
    let market = Offer {
        seller: Some("Basement Bits".to_owned()),
        ..offer("q-1", 90)
    };
    let used = Offer {
        condition: Condition::Used,
        ..offer("q-1", 50)
    };
    let effects = bench.poll(0, &[offer("q-1", 100), market, used, offer("q-1", 110)]);
    assert_eq!(
        effects,
        [Effect::New, Effect::New, Effect::New, Effect::Repeated]
    );
    let prices: Vec<i64> = bench
        .current()
        .iter()
        .map(|found| found.offer.price.minor())
        .collect();
    assert_eq!(prices, [100, 50, 90]);
}

#[test]
fn a_held_price_waits_and_three_polls_that_agree_confirm_it() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 20_000)]);
    assert_eq!(bench.hold(1, &offer("q-1", 200)), Effect::Held);
    bench.unchanged(2);
    assert_eq!(bench.hold(3, &offer("q-1", 200)), Effect::Held);
    let held = bench.ledger.read().list_held().unwrap();
    assert_eq!((held.len(), held[0].times), (1, 2));
    assert_eq!(held[0].price.minor(), 200);
    assert_eq!(
        held[0].current_price,
        Some(Money::from_minor(20_000, Currency::EUR))
    );
    let current = bench.current();
    assert_eq!(current[0].offer.price.minor(), 20_000);
    assert_eq!(
        current[0].seen_at,
        at(0),
        "the old price was not seen again"
    );

    assert_eq!(bench.hold(4, &offer("q-1", 200)), Effect::Changed);
    assert_eq!(bench.ledger.read().list_held().unwrap(), []);
    assert_eq!(bench.series(), [(0, 0, 20_000), (1, 4, 200)]);
    let then = |minute| {
        let offers = bench
            .ledger
            .read()
            .current_offers(Some(at(minute)))
            .unwrap();
        offers[0].offer.price.minor()
    };
    assert_eq!((then(3), then(4)), (20_000, 200), "it was not known before");
}

#[test]
fn another_held_price_starts_over_and_a_plausible_one_clears_it() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 20_000)]);
    bench.hold(1, &offer("q-1", 200));
    bench.hold(2, &offer("q-1", 200));
    bench.hold(3, &offer("q-1", 300));
    assert_eq!(bench.ledger.read().list_held().unwrap()[0].times, 1);
    assert_eq!(bench.poll(4, &[offer("q-1", 20_000)]), [Effect::Unchanged]);
    assert_eq!(bench.ledger.read().list_held().unwrap(), []);
    assert_eq!(bench.series(), [(0, 4, 20_000)]);
}

#[test]
fn a_person_confirms_or_drops_what_is_held() {
    let mut bench = Bench::new();
    assert_eq!(bench.hold(1, &offer("q-1", 200)), Effect::Held);
    assert_eq!(
        bench.current(),
        [],
        "held from the start, so never believed"
    );
    let id = bench.ledger.read().list_held().unwrap()[0].id;
    assert!(bench.ledger.confirm_held(id, at(2)).unwrap());
    assert!(!bench.ledger.confirm_held(id, at(2)).unwrap());
    bench.unchanged(3);
    assert_eq!(bench.series(), [(1, 3, 200)]);

    bench.hold(4, &offer("q-1", 2));
    let id = bench.ledger.read().list_held().unwrap()[0].id;
    assert!(bench.ledger.drop_held(id).unwrap());
    assert!(!bench.ledger.drop_held(id).unwrap());
    for minute in 5..10 {
        assert_eq!(bench.hold(minute, &offer("q-1", 2)), Effect::Held);
    }
    assert_eq!(bench.ledger.read().list_held().unwrap(), []);
    assert_eq!(bench.current()[0].offer.price.minor(), 200);
    assert_eq!(bench.hold(10, &offer("q-1", 3)), Effect::Held);
    assert_eq!(
        bench.ledger.read().list_held().unwrap().len(),
        1,
        "another price is asked anew"
    );
}

#[test]
fn the_previous_price_is_there_for_the_caller_even_when_it_is_gone() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    bench.poll(1, &[offer("q-1", 110)]);
    let writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(2))
        .unwrap();
    assert_eq!(writer.previous(&offer("q-9", 1)).unwrap(), None);
    let previous = writer.previous(&offer("q-1", 1)).unwrap().unwrap();
    assert_eq!(previous.price.minor(), 110);
    assert_eq!((previous.since, previous.seen_at), (at(1), at(1)));
    assert!(!previous.is_gone);
    drop(writer);
    for minute in 2..5 {
        bench.poll(minute, &[]);
    }
    let writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(5))
        .unwrap();
    let previous = writer.previous(&offer("q-1", 1)).unwrap().unwrap();
    assert!(previous.is_gone);
    assert_eq!((previous.price.minor(), previous.seen_at), (110, at(1)));
}

#[test]
fn a_match_that_changes_counts_from_then_on() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    let row = bench.ledger.read().listed_offers().unwrap()[0].row;
    bench
        .ledger
        .rematch(&[(row, Some(part("cpu-b")))], at(5))
        .unwrap();
    let parts = |bench: &Bench, at: Option<DateTime<Utc>>| {
        let offers = bench.ledger.read().current_offers(at).unwrap();
        offers
            .iter()
            .map(|offer| offer.part.part.clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(parts(&bench, None), ["cpu-b"]);
    assert_eq!(parts(&bench, Some(at(4))), ["cpu-a"]);
    assert_eq!(parts(&bench, Some(at(5))), ["cpu-b"]);
    bench.ledger.rematch(&[(row, None)], at(6)).unwrap();
    assert_eq!(parts(&bench, None), [""; 0]);
    assert_eq!(parts(&bench, Some(at(6))), [""; 0]);
    assert_eq!(bench.ledger.read().listed_offers().unwrap().len(), 1);
}

#[test]
fn a_clock_set_back_does_not_turn_stamps_back() {
    // Pitfall D04.
    let mut bench = Bench::new();
    bench.poll(60, &[offer("q-1", 100)]);
    bench.poll(0, &[offer("q-1", 110)]);
    bench.unchanged(-600);
    let intervals = bench.ledger.read().series("cpu-a").unwrap();
    let millis = |at: DateTime<Utc>| (at - super::tests::at(60)).num_milliseconds();
    let spans: Vec<_> = intervals
        .iter()
        .map(|found| (millis(found.from), millis(found.until)))
        .collect();
    assert_eq!(spans, [(0, 0), (1, 2)]);
}

#[test]
fn a_poll_that_is_dropped_leaves_nothing() {
    // Pitfall D10: killed in the middle of a poll.
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(1))
        .unwrap();
    writer.observe(&offer("q-1", 90), None).unwrap();
    writer.observe(&offer("q-2", 90), None).unwrap();
    writer.hold(&offer("q-3", 1), None, "too cheap").unwrap();
    writer.note(&decision(1, "a").journal[0]).unwrap();
    let other = FeedId::new("northlight/other");
    drop(writer);
    drop(bench.ledger.begin_poll(&other, &retailer(), at(1)).unwrap());
    let path = bench.path();
    let folder = bench.folder;
    drop(bench.ledger);
    let bench = Bench {
        ledger: Ledger::open(&path).unwrap(),
        folder,
    };
    assert_eq!(bench.series(), [(0, 0, 100)]);
    assert_eq!(bench.count("offer"), 1);
    assert_eq!(bench.count("feed"), 1);
    assert_eq!(bench.count("held") + bench.count("journal"), 0);
}

#[test]
fn readers_see_the_last_commit_while_a_poll_is_written() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    let reader = Reader::open(&bench.path()).unwrap();
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(1))
        .unwrap();
    writer
        .observe(&offer("q-1", 90), Some(&part("cpu-a")))
        .unwrap();
    let price = |reader: &Reader| reader.current_offers(None).unwrap()[0].offer.price.minor();
    assert_eq!(price(&reader), 100);
    writer
        .commit(&PollRecord::default(), SnapshotIs::Complete)
        .unwrap();
    assert_eq!(price(&reader), 90);
    bench.ledger.checkpoint().unwrap();
    assert_eq!(price(&reader), 90);
}

#[test]
fn polls_and_feed_states_tell_what_happened() {
    let mut bench = Bench::new();
    let record = PollRecord {
        records: 12,
        offers: 11,
        matched: 9,
        refused: 1,
        duration_ms: 15,
        notes: vec!["one row too short".to_owned()],
        ..PollRecord::default()
    };
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(1))
        .unwrap();
    writer.observe(&offer("q-1", 100), None).unwrap();
    writer.commit(&record, SnapshotIs::Complete).unwrap();
    let failed = PollRecord {
        error: Some("the server answered 500".to_owned()),
        ..PollRecord::default()
    };
    let outcome = NoSnapshot::Failed;
    bench
        .ledger
        .record_poll(&feed(), &retailer(), at(2), outcome, &failed)
        .unwrap();
    let lines = bench.ledger.read().last_polls(&feed(), 5).unwrap();
    let expected = [
        PollLine {
            at: at(2),
            status: PollStatus::Failed,
            record: failed,
        },
        PollLine {
            at: at(1),
            status: PollStatus::Fresh(SnapshotIs::Complete),
            record,
        },
    ];
    assert_eq!(lines, expected);
    assert_eq!(bench.ledger.read().last_polls(&feed(), 1).unwrap().len(), 1);
    let states = bench.ledger.read().feed_states().unwrap();
    assert_eq!(states.len(), 1);
    assert_eq!(
        (states[0].last_poll, states[0].last_fresh),
        (Some(at(2)), Some(at(1)))
    );
    assert_eq!(
        (states[0].failures, states[0].offers, states[0].matched),
        (1, 1, 0)
    );
}

#[test]
fn answer_journal_and_bulletins_stand_together_or_not_at_all() {
    let mut bench = Bench::new();
    bench.ledger.record_decision(&decision(1, "a")).unwrap();
    let broken = "CREATE TEMP TRIGGER t BEFORE INSERT ON outbox
                  BEGIN SELECT raise(ABORT, 'the disk is gone'); END";
    bench
        .ledger
        .read()
        .run(|connection| connection.execute_batch(broken))
        .unwrap();
    assert!(bench.ledger.record_decision(&decision(2, "b")).is_err());
    let drop_trigger = "DROP TRIGGER t";
    bench
        .ledger
        .read()
        .run(|connection| connection.execute_batch(drop_trigger))
        .unwrap();
    let answer = bench
        .ledger
        .read()
        .last_answer("media-room")
        .unwrap()
        .unwrap();
    assert_eq!(answer.fingerprint, "a");
    assert_eq!(bench.ledger.read().journal(10).unwrap().len(), 1);
    assert_eq!(bench.ledger.read().due(at(9), 10).unwrap().len(), 2);
    bench.ledger.record_decision(&decision(3, "b")).unwrap();
    assert_eq!(bench.ledger.read().due(at(9), 10).unwrap().len(), 4);
    let journal = bench.ledger.read().journal(10).unwrap();
    assert_eq!(
        journal[0].entry,
        decision(3, "b").journal[0],
        "the newest first"
    );
}

#[test]
fn an_answer_that_says_the_same_extends_the_one_before() {
    let mut bench = Bench::new();
    assert_eq!(bench.ledger.read().last_answer("media-room").unwrap(), None);
    for minute in [1, 2, 5] {
        bench
            .ledger
            .record_decision(&decision(minute, "a"))
            .unwrap();
    }
    let answer = bench
        .ledger
        .read()
        .last_answer("media-room")
        .unwrap()
        .unwrap();
    assert_eq!((answer.since, answer.until), (at(1), at(5)));
    assert_eq!(answer.answer_json, decision(5, "a").answer_json);
    assert_eq!(bench.count("answer"), 1);
    assert_eq!(
        bench.count("outbox"),
        2,
        "the same bulletin is not queued again"
    );
    bench.ledger.record_decision(&decision(0, "b")).unwrap();
    let answer = bench
        .ledger
        .read()
        .last_answer("media-room")
        .unwrap()
        .unwrap();
    assert_eq!((answer.fingerprint.as_str(), answer.since), ("b", at(5)));
}

#[test]
fn a_delivery_is_due_until_it_is_sent_or_given_up() {
    let mut bench = Bench::new();
    bench.ledger.record_decision(&decision(1, "a")).unwrap();
    let id = bulletin("a").id;
    let due = bench.ledger.read().due(at(1), 10).unwrap();
    assert_eq!((due.len(), &due[0].bulletin), (2, &bulletin("a")));
    bench.ledger.mark_sent(&id, "desk", at(1)).unwrap();
    bench
        .ledger
        .mark_failed(&id, "phone", at(1), "answered 503", at(3))
        .unwrap();
    bench
        .ledger
        .mark_failed(&id, "desk", at(1), "too late", at(3))
        .unwrap();
    assert_eq!(bench.ledger.read().due(at(2), 10).unwrap(), []);
    assert_eq!(bench.ledger.read().next_due().unwrap(), Some(at(3)));
    let due = bench.ledger.read().due(at(3), 10).unwrap();
    assert_eq!(
        (due.len(), due[0].channel.as_str(), due[0].attempts),
        (1, "phone", 1)
    );
    assert_eq!(
        bench.ledger.read().due(at(0), 10).unwrap().len(),
        1,
        "the clock was set back"
    );
    bench.ledger.postpone(&id, "phone", at(3), at(4)).unwrap();
    assert_eq!(bench.ledger.read().due(at(3), 10).unwrap(), []);
    bench
        .ledger
        .mark_dead(&id, "phone", at(4), "answered 404")
        .unwrap();
    assert_eq!(bench.ledger.read().next_due().unwrap(), None);
    let letters = bench.ledger.read().dead_letters(10).unwrap();
    assert_eq!((letters.len(), letters[0].attempts), (1, 2));
    assert_eq!(letters[0].fault.as_deref(), Some("answered 404"));
    assert_eq!(bench.ledger.revive("phone", at(5)).unwrap(), 1);
    assert_eq!(bench.ledger.read().due(at(5), 10).unwrap().len(), 1);
}

#[test]
fn a_disabled_channel_is_remembered_with_its_address_until_it_is_revived() {
    let mut bench = Bench::new();
    bench
        .ledger
        .disable_channel("phone", "x", at(1), "answered 410")
        .unwrap();
    let disabled = |bench: &Bench, address| bench.ledger.read().disabled("phone", address).unwrap();
    assert_eq!(disabled(&bench, "x").as_deref(), Some("answered 410"));
    assert_eq!(disabled(&bench, "y"), None, "it has another address now");
    bench.ledger.revive("phone", at(2)).unwrap();
    assert_eq!(disabled(&bench, "x"), None);
}

fn open_error(path: &Path) -> String {
    let error = Ledger::open(path).unwrap_err();
    assert_eq!(
        Reader::open(path).unwrap_err().to_string(),
        error.to_string()
    );
    error
        .to_string()
        .replace(&path.display().to_string(), "PATH")
}

#[test]
fn a_newer_schema_is_refused_and_left_as_it_is() {
    // Pitfall D12.
    let bench = Bench::new();
    let path = bench.path();
    let newer = "INSERT INTO schema_version VALUES (99, 'later')";
    bench
        .ledger
        .read()
        .run(|connection| connection.execute_batch(newer))
        .unwrap();
    let Bench {
        ledger,
        folder: _folder,
    } = bench;
    drop(ledger);
    let before = std::fs::read(&path).unwrap();
    assert_eq!(
        open_error(&path),
        "PATH has schema 99, written by a newer version; this one knows 1: use the newer \
         version, the file was left as it is"
    );
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

#[test]
fn a_damaged_file_is_refused_and_left_as_it_is() {
    let mut bench = Bench::new();
    let offers: Vec<Offer> = (0..200)
        .map(|sku| offer(&sku.to_string(), 100 + sku))
        .collect();
    bench.poll(0, &offers);
    let path = bench.path();
    let Bench {
        ledger,
        folder: _folder,
    } = bench;
    drop(ledger);
    let sound = std::fs::read(&path).unwrap();
    let message = "PATH is damaged or no database: it was left as it is, restore a backup or \
                   move it away";

    let mut no_database = sound.clone();
    no_database[..16].copy_from_slice(b"hello, I am text");
    std::fs::write(&path, &no_database).unwrap();
    assert_eq!(open_error(&path), message);
    assert_eq!(std::fs::read(&path).unwrap(), no_database);

    // SQLite file format: a page's first byte is its type; 0x77 is none. Pages are 4096 bytes.
    let mut damaged = sound.clone();
    for page in damaged.chunks_mut(4096).skip(1) {
        page[0] = 0x77;
    }
    std::fs::write(&path, &damaged).unwrap();
    let opened = Ledger::open(&path).and_then(|ledger| ledger.read().current_offers(None));
    let error = opened.unwrap_err();
    assert!(matches!(error, LedgerError::Damaged { .. }), "{error:?}");

    std::fs::write(&path, &sound).unwrap();
    assert_eq!(
        Ledger::open(&path)
            .unwrap()
            .read()
            .current_offers(None)
            .unwrap()
            .len(),
        200
    );
}

#[test]
fn a_foreign_database_is_refused_and_a_missing_one_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("other.db");
    let foreign = rusqlite::Connection::open(&path).unwrap();
    foreign.execute_batch("CREATE TABLE notes (text)").unwrap();
    drop(foreign);
    let before = std::fs::read(&path).unwrap();
    assert_eq!(
        open_error(&path),
        "PATH is a database of another program: choose another file for the ledger"
    );
    assert_eq!(std::fs::read(&path).unwrap(), before);
    let none = folder.path().join("none.db");
    assert!(matches!(
        Reader::open(&none),
        Err(LedgerError::Missing { .. })
    ));
    assert!(!none.exists());
    let nowhere = folder.path().join("no/folder.db");
    assert!(matches!(
        Ledger::open(&nowhere),
        Err(LedgerError::CannotOpen { .. })
    ));
}

#[test]
fn a_second_watch_is_refused_and_told_who_has_the_ledger() {
    // Pitfall D11.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("ledger.db");
    let lock = WatchLock::acquire(&path).unwrap();
    let refused = WatchLock::acquire(&path).unwrap_err();
    let process = std::process::id();
    assert_eq!(
        refused.to_string(),
        format!("another watch (process {process}) uses this ledger: stop it first")
    );
    drop(lock);
    WatchLock::acquire(&path).unwrap();
}

#[test]
fn a_full_disk_undoes_the_poll_and_the_next_one_works() {
    // Pitfall D09. SQLite answers SQLITE_FULL as well when a file may not grow any further.
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    let limit = |bench: &Bench, pages: u32| {
        let set = format!("PRAGMA max_page_count = {pages}");
        let run = |connection: &rusqlite::Connection| connection.query_row(&set, [], |_| Ok(()));
        bench.ledger.read().run(run).unwrap();
    };
    limit(&bench, 1);
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(1))
        .unwrap();
    let full = (0..10_000).find_map(|sku| writer.observe(&offer(&sku.to_string(), 1), None).err());
    assert!(matches!(full, Some(LedgerError::Full { .. })), "{full:?}");
    drop(writer);
    assert_eq!(bench.series(), [(0, 0, 100)]);
    limit(&bench, 1_000_000);
    assert_eq!(bench.poll(2, &[offer("q-1", 100)]), [Effect::Unchanged]);
}

/// One poll of three offers.
#[derive(Debug, Clone)]
enum Step {
    /// Listed price of each offer, if it is listed; each may be held instead.
    Snapshot(Vec<Option<(i64, bool)>>, bool),
    Quiet(u8),
    Confirm,
}

fn step() -> impl Strategy<Value = Step> {
    let listed = proptest::option::weighted(0.8, (1_i64..4, proptest::bool::weighted(0.2)));
    prop_oneof![
        6 => (proptest::collection::vec(listed, 3), proptest::bool::weighted(0.8))
            .prop_map(|(listed, complete)| Step::Snapshot(listed, complete)),
        2 => (0_u8..3).prop_map(Step::Quiet),
        1 => Just(Step::Confirm),
    ]
}

/// What a plain list of sightings says, to compare the ledger with.
#[derive(Default)]
struct Sightings {
    /// By SKU: instants at which a price was believed, in order.
    seen: BTreeMap<String, Vec<(i64, i64)>>,
}

fn play(bench: &mut Bench, minute: i64, step: &Step, sightings: &mut Sightings) {
    match step {
        Step::Snapshot(listed, complete) => {
            let mut writer = bench
                .ledger
                .begin_poll(&feed(), &retailer(), at(minute))
                .unwrap();
            for (sku, price, hold) in (0..).zip(listed).filter_map(|(sku, listed): (i32, _)| {
                listed.map(|(price, hold)| (sku.to_string(), price, hold))
            }) {
                let cpu = part("cpu-a");
                let seen = offer(&sku, price);
                let effect = if hold {
                    writer.hold(&seen, Some(&cpu), "odd").unwrap()
                } else {
                    writer.observe(&seen, Some(&cpu)).unwrap()
                };
                if effect != Effect::Held {
                    sightings.seen.entry(sku).or_default().push((minute, price));
                }
            }
            let snapshot = match complete {
                true => SnapshotIs::Complete,
                false => SnapshotIs::Partial,
            };
            writer.commit(&PollRecord::default(), snapshot).unwrap();
        }
        Step::Quiet(0) => bench.unchanged(minute),
        Step::Quiet(1) => bench.quiet(minute, NoSnapshot::Failed),
        Step::Quiet(_) => bench.quiet(minute, NoSnapshot::Suspicious),
        Step::Confirm => {
            if let Some(held) = bench.ledger.read().list_held().unwrap().first() {
                let id = held.id;
                assert!(bench.ledger.confirm_held(id, at(minute)).unwrap());
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, ..ProptestConfig::default() })]

    #[test]
    fn intervals_never_overlap_and_every_believed_price_reads_back(
        steps in proptest::collection::vec(step(), 1..25)
    ) {
        let mut bench = Bench::new();
        // Nothing is killed here, and synchronising a thousand polls takes long.
        let hasten = |connection: &rusqlite::Connection| {
            connection.pragma_update(None, "synchronous", "off")
        };
        bench.ledger.read().run(hasten).unwrap();
        let mut sightings = Sightings::default();
        let mut then_as_now = Vec::new();
        for (minute, step) in (0..).zip(&steps) {
            play(&mut bench, minute, step, &mut sightings);
            let offers: Vec<_> = bench.current().into_iter().map(stripped).collect();
            then_as_now.push((minute, offers));
        }
        let intervals = bench.ledger.read().series("cpu-a").unwrap();
        for pair in intervals.windows(2).filter(|pair| pair[0].sku == pair[1].sku) {
            prop_assert!(pair[0].until < pair[1].from, "{pair:?}");
            prop_assert!(!pair[0].is_open);
        }
        for interval in &intervals {
            prop_assert!(interval.from <= interval.until, "{interval:?}");
        }
        for (sku, seen) in &sightings.seen {
            for (minute, price) in seen {
                let holds = |found: &&Interval| {
                    found.sku.as_str() == sku && (found.from..=found.until).contains(&at(*minute))
                };
                let found: Vec<i64> =
                    intervals.iter().filter(holds).map(|found| found.price.minor()).collect();
                prop_assert_eq!(&found, &[*price], "sku {} at minute {}", sku, minute);
            }
        }
        // Asked about the past, the ledger says what it said then.
        for (minute, expected) in then_as_now {
            let then = bench.ledger.read().current_offers(Some(at(minute))).unwrap();
            let then: Vec<_> = then.into_iter().map(stripped).collect();
            prop_assert_eq!(then, expected, "at minute {}", minute);
        }
        let check = |connection: &rusqlite::Connection| {
            connection.query_row("PRAGMA integrity_check", [], |row| row.get::<_, String>(0))
        };
        prop_assert_eq!(bench.ledger.read().run(check).unwrap(), "ok");
    }
}

/// An offer without what a past instant may show differently: when it was last seen, which is
/// exact only while no poll left it out.
fn stripped(offer: CurrentOffer) -> (String, i64, ObservationId) {
    let CurrentOffer {
        offer, observation, ..
    } = offer;
    (offer.sku.to_string(), offer.price.minor(), observation)
}
