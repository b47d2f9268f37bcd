//! Thinning against the series as it was, worked out another way.

use super::*;
use crate::ledger::columns::millis;
use chrono::NaiveDate;
use proptest::prelude::*;
use std::collections::BTreeMap;

const MINUTE_MS: i64 = 60_000;
const DAY_MINUTES: i64 = 24 * 60;

/// Low, high and median of each day, from the price of every minute.
fn by_minute(steps: &[(i64, i64)], end: i64) -> BTreeMap<i64, (i64, i64, i64)> {
    let mut days: BTreeMap<i64, Vec<i64>> = BTreeMap::new();
    for (at, (from, price)) in steps.iter().enumerate() {
        let until = steps.get(at + 1).map_or(end, |(next, _)| *next);
        for minute in *from..until {
            days.entry(minute / DAY_MINUTES).or_default().push(*price);
        }
    }
    let told = days.into_iter().map(|(day, mut minutes)| {
        minutes.sort_unstable();
        // The least price that half of the minutes had or went below.
        let median = minutes[minutes.len().div_ceil(2) - 1];
        (day, (minutes[0], minutes[minutes.len() - 1], median))
    });
    told.collect()
}

/// Beginnings in minutes and prices of the only offer's intervals.
fn steps(bench: &Bench) -> Vec<(i64, i64)> {
    let intervals = bench.ledger.read().series("cpu-a").unwrap();
    let steps = intervals.iter().map(|one| {
        assert_eq!(millis(one.from) % MINUTE_MS, 0);
        (millis(one.from) / MINUTE_MS, one.price.minor())
    });
    steps.collect()
}

/// Changes of one offer: minutes after the one before, and price.
fn changes() -> impl Strategy<Value = Vec<(i64, i64)>> {
    proptest::collection::vec((1_i64..120, 100_i64..112), 2..150)
}

fn filled(changes: &[(i64, i64)]) -> (Bench, i64) {
    let mut bench = Bench::new();
    let hasten =
        |connection: &rusqlite::Connection| connection.pragma_update(None, "synchronous", "off");
    bench.ledger.read().run(hasten).unwrap();
    let mut minute = 0;
    for (after, price) in changes {
        minute += after;
        bench.poll(
            minute,
            &[Offer {
                list_price: None,
                ..offer("q-1", *price)
            }],
        );
    }
    (bench, minute)
}

fn date(day: i64) -> NaiveDate {
    NaiveDate::from_ymd_opt(1970, 1, 1).unwrap() + TimeDelta::days(day)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn low_high_and_median_of_every_day_stay_and_later_days_are_untouched(
        changes in changes(), before_day in 0_i64..6
    ) {
        let (mut bench, last) = filled(&changes);
        let before = steps(&bench);
        let expected = by_minute(&before, last);
        // The day that goes on is not thinned.
        let before_day = before_day.min(last / DAY_MINUTES);
        let now = at(last);
        let thinning = bench.ledger.thin_before(date(before_day), now, &mut |_, _| {}).unwrap();
        let after = steps(&bench);
        prop_assert_eq!(thinning.intervals_before as usize, before.len());
        prop_assert_eq!(thinning.intervals_after as usize, after.len());
        prop_assert_eq!(by_minute(&after, last), expected);
        let later = |steps: &[(i64, i64)]| -> Vec<(i64, i64)> {
            let steps = steps.iter().copied();
            steps.filter(|(from, _)| from / DAY_MINUTES >= before_day).collect()
        };
        prop_assert_eq!(later(&after), later(&before));
        let verified = bench.ledger.read().verify().unwrap();
        prop_assert!(verified.holds(), "{:?}", verified.failed().collect::<Vec<_>>());
        // Once thinned, there is nothing left to thin.
        let again = bench.ledger.thin_before(date(before_day), now, &mut |_, _| {}).unwrap();
        prop_assert_eq!(again.intervals_before, again.intervals_after);
    }
}

#[test]
fn a_restless_day_is_left_with_few_intervals_and_stock_and_gaps_stay() {
    let mut bench = Bench::new();
    let plain = |price| Offer {
        list_price: None,
        ..offer("q-1", price)
    };
    for minute in 0..300 {
        bench.poll(minute, &[plain(100 + minute * 7 % 23)]);
    }
    let sold_out = Offer {
        availability: Availability::SoldOut,
        ..plain(105)
    };
    bench.poll(300, &[sold_out]);
    // Missing once, which later days may ask about.
    bench.poll(301, &[plain(106)]);
    bench.poll(302, &[]);
    bench.poll(303, &[plain(107)]);
    for minute in 304..330 {
        bench.poll(minute, &[plain(100 + minute * 7 % 23)]);
    }
    bench.poll(DAY_MINUTES + 1, &[plain(100)]);
    let n_gaps = bench.count("gap");
    let thinning = bench
        .ledger
        .thin_before(date(1), at(DAY_MINUTES), &mut |_, _| {})
        .unwrap();
    assert_eq!(thinning.intervals_before, 330);
    assert!(thinning.intervals_after <= 14, "{thinning:?}");
    let sold_out = bench.ledger.read().series("cpu-a").unwrap();
    let sold_out: Vec<_> = sold_out
        .iter()
        .filter(|one| one.availability == Availability::SoldOut)
        .map(|one| (one.from, one.price.minor()))
        .collect();
    assert_eq!(sold_out, [(at(300), 105)]);
    assert_eq!(bench.count("gap"), n_gaps);
    bench.ledger.vacuum().unwrap();
    assert!(bench.ledger.read().verify().unwrap().holds());
    let entries = bench.ledger.read().journal(1).unwrap();
    assert_eq!(entries[0].entry.kind, "prices_thinned");
}
