//! Polls by the library itself, and what they leave in the ledger.

use super::program::Configuration;
use chrono::{DateTime, Utc};
use rigtide::feeds::http::{Fetcher, FetcherOptions};
use rigtide::ledger::{Ledger, LedgerError};
use rigtide::market::Matcher;
use rigtide::watch::poll::{Network, PollReport, Polling};
use rigtide::watch::settings::{Settings, load_settings};
use rusqlite::Connection;
use rusqlite::types::Value;
use std::num::NonZeroUsize;
use std::sync::{Arc, Mutex};

/// What polls share, with a ledger beside the configuration.
pub fn polling(configuration: &Configuration, ledger: &str) -> Polling {
    let mut settings = load_settings(&configuration.path("")).unwrap();
    settings.ledger = configuration.path(ledger);
    of_settings(settings)
}

/// What polls share under these settings.
pub fn of_settings(settings: Settings) -> Polling {
    let options = FetcherOptions {
        identity: settings.identity.clone(),
        extra_roots: Vec::new(),
        spool_directory: None,
    };
    Polling {
        fetcher: Arc::new(Fetcher::new(options).unwrap()),
        matcher: Arc::new(Matcher::new(&settings.catalogue)),
        ledger: Arc::new(Mutex::new(Ledger::open(&settings.ledger).unwrap())),
        settings: Arc::new(settings),
        readers: NonZeroUsize::MIN,
    }
}

/// Polls the only feed of a configuration into a ledger beside it.
pub fn poll(
    configuration: &Configuration,
    ledger: &str,
    readers: NonZeroUsize,
    now: DateTime<Utc>,
) -> Result<PollReport, LedgerError> {
    let polling = Polling {
        readers,
        ..polling(configuration, ledger)
    };
    let feed = polling.settings.feeds[0].clone();
    let mut runtime = tokio::runtime::Builder::new_current_thread();
    let runtime = runtime.enable_all().build().unwrap();
    let brought = runtime.block_on(polling.bring(&feed, now)).unwrap();
    polling.store(brought, Network::Reached, now)
}

/// Every row of every table, without the columns named and how long a poll took.
pub fn contents(configuration: &Configuration, ledger: &str, left_out: &[&str]) -> Vec<String> {
    let connection = Connection::open(configuration.path(ledger)).unwrap();
    let mut tables = connection
        .prepare(
            "SELECT name FROM sqlite_schema
             WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name",
        )
        .unwrap();
    let tables: Vec<String> = tables
        .query_map([], |row| row.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    let mut all = Vec::new();
    for table in tables {
        let mut select = connection
            .prepare(&format!("SELECT * FROM {table}"))
            .unwrap();
        let names: Vec<String> = select.column_names().map(str::to_owned).collect();
        let mut rows = select.query([]).unwrap();
        while let Some(row) = rows.next().unwrap() {
            let values = names.iter().map(String::as_str).enumerate();
            let values =
                values.filter(|(_, name)| !left_out.contains(name) && *name != "duration_ms");
            let values: Vec<(&str, Value)> = values
                .map(|(at, name)| (name, row.get(at).unwrap()))
                .collect();
            all.push(format!("{table} {values:?}"));
        }
    }
    all
}
