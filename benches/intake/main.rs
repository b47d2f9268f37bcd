//! How fast a poll takes a feed in: decode, normalise, match and store, against two yardsticks.
//!
//! `cargo bench --bench intake` measures and rewrites `benches/README.md`. Everything runs in one
//! go, each measurement in a process of its own and all of them on one core:
//!
//! - *poll*: what the daemon does with a feed that is a file, from its bytes to the commit;
//! - *script*: `peer.py`, the same job as an obvious script for Python's standard library;
//! - *rows*: the rows that the poll left in the ledger, inserted into an empty one by `rusqlite`.
//!
//! Seconds leave out the start of the process and the reading of the settings. The fastest of
//! several runs counts: whatever else the machine does can only make a run slower.

#[path = "../../demo/prng.rs"]
#[cfg_attr(test, expect(unused_imports, reason = "its tests run with the demo's"))]
mod prng;

mod child;
mod offers;
mod report;
mod rows;

use anyhow::{Context, Result, bail};
use child::Measured;
use offers::{Format, World};
use std::path::{Path, PathBuf};
use std::process::Command;

const SEED: u64 = 2026;
const N_OFFERS: u32 = 100_000;
const N_RUNS: usize = 3;

/// The polls of one feed, one after another into the same ledger.
pub const POLLS: [&str; 3] = ["new", "same", "changed"];

/// One format's results, a row for each of [`POLLS`].
pub struct Series {
    pub format: Format,
    pub polls: Vec<Row>,
}

pub struct Row {
    pub poll: Measured,
    pub script: Measured,
    /// Only of the first poll: later ones insert little or nothing.
    pub rows: Option<Measured>,
}

/// Peak memory of a first poll by the number of offers.
pub struct Growth {
    pub n_offers: u32,
    pub poll: Measured,
    pub script: Measured,
}

fn main() -> Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if let Some(("child", rest)) = arguments
        .split_first()
        .map(|(one, rest)| (one.as_str(), rest))
    {
        return child::run(rest);
    }
    // `cargo test --all-targets` starts this too; only `cargo bench` asks for the measurement.
    if !arguments.iter().any(|argument| argument == "--bench") {
        return Ok(());
    }
    let directory = tempfile::tempdir().context("no place for the feeds")?;
    let world = World::write(
        &directory.path().join("feeds"),
        SEED,
        N_OFFERS,
        &Format::ALL,
    )?;
    let mut all = Vec::new();
    for format in Format::ALL {
        all.push(series(&world, directory.path(), format)?);
    }
    let mut growths = Vec::new();
    for n_offers in [N_OFFERS / 10, N_OFFERS, N_OFFERS * 4] {
        let place = directory.path().join(format!("growth-{n_offers}"));
        let world = World::write(&place, SEED, n_offers, &[Format::Csv])?;
        let ledger = place.join("ledger.sqlite");
        growths.push(Growth {
            n_offers,
            poll: poll(&world, &ledger, Format::Csv, 0)?,
            script: script(&world, &place.join("script.sqlite"), Format::Csv, 0)?,
        });
        std::fs::remove_dir_all(&place)?;
    }
    let text = report::render(&all, &growths, N_OFFERS, SEED);
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("benches/README.md");
    std::fs::write(&path, &text)?;
    report::show(&text)?;
    Ok(())
}

/// Measures the polls of one format, the yardsticks in turn with them.
fn series(world: &World, directory: &Path, format: Format) -> Result<Series> {
    let mut best: Vec<Row> = Vec::new();
    for run in 0..N_RUNS {
        let place = directory.join(format!("{}-{run}", format.name()));
        std::fs::create_dir(&place)?;
        let (ledger, database) = (place.join("ledger.sqlite"), place.join("script.sqlite"));
        for nth in 0..POLLS.len() {
            let polled = poll(world, &ledger, format, nth)?;
            let scripted = script(world, &database, format, nth)?;
            if (polled.offers, polled.matched) != (scripted.offers, scripted.matched) {
                bail!("the poll and the script disagree: {polled:?}, {scripted:?}");
            }
            let inserted = match nth {
                0 => Some(ours(&[
                    "rows",
                    text(&ledger)?,
                    text(&place.join("rows.sqlite"))?,
                ])?),
                _ => None,
            };
            let row = Row {
                poll: polled,
                script: scripted,
                rows: inserted,
            };
            match best.get_mut(nth) {
                None => best.push(row),
                Some(known) => known.keep_fastest(row),
            }
        }
        std::fs::remove_dir_all(&place)?;
    }
    Ok(Series {
        format,
        polls: best,
    })
}

impl Row {
    fn keep_fastest(&mut self, other: Row) {
        self.poll.keep_faster(other.poll);
        self.script.keep_faster(other.script);
        if let (Some(mine), Some(rows)) = (&mut self.rows, other.rows) {
            mine.keep_faster(rows);
        }
    }
}

fn poll(world: &World, ledger: &Path, format: Format, nth: usize) -> Result<Measured> {
    let feed = world.feed(format, nth);
    std::fs::copy(&feed, world.polled(format))?;
    let directory = text(&world.directory)?;
    ours(&[
        "poll",
        directory,
        text(ledger)?,
        format.name(),
        &nth.to_string(),
    ])
}

fn script(world: &World, database: &Path, format: Format, nth: usize) -> Result<Measured> {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/peer.py");
    let (feed, parts) = (world.feed(format, nth), world.directory.join("parts.csv"));
    let nth = nth.to_string();
    let arguments = [
        script,
        format.name(),
        text(&feed)?,
        text(&parts)?,
        text(database)?,
        &nth,
    ];
    measure("python3", &arguments)
}

fn ours(arguments: &[&str]) -> Result<Measured> {
    let own = std::env::current_exe()?;
    let mut all = vec!["child"];
    all.extend(arguments);
    measure(text(&own)?, &all)
}

/// Runs a program on one core, always the same one, and reads what it measured.
fn measure(program: &str, arguments: &[&str]) -> Result<Measured> {
    let output = Command::new("taskset")
        .args(["--cpu-list", "0", program])
        .args(arguments)
        .output()
        .context("cannot run `taskset`, which keeps a program on one core")?;
    if !output.status.success() {
        bail!(
            "{program} {arguments:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
    }
    Ok(serde_json::from_slice(&output.stdout)?)
}

fn text(path: &Path) -> Result<&str> {
    path.to_str().context("the path is no text")
}
