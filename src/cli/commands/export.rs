//! `rigtide export FILE`: the whole record, for other programs and for keeps.
//!
//! `--json` gives `{ file, rows { TABLE: number } }`.

use crate::cli::args::ExportArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, columns};
use crate::cli::wire;
use crate::ledger::{Counted, TransferError};
use serde_json::json;
use std::path::Path;

pub fn run(directory: &Path, arguments: &ExportArguments, screen: &Screen) -> Result<(), Failure> {
    let place = wire::Place::of(directory)?;
    let reader = place.reader()?;
    let mut told = |n_rows| screen.progress(&format!("{n_rows} rows written"));
    let counted = reader.export(&arguments.file, &mut told);
    screen.clear_progress();
    let counted = counted.map_err(failure)?;
    if arguments.output.json {
        let file = arguments.file.display().to_string();
        screen.line(json!({ "file": file, "rows": counted }).to_string());
    } else {
        show(&counted, screen);
    }
    Ok(())
}

/// The rows of each table that has any.
pub fn show(counted: &Counted, screen: &Screen) {
    let rows = counted.iter().filter(|(_, n_rows)| **n_rows > 0);
    let rows: Vec<Vec<String>> = rows
        .map(|(table, n_rows)| vec![table.clone(), n_rows.to_string()])
        .collect();
    let lines = columns(&rows, &[Set::Left, Set::Right]);
    lines.iter().for_each(|line| screen.line(line));
}

/// What a transfer failed with, as a command says it.
pub fn failure(error: TransferError) -> Failure {
    match error {
        TransferError::Ledger(error) => Failure::Ledger(error.into()),
        TransferError::Restore(error) => Failure::Ledger(error.into()),
        TransferError::UnknownFormat { .. } | TransferError::NotEmpty => {
            Failure::usage(error.to_string(), "nothing was written")
        }
        other => Failure::Other(other.into()),
    }
}
