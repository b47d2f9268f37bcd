//! `rigtide backup FILE`: a verified copy of the ledger, while the daemon goes on.
//!
//! `--json` gives `{ file, pages, ok }`.

use super::verify::refuse;
use crate::cli::args::BackupArguments;
use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::cli::wire;
use crate::ledger::Copied;
use serde_json::json;
use std::path::Path;

pub fn run(directory: &Path, arguments: &BackupArguments, screen: &Screen) -> Result<(), Failure> {
    let place = wire::Place::of(directory)?;
    let reader = place.reader()?;
    let mut pages = 0;
    let mut told = |copied: Copied| {
        pages = copied.of_pages;
        tell(screen, copied);
    };
    let verified = reader.backup(&arguments.file, &mut told);
    screen.clear_progress();
    let verified = verified.map_err(|error| Failure::Ledger(error.into()))?;
    if arguments.output.json {
        let record = json!({
            "file": arguments.file.display().to_string(),
            "pages": pages,
            "ok": verified.holds(),
        });
        screen.line(record.to_string());
    } else {
        let file = arguments.file.display();
        let n_checks = verified.verdicts.len();
        screen.line(format!("{file}: {pages} pages, {n_checks} checks hold"));
    }
    refuse(&verified)
}

/// How far a copy is.
pub fn tell(screen: &Screen, copied: Copied) {
    let Copied { pages, of_pages } = copied;
    screen.progress(&format!("copied {pages} of {of_pages} pages"));
}
