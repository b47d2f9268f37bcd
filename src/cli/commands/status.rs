//! `rigtide status`: how everything stands, from the ledger; `--json` gives a
//! [`crate::watch::status::Status`].

use super::outbox::warning;
use crate::cli::args::Output;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless, harmless_source};
use crate::cli::wire;
use crate::money::{Currency, Money};
use crate::watch::clock::Clock;
use crate::watch::refusals::{Refused, RefusedRecord};
use crate::watch::settings::load_settings;
use crate::watch::status::{BriefStatus, LedgerStatus, Status, status, status_despite};
use std::path::Path;

pub fn run(directory: &Path, output: Output, screen: &Screen) -> Result<(), Failure> {
    let status = look(directory)?;
    if output.json {
        let text = serde_json::to_string(&status)?;
        screen.line(harmless_source(&text));
    } else {
        lines(&status, screen)
            .iter()
            .for_each(|line| screen.line(line));
    }
    match status.faults {
        faults if faults.is_empty() => Ok(()),
        _ if output.json => Err(Failure::Configuration(Vec::new())),
        faults => Err(Failure::Configuration(faults)),
    }
}

/// A daemon goes on with the settings that it has, so what the ledger knows matters while those in the
/// files have faults, too.
fn look(directory: &Path) -> Result<Status, Failure> {
    let now = Clock::from_environment().now();
    let looked = match load_settings(directory) {
        Ok(settings) => status(&settings, &wire::reader(&settings)?, now),
        Err(faults) => {
            let place = wire::Place::of(directory)?;
            match place.existing_reader()? {
                Some(reader) => status_despite(faults, &place.ledger, &reader, now),
                None => return Err(Failure::Configuration(faults)),
            }
        }
    };
    looked.map_err(|error| Failure::Ledger(error.into()))
}

fn lines(status: &Status, screen: &Screen) -> Vec<String> {
    let mut lines = vec![match (status.watch.is_running, status.watch.process) {
        (true, Some(process)) => format!("watch: running, process {process}"),
        (true, None) => "watch: running".to_owned(),
        (false, _) => "watch: not running; `rigtide watch` starts it".to_owned(),
    }];
    lines.extend(status.watch.page.iter().map(|page| format!("page: {page}")));
    lines.push(String::new());
    lines.extend(feed_lines(status, screen));
    lines.push(String::new());
    if !status.faults.is_empty() {
        lines
            .push("briefs and next polls cannot be told while the settings have faults".to_owned());
    }
    lines.extend(status.briefs.iter().flat_map(brief_lines));
    lines.push(String::new());
    let outbox = &status.outbox;
    let mut line = format!(
        "outbox: {} waiting, {} sent, {} dead, {} dropped",
        outbox.waiting, outbox.sent, outbox.dead, outbox.dropped
    );
    if let Some(next) = &outbox.next_attempt {
        line += &format!("; next attempt {next}");
    }
    lines.push(line);
    lines.push(ledger_line(&status.ledger));
    if let Some(warning) = warning(outbox.dead) {
        lines.push(screen.tone(Tone::Strong, &warning));
    }
    lines
}

fn feed_lines(status: &Status, screen: &Screen) -> Vec<String> {
    let feeds = &status.feeds;
    let heading = [
        "feed",
        "last good",
        "next",
        "records",
        "offers",
        "matched",
        "failures",
    ];
    let mut rows: Vec<Vec<String>> = vec![heading.iter().map(|&text| text.to_owned()).collect()];
    for feed in feeds {
        let next = match &feed.plan {
            None if !status.faults.is_empty() => "unknown".to_owned(),
            None => "when asked".to_owned(),
            Some(plan) => {
                let next = plan.next.as_deref().unwrap_or("never");
                match plan.why {
                    "scheduled" => next.to_owned(),
                    why => format!("{next} ({})", why.replace('_', " ")),
                }
            }
        };
        rows.push(vec![
            harmless(&feed.feed),
            feed.last_good.clone().unwrap_or_else(|| "never".to_owned()),
            next,
            feed.records.map_or_else(String::new, |n| n.to_string()),
            feed.offers.to_string(),
            feed.matched.to_string(),
            feed.failures.to_string(),
        ]);
    }
    let (left, right) = (Set::Left, Set::Right);
    let table = columns(&rows, &[left, left, left, right, right, right, right]);
    let mut lines = Vec::new();
    for (at, line) in table.into_iter().enumerate() {
        match at.checked_sub(1).and_then(|at| feeds.get(at)) {
            None => lines.push(screen.tone(Tone::Quiet, &line)),
            Some(feed) => {
                lines.push(line);
                let error = feed.error.iter();
                lines.extend(error.map(|error| format!("    {}", harmless(error))));
                lines.extend(feed.refused.iter().map(refused_line));
            }
        }
    }
    lines
}

/// One reason with its first record; `--json` has a few.
fn refused_line(refused: &Refused) -> String {
    let first = refused.examples.first().map(RefusedRecord::in_words);
    let code = refused.code.replace('_', " ");
    let first = harmless(&first.unwrap_or_default());
    format!(
        "    {} refused, {}: {first}",
        refused.count,
        harmless(&code)
    )
}

fn brief_lines(brief: &BriefStatus) -> Vec<String> {
    let name = harmless(&brief.name);
    let stands = brief.answer.as_ref().map(|answer| {
        let figures = figures(answer.total_minor, answer.score, &answer.currency);
        let since = format!("since {} ({})", answer.since, age(answer.age_s));
        (figures, since, &answer.parts)
    });
    let today = brief.today.as_ref().map(|today| {
        let figures = figures(today.total_minor, today.score, &today.currency);
        (figures, today.is_same_build, &today.parts)
    });
    let (line, parts) = match (stands, today) {
        (None, None) => {
            return vec![format!(
                "{name}: no answer yet; it comes with the first poll of `rigtide watch`"
            )];
        }
        (Some((told, since, parts)), None) => (format!("{told}, {since}"), parts),
        (None, Some((now, _, parts))) => (format!("{now}, not told"), parts),
        (Some((told, since, _)), Some((now, true, parts))) => {
            (format!("{now}, {since}; {told} when it was told"), parts)
        }
        (Some((told, since, _)), Some((now, false, parts))) => (
            format!("{now}, not told, or not yet; told: {told}, {since}"),
            parts,
        ),
    };
    let parts: Vec<String> = parts.iter().map(|part| harmless(part)).collect();
    let mut lines = vec![format!("{name}: {line}")];
    if !parts.is_empty() {
        lines.push(format!("    {}", parts.join(", ")));
    }
    lines
}

fn figures(total_minor: Option<i64>, score: Option<f64>, currency: &str) -> String {
    let total = total_minor.zip(Currency::parse(currency).ok());
    let Some((minor, currency)) = total else {
        return "nothing fits".to_owned();
    };
    let total = Money::from_minor(minor, currency);
    let score = score.map_or_else(String::new, |score| format!(", score {score:.1}"));
    format!("{total}{score}")
}

/// A length of time in its largest unit.
fn age(seconds: i64) -> String {
    let (n, unit) = match seconds.max(0) {
        s if s < 120 => (s, "seconds"),
        s if s < 2 * 3600 => (s / 60, "minutes"),
        s if s < 2 * 86_400 => (s / 3600, "hours"),
        s => (s / 86_400, "days"),
    };
    format!("{n} {unit}")
}

fn ledger_line(ledger: &LedgerStatus) -> String {
    let path = harmless(&ledger.path);
    let free = ledger
        .free_bytes
        .map(|free| format!(", {} free on its disk", size(free)));
    let held = match ledger.held {
        0 => String::new(),
        n => format!("; {n} held prices wait for your word (`rigtide held`)"),
    };
    let free = free.unwrap_or_default();
    format!("ledger: {path}, {}{free}{held}", size(ledger.bytes))
}

/// An amount of memory as people read it, in binary units (IEC 80000-13).
fn size(bytes: u64) -> String {
    let units = ["KiB", "MiB", "GiB", "TiB"];
    let (mut amount, mut unit) = (bytes, "bytes");
    for next in units {
        if amount < 1024 * 10 {
            break;
        }
        (amount, unit) = (amount / 1024, next);
    }
    format!("{amount} {unit}")
}
