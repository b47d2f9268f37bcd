//! The starter configuration: valid, complete enough for a build, and at one with its own feed.

use rigtide::catalogue::Gtin;
use rigtide::catalogue::table::Document;
use rigtide::fit::OwnRule;
use rigtide::market::{Field, Retailer};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use toml::{Table, Value};

fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("config")
        .join(name)
}

fn read(name: &str) -> Table {
    let text = std::fs::read_to_string(path(name)).unwrap();
    text.parse()
        .unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn entries(table: &Table, list: &str) -> Vec<Value> {
    table[list].as_array().unwrap().clone()
}

fn text<'v>(value: &'v Value, key: &str) -> &'v str {
    value[key].as_str().unwrap()
}

#[test]
fn every_part_has_an_identity_and_is_offered() {
    let parts = entries(&read("catalogue/parts.toml"), "part");
    let feed = &entries(&read("retailers/example.toml"), "feed")[0];
    let mut reader = csv::Reader::from_path(path("").join(text(feed, "file"))).unwrap();
    let headings = reader.headers().unwrap().clone();
    for (field, column) in feed["fields"].as_table().unwrap() {
        assert!(Field::parse(field).is_some(), "{field}");
        assert!(
            headings
                .iter()
                .any(|heading| Some(heading) == column.as_str()),
            "{field}"
        );
    }
    let rows: Vec<BTreeMap<String, String>> = reader.deserialize().map(Result::unwrap).collect();
    assert!((12..=16).contains(&parts.len()));
    for part in &parts {
        let gtin = text(part, "gtin");
        assert!(
            Gtin::parse(gtin).is_ok() && gtin.starts_with("952"),
            "{gtin}"
        );
        let row = rows.iter().find(|row| row["ean"] == gtin).unwrap();
        assert_eq!(row["maker_number"], text(part, "mpn"));
        assert_eq!(row["title"], text(part, "name"));
    }
}

#[test]
fn a_set_that_fits_is_within_the_budget() {
    // The AM5 set, read off the file by hand: it fits by every rule.
    let picks = [
        "askerune-fjell-26",
        "haldrune-siltwind-46",
        "drefholm-quay-a13-micro-ddr5",
        "ulvaskop-tern-32-gb-2x16-gb-ddr5-6000",
        "pelgrund-korvassil-25-compact",
        "vennoquil-rowan-1-tb",
        "sennovik-ember-450-w",
        "drefholm-loft-12",
    ];
    let parts = entries(&read("catalogue/parts.toml"), "part");
    let mut reader = csv::Reader::from_path(path("retailers/example-offers.csv")).unwrap();
    let rows: Vec<BTreeMap<String, String>> = reader.deserialize().map(Result::unwrap).collect();
    let cents = |decimal: &str| decimal.replace('.', "").parse::<u32>().unwrap();
    let delivery = cents(text(
        &Value::Table(read("retailers/example.toml")),
        "delivery_per_pick",
    ));
    let mut total = 0;
    let mut kinds = BTreeSet::new();
    for pick in picks {
        let part = parts.iter().find(|part| text(part, "id") == pick).unwrap();
        let row = rows
            .iter()
            .find(|row| row["ean"] == text(part, "gtin"))
            .unwrap();
        assert_eq!(row["stock"], "in stock", "{pick}");
        kinds.insert(text(part, "kind").to_owned());
        total += cents(&row["price"]) + delivery;
    }
    let brief = read("briefs/example.toml");
    assert!(total <= cents(brief["budget"].as_str().unwrap()), "{total}");
    let roles = entries(&brief, "role");
    let wanted: BTreeSet<String> = roles
        .iter()
        .map(|role| text(role, "kind").to_owned())
        .collect();
    assert_eq!(kinds, wanted);
    assert_eq!(kinds.len(), 8);
}

#[test]
fn names_agree_between_the_files() {
    let workloads = entries(&read("catalogue/workloads.toml"), "workload");
    let ids: BTreeSet<&str> = workloads
        .iter()
        .map(|workload| text(workload, "id"))
        .collect();
    let brief = read("briefs/example.toml");
    for workload in &entries(&brief, "workload") {
        assert!(ids.contains(text(workload, "use")));
    }
    for part in &entries(&read("catalogue/parts.toml"), "part") {
        let kind = text(part, "kind");
        for workload in &workloads {
            let limits = workload["limited_by"].as_array().unwrap();
            let limits = limits.iter().any(|limit| limit.as_str() == Some(kind));
            let rate = part
                .get("rates")
                .and_then(|rates| rates.get(text(workload, "id")));
            assert_eq!(limits, rate.is_some(), "{}", text(part, "id"));
        }
    }
    let channels = entries(&read("rigtide.toml"), "channel");
    for channel in brief["channels"].as_array().unwrap() {
        assert!(
            channels
                .iter()
                .any(|known| text(known, "id") == channel.as_str().unwrap())
        );
    }
}

#[test]
fn the_library_reads_the_retailer() {
    let text = std::fs::read_to_string(path("retailers/example.toml")).unwrap();
    let document = Document::parse("retailers/example.toml", &text);
    let mut root = document.root();
    assert!(
        Retailer::read(
            "example",
            &mut root,
            &rigtide::catalogue::Catalogue::default()
        )
        .is_some()
    );
    assert_eq!(root.tables("feed").len(), 1);
    root.finish();
    assert_eq!(document.into_faults(), []);
}

#[test]
fn the_rules_that_the_starter_suggests_are_rules() {
    let text = std::fs::read_to_string(path("rigtide.toml")).unwrap();
    let start = text.find("# [[rule]]").unwrap();
    let lines = text[start..].lines();
    let rules: Vec<&str> = lines
        .map(|line| line.trim_start_matches(['#', ' ']))
        .collect();
    let rules = rules.join("\n");
    let document = Document::parse("rigtide.toml", &rules);
    let mut root = document.root();
    let read = root.tables("rule").into_iter().filter_map(OwnRule::read);
    assert_eq!(read.count(), 3);
    root.finish();
    assert_eq!(document.into_faults(), []);
}
