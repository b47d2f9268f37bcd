//! `rigtide schedule`: what is done next, and why not earlier.
//!
//! `--json` gives
//!
//! ```text
//! { at,
//!   feeds [{ feed, schedule, timezone, why, runs [] }],   schedule: null for polled when asked only
//!   outbox { waiting, next } }
//! ```
//!
//! `why` tells of the first run: `scheduled`, `never_polled`, `missed`, or what puts it off:
//! `backing_off`, `unwelcome`, `retry_after`, `no_network`. Runs are RFC 3339 in the feed's zone.

use crate::cli::args::ScheduleArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless, harmless_source};
use crate::cli::wire;
use crate::decide::shown_instant;
use crate::feeds::health::Pause;
use crate::ledger::{FeedState, LedgerError, Reader};
use crate::watch::clock::Clock;
use crate::watch::due::{Why, health, planned};
use crate::watch::settings::{Feed, Settings};
use chrono::{DateTime, SecondsFormat, Utc};
use serde_json::{Value, json};
use std::path::Path;

/// What is planned for a feed with a schedule.
struct Plan {
    why: Why,
    failures: u32,
    runs: Vec<DateTime<Utc>>,
}

pub fn run(
    directory: &Path,
    arguments: &ScheduleArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let now = Clock::from_environment().now();
    let reader = wire::existing_reader(&settings)?;
    let read = |reader: &Reader| -> Result<_, LedgerError> {
        let counts = reader.delivery_counts()?;
        Ok((reader.feed_states()?, counts.waiting, reader.next_due()?))
    };
    let known = reader.as_ref().map(read).transpose();
    let known = known.map_err(|error| Failure::Ledger(error.into()))?;
    let (states, waiting, next) = known.unwrap_or_default();
    let plans: Vec<(&Feed, Option<Plan>)> = settings
        .feeds
        .iter()
        .map(|feed| (feed, plan(feed, &states, now, arguments.count)))
        .collect();
    if arguments.output.json {
        let feeds: Vec<Value> = plans
            .iter()
            .map(|(feed, plan)| record(feed, plan))
            .collect();
        let report = json!({
            "at": shown_instant(now),
            "feeds": feeds,
            "outbox": { "waiting": waiting, "next": next.map(shown_instant) },
        });
        screen.line(harmless_source(&report.to_string()));
        return Ok(());
    }
    table(&settings, &plans, screen)
        .iter()
        .for_each(|line| screen.line(line));
    if let Some(next) = next {
        let next = shown_instant(next.max(now));
        screen.line(format!("outbox: {waiting} waiting, next attempt at {next}"));
    }
    Ok(())
}

fn plan(feed: &Feed, states: &[FeedState], now: DateTime<Utc>, count: u32) -> Option<Plan> {
    let state = states.iter().find(|state| state.feed == feed.id);
    let planned = planned(feed, state, now)?;
    let schedule = feed.schedule.as_ref()?;
    let next = |at: &DateTime<Utc>| schedule.next_after(*at);
    let runs = std::iter::successors(planned.at, next);
    Some(Plan {
        why: planned.why,
        failures: health(state).failures,
        runs: runs.take(count as usize).collect(),
    })
}

fn record(feed: &Feed, plan: &Option<Plan>) -> Value {
    let runs = plan.iter().flat_map(|plan| &plan.runs);
    json!({
        "feed": feed.id.as_str(),
        "schedule": feed.schedule.as_ref().map(|schedule| schedule.text()),
        "timezone": feed.zone.name(),
        "why": plan.as_ref().map(|plan| plan.why.name()),
        "runs": runs.map(|at| local(feed, *at)).collect::<Vec<String>>(),
    })
}

/// As the clock in the feed's zone shows it.
fn local(feed: &Feed, at: DateTime<Utc>) -> String {
    let local = at.with_timezone(&feed.zone);
    local.to_rfc3339_opts(SecondsFormat::Secs, true)
}

fn table(settings: &Settings, plans: &[(&Feed, Option<Plan>)], screen: &Screen) -> Vec<String> {
    if settings.feeds.is_empty() {
        return vec!["no feed is configured; they stand in retailers/*.toml".to_owned()];
    }
    let heading = ["feed", "schedule", "zone", "next", ""];
    let mut rows: Vec<Vec<String>> = vec![heading.iter().map(|&text| text.to_owned()).collect()];
    for (feed, plan) in plans {
        let schedule = feed.schedule.as_ref();
        let zone = schedule.map_or("", |_| feed.zone.name());
        let row = |name: &str, text: &str, zone: &str, next: String, remark: String| {
            [name, text, zone]
                .iter()
                .map(|cell| harmless(cell))
                .chain([next, remark])
                .collect::<Vec<String>>()
        };
        let text = schedule.map_or("none", |schedule| schedule.text());
        let runs = plan.as_ref().map(|plan| plan.runs.as_slice());
        let first = runs.and_then(<[_]>::first).map(|at| local(feed, *at));
        let remark = match plan {
            None => "polled only when asked".to_owned(),
            Some(plan) if plan.runs.is_empty() => "its years are over".to_owned(),
            Some(plan) => remark(plan),
        };
        let name = feed.id.as_str();
        rows.push(row(name, text, zone, first.unwrap_or_default(), remark));
        for at in runs.unwrap_or_default().iter().skip(1) {
            rows.push(row("", "", "", local(feed, *at), String::new()));
        }
    }
    let mut lines = columns(&rows, &[Set::Left; 5]);
    lines[0] = screen.tone(Tone::Quiet, &lines[0]);
    lines
}

/// Why the first run is when it is, where the schedule alone does not say.
fn remark(plan: &Plan) -> String {
    let failures = match plan.failures {
        1 => "1 failure".to_owned(),
        many => format!("{many} failures in a row"),
    };
    match plan.why {
        Why::Scheduled => String::new(),
        Why::NeverPolled => "never polled; at the start of `rigtide watch`".to_owned(),
        Why::Missed => "overdue; at once while `rigtide watch` runs".to_owned(),
        Why::PutOff(Pause::BackingOff) => format!("put off: backing off after {failures}"),
        Why::PutOff(Pause::Unwelcome) => "put off: the host does not let us in".to_owned(),
        Why::PutOff(Pause::Asked) => "put off: the host asked for a pause (Retry-After)".to_owned(),
        Why::PutOff(Pause::NoNetwork) => "put off: there was no network".to_owned(),
    }
}
