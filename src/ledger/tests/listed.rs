//! Two ways to read the offers of an instant.

use super::*;
use crate::catalogue::PartId;
use crate::market::{Listed, waiting_days};
use chrono::TimeDelta;

/// Holds the short way to the long one.
pub(super) fn check_listed(reader: &Reader, past: Option<DateTime<Utc>>) {
    let current = reader.offers_at(past).into_iter();
    let expected: Vec<Listed> = current.map(Listed::from).collect();
    assert_eq!(reader.listed(past).unwrap(), expected);
    // However soon it gives up reading what ended and looks for the rest one by one.
    for (at, step) in past.into_iter().flat_map(|at| [(at, 1), (at, 2)]) {
        assert_eq!(reader.listed_then(at, step).unwrap(), expected, "{step}");
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

#[test]
fn offers_come_by_part_feed_sku_seller_and_condition_with_their_terms() {
    let mut bench = Bench::new();
    for (minute, name) in [(1, "zinc/all"), (2, "amber/all")] {
        let mut writer = bench
            .ledger
            .begin_poll(&FeedId::new(name), &retailer(), at(minute))
            .unwrap();
        for (sku, part_id) in [("9", "cpu-a"), ("10", "cpu-b"), ("1", "cpu-a")] {
            let mut seen = offer(sku, 100 + minute);
            seen.link = Some(format!("https://shop.example/{sku}"));
            seen.shipping = (sku == "9").then_some(seen.price);
            seen.lead_days = (sku != "9").then_some(3);
            seen.available_from = (sku == "10").then_some(at(minute) + TimeDelta::days(5));
            writer.see(&seen, Some(&part(part_id))).unwrap();
            seen.seller = Some("a seller".to_owned());
            seen.condition = Condition::Used;
            writer.see(&seen, Some(&part(part_id))).unwrap();
        }
        writer.see(&offer("none", 5), None).unwrap();
        let record = PollRecord::default();
        writer.commit(&record, SnapshotIs::Complete).unwrap();
    }
    let reader = bench.ledger.read();
    check_listed(reader, None);
    check_listed(reader, Some(at(1)));
    let skus: Vec<String> = reader
        .listed(None)
        .unwrap()
        .iter()
        .map(|one| one.sku.to_string())
        .collect();
    let expected = [
        "1", "1", "9", "9", "1", "1", "9", "9", "10", "10", "10", "10",
    ];
    assert_eq!(skus, expected);
    let listed = reader.listed(None).unwrap();
    let waits = |sku: &str| {
        let own = listed.iter().find(|one| one.sku.as_str() == sku);
        own.unwrap().lead_days
    };
    assert_eq!(
        [waits("9"), waits("1"), waits("10")],
        [None, Some(3), Some(5)]
    );
}

#[test]
fn prices_that_end_soon_and_those_that_stay_for_long_are_both_those_of_the_instant() {
    // More ends than are read at once, and offers that none of them is of.
    const LASTING: i64 = 40;
    let mut bench = Bench::new();
    for minute in 0..6 {
        for name in ["zinc/all", "amber/all"] {
            let mut writer = bench
                .ledger
                .begin_poll(&FeedId::new(name), &retailer(), at(minute))
                .unwrap();
            for number in 0..900 {
                let price = match (minute, number < LASTING) {
                    (5, _) => 7,
                    (_, true) => 100,
                    (minute, false) => 100 + minute * (1 + number % 7),
                };
                let taken_for = part(&format!("cpu-{}", number % 50));
                let seen = offer(&format!("q-{number}"), price);
                writer.see(&seen, Some(&taken_for)).unwrap();
            }
            let record = PollRecord::default();
            writer.commit(&record, SnapshotIs::Complete).unwrap();
        }
    }
    let reader = bench.ledger.read();
    for minute in 0..6 {
        assert_eq!(reader.listed(Some(at(minute))).unwrap().len(), 1800);
        check_listed(reader, Some(at(minute)));
    }
}
