//! Precision and recall over labelled offers: invented titles written like real ones.
//!
//! `tuning.csv` was in view while the matcher was written, `heldout.csv` was not. `blind.csv` was
//! written by somebody who had seen neither the matcher nor the other two; when it was first read,
//! precision was 96.9 % and recall 94.5 %. What it showed was mended by whole kinds of fault, so
//! that its score since then is no longer that of a blind set. The columns are title, brand, gtin,
//! mpn, price, language, part (`none` where it is no part), and why.

#[path = "../support/offer.rs"]
mod offer;

use offer::titled;
use rigtide::catalogue::{Catalogue, Gtin, load_catalogue};
use rigtide::market::{Matcher, Matching, Offer};
use std::fmt;
use std::path::Path;

/// The targets, in thousandths.
const PRECISION_MIN: u32 = 995;
const RECALL_MIN: u32 = 950;
const ROWS_MIN: usize = 600;

#[derive(Debug, serde::Deserialize)]
struct Row {
    title: String,
    brand: String,
    gtin: String,
    mpn: String,
    part: String,
    why: String,
}

#[derive(Default)]
struct Score {
    n_rows: u32,
    n_parts: u32,
    n_matched: u32,
    n_right: u32,
    wrong: Vec<String>,
    missed: Vec<String>,
}

impl Score {
    fn add(&mut self, row: &Row, matching: &Matching) {
        self.n_rows += 1;
        let is_part = row.part != "none";
        self.n_parts += u32::from(is_part);
        let line = |found: &str| {
            format!(
                "{found}: \"{}\" [{}] {} ({})",
                row.title, row.mpn, row.part, row.why
            )
        };
        match matching {
            Matching::Part(found) if found.part.as_str() == row.part => {
                self.n_matched += 1;
                self.n_right += 1;
            }
            Matching::Part(found) => {
                self.n_matched += 1;
                self.wrong
                    .push(line(&format!("{} {}", found.part, found.by.name())));
            }
            other if is_part => {
                let asked = other.question().unwrap_or_else(|| "no part".to_owned());
                self.missed.push(line(&asked));
            }
            _ => {}
        }
    }

    /// Right of all automatic matches, in thousandths, rounded down.
    fn precision(&self) -> u32 {
        self.n_right * 1000 / self.n_matched.max(1)
    }

    /// Right of all offers that are a part, in thousandths, rounded down.
    fn recall(&self) -> u32 {
        self.n_right * 1000 / self.n_parts.max(1)
    }
}

impl fmt::Display for Score {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} offers, {} of parts, {} matched, {} right: precision {}.{} %, recall {}.{} %",
            self.n_rows,
            self.n_parts,
            self.n_matched,
            self.n_right,
            self.precision() / 10,
            self.precision() % 10,
            self.recall() / 10,
            self.recall() % 10,
        )
    }
}

fn folder() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/matching")
}

fn rows(file: &str) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(folder().join(file))
        .expect("the labelled offers lie beside the test");
    reader
        .deserialize()
        .map(|row| row.expect("every row has the columns that the header names"))
        .collect()
}

fn catalogue() -> Catalogue {
    let text = std::fs::read_to_string(folder().join("catalogue.toml"))
        .expect("the labelled parts lie beside the test");
    let (catalogue, faults) = load_catalogue(&[("catalogue.toml", &text)]);
    assert_eq!(faults, []);
    catalogue
}

fn offer_of(row: &Row) -> Offer {
    let filled = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
    Offer {
        brand: filled(&row.brand),
        gtins: Gtin::parse(&row.gtin).into_iter().collect(),
        mpn: filled(&row.mpn),
        ..titled("1", &row.title)
    }
}

fn score<'r>(matcher: &Matcher, rows: impl IntoIterator<Item = &'r Row>) -> Score {
    let mut score = Score::default();
    for row in rows {
        score.add(row, &matcher.match_offer(&offer_of(row), None));
    }
    score
}

#[test]
fn automatic_matches_are_right_and_few_parts_are_missed() {
    let matcher = Matcher::new(&catalogue());
    let (tuning, heldout) = (rows("tuning.csv"), rows("heldout.csv"));
    let has_no_key = |row: &&Row| row.gtin.is_empty() && row.mpn.is_empty();
    let both = || tuning.iter().chain(&heldout);
    println!("tuning: {}", score(&matcher, &tuning));
    println!("held out: {}", score(&matcher, &heldout));
    println!(
        "tuning, title alone: {}",
        score(&matcher, tuning.iter().filter(has_no_key))
    );
    println!(
        "held out, title alone: {}",
        score(&matcher, heldout.iter().filter(has_no_key))
    );
    let all = score(&matcher, both());
    println!("all: {all}");
    // The rows of the held-out file are shown only when they are asked for, so that nobody tunes
    // on them by accident.
    let shown = if std::env::var_os("RIGTIDE_SHOW_HELDOUT").is_some() {
        score(&matcher, both())
    } else {
        score(&matcher, &tuning)
    };
    for line in &shown.wrong {
        println!("wrong: {line}");
    }
    for line in &shown.missed {
        println!("missed: {line}");
    }
    assert!(both().count() >= ROWS_MIN);
    assert!(
        all.precision() >= PRECISION_MIN,
        "{all}: {:#?}",
        shown.wrong
    );
    assert!(all.recall() >= RECALL_MIN, "{all}");
}

#[test]
fn offers_that_were_written_blind_are_matched_as_well() {
    let matcher = Matcher::new(&catalogue());
    let blind = rows("blind.csv");
    let has_no_key = |row: &&Row| row.gtin.is_empty() && row.mpn.is_empty();
    let all = score(&matcher, &blind);
    println!("blind: {all}");
    println!(
        "blind, title alone: {}",
        score(&matcher, blind.iter().filter(has_no_key))
    );
    for line in &all.wrong {
        println!("wrong: {line}");
    }
    for line in &all.missed {
        println!("missed: {line}");
    }
    assert!(all.precision() >= PRECISION_MIN, "{all}: {:#?}", all.wrong);
    assert!(all.recall() >= RECALL_MIN, "{all}: {:#?}", all.missed);
}

#[test]
fn every_label_is_a_part_of_the_catalogue_or_none() {
    let catalogue = catalogue();
    let files = ["tuning.csv", "heldout.csv", "blind.csv"];
    for row in files.into_iter().flat_map(rows) {
        let is_known = catalogue.parts.keys().any(|id| id.as_str() == row.part);
        assert!(is_known || row.part == "none", "{} {}", row.part, row.why);
    }
}
