//! `rigtide history PART`: what was seen of a part's price.
//!
//! ```text
//! { part, currency,                            currency: of the first point
//!   points [{ retailer, sku, seller, condition, from, until, price_minor, currency, list_minor,
//!             availability, is_lowest }],
//!   wares [{ condition, currency, tax_included, offers, facts, steps }],
//!   claims [{ retailer, sku, from, price_minor, was_minor, currency, verdict, why, lowest_minor,
//!             lowest_from, lowest_until, opens, closes, percent_off_hundredths,
//!             claimed_off_hundredths }] }
//! ```
//!
//! A ware is what can be compared: new or used, one currency, with tax or without.

mod facts;
mod report;
mod table_file;

use crate::catalogue::PartId;
use crate::catalogue::table::nearest;
use crate::chart::stacked;
use crate::cli::args::HistoryArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless, harmless_source};
use crate::cli::wire;
use crate::decide::shown_instant;
use crate::ledger::Interval;
use crate::watch::clock::Clock;
use crate::watch::past::{Past, PastWanted};
use crate::watch::settings::Settings;
use std::path::Path;

pub fn run(directory: &Path, arguments: &HistoryArguments, screen: &Screen) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let now = Clock::from_environment().now();
    let wanted = PastWanted {
        part: arguments.part.clone(),
        since: arguments.since,
        retailers: arguments.retailer.iter().cloned().collect(),
        target: arguments.target.clone(),
        progressive: arguments.progressive,
        on_market_since: arguments.on_market_since,
    };
    let past = Past::read(&settings, &wire::reader(&settings)?, &wanted, now)?;
    if past.intervals.is_empty() {
        check_names(&settings, arguments)?;
    }
    if let Some(file) = &arguments.csv {
        wire::write_whole(file, &table_file::text(&past)?)?;
    }
    if let Some(file) = &arguments.svg {
        let charts: Vec<String> = past
            .wares
            .iter()
            .map(|ware| ware.chart(&past).svg())
            .collect();
        if charts.is_empty() {
            let hint = "prices come with `rigtide poll`";
            return Err(Failure::usage("there is no price to draw", hint));
        }
        wire::write_whole(file, &stacked(&charts))?;
    }
    if arguments.output.json {
        screen.line(harmless_source(&report::report(&past).to_string()));
        return Ok(());
    }
    if past.intervals.is_empty() {
        let span = match (&arguments.since, &arguments.retailer) {
            (None, None) => "yet",
            _ => "within what was asked for",
        };
        let part = &arguments.part;
        screen.line(format!(
            "no price of {part} has been seen {span}; run `rigtide poll`"
        ));
        return Ok(());
    }
    let lines = shown(&past, arguments, screen);
    lines.iter().for_each(|line| screen.line(line));
    Ok(())
}

/// Nothing was seen: because nothing is called so?
fn check_names(settings: &Settings, arguments: &HistoryArguments) -> Result<(), Failure> {
    let part = arguments.part.as_str();
    let known = || settings.catalogue.parts.keys().map(PartId::as_str);
    if !known().any(|id| id == part) {
        let hint = match nearest(part, known()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => "the catalogue's parts are in catalogue/*.toml".to_owned(),
        };
        return Err(Failure::usage(
            format!("no part is called \"{part}\""),
            hint,
        ));
    }
    let retailers = || settings.retailers.keys().map(|id| id.as_str());
    let unknown = arguments.retailer.as_deref();
    match unknown.filter(|name| !retailers().any(|id| id == *name)) {
        None => Ok(()),
        Some(name) => {
            let hint = match nearest(name, retailers()) {
                Some(near) => format!("did you mean \"{near}\"?"),
                None => "the retailers are in retailers/*.toml".to_owned(),
            };
            Err(Failure::usage(
                format!("no retailer is called \"{name}\""),
                hint,
            ))
        }
    }
}

fn shown(past: &Past, arguments: &HistoryArguments, screen: &Screen) -> Vec<String> {
    let mut lines = vec![screen.tone(Tone::Strong, &harmless(&past.name))];
    for ware in &past.wares {
        lines.push(String::new());
        lines.extend(facts::lines(ware, past));
        if arguments.plot {
            let chart = ware.chart(past).text();
            lines.push(String::new());
            lines.extend(chart.iter().map(|line| harmless(line)));
        }
    }
    lines.push(String::new());
    let mut table = table(past);
    table[0] = screen.tone(Tone::Quiet, &table[0]);
    lines.extend(table);
    let claims = facts::claims(past);
    if !claims.is_empty() {
        lines.push(String::new());
        lines.extend(claims);
    }
    lines
}

fn table(past: &Past) -> Vec<String> {
    let heading = [
        "retailer",
        "sku",
        "from",
        "last seen",
        "price",
        "availability",
        "",
    ];
    let mut rows: Vec<Vec<String>> = vec![heading.iter().map(|&text| text.to_owned()).collect()];
    for interval in &past.intervals {
        rows.push(vec![
            harmless(interval.retailer.as_str()),
            harmless(interval.sku.as_str()),
            shown_instant(interval.from),
            shown_instant(interval.until),
            interval.price.to_string(),
            interval.availability.name().replace('_', " "),
            remark(interval, past),
        ]);
    }
    let set = [
        Set::Left,
        Set::Left,
        Set::Left,
        Set::Left,
        Set::Right,
        Set::Left,
        Set::Left,
    ];
    columns(&rows, &set)
}

fn remark(interval: &Interval, past: &Past) -> String {
    let is_lowest = past
        .ware_of(interval)
        .is_some_and(|ware| ware.is_lowest(interval));
    let claimed = past.claims.iter().rfind(|claim| claim.covers(interval));
    let claimed = claimed.map(|claim| format!("\"was\" {}: {}", claim.was(), claim.verdict()));
    let remarks = is_lowest.then(|| "lowest".to_owned()).into_iter();
    remarks.chain(claimed).collect::<Vec<_>>().join(", ")
}
