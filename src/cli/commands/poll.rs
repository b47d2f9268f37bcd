//! `rigtide poll [FEED]`: polls once and stores what the feeds offer.

use crate::cli::args::Output;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, columns, harmless};
use crate::cli::wire;
use crate::watch::clock::Clock;
use crate::watch::cycle::poll_all;
use crate::watch::poll::PollReport;
use crate::watch::questions::rematched;
use crate::watch::settings::{Feed, Settings};
use std::path::Path;

pub fn run(
    directory: &Path,
    named: Option<&str>,
    output: Output,
    screen: &Screen,
) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let feeds = select(&settings, named)?;
    let polling = wire::polling(settings)?;
    let (total, mut done) = (feeds.len(), 0);
    screen.progress(&format!("polling {total} feeds"));
    let mut told = |report: &PollReport| {
        done += 1;
        screen.progress(&format!(
            "polling: {done} of {total} feeds, {} is {}",
            report.feed, report.status
        ));
    };
    let now = Clock::from_environment().now();
    let n_moved = polling.rematch(now);
    let n_moved = n_moved.map_err(|error| Failure::Ledger(error.into()))?;
    let polled = wire::runtime()?.block_on(poll_all(&polling, &feeds, now, &mut told));
    screen.clear_progress();
    let reports = polled.map_err(|error| Failure::Ledger(error.into()))?;
    if output.json {
        let json: Vec<String> = reports
            .iter()
            .map(|report| serde_json::to_string(report).unwrap_or_default())
            .collect();
        screen.line(format!("[{}]", json.join(",")));
    } else {
        table(&reports).iter().for_each(|line| screen.line(line));
        if n_moved > 0 {
            screen.line(rematched(n_moved));
        }
    }
    if reports.iter().all(PollReport::is_good) {
        Ok(())
    } else {
        Err(Failure::FeedsFailed)
    }
}

fn select(settings: &Settings, named: Option<&str>) -> Result<Vec<Feed>, Failure> {
    let wanted = |feed: &&Feed| {
        named.is_none_or(|name| feed.id.as_str() == name || feed.retailer.as_str() == name)
    };
    let feeds: Vec<Feed> = settings.feeds.iter().filter(wanted).cloned().collect();
    match named {
        Some(name) if feeds.is_empty() => {
            let known: Vec<&str> = settings.feeds.iter().map(|feed| feed.id.as_str()).collect();
            Err(Failure::usage(
                format!("no feed is called \"{name}\""),
                format!("known feeds: {}", known.join(", ")),
            ))
        }
        _ => Ok(feeds),
    }
}

/// The reports as aligned columns, with the reason of each failure below.
pub fn table(reports: &[PollReport]) -> Vec<String> {
    let heading = [
        "feed", "status", "records", "offers", "matched", "refused", "held", "changed", "ms",
    ];
    let mut rows: Vec<Vec<String>> = vec![heading.iter().map(|&text| text.to_owned()).collect()];
    for report in reports {
        let mut row = vec![report.feed.clone(), report.status.to_owned()];
        let counts = [
            report.records,
            report.offers,
            report.matched,
            report.refused,
            report.held,
            report.changed,
            report.duration_ms,
        ];
        row.extend(counts.iter().map(u64::to_string));
        rows.push(row);
    }
    let mut set = vec![Set::Left, Set::Left];
    set.extend([Set::Right; 7]);
    let mut lines = columns(&rows, &set);
    for report in reports {
        if let Some(error) = &report.error {
            lines.push(format!("{}: {}", report.feed, harmless(error)));
        }
    }
    lines
}
