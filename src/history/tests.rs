//! Series and facts against an oracle that looks at every minute by itself.

use super::wait::{Wait, Why, wait};
use super::*;
use crate::money::Currency;
use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;

/// What a feed and an offer did, in minutes from the beginning.
#[derive(Debug, Clone)]
struct Past {
    /// From, until, gone, price, stock.
    asked: Vec<(i64, i64, Option<i64>, i64, Stock)>,
    /// When the feed was read, and whether completely.
    readings: Vec<(i64, bool)>,
    now: i64,
}

fn minute(minutes: i64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::minutes(minutes)
}

fn minutes(at: DateTime<Utc>) -> i64 {
    (at - DateTime::UNIX_EPOCH).num_minutes()
}

fn stock() -> impl Strategy<Value = Stock> {
    prop_oneof![
        4 => Just(Stock::Orderable),
        1 => Just(Stock::NotOrderable),
        1 => Just(Stock::Untold),
    ]
}

fn past() -> impl Strategy<Value = Past> {
    // Times until the sighting, it lasting, its being given up; price; stock.
    let one = (
        1_i64..300,
        0_i64..400,
        proptest::option::weighted(0.2, 1_i64..200),
        1_i64..6,
        stock(),
    );
    let reading = (1_i64..160, proptest::bool::weighted(0.8));
    (
        proptest::collection::vec(one, 1..7),
        proptest::collection::vec(reading, 0..40),
        0_i64..500,
    )
        .prop_map(|(asked, readings, rest)| {
            let mut at = 0;
            let asked: Vec<_> = asked
                .into_iter()
                .map(|(pause, lasts, gone, price, stock)| {
                    let from = at + pause;
                    let until = from + lasts;
                    let gone = gone.map(|after| until + after);
                    at = gone.unwrap_or(until);
                    (from, until, gone, price, stock)
                })
                .collect();
            let mut read = 0;
            let readings = readings.into_iter().map(|(pause, complete)| {
                read += pause;
                (read, complete)
            });
            Past {
                readings: readings.collect(),
                asked,
                now: at + rest,
            }
        })
}

impl Past {
    fn series(&self) -> Series {
        let asked: Vec<Asked> = self
            .asked
            .iter()
            .map(|&(from, until, gone, minor, stock)| Asked {
                from: minute(from),
                until: minute(until),
                gone_since: gone.map(minute),
                minor,
                stock,
            })
            .collect();
        let readings: Vec<Reading> = self
            .readings
            .iter()
            .map(|&(at, is_complete)| Reading {
                at: minute(at),
                is_complete,
            })
            .collect();
        Series::of_offer(Currency::EUR, &asked, &readings, minute(self.now))
    }

    fn seen(&self) -> Vec<i64> {
        let of_offer = self.asked.iter().flat_map(|one| [one.0, one.1]);
        let mut seen: Vec<i64> = self
            .readings
            .iter()
            .map(|one| one.0)
            .chain(of_offer)
            .collect();
        seen.retain(|at| *at <= self.now);
        seen.sort_unstable();
        seen.dedup();
        seen
    }

    fn trust(&self) -> i64 {
        let seen = self.seen();
        let mut spacings: Vec<i64> = seen.windows(2).map(|two| two[1] - two[0]).collect();
        spacings.sort_unstable();
        let median = spacings.get(spacings.len() / 2);
        median.map_or(24 * 60, |median| (3 * median).clamp(60, 14 * 24 * 60))
    }

    /// What is known at a minute, by the sentences of the docs alone.
    fn at(&self, seen: &[i64], trust: i64, at: i64) -> Option<State> {
        let &(_, until, gone, minor, stock) = self.asked.iter().rfind(|one| one.0 <= at)?;
        let last_seen = seen.iter().rfind(|seen| **seen <= at)?;
        if at - last_seen >= trust {
            return Some(State::Unread);
        }
        let was_missed = self
            .readings
            .iter()
            .any(|&(read, complete)| complete && until < read && read <= at);
        if was_missed || gone.is_some_and(|gone| gone <= at) {
            return Some(State::Absent);
        }
        if at - until >= trust {
            return Some(State::Unread);
        }
        Some(State::Asked(Quote {
            minor,
            stock,
            source: 0,
        }))
    }

    fn every_minute(&self) -> Vec<(i64, Option<State>)> {
        let (seen, trust) = (self.seen(), self.trust());
        let every = 0..self.now;
        every.map(|at| (at, self.at(&seen, trust, at))).collect()
    }
}

fn priced(states: &[(i64, Option<State>)]) -> Vec<i64> {
    let states = states.iter();
    states
        .filter_map(|(_, state)| state.as_ref()?.to_be_had())
        .collect()
}

proptest! {
    #[test]
    fn a_series_says_of_every_minute_what_is_known_of_it(past in past()) {
        let series = past.series();
        for (at, state) in past.every_minute() {
            prop_assert_eq!(series.at(minute(at)), state, "minute {}", at);
        }
        let (seen, trust) = (past.seen(), past.trust());
        let last = past.at(&seen, trust, past.now).map(|state| (minute(past.now), state));
        prop_assert_eq!(series.last(), last);
    }

    #[test]
    fn steps_have_no_holes_and_neighbours_differ(past in past()) {
        let series = past.series();
        for two in series.steps().windows(2) {
            prop_assert_eq!(two[0].until, two[1].from);
            prop_assert_ne!(two[0].state, two[1].state);
        }
        prop_assert!(series.steps().iter().all(|step| step.from < step.until));
    }

    #[test]
    fn the_merged_series_is_the_lowest_of_every_minute(pasts in proptest::collection::vec(past(), 1..4)) {
        let several: Vec<Series> = pasts.iter().map(Past::series).collect();
        let refs: Vec<&Series> = several.iter().collect();
        let merged = lowest_of(Currency::EUR, &refs);
        let end = pasts.iter().map(|past| past.now).max().unwrap_or(0);
        for at in 0..end {
            let states: Vec<(usize, State)> = several
                .iter()
                .enumerate()
                .filter_map(|(number, series)| Some((number, series.steps().iter().find(|step| step.from <= minute(at) && minute(at) < step.until)?.state)))
                .collect();
            let quotes = |orderable: bool| {
                let all = states.iter().filter_map(|(number, state)| match state {
                    State::Asked(quote) if (quote.stock != Stock::NotOrderable) == orderable => Some((quote.minor, *number, quote.stock)),
                    _ => None,
                });
                all.min_by_key(|(minor, number, _)| (*minor, *number))
            };
            let expected = match quotes(true).or(quotes(false)) {
                Some((minor, source, stock)) => Some(State::Asked(Quote { minor, stock, source })),
                None if states.iter().any(|(_, state)| *state == State::Unread) => Some(State::Unread),
                None => states.first().map(|_| State::Absent),
            };
            let found = merged.steps().iter().find(|step| step.from <= minute(at) && minute(at) < step.until);
            prop_assert_eq!(found.map(|step| step.state), expected, "minute {}", at);
        }
    }

    #[test]
    fn facts_are_those_of_every_minute_counted_alike(past in past(), since in 0_i64..400) {
        let series = past.series().since(minute(since));
        let states: Vec<(i64, Option<State>)> = past.every_minute().into_iter().filter(|(at, _)| *at >= since).collect();
        let Some(facts) = Facts::of(&series) else {
            prop_assert!(states.iter().all(|(_, state)| state.is_none()));
            return Ok(());
        };
        let mut prices = priced(&states);
        prices.sort_unstable();
        let minute_ms = 60_000;
        prop_assert_eq!(facts.held.total_ms(), prices.len() as i64 * minute_ms);
        for thousandths in [0, 1, 100, 250, 333, 500, 750, 999, 1000] {
            // The smallest price with at least that share of the minutes at or below it.
            let expected = prices.iter().find(|price| {
                let below = prices.iter().filter(|other| other <= price).count();
                below * 1000 >= prices.len() * thousandths as usize
            });
            prop_assert_eq!(facts.held.quantile(thousandths), expected.copied());
        }
        if let Some(now) = facts.now.to_be_had() {
            let cheap = prices.iter().filter(|price| **price <= now).count() as i64;
            prop_assert_eq!(facts.at_or_below_now_ms, Some(cheap * minute_ms));
            let lower = states.iter().rfind(|(_, state)| state.and_then(State::to_be_had).is_some_and(|price| price < now));
            let expected = match lower {
                Some((at, _)) => LowerBefore::Until(minute(at + 1)),
                None => LowerBefore::Never(facts.record.from),
            };
            prop_assert_eq!(facts.lower_before, Some(expected));
        }
        let sum: i64 = prices.iter().sum();
        let count = prices.len() as i64;
        let mean = (count > 0).then(|| (2 * sum + count) / (2 * count.max(1)));
        prop_assert_eq!(facts.held.mean(), mean);
        if let (Some(lowest), Some(low)) = (facts.lowest, prices.first()) {
            prop_assert_eq!(lowest.minor, *low);
            let has_it = |(_, state): &&(i64, Option<State>)| state.and_then(State::to_be_had) == Some(*low);
            prop_assert_eq!(Some(minutes(lowest.from)), states.iter().find(has_it).map(|one| one.0));
            // No minute begins at the end of the record, but what is known of that instant counts.
            let end = past.at(&past.seen(), past.trust(), past.now).and_then(State::to_be_had);
            let until = match end == Some(*low) {
                true => Some(past.now),
                false => states.iter().rfind(has_it).map(|one| one.0 + 1),
            };
            prop_assert_eq!(Some(minutes(lowest.until)), until);
        }
        let count = |wanted: &dyn Fn(State) -> bool| {
            states.iter().filter(|(_, state)| state.is_some_and(wanted)).count() as i64 * minute_ms
        };
        let record = facts.record;
        prop_assert_eq!(record.unread_ms, count(&|state| state == State::Unread));
        prop_assert_eq!(record.absent_ms, count(&|state| state == State::Absent));
        prop_assert_eq!(
            record.to_be_had_ms + record.not_orderable_ms + record.absent_ms + record.unread_ms,
            (record.until - record.from).num_milliseconds()
        );
        let known: Vec<i64> = states.iter().filter_map(|(_, state)| state.and_then(State::to_be_had)).chain(facts.now.to_be_had()).collect();
        let changes = known.windows(2).filter(|two| two[0] != two[1]).count();
        prop_assert_eq!(facts.changes, changes);
    }

    #[test]
    fn polling_more_often_changes_nothing(prices in proptest::collection::vec((1_i64..5, 1_i64..9), 1..9)) {
        // Prices that change on the hour, read every hour, every ten minutes, or every minute.
        let read_every = |step: i64| {
            let mut at = 0;
            let mut asked = Vec::new();
            for (price, hours) in &prices {
                asked.push((at, at + hours * 60 - step, None, *price, Stock::Orderable));
                at += hours * 60;
            }
            let readings = (0..at / step).map(|number| (number * step, true)).collect();
            Past { asked, readings, now: at - 1 }.series()
        };
        prop_assert_eq!(read_every(60), read_every(10));
        prop_assert_eq!(read_every(60), read_every(1));
    }

    #[test]
    fn the_wait_is_what_counting_minutes_says(past in past(), target in 1_i64..6) {
        // Each minute stands for a day, so that the records are long enough.
        let day = |at: DateTime<Utc>| DateTime::UNIX_EPOCH + TimeDelta::days(minutes(at));
        let short = past.series();
        let mut series = Series { steps: Vec::new(), ..short.clone() };
        series.steps.extend(short.steps().iter().map(|step| Step { from: day(step.from), until: day(step.until), state: step.state }));
        let states = past.every_minute();
        let reached = |state: State| state.to_be_had().is_some_and(|price| price <= target);
        let (mut waited, mut met, mut arrivals) = (0_i64, 0_i64, 0_u32);
        for (number, (_, state)) in states.iter().enumerate() {
            let Some(state) = state else { continue };
            let before = number.checked_sub(1).and_then(|before| states[before].1);
            let waited_before = before.is_some_and(|before| before != State::Unread && !reached(before));
            if reached(*state) {
                met += 1;
                arrivals += u32::from(waited_before);
            } else if *state != State::Unread {
                waited += 1;
            }
        }
        let day_ms = 86_400_000;
        let watched_ms = (waited + met) * day_ms;
        let expected = if short.last().is_some_and(|(_, state)| reached(state)) {
            Wait::NotAtAll
        } else if waited + met < 30 {
            Wait::CannotTell(Why::RecordTooShort { watched_ms })
        } else if met == 0 {
            Wait::CannotTell(Why::NeverReached { watched_ms })
        } else if arrivals < 3 {
            Wait::CannotTell(Why::TooFewArrivals { arrivals })
        } else {
            let waited_ms = waited * day_ms;
            Wait::Expected { mean_ms: waited_ms / i64::from(arrivals), arrivals, waited_ms }
        };
        prop_assert_eq!(wait(&series, target), expected);
    }
}

/// A price that was seen hourly, in minutes.
fn hourly(asked: &[(i64, i64, i64)], silent: std::ops::Range<i64>, now: i64) -> Series {
    let hours = (0..=now / 60).map(|hour| hour * 60);
    let past = Past {
        asked: asked
            .iter()
            .map(|&(from, until, price)| (from, until, None, price, Stock::Orderable))
            .collect(),
        readings: hours
            .filter(|at| !silent.contains(at))
            .map(|at| (at, true))
            .collect(),
        now,
    };
    past.series()
}

fn asked(minor: i64) -> State {
    State::Asked(Quote {
        minor,
        stock: Stock::Orderable,
        source: 0,
    })
}

#[test]
fn an_outage_is_a_gap_although_the_price_is_the_same_before_and_after() {
    let series = hourly(&[(0, 6000, 500)], 1201..3599, 6000);
    let states: Vec<(i64, State)> = series
        .steps()
        .iter()
        .map(|step| (minutes(step.from), step.state))
        .collect();
    // Read at 1200 for the last time, trusted for three readings more, back at 3600.
    assert_eq!(
        states,
        [(0, asked(500)), (1380, State::Unread), (3600, asked(500))]
    );
    let facts = Facts::of(&series).unwrap();
    assert_eq!(facts.record.unread_ms, (3600 - 1380) * 60_000);
    assert_eq!((facts.changes, facts.last_change), (0, None));
}

#[test]
fn a_failed_poll_or_two_are_no_gap() {
    let series = hourly(&[(0, 6000, 500)], 1201..1379, 6000);
    assert_eq!(series.steps().len(), 1);
}

#[test]
fn an_offer_that_a_reading_leaves_out_is_absent_and_not_unread() {
    let series = hourly(&[(0, 600, 500), (1200, 1800, 400)], 0..0, 1800);
    let states: Vec<(i64, State)> = series
        .steps()
        .iter()
        .map(|step| (minutes(step.from), step.state))
        .collect();
    assert_eq!(
        states,
        [(0, asked(500)), (660, State::Absent), (1200, asked(400))]
    );
}

#[test]
fn a_price_that_cannot_be_had_is_neither_the_lowest_nor_in_the_mean() {
    let series = Past {
        asked: vec![
            (0, 100, None, 300, Stock::NotOrderable),
            (101, 200, None, 500, Stock::Orderable),
        ],
        readings: Vec::new(),
        now: 200,
    }
    .series();
    let facts = Facts::of(&series).unwrap();
    assert_eq!(facts.lowest.map(|lowest| lowest.minor), Some(500));
    assert_eq!(facts.held.mean(), Some(500));
    // 99 of 200 minutes.
    assert_eq!(facts.in_stock_thousandths, Some(495));
}

#[test]
fn a_price_of_this_instant_is_known_before_it_has_held_for_any_time() {
    let series = hourly(&[(60, 60, 500)], 0..0, 60);
    let facts = Facts::of(&series).unwrap();
    assert_eq!(facts.now, asked(500));
    assert_eq!(facts.lowest.map(|lowest| lowest.minor), Some(500));
    assert_eq!((facts.held.mean(), facts.trend_percent), (None, None));
}

#[test]
fn a_lowest_price_that_is_seen_again_at_the_end_could_be_had_until_then() {
    let series = Past {
        asked: vec![
            (135, 162, None, 1, Stock::Orderable),
            (197, 476, None, 1, Stock::Orderable),
        ],
        readings: [1, 2, 81, 177, 229].map(|at| (at, false)).to_vec(),
        now: 476,
    }
    .series();
    let facts = Facts::of(&series).unwrap();
    // Nobody looked from 325 on, three times the usual spacing after 229.
    let unread = series
        .steps()
        .last()
        .map(|step| (minutes(step.from), step.state));
    assert_eq!(unread, Some((325, State::Unread)));
    assert_eq!(facts.lowest.map(|lowest| minutes(lowest.until)), Some(476));
}

#[test]
fn a_line_has_its_own_slope() {
    // A cent more every day for 100 days, from 1000: 30 in 30 days of a mean of 1049.5.
    let day = 24 * 60;
    let asked: Vec<(i64, i64, i64)> = (0..100)
        .map(|number| (number * day, (number + 1) * day - 60, 1000 + number))
        .collect();
    let facts = Facts::of(&hourly(&asked, 0..0, 100 * day - 1)).unwrap();
    let percent = facts.trend_percent.unwrap();
    assert!((percent - 100.0 * 30.0 / 1049.5).abs() < 0.01, "{percent}");
    assert_eq!(facts.changes, 99);
}

#[test]
fn extreme_amounts_and_times_break_nothing() {
    let far = |minutes| DateTime::from_timestamp(minutes, 0).unwrap();
    let asked = [i64::MIN, i64::MAX, 0].map(|minor| minor);
    let asked: Vec<Asked> = asked
        .iter()
        .zip([-8_000_000_000_000, 0, 8_000_000_000_000])
        .map(|(minor, at)| Asked {
            from: far(at),
            until: far(at + 1_000_000_000),
            gone_since: None,
            minor: *minor,
            stock: Stock::Orderable,
        })
        .collect();
    let now = DateTime::<Utc>::MAX_UTC;
    let series = Series::of_offer(Currency::EUR, &asked, &[], now);
    let facts = Facts::of(&series).unwrap();
    assert_eq!(facts.lowest.map(|lowest| lowest.minor), Some(i64::MIN));
    assert_eq!(
        wait(&series, 5),
        Wait::CannotTell(Why::TooFewArrivals { arrivals: 0 })
    );
}
