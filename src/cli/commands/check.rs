//! `rigtide check`: every fault of the configuration at once.

use crate::catalogue::Fault;
use crate::cli::args::Output;
use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::notify::faults_of;
use crate::watch::settings::load_settings;
use serde_json::json;
use std::path::Path;

pub fn run(directory: &Path, output: Output, screen: &Screen) -> Result<(), Failure> {
    let checked = load_settings(directory).and_then(|settings| {
        let missing = faults_of(&settings.channels);
        match missing.is_empty() {
            true => Ok(settings),
            false => Err(missing),
        }
    });
    if output.json {
        let faults: &[Fault] = checked.as_ref().err().map_or(&[], Vec::as_slice);
        screen.line(json!({ "ok": checked.is_ok(), "errors": faults }).to_string());
    }
    match checked {
        Ok(settings) => {
            if !output.json {
                screen.line(format!(
                    "no faults: {} parts, {} workloads, {} results, {} retailers with {} feeds, {} briefs, {} channels",
                    settings.catalogue.parts.len(),
                    settings.catalogue.workloads.len(),
                    settings.results.len(),
                    settings.retailers.len(),
                    settings.feeds.len(),
                    settings.briefs.len(),
                    settings.channels.len()
                ));
            }
            Ok(())
        }
        // The JSON has said it all; the code says it once more.
        Err(_) if output.json => Err(Failure::Configuration(Vec::new())),
        Err(faults) => Err(Failure::Configuration(faults)),
    }
}
