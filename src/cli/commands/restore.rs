//! `rigtide restore FILE`: puts a backup in the place of the ledger, which is kept beside it.
//!
//! `--json` gives `{ ledger, kept }`; `kept` is null where there was no ledger.

use super::backup::tell;
use crate::cli::args::RestoreArguments;
use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::cli::wire;
use crate::ledger::restore;
use crate::watch::clock::Clock;
use serde_json::json;
use std::path::Path;

pub fn run(directory: &Path, arguments: &RestoreArguments, screen: &Screen) -> Result<(), Failure> {
    let place = wire::Place::of(directory)?;
    let now = Clock::from_environment().now();
    let suffix = now.format(".before-%Y%m%dT%H%M%SZ").to_string();
    let mut told = |copied| tell(screen, copied);
    let restored = restore(&place.ledger, &arguments.file, &suffix, &mut told);
    screen.clear_progress();
    let restored = restored.map_err(|error| Failure::Ledger(error.into()))?;
    let kept = restored.kept.map(|kept| kept.display().to_string());
    let ledger = place.ledger.display().to_string();
    if arguments.output.json {
        screen.line(json!({ "ledger": ledger, "kept": kept }).to_string());
        return Ok(());
    }
    screen.line(format!(
        "{ledger} is restored from {}",
        arguments.file.display()
    ));
    if let Some(kept) = kept {
        screen.line(format!("what was there before is kept as {kept}"));
    }
    Ok(())
}
