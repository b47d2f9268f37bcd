//! Any sequence of polls against a plain list of what was seen.

use super::*;
use proptest::prelude::*;
use std::collections::BTreeMap;

/// One poll of three offers.
#[derive(Debug, Clone)]
enum Step {
    /// Of each offer, if it is listed: its price, whether it is held, and a number that its title
    /// and link tell and that decides what it is taken for.
    Snapshot(Vec<Option<(i64, bool, u8)>>, bool),
    /// Another part is found in an offer, or none.
    Rematch(i64, bool),
    Quiet(u8),
    Confirm,
}

fn step() -> impl Strategy<Value = Step> {
    let listed =
        proptest::option::weighted(0.8, (1_i64..4, proptest::bool::weighted(0.2), 0_u8..4));
    prop_oneof![
        6 => (proptest::collection::vec(listed, 3), proptest::bool::weighted(0.8))
            .prop_map(|(listed, complete)| Step::Snapshot(listed, complete)),
        2 => (0_u8..4).prop_map(Step::Quiet),
        1 => (1_i64..4, proptest::bool::ANY).prop_map(|(row, is)| Step::Rematch(row, is)),
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
            for (sku, price, hold, text) in
                (0..).zip(listed).filter_map(|(sku, listed): (i32, _)| {
                    listed.map(|(price, hold, text)| (sku.to_string(), price, hold, text))
                })
            {
                let cpu = part("cpu-a");
                let seen = Offer {
                    title: format!("Quillon K7 {text}"),
                    link: (text > 0).then(|| format!("https://shop.example/{text}")),
                    ..offer(&sku, price)
                };
                let effect = if hold {
                    writer.doubt(&seen, Some(&cpu), Confirms::Polls)
                } else {
                    let mut mark = Mark([price as u8 + 16 * text; 16]);
                    mark.0[0] = sku.as_bytes()[0];
                    let standing = writer.admit(&seen, Some(&cpu), Some(mark)).unwrap();
                    writer.observe(&standing, &seen, Some(&cpu)).unwrap()
                };
                if !matches!(effect, Effect::Held | Effect::HeldStill) {
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
        Step::Quiet(2) => bench.quiet(minute, NoSnapshot::OlderCopy),
        Step::Quiet(_) => bench.quiet(minute, NoSnapshot::Suspicious),
        Step::Rematch(row, is_part) => {
            if bench.count("offer") >= *row {
                let part = is_part.then(|| part("cpu-a"));
                let matches = [(OfferRow(*row), part)];
                let catalogue = Mark([7; 16]);
                bench
                    .ledger
                    .rematch(&matches, None, catalogue, at(minute))
                    .unwrap();
            }
        }
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
            listed::check_listed(bench.ledger.read(), None);
            if minute % 5 == 4 {
                let verified = bench.ledger.read().verify().unwrap();
                prop_assert!(verified.holds(), "{:?}", verified.failed().collect::<Vec<_>>());
            }
            then_as_now.push((minute, bench.current()));
        }
        // Every offer is the same part in the end, so that all of them are in its series.
        let last = bench.count("offer");
        let all: Vec<_> = (1..=last).map(|row| (OfferRow(row), Some(part("cpu-a")))).collect();
        bench.ledger.rematch(&all, None, Mark([8; 16]), at(100)).unwrap();
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
        // Asked about the past, the ledger says what it said then, to the last value.
        for (minute, expected) in then_as_now {
            let then = bench.ledger.read().offers_then(at(minute));
            listed::check_listed(bench.ledger.read(), Some(at(minute)));
            prop_assert_eq!(then, expected, "at minute {}", minute);
        }
        let packed = |bench: &Bench| bench.count("ended");
        let by_polls = packed(&bench);
        bench.ledger.vacuum().unwrap();
        prop_assert!(packed(&bench) >= by_polls);
        listed::check_listed(bench.ledger.read(), Some(at(3)));
        let verified = bench.ledger.read().verify().unwrap();
        prop_assert!(verified.holds(), "{:?}", verified.failed().collect::<Vec<_>>());
    }
}
