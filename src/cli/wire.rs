//! Joins settings, ledger and fetcher for a command.

use super::report::Failure;
use crate::feeds::http::{Fetcher, FetcherOptions};
use crate::ledger::{Ledger, Reader};
use crate::market::Matcher;
use crate::watch::poll::Polling;
use crate::watch::settings::{Settings, load_settings};
use anyhow::Context as _;
use std::path::Path;
use std::sync::{Arc, Mutex};

/// The configuration, or its faults.
pub fn settings(directory: &Path) -> Result<Settings, Failure> {
    load_settings(directory).map_err(Failure::Configuration)
}

/// The ledger for reading. One that does not exist yet is made, so that it reads as empty.
pub fn reader(settings: &Settings) -> Result<Reader, Failure> {
    if !settings.ledger.exists() {
        ledger(settings)?;
    }
    Reader::open(&settings.ledger).map_err(|error| Failure::Ledger(error.into()))
}

/// The ledger for reading, if there is one. Nothing is made.
pub fn existing_reader(settings: &Settings) -> Result<Option<Reader>, Failure> {
    if !settings.ledger.exists() {
        return Ok(None);
    }
    let reader = Reader::open(&settings.ledger);
    reader
        .map(Some)
        .map_err(|error| Failure::Ledger(error.into()))
}

/// The ledger for writing.
pub fn ledger(settings: &Settings) -> Result<Ledger, Failure> {
    Ledger::open(&settings.ledger).map_err(|error| Failure::Ledger(error.into()))
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
    let ledger = ledger(&settings)?;
    let fetcher = fetcher(&settings)?;
    let matcher = Matcher::new(&settings.catalogue);
    Ok(Polling {
        settings: Arc::new(settings),
        fetcher: Arc::new(fetcher),
        matcher: Arc::new(matcher),
        ledger: Arc::new(Mutex::new(ledger)),
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
