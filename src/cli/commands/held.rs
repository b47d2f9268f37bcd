//! `rigtide held`: the observations that wait for confirmation, and a person's word on one.
//!
//! `--json` gives a list, oldest first:
//!
//! ```text
//! [{ id, feed, retailer, sku, seller, title, part,
//!    price_minor, currency,                    what waits
//!    current_price_minor, current_currency,    what is believed instead; null for nothing
//!    reason, times, first_seen, last_seen }]   times: polls in a row that said it
//! ```
//!
//! With `--confirm` or `--drop` it gives `{ id, done }`, where `done` is `confirmed` or `dropped`.

use crate::cli::args::HeldArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless, harmless_source, shortened};
use crate::cli::wire::Place;
use crate::decide::shown_instant;
use crate::ledger::{HeldId, HeldOffer, LedgerError};
use crate::watch::clock::Clock;
use crate::watch::words::{HeldWord, described, give_held_word};
use serde::Serialize;
use serde_json::json;
use std::path::Path;

/// One held observation, for programs.
#[derive(Serialize)]
struct HeldRecord<'h> {
    id: i64,
    feed: &'h str,
    retailer: &'h str,
    sku: &'h str,
    seller: Option<&'h str>,
    title: &'h str,
    part: Option<&'h str>,
    price_minor: i64,
    currency: String,
    current_price_minor: Option<i64>,
    current_currency: Option<String>,
    reason: &'h str,
    times: u32,
    first_seen: String,
    last_seen: String,
}

pub fn run(directory: &Path, arguments: &HeldArguments, screen: &Screen) -> Result<(), Failure> {
    let place = Place::of(directory)?;
    let json = arguments.output.json;
    match (arguments.confirm, arguments.drop) {
        (Some(id), _) => give_word(&place, HeldWord::Confirm, id, json, screen),
        (None, Some(id)) => give_word(&place, HeldWord::Drop, id, json, screen),
        (None, None) => list(&place, json, screen),
    }
}

fn list(place: &Place, json: bool, screen: &Screen) -> Result<(), Failure> {
    let held = match place.existing_reader()? {
        Some(reader) => reader.list_held().map_err(of_ledger)?,
        None => Vec::new(),
    };
    if json {
        let records: Vec<HeldRecord<'_>> = held.iter().map(record).collect();
        let text = serde_json::to_string(&records).unwrap_or_default();
        screen.line(harmless_source(&text));
    } else {
        table(&held, screen)
            .iter()
            .for_each(|line| screen.line(line));
    }
    Ok(())
}

fn give_word(
    place: &Place,
    word: HeldWord,
    id: i64,
    json: bool,
    screen: &Screen,
) -> Result<(), Failure> {
    let unknown = || {
        let message = format!("no held price has the number {id}");
        Failure::usage(message, "`rigtide held` lists those that wait")
    };
    if !place.ledger.exists() {
        return Err(unknown());
    }
    let mut ledger = place.writer()?;
    let now = Clock::from_environment().now();
    let held = give_held_word(&mut ledger, word, HeldId(id), now).map_err(of_ledger)?;
    let held = held.ok_or_else(unknown)?;
    let done = word.done();
    if json {
        screen.line(json!({ "id": id, "done": done }).to_string());
    } else {
        screen.line(harmless(&format!("{done}: {}", described(&held))));
    }
    Ok(())
}

fn of_ledger(error: LedgerError) -> Failure {
    Failure::Ledger(error.into())
}

fn record(held: &HeldOffer) -> HeldRecord<'_> {
    let current = held.current_price;
    HeldRecord {
        id: held.id.0,
        feed: held.feed.as_str(),
        retailer: held.retailer.as_str(),
        sku: held.sku.as_str(),
        seller: held.seller.as_deref(),
        title: &held.title,
        part: held.part.as_deref(),
        price_minor: held.price.minor(),
        currency: held.price.currency().to_string(),
        current_price_minor: current.map(|price| price.minor()),
        current_currency: current.map(|price| price.currency().to_string()),
        reason: &held.reason,
        times: held.times,
        first_seen: shown_instant(held.first_seen),
        last_seen: shown_instant(held.last_seen),
    }
}

fn table(held: &[HeldOffer], screen: &Screen) -> Vec<String> {
    if held.is_empty() {
        return vec!["no price is held".to_owned()];
    }
    let heading = [
        "id",
        "feed",
        "sku",
        "title",
        "held",
        "current",
        "times",
        "last seen",
    ];
    let mut rows: Vec<Vec<String>> = vec![heading.iter().map(|&text| text.to_owned()).collect()];
    for held in held {
        rows.push(vec![
            held.id.0.to_string(),
            held.feed.to_string(),
            harmless(&shortened(held.sku.as_str(), 24)),
            harmless(&shortened(&held.title, 40)),
            held.price.to_string(),
            held.current_price
                .map_or_else(|| "none".to_owned(), |price| price.to_string()),
            held.times.to_string(),
            shown_instant(held.last_seen),
        ]);
    }
    let set = [
        Set::Right,
        Set::Left,
        Set::Left,
        Set::Left,
        Set::Right,
        Set::Right,
        Set::Right,
        Set::Left,
    ];
    let mut lines = columns(&rows, &set);
    lines[0] = screen.tone(Tone::Quiet, &lines[0]);
    // The reason of each price stands below its line.
    let reasons = held
        .iter()
        .map(|held| format!("    {}", harmless(&held.reason)));
    let mut shown = vec![lines.remove(0)];
    shown.extend(
        lines
            .into_iter()
            .zip(reasons)
            .flat_map(|(line, reason)| [line, reason]),
    );
    shown.push("`--confirm ID` makes a held price count, `--drop ID` rules it out".to_owned());
    shown
}
