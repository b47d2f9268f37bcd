//! Two ways to read the offers of an instant.

use super::*;
use crate::catalogue::PartId;
use crate::market::{Listed, waiting_days};
use chrono::TimeDelta;

/// Holds the short way to the long one.
pub(super) fn check_listed(reader: &Reader, past: Option<DateTime<Utc>>) {
    let current = reader.current_offers(past).unwrap().into_iter();
    let expected = current.map(Listed::from);
    assert_eq!(reader.listed(past).unwrap(), expected.collect::<Vec<_>>());
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
fn so_many_offers_that_two_connections_read_them_are_those_of_one() {
    let mut bench = Bench::new();
    for (minute, names) in [
        (1, ["zinc/all", "amber/all"]),
        (2, ["amber/all", "birch/all"]),
    ] {
        for name in names {
            let mut writer = bench
                .ledger
                .begin_poll(&FeedId::new(name), &retailer(), at(minute))
                .unwrap();
            for number in 0..900 {
                let seen = offer(&format!("q-{number}"), 100 + minute * (number % 7));
                let taken_for = part(&format!("cpu-{}", number % 50));
                writer.see(&seen, Some(&taken_for)).unwrap();
            }
            let record = PollRecord::default();
            writer.commit(&record, SnapshotIs::Complete).unwrap();
        }
    }
    let reader = bench.ledger.read();
    assert_eq!(reader.listed(Some(at(1))).unwrap().len(), 1800);
    assert_eq!(reader.listed(Some(at(2))).unwrap().len(), 2700);
    check_listed(reader, Some(at(1)));
    check_listed(reader, Some(at(2)));
}
