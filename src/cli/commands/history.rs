//! `rigtide history PART`: every price that was seen of a part.

use crate::catalogue::PartId;
use crate::catalogue::table::nearest;
use crate::cli::args::Output;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, columns};
use crate::cli::wire;
use crate::decide::shown_instant;
use crate::ledger::Interval;
use serde::Serialize;
use std::path::Path;

/// The prices of a part over time.
#[derive(Serialize)]
struct HistoryRecord<'h> {
    part: &'h str,
    /// Of the first point; each point names its own too.
    currency: Option<String>,
    points: Vec<Point<'h>>,
}

/// One price while it held.
#[derive(Serialize)]
struct Point<'h> {
    retailer: &'h str,
    sku: &'h str,
    from: String,
    /// When it was last seen.
    until: String,
    price_minor: i64,
    currency: String,
    availability: &'static str,
}

pub fn run(directory: &Path, part: &str, output: Output, screen: &Screen) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let known = || settings.catalogue.parts.keys().map(PartId::as_str);
    let reader = wire::reader(&settings)?;
    let series = reader
        .series(part)
        .map_err(|error| Failure::Ledger(error.into()))?;
    if series.is_empty() && !known().any(|id| id == part) {
        let hint = match nearest(part, known()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => "the catalogue's parts are in catalogue/*.toml".to_owned(),
        };
        return Err(Failure::usage(
            format!("no part is called \"{part}\""),
            hint,
        ));
    }
    if output.json {
        let record = HistoryRecord {
            part,
            currency: series
                .first()
                .map(|interval| interval.price.currency().to_string()),
            points: series.iter().map(point).collect(),
        };
        screen.line(serde_json::to_string(&record)?);
    } else if series.is_empty() {
        screen.line(format!(
            "no price of {part} has been seen yet; run `rigtide poll`"
        ));
    } else {
        table(&series).iter().for_each(|line| screen.line(line));
    }
    Ok(())
}

fn point(interval: &Interval) -> Point<'_> {
    Point {
        retailer: interval.retailer.as_str(),
        sku: interval.sku.as_str(),
        from: shown_instant(interval.from),
        until: shown_instant(interval.until),
        price_minor: interval.price.minor(),
        currency: interval.price.currency().to_string(),
        availability: interval.availability.name(),
    }
}

fn table(series: &[Interval]) -> Vec<String> {
    let heading = [
        "retailer",
        "sku",
        "from",
        "last seen",
        "price",
        "availability",
    ];
    let mut rows: Vec<Vec<String>> = vec![heading.iter().map(|&text| text.to_owned()).collect()];
    for interval in series {
        rows.push(vec![
            interval.retailer.to_string(),
            interval.sku.to_string(),
            shown_instant(interval.from),
            shown_instant(interval.until),
            interval.price.to_string(),
            interval.availability.name().replace('_', " "),
        ]);
    }
    let set = [
        Set::Left,
        Set::Left,
        Set::Left,
        Set::Left,
        Set::Right,
        Set::Left,
    ];
    columns(&rows, &set)
}
