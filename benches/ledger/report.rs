//! The report as Markdown.

use crate::{Measured, N_OFFERS, N_PARTS, SEED, Span};

const HEADING: &str = "# Ledger: what a year of prices takes";
/// The section on the ladder comes after this one.
const NEXT_HEADING: &str = "\n# Ladder: ";

/// Puts the section into the report in the place of an older one.
pub fn put_into(report: &str, text: &str) -> String {
    let own = report.find(HEADING);
    let next = report.find(NEXT_HEADING);
    let start = own.or(next.map(|at| at + 1)).unwrap_or(report.len());
    let rest = report[start..].find(NEXT_HEADING).map(|at| start + at + 1);
    let rest = match own {
        Some(_) => rest.map_or("", |at| &report[at..]),
        None => &report[start..],
    };
    format!("{}{text}\n{rest}", &report[..start])
}

pub fn render(all: &Measured) -> String {
    let days = all.days;
    let rows = [sizes(all), times(all), answers(all)].concat();
    let rows: String = rows
        .iter()
        .map(|(name, value)| format!("| {name} | {value} |\n"))
        .collect();
    format!(
        "{HEADING}\n\n\
         Written by `cargo bench --bench ledger`; what is measured, and how, stands in\n\
         [`ledger/main.rs`](ledger/main.rs). {N_PARTS} parts, {N_OFFERS} offers of five retailers, {days} days of\n\
         hourly polls, seed {SEED}; of 10,000 offers 139 change their price in an hour and 60 their stock.\n\
         SQLite {}, two cores of {}. Every poll is one synchronised transaction.\n\n\
         | what | |\n| --- | ---: |\n{rows}",
        rusqlite::version(),
        machine(),
    )
}

type Row = (&'static str, String);

fn sizes(all: &Measured) -> Vec<Row> {
    let Measured { year, still, .. } = all;
    let (polls, changes) = (year.wrote.polls, year.wrote.changes);
    let grown = year.bytes - all.first_bytes;
    let still_grown = still.bytes - year.bytes;
    let mib = |bytes: u64| format!("{:.1}", bytes as f64 / (1 << 20) as f64);
    vec![
        ("polls of the time, one retailer each", polls.to_string()),
        ("changes of price or stock", changes.to_string()),
        ("the file after the first polls, MiB", mib(all.first_bytes)),
        ("the file after all of it, MiB", mib(year.bytes)),
        (
            "bytes a change, with its share of all else",
            each(grown, changes),
        ),
        ("bytes a poll with its changes", each(grown, polls)),
        (
            "bytes a poll without a change",
            each(still_grown, still.wrote.polls),
        ),
    ]
}

fn times(all: &Measured) -> Vec<Row> {
    let Measured {
        year, still, bare, ..
    } = all;
    let changes = year.wrote.changes as f64;
    let polls = |span: &Span| span.took.seconds / span.wrote.polls as f64;
    let beyond_still = (polls(year) - polls(still)) * year.wrote.polls as f64;
    vec![
        (
            "ms a poll of 5,000 offers with its changes",
            ms_each(year.took.seconds, year.wrote.polls),
        ),
        (
            "of them, of the processor",
            ms_each(year.took.processor_seconds, year.wrote.polls),
        ),
        (
            "ms a poll without a change",
            ms_each(still.took.seconds, still.wrote.polls),
        ),
        (
            "changes a second",
            format!("{:.0}", changes / year.took.seconds),
        ),
        (
            "the same rows by bare insertion, a second",
            format!("{:.0}", changes / bare.seconds),
        ),
        (
            "append / bare insertion, time",
            format!("{:.1}", year.took.seconds / bare.seconds),
        ),
        (
            "the same beyond what polls without a change take",
            format!("{:.1}", beyond_still / bare.seconds),
        ),
        (
            "append / bare insertion, time of the processor",
            format!(
                "{:.1}",
                year.took.processor_seconds / bare.processor_seconds
            ),
        ),
        (
            "peak memory of polls and bare insertion, MiB",
            format!("{:.1}", all.peak_kib as f64 / 1024.0),
        ),
    ]
}

fn answers(all: &Measured) -> Vec<Row> {
    let Measured {
        questions, backup, ..
    } = all;
    vec![
        (
            "a part's whole series, ms",
            format!("{:.1}", questions.series_ms),
        ),
        ("its intervals", questions.series_rows.to_string()),
        (
            "a part's chart of all of it, ms",
            format!("{:.1}", questions.chart_ms),
        ),
        ("the market now, ms", format!("{:.0}", questions.now_ms)),
        (
            "the market at a past instant, ms",
            format!("{:.0}", questions.then_ms),
        ),
        (
            "the slowest of 21 such instants, ms",
            format!("{:.0}", questions.then_most_ms),
        ),
        ("its offers", questions.then_rows.to_string()),
        (
            "where the feeds stand, ms",
            format!("{:.1}", questions.states_ms),
        ),
        (
            "a backup while polls go on, s",
            format!("{:.1}", backup.seconds),
        ),
        ("rounds of five polls beside it", backup.rounds.to_string()),
        (
            "the slowest of them, ms",
            format!("{:.0}", backup.slowest_ms),
        ),
        (
            "the slowest of ten without a backup, ms",
            format!("{:.0}", backup.slowest_alone_ms),
        ),
        (
            "verifying the backup, s",
            format!("{:.1}", all.verify_seconds),
        ),
    ]
}

fn each(sum: u64, number: u64) -> String {
    format!("{:.0}", sum as f64 / number.max(1) as f64)
}

fn ms_each(seconds: f64, number: u64) -> String {
    format!("{:.2}", 1000.0 * seconds / number.max(1) as f64)
}

/// The processor as the kernel names it.
fn machine() -> String {
    let known = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let name = known
        .lines()
        .find_map(|line| line.strip_prefix("model name"));
    name.map_or_else(
        || format!("an {} processor", std::env::consts::ARCH),
        |name| format!("an {}", name.trim_start_matches([' ', '\t', ':'])),
    )
}
