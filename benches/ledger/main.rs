//! What the ledger takes and gives over a year: 5,000 parts in 25,000 offers of five retailers,
//! polled every hour.
//!
//! `cargo bench --bench ledger` measures and rewrites its part of `benches/README.md`; `-- --days N`
//! with a smaller N takes less long and says so; `-- --keep FILE` leaves the ledger there, and `-- --ask FILE`
//! only asks the questions of such a ledger and prints how long they took. Offers come ready-made, so that
//! nothing is measured but the ledger: what a poll does before it is the matter of `--bench intake`.
//!
//! - *append*: the polls of the year, one transaction each, synchronised;
//! - *bare insertion*: the same terms inserted by `rusqlite` as rows of such a table as `observation`, with the
//!   same durability, in as many transactions; by turns with the polls, hour by hour, as a disk and a
//!   processor that others use too are not as fast at one time as at another;
//! - *questions*: the median of several, each of another part or instant, by the clock. A chart is what `rigtide history`
//!   draws: the part's intervals, the instants at which its feeds were read, its series and their lowest, and
//!   the SVG of them. A market is what `best` reads before it solves.

#[path = "../../demo/prng.rs"]
#[cfg_attr(test, expect(unused_imports, reason = "its tests run with the demo's"))]
#[expect(dead_code, reason = "the demo draws in more ways")]
mod prng;

mod bare;
mod questions;
mod report;
mod world;

use anyhow::{Context as _, Result};
use bare::Bare;
use chrono::TimeDelta;
use questions::{Questions, ask};
use rigtide::ledger::{Copied, Ledger, Reader};
use std::io::Write as _;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;
use world::{World, Wrote, begin};

/// As the program has it.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

const SEED: u64 = 2026;
const N_PARTS: u32 = 5_000;
const N_OFFERS: u32 = 25_000;
const DAYS: i64 = 365;
/// Hours without a change, for what such a poll takes.
const STILL_HOURS: i64 = 500;

/// Everything that the report says.
pub struct Measured {
    pub days: i64,
    pub first_bytes: u64,
    pub year: Span,
    /// The same hours by bare insertion.
    pub bare: Took,
    pub still: Span,
    pub peak_kib: u64,
    pub questions: Questions,
    pub backup: BesideBackup,
    pub verify_seconds: f64,
}

/// Polls one after another.
#[derive(Debug, Default)]
pub struct Span {
    pub wrote: Wrote,
    pub took: Took,
    /// The size of the file after them.
    pub bytes: u64,
}

/// How long something took, by the clock and of the processor.
#[derive(Debug, Clone, Copy, Default)]
pub struct Took {
    pub seconds: f64,
    pub processor_seconds: f64,
}

pub struct BesideBackup {
    pub seconds: f64,
    /// The slowest round of polls beside the backup, and how many there were.
    pub slowest_ms: f64,
    pub rounds: u64,
    /// The slowest of ten rounds before it.
    pub slowest_alone_ms: f64,
}

fn main() -> Result<()> {
    // `cargo test --all-targets` starts this too; only `cargo bench` asks for the measurement.
    let arguments: Vec<String> = std::env::args().collect();
    if !arguments.iter().any(|argument| argument == "--bench") {
        return Ok(());
    }
    let value = |name: &str| {
        let at = arguments.iter().position(|argument| argument == name)?;
        arguments.get(at + 1)
    };
    if let Some(file) = value("--ask") {
        let questions = ask(&Reader::open(Path::new(file))?, DAYS * 24)?;
        writeln!(std::io::stdout(), "{questions:#?}")?;
        return Ok(());
    }
    let days = value("--days").map_or(Ok(DAYS), |days| days.parse())?;
    let keep = value("--keep").map(PathBuf::from);
    let text = report::render(&measure(days, keep.as_deref())?);
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("benches/README.md");
    let before = std::fs::read_to_string(&path).unwrap_or_default();
    std::fs::write(&path, report::put_into(&before, &text))?;
    std::io::stdout().write_all(text.as_bytes())?;
    Ok(())
}

fn measure(days: i64, keep: Option<&Path>) -> Result<Measured> {
    let directory = tempfile::tempdir().context("no place for the ledger")?;
    let path = directory.path().join("ledger.sqlite");
    let file = directory.path().join("backup.sqlite");
    let mut world = World::new(SEED, N_PARTS, N_OFFERS);
    let mut ledger = Ledger::open(&path)?;
    let mut bare = Bare::open(&directory.path().join("bare.sqlite"))?;
    world.poll(&mut ledger, begin())?;
    bare.insert(&world, begin())?;
    let first_bytes = size(&mut ledger, &path)?;
    let n_hours = days * 24;
    let (year, bare) = poll_by_turns(&mut world, &mut ledger, &mut bare, 1..n_hours)?;
    let year = year.ending_at(size(&mut ledger, &path)?);
    let peak_kib = peak_kib()?;
    let still = poll_still(&world, &mut ledger, n_hours..n_hours + STILL_HOURS)?;
    let still = still.ending_at(size(&mut ledger, &path)?);
    if let Some(keep) = keep {
        std::fs::copy(&path, keep).context("cannot keep the ledger")?;
    }
    let reader = Reader::open(&path)?;
    let questions = ask(&reader, n_hours)?;
    let next_hour = n_hours + STILL_HOURS;
    let mut polling = Rounds {
        world,
        ledger,
        next_hour,
    };
    let backup = back_up(&mut polling, &reader, &file)?;
    let start = Instant::now();
    Reader::open(&file)?.verify()?;
    let verify_seconds = start.elapsed().as_secs_f64();
    Ok(Measured {
        days,
        first_bytes,
        year,
        bare,
        still,
        peak_kib,
        questions,
        backup,
        verify_seconds,
    })
}

/// Polls that change something, and the same by bare insertion.
fn poll_by_turns(
    world: &mut World,
    ledger: &mut Ledger,
    bare: &mut Bare,
    hours: Range<i64>,
) -> Result<(Span, Took)> {
    let (mut polled, mut inserted) = (Span::default(), Took::default());
    let mut n_rows = 0;
    for hour in hours {
        world.pass();
        let at = begin() + TimeDelta::hours(hour);
        polled.add(|| world.poll(ledger, at))?;
        n_rows += inserted.time(|| bare.insert(world, at))?;
        if hour % 1000 == 0 {
            let (ours, theirs) = (polled.took.seconds, inserted.seconds);
            writeln!(
                std::io::stderr(),
                "{hour} hours, {ours:.0} and {theirs:.0} s"
            )?;
        }
    }
    let n_changes = polled.wrote.changes;
    anyhow::ensure!(n_rows == n_changes, "{n_rows} rows for {n_changes} changes");
    Ok((polled, inserted))
}

fn poll_still(world: &World, ledger: &mut Ledger, mut hours: Range<i64>) -> Result<Span> {
    let mut polled = Span::default();
    hours
        .try_for_each(|hour| polled.add(|| world.poll(ledger, begin() + TimeDelta::hours(hour))))?;
    Ok(polled)
}

impl Took {
    fn time<T>(&mut self, work: impl FnOnce() -> Result<T>) -> Result<T> {
        let (begun, had) = (Instant::now(), processor_seconds()?);
        let value = work()?;
        self.processor_seconds += processor_seconds()? - had;
        self.seconds += begun.elapsed().as_secs_f64();
        Ok(value)
    }
}

impl Span {
    fn add(&mut self, poll: impl FnOnce() -> Result<Wrote>) -> Result<()> {
        let wrote = self.took.time(poll)?;
        self.wrote.polls += wrote.polls;
        self.wrote.changes += wrote.changes;
        Ok(())
    }

    fn ending_at(self, bytes: u64) -> Span {
        Span { bytes, ..self }
    }
}

fn back_up(polling: &mut Rounds, reader: &Reader, file: &Path) -> Result<BesideBackup> {
    let stop = AtomicBool::new(false);
    let (slowest_alone_ms, _) = polling.poll_until(|n_rounds| n_rounds >= 10)?;
    std::thread::scope(|threads| {
        let polls = threads.spawn(|| polling.poll_until(|_| stop.load(Ordering::Relaxed)));
        let start = Instant::now();
        let mut seconds = 0.0;
        let mut told = |copied: Copied| {
            if copied.pages == copied.of_pages {
                seconds = start.elapsed().as_secs_f64();
                stop.store(true, Ordering::Relaxed);
            }
        };
        let verified = reader.backup(file, &mut told);
        stop.store(true, Ordering::Relaxed);
        let polls = polls.join();
        let polls = polls.map_err(|_| anyhow::anyhow!("polling panicked"))?;
        let (slowest_ms, rounds) = polls?;
        anyhow::ensure!(verified?.holds(), "the backup does not hold together");
        Ok(BesideBackup {
            seconds,
            slowest_ms,
            rounds,
            slowest_alone_ms,
        })
    })
}

/// Rounds of polls, one after another.
struct Rounds {
    world: World,
    ledger: Ledger,
    next_hour: i64,
}

impl Rounds {
    /// The slowest round in milliseconds, and how many there were.
    fn poll_until(&mut self, is_enough: impl Fn(u64) -> bool) -> Result<(f64, u64)> {
        let (mut slowest, mut n_rounds) = (0.0_f64, 0);
        while !is_enough(n_rounds) {
            let at = begin() + TimeDelta::hours(self.next_hour);
            self.world.pass();
            let start = Instant::now();
            self.world.poll(&mut self.ledger, at)?;
            slowest = slowest.max(start.elapsed().as_secs_f64() * 1000.0);
            self.next_hour += 1;
            n_rounds += 1;
        }
        Ok((slowest, n_rounds))
    }
}

/// The size of the file with all that the log holds.
fn size(ledger: &mut Ledger, path: &Path) -> Result<u64> {
    ledger.checkpoint()?;
    Ok(std::fs::metadata(path)?.len())
}

/// How long this thread has had a processor. Unlike the clock, it does not count other programs.
fn processor_seconds() -> Result<f64> {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat")?;
    let nanoseconds = told.split_whitespace().next();
    let nanoseconds: u64 = nanoseconds
        .context("the kernel does not tell the time")?
        .parse()?;
    Ok(nanoseconds as f64 / 1e9)
}

/// The most memory that the process has had.
fn peak_kib() -> Result<u64> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let number = line.and_then(|line| line.split_whitespace().next());
    Ok(number
        .context("the kernel does not tell the peak")?
        .parse()?)
}
