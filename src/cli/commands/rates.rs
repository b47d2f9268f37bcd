//! `rigtide rates`: what the parts can do, how sure that is, and what it costs.
//!
//! `--json` gives
//!
//! ```text
//! { workloads [{ id, name, unit,
//!     rates        [{ part, kind, rate, error_percent, estimate, evidence, newest,
//!                     price_minor, currency, on_frontier }],
//!     unconnected  [{ part, tests [] }],
//!     disagreements [{ parts [], test, kind, why, difference_percent, at [] }],
//!     checks       [{ parts [], test, kind, left_out_percent, weight, outlier, at [] }],  with --check
//!     stale        [{ part, newest }] }] }                                               with --check
//! ```
//!
//! An error is the standard error of the rate in percent.

use crate::catalogue::table::nearest;
use crate::catalogue::{Evidence, Kind, Part, PartId, Workload, WorkloadId};
use crate::chart::scatter::{Point, Scatter};
use crate::chart::stacked;
use crate::cli::args::RatesArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless_source};
use crate::cli::wire;
use crate::market::{Condition, Listed, landed_price};
use crate::money::{Currency, Money};
use crate::rates::derive::{CheckedRow, WorkloadFit};
use crate::watch::clock::Clock;
use crate::watch::settings::Settings;
use chrono::{NaiveDate, TimeDelta};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;

mod show;

/// A part's rate in one workload, with its price.
struct Rated<'s> {
    part: &'s Part,
    /// In the workload's unit.
    rate: f64,
    error_percent: f64,
    evidence: &'s Evidence,
    newest: Option<NaiveDate>,
    price: Option<Money>,
    is_on_frontier: bool,
}

/// Everything of one workload.
struct Section<'s> {
    workload: &'s Workload,
    rated: Vec<Rated<'s>>,
    fit: Option<&'s WorkloadFit>,
    /// Only with `--check`.
    checked: Vec<CheckedRow>,
    stale: Vec<&'s PartId>,
}

/// A result counts as an outlier where the model takes less than half of it.
const OUTLIER_WEIGHT: f64 = 0.5;

pub fn run(directory: &Path, arguments: &RatesArguments, screen: &Screen) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let listed = match wire::existing_reader(&settings)? {
        Some(reader) => reader
            .listed(None)
            .map_err(|error| Failure::Ledger(error.into()))?,
        None => Vec::new(),
    };
    check_names(&settings, arguments)?;
    let prices = prices(&settings, &listed);
    let today = Clock::from_environment().now().date_naive();
    let wanted = |workload: &&Workload| {
        let name = arguments.workload.as_deref();
        name.is_none_or(|name| workload.id == WorkloadId::new(name))
    };
    let workloads = settings.catalogue.workloads.values().filter(wanted);
    let sections: Vec<Section<'_>> = workloads
        .map(|workload| section(&settings, workload, &prices, arguments, today))
        .collect();
    if let Some(file) = &arguments.svg {
        let charts = sections.iter().flat_map(charts).map(|chart| chart.svg());
        let charts: Vec<String> = charts.collect();
        if charts.is_empty() {
            let hint = "prices come with `rigtide poll`, rates with `rigtide measure`";
            return Err(Failure::usage("no part has both a rate and a price", hint));
        }
        wire::write_whole(file, &stacked(&charts))?;
    }
    if arguments.output.json {
        let workloads: Vec<Value> = sections
            .iter()
            .map(|section| report(section, &settings, arguments.check))
            .collect();
        let report = json!({ "workloads": workloads });
        screen.line(harmless_source(&report.to_string()));
        return Ok(());
    }
    let kind = arguments.part.as_ref();
    let kind = kind.and_then(|part| Some(settings.catalogue.parts.get(&PartId::new(part))?.kind));
    let is_about = |section: &&Section<'_>| {
        kind.is_none_or(|kind| section.workload.limited_by.contains(&kind))
    };
    for section in sections.iter().filter(is_about) {
        let lines = match (arguments.check, &arguments.part) {
            (true, _) => show::check(section, &settings, screen),
            (false, Some(part)) => show::part(section, &PartId::new(part), &settings, screen),
            (false, None) => show::section(section, screen),
        };
        lines.iter().for_each(|line| screen.line(line));
    }
    Ok(())
}

fn check_names(settings: &Settings, arguments: &RatesArguments) -> Result<(), Failure> {
    let catalogue = &settings.catalogue;
    let unknown = |what: &str, name: &str, near: Option<&str>| {
        let hint = match near {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => "the catalogue's files are in catalogue/".to_owned(),
        };
        Failure::usage(format!("no {what} is called \"{name}\""), hint)
    };
    if let Some(name) = &arguments.part
        && !catalogue.parts.contains_key(&PartId::new(name))
    {
        let known = catalogue.parts.keys().map(PartId::as_str);
        return Err(unknown("part", name, nearest(name, known)));
    }
    if let Some(name) = &arguments.workload
        && !catalogue.workloads.contains_key(&WorkloadId::new(name))
    {
        let known = catalogue.workloads.keys().map(WorkloadId::as_str);
        return Err(unknown("workload", name, nearest(name, known)));
    }
    Ok(())
}

/// The lowest landed price of each part that can be ordered new, in the briefs' currency; without a
/// brief, in the first retailer's.
fn prices<'l>(settings: &Settings, listed: &'l [Listed]) -> BTreeMap<&'l PartId, Money> {
    let of_brief = settings.briefs.first().map(|brief| brief.budget.currency());
    let of_retailer = settings
        .retailers
        .values()
        .next()
        .map(|retailer| retailer.currency);
    let currency: Option<Currency> = of_brief.or(of_retailer);
    let mut prices: BTreeMap<&PartId, Money> = BTreeMap::new();
    for offer in listed {
        let is_usable = offer.availability.is_orderable()
            && offer.condition == Condition::New
            && Some(offer.price.currency()) == currency;
        let retailer = settings.retailers.get(&offer.retailer);
        let landed = retailer
            .filter(|_| is_usable)
            .and_then(|retailer| landed_price(offer, retailer, 1).ok());
        let Some(landed) = landed else { continue };
        let lowest = prices.entry(&offer.part).or_insert(landed);
        if landed.minor() < lowest.minor() {
            *lowest = landed;
        }
    }
    prices
}

fn section<'s>(
    settings: &'s Settings,
    workload: &'s Workload,
    prices: &BTreeMap<&PartId, Money>,
    arguments: &RatesArguments,
    today: NaiveDate,
) -> Section<'s> {
    let parts = settings.catalogue.parts.values();
    let mut rated: Vec<Rated<'s>> = parts
        .filter(|part| workload.limited_by.contains(&part.kind))
        .filter_map(|part| {
            let rate = part.rates.get(&workload.id)?;
            let key = (workload.id.clone(), part.id.clone());
            Some(Rated {
                part,
                rate: rate.milli as f64 / 1_000.0,
                error_percent: rate.error_micro as f64 / 10_000.0,
                evidence: &rate.evidence,
                newest: settings
                    .rates
                    .rates
                    .get(&key)
                    .and_then(|derived| derived.newest),
                price: prices.get(&part.id).copied(),
                is_on_frontier: false,
            })
        })
        .collect();
    mark_frontier(&mut rated);
    rated.sort_by(|one, other| {
        let fastest = other.rate.total_cmp(&one.rate);
        one.part.kind.cmp(&other.part.kind).then(fastest)
    });
    let fit = settings.rates.fits.get(&workload.id);
    let oldest = today - TimeDelta::days(i64::from(arguments.days));
    let is_stale = |rated: &&Rated<'s>| rated.newest.is_some_and(|newest| newest < oldest);
    let stale = match arguments.check {
        true => rated
            .iter()
            .filter(is_stale)
            .map(|one| &one.part.id)
            .collect(),
        false => Vec::new(),
    };
    Section {
        workload,
        checked: fit
            .filter(|_| arguments.check)
            .map_or(Vec::new(), WorkloadFit::checked_rows),
        stale,
        rated,
        fit,
    }
}

/// Marks the parts that no part of their kind beats at their price or below.
fn mark_frontier(rated: &mut [Rated<'_>]) {
    let points: Vec<(Kind, Option<i64>, f64)> = rated
        .iter()
        .map(|one| {
            (
                one.part.kind,
                one.price.map(|price| price.minor()),
                one.rate,
            )
        })
        .collect();
    for (number, one) in rated.iter_mut().enumerate() {
        let Some(price) = one.price.map(|price| price.minor()) else {
            continue;
        };
        one.is_on_frontier = points
            .iter()
            .enumerate()
            .all(|(other, (kind, cost, rate))| {
                let is_better = cost.is_some_and(|cost| {
                    let no_worse = cost <= price && *rate >= one.rate;
                    let first_of_equals = cost < price || *rate > one.rate || other < number;
                    no_worse && first_of_equals
                });
                other == number || *kind != one.part.kind || !is_better
            });
    }
}

/// A chart for each kind with at least two priced parts.
fn charts(section: &Section<'_>) -> Vec<Scatter> {
    let mut by_kind: BTreeMap<Kind, Vec<Point>> = BTreeMap::new();
    let mut currency = None;
    for one in &section.rated {
        let Some(price) = one.price else { continue };
        currency = Some(price.currency());
        by_kind.entry(one.part.kind).or_default().push(Point {
            name: one.part.name.clone(),
            x: price.minor() as f64 / 10_f64.powi(price.currency().exponent() as i32),
            y: one.rate,
            error: one.rate * one.error_percent / 100.0,
            is_on_frontier: one.is_on_frontier,
        });
    }
    by_kind
        .into_iter()
        .filter(|(_, points)| points.len() > 1)
        .map(|(kind, points)| Scatter {
            title: format!("{}: {}", section.workload.name, kind.noun()),
            x_label: currency.map_or(String::new(), |currency| currency.to_string()),
            y_label: section.workload.unit.clone(),
            points,
        })
        .collect()
}

fn percent(log: f64) -> f64 {
    (1e4 * libm::expm1(log)).round() / 100.0
}

fn report(section: &Section<'_>, settings: &Settings, with_check: bool) -> Value {
    let rates: Vec<Value> = section
        .rated
        .iter()
        .map(|one| {
            json!({
                "part": one.part.id,
                "kind": one.part.kind.to_string(),
                "rate": one.rate,
                "error_percent": one.error_percent,
                "estimate": one.evidence.is_estimate(),
                "evidence": one.evidence.text(),
                "newest": one.newest.map(|date| date.to_string()),
                "price_minor": one.price.map(|price| price.minor()),
                "currency": one.price.map(|price| price.currency().to_string()),
                "on_frontier": one.is_on_frontier,
            })
        })
        .collect();
    let mut value = json!({
        "id": section.workload.id,
        "name": section.workload.name,
        "unit": section.workload.unit,
        "rates": rates,
        "unconnected": [],
        "disagreements": [],
    });
    let Some(fit) = section.fit else {
        return value;
    };
    let unconnected = fit.unconnected.iter();
    let unconnected = unconnected.map(|one| {
        let tests: Vec<String> = one.tests.iter().map(ToString::to_string).collect();
        json!({ "part": one.part, "tests": tests })
    });
    value["unconnected"] = unconnected.collect();
    let disagreements = fit.disagreements.iter();
    value["disagreements"] = disagreements
        .map(|one| {
            let mut entry = row_value(fit, one.row, settings);
            entry["kind"] = json!(one.kind.to_string());
            entry["why"] = json!(show::why(one.why));
            entry["difference_percent"] = json!(percent(one.log_difference));
            entry
        })
        .collect();
    if with_check {
        value["checks"] = section
            .checked
            .iter()
            .map(|one| {
                let mut entry = row_value(fit, one.row, settings);
                entry["kind"] = json!(one.kind.to_string());
                entry["left_out_percent"] = json!(one.left_out.map(percent));
                entry["weight"] = json!((1e3 * one.weight).round() / 1e3);
                entry["outlier"] = json!(one.weight < OUTLIER_WEIGHT);
                entry
            })
            .collect();
        let newest = |part: &PartId| {
            let rated = section.rated.iter().find(|one| one.part.id == *part)?;
            Some(rated.newest?.to_string())
        };
        let stale = section.stale.iter();
        value["stale"] = stale
            .map(|part| json!({ "part": part, "newest": newest(part) }))
            .collect();
    }
    value
}

/// A row of a workload's model: its parts, its test, and where its results are written.
fn row_value(fit: &WorkloadFit, row: usize, settings: &Settings) -> Value {
    let row = &fit.rows[row];
    let places = row
        .results
        .iter()
        .filter_map(|one| settings.results.get(*one));
    let places: Vec<String> = places.map(|result| result.place()).collect();
    json!({ "parts": row.parts, "test": row.test.to_string(), "at": places })
}
