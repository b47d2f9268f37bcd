//! How fast a poll takes a feed in: decode, normalise, match and store, against two yardsticks.
//!
//! `cargo bench --bench intake` measures and rewrites its part of `benches/README.md`. All
//! runs in one go, each measurement in a process of its own, all of them once on one core and once on two:
//!
//! - *poll*: what the daemon does with a feed that is a file, from its bytes to the commit;
//! - *script*: `peer.py`, the same job as an obvious script for Python's standard library;
//! - *rows*: the rows that the poll left in the ledger, inserted into an empty one by `rusqlite`.
//!
//! To look at one part with a profiler, `cargo bench --bench intake -- world DIRECTORY` leaves the feeds
//! there, and the binary with `child poll DIRECTORY LEDGER csv 0` takes one in.
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

/// Where a process may run. The same cores are taken every time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cores {
    One,
    Two,
}

/// One format's results, a row for each of [`POLLS`].
pub struct Series {
    pub format: Format,
    pub cores: Cores,
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
    if let [word, directory, ..] = arguments.as_slice()
        && word == "world"
    {
        World::write(Path::new(directory), SEED, N_OFFERS, &Format::ALL)?;
        return Ok(());
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
    for cores in [Cores::One, Cores::Two] {
        for format in Format::ALL {
            all.push(series(&world, directory.path(), format, cores)?);
        }
    }
    let mut growths = Vec::new();
    for n_offers in [N_OFFERS / 10, N_OFFERS, N_OFFERS * 4] {
        let place = directory.path().join(format!("growth-{n_offers}"));
        let world = World::write(&place, SEED, n_offers, &[Format::Csv])?;
        let ledger = place.join("ledger.sqlite");
        growths.push(Growth {
            n_offers,
            poll: poll(&world, &ledger, Format::Csv, 0, Cores::Two)?,
            script: script(
                &world,
                &place.join("script.sqlite"),
                Format::Csv,
                0,
                Cores::Two,
            )?,
        });
        std::fs::remove_dir_all(&place)?;
    }
    let text = report::render(&all, &growths, N_OFFERS, SEED);
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("benches/README.md");
    // The sections of the other benchmarks stay.
    let before = std::fs::read_to_string(&path).unwrap_or_default();
    let others = before.find("\n# ").map_or("", |at| &before[at..]);
    std::fs::write(&path, format!("{text}{others}"))?;
    report::show(&text)?;
    Ok(())
}

/// Measures the polls of one format, the yardsticks in turn with them.
fn series(world: &World, directory: &Path, format: Format, cores: Cores) -> Result<Series> {
    let mut best: Vec<Row> = Vec::new();
    for run in 0..N_RUNS {
        let place = directory.join(format!("{}-{run}-{}", format.name(), cores.list()));
        std::fs::create_dir(&place)?;
        let (ledger, database) = (place.join("ledger.sqlite"), place.join("script.sqlite"));
        for nth in 0..POLLS.len() {
            let polled = poll(world, &ledger, format, nth, cores)?;
            let scripted = script(world, &database, format, nth, cores)?;
            if (polled.offers, polled.matched) != (scripted.offers, scripted.matched) {
                bail!("the poll and the script disagree: {polled:?}, {scripted:?}");
            }
            let inserted = match nth {
                0 => {
                    let to = place.join("rows.sqlite");
                    Some(ours(&["rows", text(&ledger)?, text(&to)?], cores)?)
                }
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
        cores,
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

impl Cores {
    /// As `taskset` has it.
    fn list(self) -> &'static str {
        match self {
            Cores::One => "0",
            Cores::Two => "0,1",
        }
    }
}

fn poll(
    world: &World,
    ledger: &Path,
    format: Format,
    nth: usize,
    cores: Cores,
) -> Result<Measured> {
    let feed = world.feed(format, nth);
    std::fs::copy(&feed, world.polled(format))?;
    let directory = text(&world.directory)?;
    let nth = nth.to_string();
    ours(
        &["poll", directory, text(ledger)?, format.name(), &nth],
        cores,
    )
}

fn script(
    world: &World,
    database: &Path,
    format: Format,
    nth: usize,
    cores: Cores,
) -> Result<Measured> {
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
    measure("python3", &arguments, cores)
}

fn ours(arguments: &[&str], cores: Cores) -> Result<Measured> {
    let own = std::env::current_exe()?;
    let mut all = vec!["child"];
    all.extend(arguments);
    measure(text(&own)?, &all, cores)
}

/// Runs a program on the cores it is given and reads what it measured.
fn measure(program: &str, arguments: &[&str], cores: Cores) -> Result<Measured> {
    let output = Command::new("taskset")
        .args(["--cpu-list", cores.list(), program])
        .args(arguments)
        .output()
        .context("cannot run `taskset`, which keeps a program on its cores")?;
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
