//! Two ways to read the offers of now.

use super::*;
use crate::market::Listed;

/// Holds the short way to the long one.
pub(super) fn check_listed(reader: &Reader) {
    let current = reader.current_offers(None).unwrap().into_iter();
    let expected = current.map(Listed::from);
    assert_eq!(reader.listed().unwrap(), expected.collect::<Vec<_>>());
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
    check_listed(reader);
    let skus: Vec<String> = reader
        .listed()
        .unwrap()
        .iter()
        .map(|one| one.sku.to_string())
        .collect();
    let expected = [
        "1", "1", "9", "9", "1", "1", "9", "9", "10", "10", "10", "10",
    ];
    assert_eq!(skus, expected);
}
