//! What a part's past says: against numpy, scipy and pandas, and as the program tells it.

use crate::support::offer::titled;
use crate::support::program::Configuration;
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::history::{Asked, Facts, HeldTime, Reading, Series, Stock};
use rigtide::ledger::{Ledger, NoSnapshot, PartMatch, PollRecord, SnapshotIs};
use rigtide::market::{Availability, FeedId, Offer, RetailerId};
use rigtide::money::{Currency, Money};
use serde_json::Value;

const TABLES: &str = include_str!("../reference/history.json");
const NOW: &str = "2026-06-15T12:00:00Z";

const PARTS: &str = r#"
[[part]]
id = "tern-7"
kind = "gpu"
name = "Norvant Tern 7"
brand = "Norvant"
mpn = "NV-8810/16G"
"#;

fn tick(ticks: i64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::minutes(10 * ticks)
}

/// A series of [from, until, price] in ticks, read completely at every tick.
fn series(steps: &Value) -> Series {
    let steps = steps.as_array().unwrap().iter();
    let asked: Vec<Asked> = steps
        .map(|step| {
            let [from, until, minor] = [0, 1, 2].map(|at| step[at].as_i64().unwrap());
            Asked {
                from: tick(from),
                until: tick(until - 1),
                gone_since: None,
                minor,
                stock: Stock::Orderable,
            }
        })
        .collect();
    let end = asked.last().unwrap().until + TimeDelta::minutes(10);
    let readings: Vec<Reading> = (0..)
        .map(tick)
        .take_while(|at| *at <= end)
        .map(|at| Reading {
            at,
            is_complete: true,
        })
        .collect();
    Series::of_offer(Currency::EUR, &asked, &readings, end)
}

/// Source: numpy.quantile (inverted_cdf, weights), numpy.average, numpy.cov and
/// scipy.stats.linregress, and pandas on one row a tick, at the versions that tests/reference/history.json names;
/// tests/reference/history.py makes it anew.
#[test]
fn facts_over_the_time_held_are_those_of_numpy_scipy_and_pandas() {
    let whole: Value = serde_json::from_str(TABLES).unwrap();
    let tables = whole["series"].as_array().unwrap();
    assert!(tables.len() >= 9);
    for table in tables {
        let name = table["name"].as_str().unwrap();
        let series = series(&table["steps"]);
        let held = HeldTime::of(&series);
        let shares = whole["quantiles_at"].as_array().unwrap().iter();
        for (share, expected) in shares.zip(table["quantiles"].as_array().unwrap()) {
            let share = u32::try_from(share.as_u64().unwrap()).unwrap();
            assert_eq!(held.quantile(share), expected.as_i64(), "{name} at {share}");
        }
        let number = |key: &str| table[key].as_f64().unwrap();
        let mean = held.mean().unwrap() as f64;
        assert!((mean - number("mean")).abs() <= 0.5, "{name}: mean {mean}");
        let pandas = &table["pandas"];
        let by_pandas = pandas["mean"].as_f64().unwrap();
        assert!((mean - by_pandas).abs() <= 0.5, "{name}: mean {mean}");
        assert_eq!(held.quantile(500), pandas["median"].as_i64(), "{name}");
        let facts = Facts::of(&series).unwrap();
        for (key, found) in [
            ("spread_percent", held.spread_percent().unwrap()),
            ("trend_percent", facts.trend_percent.unwrap()),
        ] {
            let off = (found - number(key)).abs();
            let within = 1e-6 * number(key).abs() + 1e-9;
            assert!(
                off <= within,
                "{name}: {key} {found} is not {}",
                number(key)
            );
        }
        let median = held.quantile(500).unwrap();
        let ticks = held.at_or_below(median) / 600_000;
        assert_eq!(Some(ticks), table["at_or_below_median"].as_i64(), "{name}");
    }
}

/// One offer on one day: price, list price, availability.
type Listed = Option<(i64, Option<i64>, Availability)>;

/// From day 0, 2026-01-01: a sale, a reduction that does not hold, one that does.
fn northlight(day: i64) -> Option<Listed> {
    let in_stock = Availability::InStock;
    Some(match day {
        20..22 => Some((9_500, None, in_stock)),
        60..70 => Some((11_800, None, Availability::SoldOut)),
        70..100 => Some((11_000, Some(13_000), in_stock)),
        100.. => Some((9_900, Some(11_000), in_stock)),
        _ => Some((12_000, None, in_stock)),
    })
}

/// Not read on days 30 to 44, off the shelf on days 90 to 119.
fn brindlemark(day: i64) -> Option<Listed> {
    match day {
        30..45 => None,
        90..120 => Some(None),
        120.. => Some(Some((10_500, None, Availability::Unknown))),
        _ => Some(Some((12_500, None, Availability::Unknown))),
    }
}

fn offer(
    retailer: &str,
    sku: &str,
    (price, list, availability): (i64, Option<i64>, Availability),
) -> Offer {
    let eur = |minor| Money::from_minor(minor, Currency::EUR);
    Offer {
        retailer: RetailerId::new(retailer),
        price: eur(price),
        list_price: list.map(eur),
        availability,
        ..titled(sku, "Norvant Tern 7")
    }
}

/// A configuration whose ledger has half a year of daily polls of two shops.
fn half_a_year() -> Configuration {
    let configuration = Configuration::new(NOW);
    configuration.write("catalogue/parts.toml", PARTS);
    for id in ["northlight", "brindlemark"] {
        let retailer = format!(
            "name = \"{id}\"\ncountry = \"DE\"\ncurrency = \"EUR\"\n[[feed]]\nid = \"all\"\n\
             timezone = \"Europe/Berlin\"\nfile = \"{id}.csv\"\nformat = \"csv\"\n\
             [feed.fields]\nsku = \"nr\"\ntitle = \"title\"\nprice = \"price\"\n"
        );
        configuration.write(&format!("retailers/{id}.toml"), retailer);
    }
    let mut ledger = Ledger::open(&configuration.path("ledger.sqlite")).unwrap();
    let part = PartMatch {
        part: "tern-7".to_owned(),
        by: "mpn".to_owned(),
        confidence_percent: 100,
    };
    let shops = [
        ("northlight", "A-1", northlight as fn(i64) -> Option<Listed>),
        ("brindlemark", "=B+2", brindlemark),
    ];
    for day in 0..166 {
        let at = "2026-01-01T06:00:00Z".parse::<DateTime<Utc>>().unwrap() + TimeDelta::days(day);
        for (id, sku, listed) in shops {
            let (feed, retailer) = (FeedId::new(format!("{id}/all")), RetailerId::new(id));
            let record = PollRecord::default();
            let Some(listed) = listed(day) else {
                let failed = NoSnapshot::Failed;
                ledger
                    .record_poll(&feed, &retailer, at, failed, &record)
                    .unwrap();
                continue;
            };
            let mut writer = ledger.begin_poll(&feed, &retailer, at).unwrap();
            if let Some(listed) = listed {
                let offer = offer(id, sku, listed);
                let standing = writer.admit(&offer, Some(&part), None).unwrap();
                writer.observe(&standing, &offer, Some(&part)).unwrap();
            }
            writer.commit(&record, SnapshotIs::Complete).unwrap();
        }
    }
    configuration
}

#[test]
fn half_a_year_is_told_with_its_lows_gaps_and_claims() {
    let configuration = half_a_year();
    let told = configuration.run(&["history", "tern-7", "--plot", "--target", "100"]);
    insta::assert_snapshot!(told.exited(0));
}

#[test]
fn one_shop_since_a_day_is_told_alone_with_the_evidence_from_before() {
    let configuration = half_a_year();
    let arguments = [
        "history",
        "tern-7",
        "--since",
        "2026-04-11",
        "--retailer",
        "northlight",
    ];
    insta::assert_snapshot!(configuration.run(&arguments).exited(0));
}

#[test]
fn the_record_as_json_says_what_is_a_price_and_what_is_a_gap() {
    let configuration = half_a_year();
    let told = configuration.run(&["history", "tern-7", "--json"]).json(0);
    let ware = &told["wares"][0];
    let steps = |number: usize| {
        let steps = ware["offers"][number]["steps"].as_array().unwrap().iter();
        let step = |step: &Value| {
            let from = step["from"].as_str().unwrap()[..10].to_owned();
            (from, step["state"].as_str().unwrap().to_owned())
        };
        steps.map(step).collect::<Vec<_>>()
    };
    let brindlemark = (0..2).find(|number| ware["offers"][number]["retailer"] == "brindlemark");
    let expected = [
        ("2026-01-01", "asked"),
        // Three days after the last reading.
        ("2026-02-02", "unread"),
        ("2026-02-15", "asked"),
        // Seen on day 89 for the last time.
        ("2026-04-01", "absent"),
        ("2026-05-01", "asked"),
    ];
    let found = steps(brindlemark.unwrap());
    let found: Vec<(&str, &str)> = found
        .iter()
        .map(|(from, state)| (from.as_str(), state.as_str()))
        .collect();
    assert_eq!(found, expected);
    let record = &ware["facts"]["record"];
    let all = ["to_be_had_ms", "not_orderable_ms", "absent_ms", "unread_ms"];
    let sum: i64 = all.iter().map(|key| record[key].as_i64().unwrap()).sum();
    // From the first poll until now.
    assert_eq!(sum, (165 * 24 + 6) * 3_600_000);
    let claims: Vec<&str> = told["claims"]
        .as_array()
        .unwrap()
        .iter()
        .map(|claim| claim["verdict"].as_str().unwrap())
        .collect();
    assert_eq!(claims, ["contradicted", "consistent"]);
    assert_eq!(told["claims"][0]["lowest_minor"], 12_000);
    // 130 to 110 is 15.38 %, 120 to 110 is 8.33 %.
    assert_eq!(told["claims"][0]["claimed_off_hundredths"], 1_538);
    assert_eq!(told["claims"][0]["percent_off_hundredths"], 833);
}

#[test]
fn the_table_for_a_spreadsheet_is_rfc_4180_and_runs_nothing() {
    let configuration = half_a_year();
    let file = configuration.path("tern.csv");
    let told = configuration.run(&["history", "tern-7", "--csv", file.to_str().unwrap()]);
    told.exited(0);
    let text = std::fs::read_to_string(file).unwrap();
    assert!(text.ends_with("\r\n") && !text.replace("\r\n", "").contains('\n'));
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert!(rows.iter().any(|row| &row[1] == "'=B+2"));
    let column = |row: &csv::StringRecord| {
        (
            row[6][..10].to_owned(),
            row[8].to_owned(),
            row[9].to_owned(),
        )
    };
    let cells = |from: &str, state: &str, price: &str| {
        (from.to_owned(), state.to_owned(), price.to_owned())
    };
    let found: Vec<_> = rows.iter().map(column).collect();
    assert!(
        found.contains(&cells("2026-01-21", "asked", "95.00")),
        "{found:?}"
    );
    assert!(
        found.contains(&cells("2026-02-02", "unread", "")),
        "{found:?}"
    );
    let lows = rows.iter().filter(|row| &row[11] == "yes").count();
    assert_eq!(lows, 1);
}

#[test]
fn the_drawing_has_a_chart_that_says_what_it_shows() {
    let configuration = half_a_year();
    let file = configuration.path("tern.svg");
    let told = configuration.run(&["history", "tern-7", "--svg", file.to_str().unwrap()]);
    told.exited(0);
    let text = std::fs::read_to_string(file).unwrap();
    assert!(text.contains("<desc>Prices in EUR from 2026-01-01 to 2026-06-15."));
    assert!(text.contains("Lowest EUR 95.00, first on 2026-01-21."));
}

#[test]
fn a_retailer_that_is_not_there_is_named_with_what_is() {
    let configuration = half_a_year();
    let told = configuration.run(&["history", "tern-7", "--retailer", "northligth"]);
    assert_eq!(told.code, 2);
    assert!(
        told.err.contains("did you mean \"northlight\"?"),
        "{}",
        told.err
    );
    let told = configuration.run(&["history", "tern-7", "--since", "2026-13-01"]);
    assert_eq!(told.code, 2);
}

#[test]
fn a_step_by_step_reduction_is_judged_by_its_first_step_only_where_that_is_asked_for() {
    let configuration = half_a_year();
    // On day 100 the price went from 110 to 99; the step before it was from 120 to 110.
    let told = |more: &[&str]| {
        let arguments = [&["history", "tern-7", "--json"], more].concat();
        configuration.run(&arguments).json(0)["claims"][1]["lowest_minor"].clone()
    };
    assert_eq!(told(&[]), 11_000);
    assert_eq!(told(&["--progressive"]), 12_000);
}
