//! `rigtide feed try FEED`: how a feed's records are read, without storing any.
//!
//! `--json` gives one object. `index`, `raw`, `notes` and `verdict` are always there; what could
//! not be read is null, and amounts are minor units of `currency`:
//!
//! ```text
//! { feed,
//!   records [{ index, raw {field: text or list of texts}, title, sku, gtin, mpn, price_text,
//!              price_minor, currency, availability, lead_days, available_from, condition, seller,
//!              shipping_minor, part, match {by, confidence, reason}, notes [], verdict: accepted|held|refused, reason }],
//!   counts { records, accepted, held, refused, matched, reasons {code: number} },
//!   examples {code: text},        the first record of each reason
//!   notes [], error }             error: why a poll would fail as a whole
//! ```
//!
//! Exits with the code for failed feeds when `error` is set.

use crate::cli::args::TryArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless, harmless_source, shortened};
use crate::cli::wire;
use crate::market::{Field, Matcher};
use crate::money::{Currency, Money};
use crate::watch::clock::Clock;
use crate::watch::settings::{Feed, Settings};
use crate::watch::trial::{
    Trial, TrialRecord, Trying, Verdict, gather_for_trial, gather_last, gather_saved, run_trial,
};
use serde_json::Value;
use std::path::Path;

/// Characters of a cell; the JSON has the whole text.
const CELL_CHARACTERS_MAX: usize = 48;

pub fn run(directory: &Path, arguments: &TryArguments, screen: &Screen) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let feed = select(&settings, &arguments.feed)?;
    let now = Clock::from_environment().now();
    screen.progress(&format!("trying {}", feed.id));
    let gathered = match &arguments.from {
        Some(saved) => gather_saved(feed, saved),
        None if arguments.last => gather_last(&settings, feed),
        None => {
            let fetcher = wire::fetcher(&settings)?;
            let gathering = gather_for_trial(&settings, &fetcher, feed, arguments.limit, now);
            wire::runtime()?.block_on(gathering)
        }
    };
    let reader = wire::existing_reader(&settings)?;
    let trying = Trying {
        matcher: &Matcher::new(&settings.catalogue),
        ledger: reader.as_ref(),
        records_shown: arguments.limit,
        now,
    };
    let trial = run_trial(&trying, feed, gathered);
    screen.clear_progress();
    let trial = trial.map_err(|error| Failure::Ledger(error.into()))?;
    if arguments.output.json {
        let text = serde_json::to_string(&trial).unwrap_or_default();
        screen.line(harmless_source(&text));
    } else {
        show(&trial, screen)
            .iter()
            .for_each(|line| screen.line(line));
    }
    match trial.error {
        None => Ok(()),
        Some(_) => Err(Failure::FeedsFailed),
    }
}

fn select<'s>(settings: &'s Settings, name: &str) -> Result<&'s Feed, Failure> {
    let found = settings.feeds.iter().find(|feed| feed.id.as_str() == name);
    found.ok_or_else(|| {
        let known: Vec<&str> = settings.feeds.iter().map(|feed| feed.id.as_str()).collect();
        Failure::usage(
            format!("no feed is called \"{name}\""),
            format!("known feeds: {}", known.join(", ")),
        )
    })
}

/// The trial for a person: records, what was refused and why, and what a poll would come to.
fn show(trial: &Trial, screen: &Screen) -> Vec<String> {
    let mut lines = Vec::new();
    for record in &trial.records {
        lines.extend(show_record(record, screen));
        lines.push(String::new());
    }
    let counts = &trial.counts;
    lines.push(format!(
        "{} records: {} accepted, {} held, {} refused; {} are known parts",
        counts.records, counts.accepted, counts.held, counts.refused, counts.matched
    ));
    let reasons = counts.reasons.iter().map(|(code, number)| {
        let example = trial.examples.get(code).map_or("", String::as_str);
        vec![
            format!("  {number}"),
            (*code).to_owned(),
            harmless(&shortened(example, 160)),
        ]
    });
    let reasons: Vec<Vec<String>> = reasons.collect();
    lines.extend(columns(&reasons, &[Set::Right, Set::Left, Set::Left]));
    let notes = trial.notes.iter();
    lines.extend(notes.map(|note| format!("note: {}", harmless(note))));
    match &trial.error {
        Some(error) => lines.push(format!("a poll would fail: {}", harmless(error))),
        None => lines.push("nothing was stored".to_owned()),
    }
    lines
}

/// One record, as it stands beside as it is read.
fn show_record(record: &TrialRecord, screen: &Screen) -> Vec<String> {
    let (sign, verdict) = match record.verdict {
        Verdict::Accepted => ('+', "accepted"),
        Verdict::Held => ('?', "held"),
        Verdict::Refused => ('-', "refused"),
    };
    let mut heading = format!("{sign} record {}: {verdict}", record.index);
    if let Some(reason) = &record.reason {
        heading.push_str(", ");
        heading.push_str(&harmless(reason));
    }
    let mut lines = vec![screen.tone(Tone::Strong, &heading)];
    let mut rows = vec![["field", "raw", "read as"].map(str::to_owned).to_vec()];
    for (name, field) in Field::NAMES {
        let raw = record.raw.get(*name).map(raw_text);
        let read = read_as(record, *field);
        if raw.is_some() || read.is_some() {
            let cell = |text: Option<String>| {
                harmless(&shortened(&text.unwrap_or_default(), CELL_CHARACTERS_MAX))
            };
            rows.push(vec![(*name).to_owned(), cell(raw), cell(read)]);
        }
    }
    if record.verdict != Verdict::Refused {
        rows.push(vec!["part".to_owned(), String::new(), part(record)]);
    }
    let table = columns(&rows, &[Set::Left; 3]);
    let quiet = |(number, line): (usize, &String)| match number {
        0 => format!("  {}", screen.tone(Tone::Quiet, line)),
        _ => format!("  {line}"),
    };
    if rows.len() > 1 {
        lines.extend(table.iter().enumerate().map(quiet));
    }
    let notes = record.notes.iter();
    lines.extend(notes.map(|note| format!("  note: {}", harmless(note))));
    lines
}

fn raw_text(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Array(texts) => {
            let texts: Vec<&str> = texts.iter().filter_map(Value::as_str).collect();
            texts.join(" | ")
        }
        other => other.to_string(),
    }
}

/// What a field was read as; `None` for fields that only help to read others.
fn read_as(record: &TrialRecord, field: Field) -> Option<String> {
    let words = |name: &'static str| name.replace('_', " ");
    match field {
        Field::Title => record.title.clone(),
        Field::Sku => record.sku.clone(),
        Field::Gtin => record.gtin.clone(),
        Field::Mpn => record.mpn.clone(),
        Field::Price => amount(record, record.price_minor),
        Field::Availability => record.availability.map(words),
        Field::LeadTime => record.lead_days.map(|days| format!("{days} days")),
        Field::AvailableFrom => record.available_from.clone(),
        Field::Condition => record.condition.map(words),
        Field::Seller => record.seller.clone(),
        Field::Shipping => amount(record, record.shipping_minor),
        _ => None,
    }
}

fn amount(record: &TrialRecord, minor: Option<i64>) -> Option<String> {
    let currency = Currency::parse(record.currency.as_deref()?).ok()?;
    Some(Money::from_minor(minor?, currency).to_string())
}

fn part(record: &TrialRecord) -> String {
    match (&record.part, &record.matched) {
        (Some(part), Some(matched)) => {
            let (by, confidence, reason) = (matched.by, matched.confidence, &matched.reason);
            format!("{part}, by its {by} ({confidence} %): {reason}")
        }
        _ => "none: neither its numbers nor its title name one".to_owned(),
    }
}
