//! Where the ledger is, for commands that need nothing else of the settings: what is on record can be looked
//! at, copied and mended while a brief, a shop or a channel has a fault.
//!
//! Never guesses: a `rigtide.toml` that does not say it plainly is refused with its faults.

use super::super::report::Failure;
use crate::catalogue::table::Document;
use crate::ledger::{Ledger, Reader};
use crate::watch::settings::files::{Files, PROGRAM};
use crate::watch::settings::ledger_of;
use std::path::{Path, PathBuf};

pub struct Place {
    pub ledger: PathBuf,
}

impl Place {
    /// What `rigtide.toml` says, whatever else is wrong with it or with other files.
    pub fn of(directory: &Path) -> Result<Place, Failure> {
        let mut files = Files::read(directory);
        if let Some(file) = &files.program {
            let document = Document::parse(&file.name, &file.text);
            if !is_plain(&document) {
                return Err(Failure::Configuration(document.into_faults()));
            }
        }
        files.faults.retain(|fault| fault.file == PROGRAM);
        match ledger_of(directory, &files) {
            Some(ledger) => Ok(Place { ledger }),
            None => Err(Failure::Configuration(files.faults)),
        }
    }

    /// The ledger for reading. One that does not exist yet is made, so that it reads as empty.
    pub fn reader(&self) -> Result<Reader, Failure> {
        if !self.ledger.exists() {
            self.writer()?;
        }
        Reader::open(&self.ledger).map_err(|error| Failure::Ledger(error.into()))
    }

    /// The ledger for reading, if there is one. Nothing is made.
    pub fn existing_reader(&self) -> Result<Option<Reader>, Failure> {
        if !self.ledger.exists() {
            return Ok(None);
        }
        let reader = Reader::open(&self.ledger);
        reader
            .map(Some)
            .map_err(|error| Failure::Ledger(error.into()))
    }

    /// The ledger for writing.
    pub fn writer(&self) -> Result<Ledger, Failure> {
        Ledger::open(&self.ledger).map_err(|error| Failure::Ledger(error.into()))
    }
}

/// Whether it is clear where the ledger is: a line with wrong syntax may have been the one that says so.
fn is_plain(document: &Document<'_>) -> bool {
    let is_whole = document.is_clean();
    let mut root = document.root();
    match root.has("ledger") {
        true => root.text("ledger").is_some(),
        false => is_whole,
    }
}
