//! The desk's connections to the ledger: opened when they are needed, lent to one question at a time.

use crate::ledger::{LedgerError, Reader};
use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// So many wait for the next question; more are closed.
const IDLE_MAX: usize = 4;

#[derive(Default)]
pub(super) struct Readers {
    idle: Mutex<Vec<Reader>>,
    /// The one that counts writes: the numbers of two connections say nothing about each other.
    counting: Mutex<Option<Reader>>,
}

impl Readers {
    /// Lends a connection.
    pub fn with<T>(
        &self,
        ledger: &Path,
        read: impl FnOnce(&Reader) -> Result<T, LedgerError>,
    ) -> Result<T, LedgerError> {
        let idle = || self.idle.lock().unwrap_or_else(PoisonError::into_inner);
        // Another ledger may be in force by now.
        let found = idle().pop().filter(|reader| reader.path() == ledger);
        let reader = match found {
            Some(reader) => reader,
            None => Reader::open(ledger)?,
        };
        let read = read(&reader)?;
        let mut idle = idle();
        if idle.len() < IDLE_MAX {
            idle.push(reader);
        }
        Ok(read)
    }

    /// A number that changes with every write to the ledger.
    pub fn writes(&self, ledger: &Path) -> Result<i64, LedgerError> {
        let mut counting = self.counting.lock().unwrap_or_else(PoisonError::into_inner);
        if counting.as_ref().is_none_or(|one| one.path() != ledger) {
            *counting = Some(Reader::open(ledger)?);
        }
        let writes = counting.as_ref().map_or(Ok(0), Reader::foreign_writes);
        if writes.is_err() {
            *counting = None;
        }
        writes
    }

    pub fn let_go(&self) {
        self.idle
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clear();
        *self.counting.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}
