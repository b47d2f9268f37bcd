//! `rigtide journal`: what happened, oldest first, and on and on with `--follow`.
//!
//! A followed journal ends with exit code 0 when it is interrupted or nobody reads it any more.
//!
//! `--json` gives one document a line:
//!
//! ```text
//! { number, at, kind, feed, brief, part, text, data }
//! ```

use crate::cli::args::JournalArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source};
use crate::cli::wire;
use crate::decide::shown_instant;
use crate::ledger::{JournalLine, JournalWanted, Reader};
use anyhow::Context as _;
use serde_json::json;
use std::path::Path;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};

/// How soon a new entry is shown.
const LOOK: Duration = Duration::from_millis(300);

pub fn run(directory: &Path, arguments: &JournalArguments, screen: &Screen) -> Result<(), Failure> {
    let place = wire::Place::of(directory)?;
    let mut wanted = JournalWanted {
        brief: arguments.brief.clone(),
        feed: arguments.feed.clone(),
        kind: arguments.kind.clone(),
        since: arguments.since,
        after: None,
        before: None,
    };
    if !arguments.follow {
        let Some(reader) = place.existing_reader()? else {
            return Ok(());
        };
        show(&reader, &wanted, arguments.limit, arguments.json, screen)?;
        return Ok(());
    }
    let reader = place.reader()?;
    let runtime = wire::runtime()?;
    runtime.block_on(async {
        let stopped = stopped()?;
        tokio::pin!(stopped);
        // Read before the entries are, so that none is between the two.
        let newest = reader.journal(1).map_err(of_ledger)?;
        let mut last = newest.first().map_or(0, |line| line.number);
        let shown = show(&reader, &wanted, arguments.limit, arguments.json, screen)?;
        last = last.max(shown.unwrap_or(0));
        loop {
            tokio::select! {
                () = &mut stopped => return Ok(()),
                () = tokio::time::sleep(LOOK) => {}
            }
            if !screen.is_read_for(Duration::ZERO) {
                return Ok(());
            }
            wanted.after = Some(last);
            let shown = show(&reader, &wanted, u32::MAX, arguments.json, screen)?;
            last = last.max(shown.unwrap_or(0));
        }
    })
}

/// Ends when the person has seen enough: Ctrl-C, or SIGTERM.
fn stopped() -> Result<impl Future<Output = ()>, Failure> {
    let listen = |kind| signal(kind).context("cannot listen for signals");
    let mut interrupt = listen(SignalKind::interrupt())?;
    let mut terminate = listen(SignalKind::terminate())?;
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
    })
}

/// Shows what is wanted and returns the number of the last entry shown.
fn show(
    reader: &Reader,
    wanted: &JournalWanted,
    limit: u32,
    json: bool,
    screen: &Screen,
) -> Result<Option<i64>, Failure> {
    let lines = reader.journal_of(wanted, limit).map_err(of_ledger)?;
    for line in lines.iter().rev() {
        screen.line(match json {
            true => record(line),
            false => sentence(line),
        });
    }
    Ok(lines.first().map(|line| line.number))
}

fn sentence(line: &JournalLine) -> String {
    let entry = &line.entry;
    let at = shown_instant(entry.at);
    harmless(&format!("{at}  {}  {}", entry.kind, entry.text))
}

fn record(line: &JournalLine) -> String {
    let entry = &line.entry;
    let record = json!({
        "number": line.number,
        "at": shown_instant(entry.at),
        "kind": entry.kind,
        "feed": entry.feed.as_ref().map(|feed| feed.as_str()),
        "brief": entry.brief,
        "part": entry.part,
        "text": entry.text,
        "data": entry.data,
    });
    harmless_source(&record.to_string())
}

fn of_ledger(error: crate::ledger::LedgerError) -> Failure {
    Failure::Ledger(error.into())
}
