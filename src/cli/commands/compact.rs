//! `rigtide compact`: gives unused room back and, with `--thin-before`, lets fine detail go.
//!
//! `--json` gives `{ ledger, bytes_before, bytes_after, intervals_before, intervals_after }`; the
//! last two only with `--thin-before`.

use crate::cli::args::{CompactArguments, Past};
use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::cli::wire;
use crate::ledger::{LedgerError, LockError, WatchLock};
use crate::watch::clock::Clock;
use anyhow::Context as _;
use chrono::NaiveDate;
use serde_json::json;
use std::path::Path;

pub fn run(directory: &Path, arguments: &CompactArguments, screen: &Screen) -> Result<(), Failure> {
    let place = wire::Place::of(directory)?;
    let path = place.ledger.as_path();
    let now = Clock::from_environment().now();
    let date = match arguments.thin_before {
        None => None,
        Some(Past::Day(day)) if day <= now.date_naive() => Some(day),
        Some(_) => {
            let message = "--thin-before is no date of the past";
            return Err(Failure::usage(message, "write a date such as 2025-12-31"));
        }
    };
    if !path.exists() {
        let path = path.to_owned();
        return Err(Failure::Ledger(LedgerError::Missing { path }.into()));
    }
    let _lock =
        WatchLock::acquire(path).map_err(|error: LockError| Failure::Ledger(error.into()))?;
    let mut ledger = place.writer()?;
    let fault = |error: LedgerError| Failure::Ledger(error.into());
    ledger.checkpoint().map_err(fault)?;
    let bytes = || -> Result<u64, Failure> {
        let cannot = || format!("cannot look at {}", path.display());
        Ok(std::fs::metadata(path).with_context(cannot)?.len())
    };
    let bytes_before = bytes()?;
    let mut told = |done, of| screen.progress(&format!("thinned {done} of {of} offers"));
    let thinned = date.map(|date: NaiveDate| ledger.thin_before(date, now, &mut told));
    let thinned = thinned.transpose().map_err(fault)?;
    screen.progress("rewriting the ledger");
    let vacuumed = ledger.vacuum();
    screen.clear_progress();
    vacuumed.map_err(fault)?;
    let bytes_after = bytes()?;
    if arguments.output.json {
        let mut record = json!({
            "ledger": path.display().to_string(),
            "bytes_before": bytes_before,
            "bytes_after": bytes_after,
        });
        if let Some(thinned) = thinned {
            record["intervals_before"] = json!(thinned.intervals_before);
            record["intervals_after"] = json!(thinned.intervals_after);
        }
        screen.line(record.to_string());
        return Ok(());
    }
    if let Some(thinned) = thinned {
        let (before, after) = (thinned.intervals_before, thinned.intervals_after);
        screen.line(format!("{before} intervals, {after} after thinning"));
    }
    screen.line(format!("{bytes_before} bytes, {bytes_after} now"));
    Ok(())
}
