//! The prior price: worked examples, and the edges of what a record can tell.

use super::*;
use crate::history::{Asked, Reading, Stock};
use crate::money::Currency;
use chrono::TimeDelta;
use chrono_tz::Tz;

/// One worked example. All but "interrupted" hold at midnight UTC.
struct Example {
    name: &'static str,
    /// From which day on which price.
    prices: &'static [(&'static str, i64)],
    reduced_on: &'static str,
    reduced_to: i64,
    progressive: bool,
    on_market_since: Option<&'static str>,
    prior: i64,
    percent_off_hundredths: i64,
}

const PLAIN: Example = Example {
    name: "",
    prices: &[],
    reduced_on: "2026-03-01",
    reduced_to: 0,
    progressive: false,
    on_market_since: None,
    prior: 0,
    percent_off_hundredths: 0,
};

const STEPS: &[(&str, i64)] = &[
    ("2025-10-01", 10_000),
    ("2026-03-01", 9_000),
    ("2026-03-08", 8_000),
];

const EXAMPLES: &[Example] = &[
    // Computed from Art. 6a(2).
    Example {
        name: "steady",
        prices: &[("2025-10-01", 10_000)],
        reduced_to: 8_000,
        prior: 10_000,
        percent_off_hundredths: 2_000,
        ..PLAIN
    },
    // Numbers: natlawreview.com of 2022-12-08. 12.5 %, not 30 %.
    Example {
        name: "earlier weekend sale",
        prices: &[
            ("2025-10-01", 10_000),
            ("2026-02-07", 8_000),
            ("2026-02-09", 10_000),
        ],
        reduced_to: 7_000,
        prior: 8_000,
        percent_off_hundredths: 1_250,
        ..PLAIN
    },
    // Numbers: the Commission's campaign page, consumerlawready.eu.
    Example {
        name: "raised before the sale",
        prices: &[("2025-10-01", 2_000), ("2026-02-20", 4_000)],
        reduced_to: 1_000,
        prior: 2_000,
        percent_off_hundredths: 5_000,
        ..PLAIN
    },
    // CJEU C-330/23 of 2024-09-26; figures by the press, dates invented.
    Example {
        name: "bananas",
        prices: &[("2022-09-01", 129), ("2022-10-10", 169)],
        reduced_on: "2022-10-17",
        reduced_to: 129,
        prior: 129,
        percent_off_hundredths: 0,
        ..PLAIN
    },
    // Numbers: novaconsumerlab.novalaw.unl.pt. 10 off, not 20.
    Example {
        name: "short rise",
        prices: &[("2025-10-01", 7_000), ("2026-02-25", 8_000)],
        reduced_to: 6_000,
        prior: 7_000,
        percent_off_hundredths: 1_429,
        ..PLAIN
    },
    // Computed: the 30 days open on 2026-01-30.
    Example {
        name: "a low that ended 31 days before",
        prices: &[("2025-10-01", 8_000), ("2026-01-29", 10_000)],
        reduced_to: 9_000,
        prior: 10_000,
        percent_off_hundredths: 1_000,
        ..PLAIN
    },
    // Computed: 80 was applied on 2026-01-30, so 90 is no reduction at all.
    Example {
        name: "a low that ended inside",
        prices: &[("2025-10-01", 8_000), ("2026-01-31", 10_000)],
        reduced_to: 9_000,
        prior: 8_000,
        percent_off_hundredths: -1_250,
        ..PLAIN
    },
    // Computed: nothing changes inside, so the price in force counts.
    Example {
        name: "a price set long ago",
        prices: &[("2024-01-01", 10_000)],
        reduced_to: 9_500,
        prior: 10_000,
        percent_off_hundredths: 500,
        ..PLAIN
    },
    // Art. 6a(5), the option of the states.
    Example {
        name: "first step",
        prices: &[("2025-10-01", 10_000)],
        reduced_to: 9_000,
        progressive: true,
        prior: 10_000,
        percent_off_hundredths: 1_000,
        ..PLAIN
    },
    Example {
        name: "second step with the option",
        prices: &[("2025-10-01", 10_000), ("2026-03-01", 9_000)],
        reduced_on: "2026-03-08",
        reduced_to: 8_000,
        progressive: true,
        prior: 10_000,
        percent_off_hundredths: 2_000,
        ..PLAIN
    },
    Example {
        name: "third step with the option",
        prices: STEPS,
        reduced_on: "2026-03-15",
        reduced_to: 7_000,
        progressive: true,
        prior: 10_000,
        percent_off_hundredths: 3_000,
        ..PLAIN
    },
    // Art. 6a(2).
    Example {
        name: "second step without the option",
        prices: &[("2025-10-01", 10_000), ("2026-03-01", 9_000)],
        reduced_on: "2026-03-08",
        reduced_to: 8_000,
        prior: 9_000,
        percent_off_hundredths: 1_111,
        ..PLAIN
    },
    Example {
        name: "third step without the option",
        prices: STEPS,
        reduced_on: "2026-03-15",
        reduced_to: 7_000,
        prior: 8_000,
        percent_off_hundredths: 1_250,
        ..PLAIN
    },
    // That Art. 6a(5) needs an uninterrupted increase is from memory.
    Example {
        name: "interrupted",
        prices: &[
            ("2025-10-01", 10_000),
            ("2026-03-01", 9_000),
            ("2026-03-08", 10_000),
        ],
        reduced_on: "2026-03-11",
        reduced_to: 8_000,
        progressive: true,
        prior: 9_000,
        percent_off_hundredths: 1_111,
        ..PLAIN
    },
    // Art. 6a(4), a shorter period for what is new.
    Example {
        name: "ten days on sale",
        prices: &[("2026-02-19", 10_000), ("2026-02-25", 9_500)],
        reduced_to: 8_500,
        on_market_since: Some("2026-02-19"),
        prior: 9_500,
        percent_off_hundredths: 1_053,
        ..PLAIN
    },
];

fn midnight(day: &str) -> DateTime<Utc> {
    format!("{day}T00:00:00Z").parse().unwrap()
}

/// The record of prices that begin at midnights, read daily save on some days.
fn record(prices: &[(&str, i64)], end: &str, is_read: impl Fn(DateTime<Utc>) -> bool) -> Series {
    let end = midnight(end);
    let begins = prices.first().map_or(end, |(day, _)| midnight(day));
    let readings: Vec<Reading> = (0..)
        .map(|days| begins + TimeDelta::days(days))
        .take_while(|at| *at <= end)
        .filter(|at| is_read(*at))
        .map(|at| Reading {
            at,
            is_complete: true,
        })
        .collect();
    let asked: Vec<Asked> = prices
        .iter()
        .enumerate()
        .map(|(number, (day, minor))| Asked {
            from: midnight(day),
            until: prices
                .get(number + 1)
                .map_or(end, |(next, _)| midnight(next) - TimeDelta::days(1)),
            gone_since: None,
            minor: *minor,
            stock: Stock::Orderable,
        })
        .collect();
    Series::of_offer(Currency::EUR, &asked, &readings, end)
}

fn terms(example: &Example) -> Terms {
    Terms {
        zone: Tz::UTC,
        progressive: example.progressive,
        on_market_since: example.on_market_since.map(midnight),
    }
}

fn claim(example: &Example, was_minor: i64) -> Reduction {
    Reduction {
        from: midnight(example.reduced_on),
        price_minor: example.reduced_to,
        was_minor,
    }
}

/// What the record says when the price is claimed to have been `was`.
fn told(
    prices: &[(&str, i64)],
    was: i64,
    progressive: bool,
    is_read: impl Fn(DateTime<Utc>) -> bool,
) -> Verdict {
    let example = Example {
        reduced_to: 5_000,
        progressive,
        ..PLAIN
    };
    let record = record(prices, example.reduced_on, is_read);
    check(&record, &claim(&example, was), &terms(&example)).verdict
}

#[test]
fn the_worked_examples_come_out_as_they_are_worked() {
    for example in EXAMPLES {
        let name = example.name;
        let record = record(example.prices, example.reduced_on, |_| true);
        let found = check(&record, &claim(example, example.prior), &terms(example));
        assert_eq!(found.lowest_minor, Some(example.prior), "{name}");
        let percent = found.percent_off_hundredths;
        assert_eq!(percent, Some(example.percent_off_hundredths), "{name}");
        assert_eq!(found.verdict, Verdict::Consistent, "{name}");
        let found = check(&record, &claim(example, example.prior + 1), &terms(example));
        assert!(
            matches!(found.verdict, Verdict::Contradicted { price_minor, .. } if price_minor == example.prior),
            "{name}: {:?}",
            found.verdict
        );
    }
}

#[test]
fn a_percentage_is_told_from_the_prior_price_and_from_the_claimed_one() {
    // CJEU C-330/23: advertised 23 %, from the prior price nothing.
    let example = &EXAMPLES[3];
    let record = record(example.prices, example.reduced_on, |_| true);
    let found = check(&record, &claim(example, 169), &terms(example));
    assert_eq!(found.claimed_off_hundredths, Some(2_367));
    assert_eq!(found.percent_off_hundredths, Some(0));
}

#[test]
fn a_contradiction_says_when_the_lower_price_was_to_be_had() {
    let prices = &[
        ("2025-10-01", 10_000),
        ("2026-02-07", 8_000),
        ("2026-02-09", 10_000),
    ];
    assert_eq!(
        told(prices, 10_000, false, |_| true),
        Verdict::Contradicted {
            from: midnight("2026-02-07"),
            until: midnight("2026-02-09"),
            price_minor: 8_000
        }
    );
}

#[test]
fn a_record_that_begins_within_the_days_cannot_agree_but_can_contradict() {
    let prices = &[("2026-02-10", 10_000)];
    let begins = midnight("2026-02-10").date_naive();
    assert_eq!(
        told(prices, 10_000, false, |_| true),
        Verdict::CannotTell(Why::BeginsLate(begins))
    );
    let verdict = told(prices, 12_000, false, |_| true);
    assert!(matches!(verdict, Verdict::Contradicted { .. }));
}

#[test]
fn an_outage_within_the_days_cannot_agree_but_one_before_them_can() {
    let prices = &[("2025-10-01", 10_000)];
    let out = |from: &'static str, until: &'static str| {
        move |at: DateTime<Utc>| at <= midnight(from) || at >= midnight(until)
    };
    assert_eq!(
        told(prices, 10_000, false, out("2026-02-03", "2026-02-12")),
        Verdict::CannotTell(Why::Unread {
            from: midnight("2026-02-06").date_naive(),
            until: midnight("2026-02-12").date_naive()
        })
    );
    let before = out("2025-12-03", "2026-01-12");
    assert_eq!(told(prices, 10_000, false, before), Verdict::Consistent);
}

#[test]
fn an_outage_between_steps_leaves_open_whether_they_were_one_reduction() {
    let prices = &[("2025-10-01", 10_000), ("2026-02-20", 8_000)];
    let read = |at: DateTime<Utc>| at <= midnight("2026-02-21") || at >= midnight("2026-02-28");
    let verdict = told(prices, 10_000, true, read);
    assert!(
        matches!(verdict, Verdict::CannotTell(Why::Unread { .. })),
        "{verdict:?}"
    );
    assert_eq!(told(prices, 10_000, true, |_| true), Verdict::Consistent);
}

#[test]
fn the_days_are_those_of_the_retailer() {
    // The clocks went forward on 2026-03-29: 30 days before 2026-04-10 is midnight by winter time.
    let claim = Reduction {
        from: "2026-04-10T09:00:00Z".parse().unwrap(),
        price_minor: 9_000,
        was_minor: 10_000,
    };
    let record = record(&[("2025-10-01", 10_000)], "2026-05-01", |_| true);
    let terms = |zone| Terms {
        zone,
        progressive: false,
        on_market_since: None,
    };
    let found = check(&record, &claim, &terms(Tz::Europe__Copenhagen));
    let opens: DateTime<Utc> = "2026-03-10T23:00:00Z".parse().unwrap();
    assert_eq!(found.opens, opens);
    // In Cairo the clocks go forward at midnight of 2026-04-24 (IANA time zone database).
    let claim = Reduction {
        from: "2026-05-24T09:00:00Z".parse().unwrap(),
        ..claim
    };
    let found = check(&record, &claim, &terms(Tz::Africa__Cairo));
    let opens: DateTime<Utc> = "2026-04-23T22:00:00Z".parse().unwrap();
    assert_eq!(found.opens, opens);
}

#[test]
fn nothing_on_record_is_no_agreement() {
    let claim = Reduction {
        from: midnight("2020-01-01"),
        price_minor: 0,
        was_minor: 0,
    };
    let record = record(&[("2025-10-01", 10_000)], "2026-05-01", |_| true);
    let terms = Terms {
        zone: Tz::UTC,
        progressive: true,
        on_market_since: None,
    };
    let found = check(&record, &claim, &terms);
    assert!(matches!(found.verdict, Verdict::CannotTell(_)), "{found:?}");
    assert_eq!(found.percent_off_hundredths, None);
}

#[test]
fn a_reduction_begins_where_its_price_is_first_stated_beside_a_higher_one() {
    let stated = [
        ("2026-01-01", 9_000, None),
        ("2026-01-05", 9_000, Some(12_000)),
        // The same again, as after a change of stock.
        ("2026-01-07", 9_000, Some(12_000)),
        ("2026-01-09", 9_000, Some(13_000)),
        ("2026-01-11", 8_000, Some(12_000)),
        // Not higher, so no claim.
        ("2026-01-13", 12_000, Some(12_000)),
        ("2026-01-15", 8_000, Some(12_000)),
    ];
    let stated = stated.map(|(from, price_minor, was_minor)| Stated {
        from: midnight(from),
        price_minor,
        was_minor,
    });
    let found: Vec<(DateTime<Utc>, i64, i64)> = reductions(&stated)
        .iter()
        .map(|one| (one.from, one.price_minor, one.was_minor))
        .collect();
    assert_eq!(
        found,
        [
            (midnight("2026-01-05"), 9_000, 12_000),
            (midnight("2026-01-05"), 9_000, 13_000),
            (midnight("2026-01-11"), 8_000, 12_000),
            (midnight("2026-01-15"), 8_000, 12_000),
        ]
    );
}
