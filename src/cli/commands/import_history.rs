//! `rigtide import-history FILE`: records of the past, from an export or from an author's own notes.
//!
//! `--json` gives `{ file, rows { TABLE: number } }` of an export and
//! `{ file, prices, offers, intervals }` of notes, or `{ file, faults [{ line, fault }] }`; with
//! faults nothing was imported.

mod notes;

use super::export::{failure, show};
use crate::cli::args::ImportHistoryArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source};
use crate::cli::wire;
use crate::ledger::import;
use crate::watch::clock::Clock;
use crate::watch::settings::Settings;
use anyhow::Context as _;
use serde_json::{Value, json};
use std::path::Path;

/// Faults shown to a person, one a line.
const FAULTS_SHOWN: usize = 50;

pub fn run(
    directory: &Path,
    arguments: &ImportHistoryArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let file = arguments.file.as_path();
    match notes::Notes::of(file)? {
        // Notes name parts and retailers, which the settings know.
        Some(notes) => {
            let settings = wire::settings(directory)?;
            import_notes(&settings, file, notes, arguments, screen)
        }
        None => {
            let place = wire::Place::of(directory)?;
            let mut told = |n_rows| screen.progress(&format!("{n_rows} rows read"));
            let counted = import(&place.ledger, file, &mut told);
            screen.clear_progress();
            let counted = counted.map_err(failure)?;
            if arguments.output.json {
                let file = file.display().to_string();
                screen.line(json!({ "file": file, "rows": counted }).to_string());
            } else {
                show(&counted, screen);
            }
            Ok(())
        }
    }
}

fn import_notes(
    settings: &Settings,
    file: &Path,
    notes: notes::Notes,
    arguments: &ImportHistoryArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let now = Clock::from_environment().now();
    let (prices, mut faults) = notes
        .read(settings, now)
        .with_context(|| format!("cannot read {}", file.display()))?;
    let mut imported = Default::default();
    if faults.is_empty() {
        let done = wire::ledger(settings)?.import_prices(&prices, now);
        match done.map_err(|error| Failure::Ledger(error.into()))? {
            Ok(done) => imported = done,
            Err(refused) => {
                let refused = refused.into_iter();
                faults.extend(refused.map(|(line, refusal)| (line, refusal.to_string())));
            }
        }
    }
    let name = file.display().to_string();
    if arguments.output.json {
        let fault = |(line, fault): &(u64, String)| json!({ "line": line, "fault": fault });
        let record = match faults.is_empty() {
            true => json!({
                "file": name,
                "prices": imported.prices,
                "offers": imported.offers,
                "intervals": imported.intervals,
            }),
            false => json!({
                "file": name,
                "faults": faults.iter().map(fault).collect::<Vec<Value>>(),
            }),
        };
        screen.line(harmless_source(&record.to_string()));
    } else if faults.is_empty() {
        let (prices, offers) = (imported.prices, imported.offers);
        let n_intervals = imported.intervals;
        screen.line(format!(
            "{prices} prices imported as {n_intervals} intervals, {offers} offers of them new"
        ));
    }
    if faults.is_empty() {
        return Ok(());
    }
    if !arguments.output.json {
        for (line, fault) in faults.iter().take(FAULTS_SHOWN) {
            screen.complain(harmless(&format!("{name}:{line}: {fault}")));
        }
    }
    let message = match faults.len() {
        1 => format!("{name} has a fault"),
        n_faults => format!("{name} has {n_faults} faults"),
    };
    Err(Failure::usage(message, "nothing was imported"))
}
