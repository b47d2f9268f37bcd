//! The report as Markdown.

use crate::{Measured, N_OFFERS, N_PARTS, SEED};

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
    let Measured {
        days, year, still, ..
    } = all;
    let [first, after, last] = all.bytes;
    let mib = |bytes: u64| bytes as f64 / (1 << 20) as f64;
    let rows = [
        (
            "polls of the time, one retailer each",
            format!("{}", year.polls),
        ),
        ("changes of price or stock", format!("{}", year.changes)),
        (
            "the file after the first polls, MiB",
            format!("{:.1}", mib(first)),
        ),
        (
            "the file after all of it, MiB",
            format!("{:.1}", mib(after)),
        ),
        (
            "bytes a change, with its share of all else",
            each(after - first, year.changes),
        ),
        (
            "bytes a poll with its changes",
            each(after - first, year.polls),
        ),
        (
            "bytes a poll without a change",
            each(last - after, still.polls),
        ),
        (
            "ms a poll of 5,000 offers with its changes",
            ms_each(all.year_seconds, year.polls),
        ),
        (
            "ms a poll without a change",
            ms_each(all.still_seconds, still.polls),
        ),
        (
            "changes a second",
            format!("{:.0}", year.changes as f64 / all.year_seconds),
        ),
        (
            "the same rows by bare insertion, a second",
            format!("{:.0}", year.changes as f64 / all.bare_seconds),
        ),
        (
            "append / bare insertion, time",
            format!("{:.1}", all.year_seconds / all.bare_seconds),
        ),
        (
            "peak memory of appending, MiB",
            format!("{:.1}", all.peak_kib as f64 / 1024.0),
        ),
        ("a part's whole series, ms", format!("{:.1}", all.series_ms)),
        ("its intervals", format!("{}", all.series_rows)),
        ("the market now, ms", format!("{:.0}", all.now_ms)),
        (
            "the market at a past instant, ms",
            format!("{:.0}", all.then_ms),
        ),
        ("its offers", format!("{}", all.then_rows)),
        (
            "a backup while polls go on, s",
            format!("{:.1}", all.backup_seconds),
        ),
        ("rounds of five polls beside it", format!("{}", all.beside)),
        ("the slowest of them, ms", format!("{:.0}", all.beside_ms)),
        (
            "the slowest of ten without a backup, ms",
            format!("{:.0}", all.alone_ms),
        ),
        (
            "verifying the backup, s",
            format!("{:.1}", all.verify_seconds),
        ),
    ];
    let rows = rows
        .map(|(name, value)| format!("| {name} | {value} |\n"))
        .concat();
    format!(
        "{HEADING}\n\n\
         Written by `cargo bench --bench ledger`; what is measured, and how, stands in\n\
         [`ledger/main.rs`](ledger/main.rs). {N_PARTS} parts, {N_OFFERS} offers of five retailers, {days} days of\n\
         hourly polls, seed {SEED}; of 10,000 offers 139 change their price in an hour and 60 their stock.\n\
         SQLite {}. Every poll is one synchronised transaction.\n\n\
         | what | |\n| --- | ---: |\n{rows}",
        rusqlite::version()
    )
}

fn each(sum: u64, number: u64) -> String {
    format!("{:.0}", sum as f64 / number.max(1) as f64)
}

fn ms_each(seconds: f64, number: u64) -> String {
    format!("{:.2}", 1000.0 * seconds / number.max(1) as f64)
}
