//! `rigtide verify`: whether the ledger holds together. Changes nothing.
//!
//! `--json` gives `{ ledger, schema, ok, checks [{ name, must, faults, examples [] }] }`.

use crate::cli::args::Output;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source};
use crate::cli::wire;
use crate::ledger::{Reader, Verdict, Verified};
use serde_json::{Value, json};
use std::path::Path;

pub fn run(directory: &Path, output: Output, screen: &Screen) -> Result<(), Failure> {
    let place = wire::Place::of(directory)?;
    let reader = Reader::open(&place.ledger).map_err(|error| Failure::Ledger(error.into()))?;
    screen.progress("verifying the ledger");
    let verified = reader.verify();
    screen.clear_progress();
    let verified = verified.map_err(|error| Failure::Ledger(error.into()))?;
    if output.json {
        let ledger = place.ledger.display().to_string();
        screen.line(harmless_source(&report(&ledger, &verified).to_string()));
    } else {
        for verdict in &verified.verdicts {
            let mark = if verdict.holds() { "ok   " } else { "FAULT" };
            screen.line(harmless(&format!("{mark}  {}", verdict.sentence())));
        }
        let end = match verified.holds() {
            true => "the ledger holds together",
            false => "restore a backup with `rigtide restore`, or keep this file and ask for help",
        };
        screen.line(end);
    }
    refuse(&verified)
}

/// A failure of the ledger, unless everything holds.
pub fn refuse(verified: &Verified) -> Result<(), Failure> {
    match verified.failed().count() {
        0 => Ok(()),
        n_failed => {
            let n_checks = verified.verdicts.len();
            let error = anyhow::anyhow!("{n_failed} of {n_checks} checks of the ledger fail");
            Err(Failure::Ledger(error))
        }
    }
}

fn report(ledger: &str, verified: &Verified) -> Value {
    let check = |verdict: &Verdict| {
        json!({
            "name": verdict.name,
            "must": verdict.must,
            "faults": verdict.faults,
            "examples": verdict.examples,
        })
    };
    json!({
        "ledger": ledger,
        "schema": verified.schema,
        "ok": verified.holds(),
        "checks": verified.verdicts.iter().map(check).collect::<Vec<Value>>(),
    })
}
