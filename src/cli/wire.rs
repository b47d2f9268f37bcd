//! Joins settings, ledger and fetcher for a command.

mod place;
mod vitals;

pub use place::Place;
pub use vitals::DaemonVitals;

use super::report::Failure;
use crate::feeds::http::{Fetcher, FetcherOptions};
use crate::ledger::{Ledger, Reader};
use crate::market::Matcher;
use crate::watch::poll::Polling;
use crate::watch::reading::usual_readers;
use crate::watch::settings::files::Files;
use crate::watch::settings::{Settings, load_settings, matcher_for_long, settings_for_long};
use anyhow::Context as _;
use std::io::Write as _;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::sync::{Arc, Mutex};

/// The configuration, or its faults.
pub fn settings(directory: &Path) -> Result<Settings, Failure> {
    load_settings(directory).map_err(Failure::Configuration)
}

/// The same for the daemon, which keeps it.
pub fn lasting_settings(directory: &Path) -> Result<Settings, Failure> {
    settings_for_long(directory, Files::read(directory)).map_err(Failure::Configuration)
}

/// The ledger for reading. One that does not exist yet is made, so that it reads as empty.
pub fn reader(settings: &Settings) -> Result<Reader, Failure> {
    place(settings).reader()
}

/// The ledger for reading, if there is one. Nothing is made.
pub fn existing_reader(settings: &Settings) -> Result<Option<Reader>, Failure> {
    place(settings).existing_reader()
}

/// The ledger for writing.
pub fn ledger(settings: &Settings) -> Result<Ledger, Failure> {
    place(settings).writer()
}

fn place(settings: &Settings) -> Place {
    Place {
        ledger: settings.ledger.clone(),
    }
}

/// What asks for documents.
pub fn fetcher(settings: &Settings) -> Result<Fetcher, Failure> {
    let options = FetcherOptions {
        identity: settings.identity.clone(),
        extra_roots: Vec::new(),
        spool_directory: None,
    };
    Ok(Fetcher::new(options).context("cannot set up TLS")?)
}

/// Everything that polls need.
pub fn polling(settings: Settings) -> Result<Polling, Failure> {
    let matcher = Matcher::new(&settings.catalogue);
    polling_with(settings, matcher)
}

/// The same for the daemon, which keeps it.
pub fn lasting_polling(settings: Settings) -> Result<Polling, Failure> {
    let matcher = matcher_for_long(&settings);
    polling_with(settings, matcher)
}

fn polling_with(settings: Settings, matcher: Matcher) -> Result<Polling, Failure> {
    let ledger = ledger(&settings)?;
    let fetcher = fetcher(&settings)?;
    Ok(Polling {
        settings: Arc::new(settings),
        fetcher: Arc::new(fetcher),
        matcher: Arc::new(matcher),
        ledger: Arc::new(Mutex::new(ledger)),
        readers: usual_readers(),
    })
}

/// The runtime for what waits on the network.
pub fn runtime() -> Result<tokio::runtime::Runtime, Failure> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build();
    Ok(runtime.context("cannot start the asynchronous runtime")?)
}

/// Writes a catalogue file that the program made. One that does not open with `mark` is a
/// person's own and stays as it is; a file is replaced whole or not at all.
pub fn write_generated(path: &Path, mark: &str, text: &str) -> Result<(), Failure> {
    let cannot = || format!("cannot write {}", path.display());
    if path.exists() {
        let before = std::fs::read_to_string(path).with_context(cannot)?;
        let is_ours = before
            .strip_prefix("# ")
            .is_some_and(|own| own.starts_with(mark));
        if !is_ours {
            let message = format!("{} was not written by this command", path.display());
            return Err(Failure::usage(
                message,
                "choose another file, or move it away",
            ));
        }
    }
    write_whole(path, text)
}

/// Writes a file whole or not at all.
pub fn write_whole(path: &Path, text: &str) -> Result<(), Failure> {
    let cannot = || format!("cannot write {}", path.display());
    let parent = path
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty());
    let parent = parent.unwrap_or(Path::new("."));
    let mut file = tempfile::Builder::new()
        .permissions(std::fs::Permissions::from_mode(0o644))
        .tempfile_in(parent)
        .with_context(cannot)?;
    file.write_all(text.as_bytes()).with_context(cannot)?;
    file.persist(path).with_context(cannot)?;
    Ok(())
}
