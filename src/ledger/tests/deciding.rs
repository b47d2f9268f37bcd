//! What the author decided of offers.

use super::*;
use crate::catalogue::PartId;
use crate::market::{self, Fingerprint, Verdict};

fn entry() -> JournalEntry {
    decision(5, "a").journal[0].clone()
}

fn decide(bench: &mut Bench, sku: &str, decision: Option<&market::Decision>, minute: i64) {
    let offers = bench.ledger.read().listed_offers().unwrap();
    let of_sku = offers
        .iter()
        .filter(|found| found.offer.sku.as_str() == sku);
    let part = decision.map(|_| part("cpu-b"));
    let matches: Vec<_> = of_sku.map(|found| (found.row, part.clone())).collect();
    let deciding = Deciding {
        retailer: &retailer(),
        sku: &Sku::new(sku),
        decision,
        matches: &matches,
        entry: &entry(),
        at: at(minute),
    };
    bench.ledger.decide_offer(&deciding).unwrap();
}

#[test]
fn a_decision_is_kept_as_it_was_made_and_can_be_replaced_and_forgotten() {
    let parts = ["cpu-a", "cpu-\"b'"].map(PartId::new);
    let made_on = Fingerprint::of(&offer("q-1", 100));
    let verdicts = [
        Verdict::Pinned(parts[1].clone()),
        Verdict::Denied(parts.into_iter().collect()),
        Verdict::Lacking,
    ];
    let mut bench = Bench::new();
    for verdict in verdicts {
        let made = market::Decision {
            verdict,
            made_on: made_on.clone(),
        };
        decide(&mut bench, "q-1", Some(&made), 5);
        let reader = Reader::open(&bench.path()).unwrap();
        let kept = OfferDecision {
            retailer: retailer(),
            sku: Sku::new("q-1"),
            decision: made.clone(),
            at: at(5),
        };
        assert_eq!(reader.offer_decisions().unwrap(), [kept]);
        let of_retailer = reader.decisions_of(&retailer()).unwrap();
        assert_eq!(of_retailer.get(&Sku::new("q-1")), Some(&made));
        let other = RetailerId::new("kestrel");
        assert!(reader.decisions_of(&other).unwrap().is_empty());
    }
    decide(&mut bench, "q-1", None, 6);
    assert_eq!(bench.ledger.read().offer_decisions().unwrap(), []);
    assert_eq!(bench.count("journal"), 4);
}

#[test]
fn a_decision_changes_the_part_at_once_and_is_told_changed_once() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100), offer("q-2", 200)]);
    let made = market::Decision {
        verdict: Verdict::Pinned(PartId::new("cpu-b")),
        made_on: Fingerprint::of(&offer("q-1", 100)),
    };
    let parts = |bench: &Bench| -> Vec<String> {
        let current = bench.current();
        current
            .iter()
            .map(|found| found.part.part.clone())
            .collect()
    };
    decide(&mut bench, "q-1", Some(&made), 5);
    assert_eq!(parts(&bench), ["cpu-a", "cpu-b"]);
    for minute in [10, 11] {
        let mut writer = bench
            .ledger
            .begin_poll(&feed(), &retailer(), at(minute))
            .unwrap();
        let is_news = writer.mark_listing_changed(&offer("q-1", 100)).unwrap();
        assert_eq!(is_news, minute == 10);
        assert!(!writer.mark_listing_changed(&offer("q-2", 200)).unwrap());
        writer
            .commit(&PollRecord::default(), SnapshotIs::Partial)
            .unwrap();
    }
    // A new decision is on the listing as it is now.
    decide(&mut bench, "q-1", Some(&made), 20);
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(30))
        .unwrap();
    assert!(writer.mark_listing_changed(&offer("q-1", 100)).unwrap());
}

#[test]
fn a_match_that_changes_counts_from_then_on() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    let pinned = market::Decision {
        verdict: Verdict::Pinned(PartId::new("cpu-b")),
        made_on: Fingerprint::of(&offer("q-1", 100)),
    };
    decide(&mut bench, "q-1", Some(&pinned), 5);
    let parts = |bench: &Bench, at: Option<DateTime<Utc>>| {
        let offers = bench.ledger.read().offers_at(at);
        offers
            .iter()
            .map(|offer| offer.part.part.clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(parts(&bench, None), ["cpu-b"]);
    assert_eq!(parts(&bench, Some(at(4))), ["cpu-a"]);
    assert_eq!(parts(&bench, Some(at(5))), ["cpu-b"]);
    decide(&mut bench, "q-1", None, 6);
    assert_eq!(parts(&bench, None), [""; 0]);
    assert_eq!(parts(&bench, Some(at(6))), [""; 0]);
    assert_eq!(bench.ledger.read().listed_offers().unwrap().len(), 1);
}
