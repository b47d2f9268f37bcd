//! One measurement in a process of its own, so that its memory is its own too.

use anyhow::{Context, Result, bail};
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::feeds::http::{Fetcher, FetcherOptions};
use rigtide::ledger::Ledger;
use rigtide::market::Matcher;
use rigtide::watch::poll::{Network, Polling};
use rigtide::watch::reading::usual_readers;
use rigtide::watch::settings::load_settings;
use serde::{Deserialize, Serialize};
use std::io::Write;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Instant;

/// What a child tells its parent on standard output.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct Measured {
    pub seconds: f64,
    pub peak_kib: u64,
    pub offers: u64,
    pub matched: u64,
}

impl Measured {
    pub fn keep_faster(&mut self, other: Measured) {
        if other.seconds < self.seconds {
            *self = other;
        }
    }
}

pub fn run(arguments: &[String]) -> Result<()> {
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let measured = match arguments[..] {
        ["poll", directory, ledger, feed, nth] => {
            poll(Path::new(directory), Path::new(ledger), feed, nth.parse()?)?
        }
        ["rows", from, to] => crate::rows::insert(Path::new(from), Path::new(to))?,
        _ => bail!("no such measurement: {arguments:?}"),
    };
    serde_json::to_writer(std::io::stdout(), &measured)?;
    Ok(std::io::stdout().flush()?)
}

/// One poll of one feed, as the daemon does it.
fn poll(directory: &Path, ledger: &Path, feed: &str, nth: i64) -> Result<Measured> {
    let settings = match load_settings(directory) {
        Ok(settings) => settings,
        Err(faults) => bail!("{faults:?}"),
    };
    let id = format!("vela/{feed}");
    let wanted = settings.feeds.iter().find(|feed| feed.id.as_str() == id);
    let feed = wanted.context("no such feed")?.clone();
    let options = FetcherOptions {
        identity: settings.identity.clone(),
        extra_roots: Vec::new(),
        spool_directory: None,
    };
    let polling = Polling {
        fetcher: Arc::new(Fetcher::new(options)?),
        matcher: Arc::new(Matcher::new(&settings.catalogue)),
        ledger: Arc::new(Mutex::new(Ledger::open(ledger)?)),
        settings: Arc::new(settings),
        readers: usual_readers(),
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let now: DateTime<Utc> = "2026-06-15T12:00:00Z".parse()?;
    let now = now + TimeDelta::hours(nth);
    let start = Instant::now();
    let brought = runtime.block_on(polling.bring(&feed, now))?;
    let report = polling.store(brought, Network::Reached, now)?;
    let seconds = start.elapsed().as_secs_f64();
    if report.status != "fresh" || report.refused + report.held > 0 {
        bail!("{report:?}");
    }
    Ok(Measured {
        seconds,
        peak_kib: peak_kib()?,
        offers: report.offers,
        matched: report.matched,
    })
}

/// The most memory that this process has had resident.
pub fn peak_kib() -> Result<u64> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let number = line.and_then(|line| line.split_whitespace().next());
    Ok(number.context("the system does not say")?.parse()?)
}
