//! What can go wrong with the ledger, in words that say what to do.

use rusqlite::ErrorCode;
use std::path::{Path, PathBuf};

/// Why the ledger could not be opened, read or written. Nothing was changed.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    #[error("there is no ledger at {path}: the first poll makes it", path = path.display())]
    Missing { path: PathBuf },
    #[error(
        "{path} is a database of another program: choose another file for the ledger",
        path = path.display()
    )]
    NotALedger { path: PathBuf },
    #[error(
        "{path} has schema {found}, written by a newer version; this one knows {known}: \
         use the newer version, the file was left as it is",
        path = path.display()
    )]
    Newer {
        path: PathBuf,
        found: i64,
        known: i64,
    },
    #[error(
        "{path} has schema {found} of an older version; this one reads {known}: \
         the next poll or watch brings it up to date",
        path = path.display()
    )]
    Older {
        path: PathBuf,
        found: i64,
        known: i64,
    },
    #[error(
        "{path} is damaged or no database: it was left as it is, restore a backup or move it away",
        path = path.display()
    )]
    Damaged {
        path: PathBuf,
        #[source]
        source: rusqlite::Error,
    },
    #[error("there is no room to write {path}: free some disk space", path = path.display())]
    Full {
        path: PathBuf,
        #[source]
        source: rusqlite::Error,
    },
    #[error("{path} cannot be written: check its permissions and those of its folder", path = path.display())]
    ReadOnly {
        path: PathBuf,
        #[source]
        source: rusqlite::Error,
    },
    #[error("{path} cannot be opened: check that its folder exists and may be used", path = path.display())]
    CannotOpen {
        path: PathBuf,
        #[source]
        source: rusqlite::Error,
    },
    #[error("{path} is there already: choose another name, it was left as it is", path = path.display())]
    Exists { path: PathBuf },
    #[error("{path} cannot be written", path = path.display())]
    File {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("another process kept {path} busy for too long: try again", path = path.display())]
    Busy {
        path: PathBuf,
        #[source]
        source: rusqlite::Error,
    },
    #[error("{path} holds a value that no version writes", path = path.display())]
    Unreadable {
        path: PathBuf,
        #[source]
        source: rusqlite::Error,
    },
    #[error("{path} cannot be read or written: its disk failed, or its file system became read-only; see the system's log", path = path.display())]
    Disk {
        path: PathBuf,
        #[source]
        source: rusqlite::Error,
    },
    #[error("the ledger {path} refused a statement", path = path.display())]
    Refused {
        path: PathBuf,
        #[source]
        source: rusqlite::Error,
    },
}

/// Why a second watch may not start.
#[derive(Debug, thiserror::Error)]
pub enum LockError {
    #[error("another watch{} uses this ledger: stop it first", process.map(|id| format!(" (process {id})")).unwrap_or_default())]
    Held { process: Option<u32> },
    #[error("the lock file {path} cannot be used", path = path.display())]
    Io {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
}

impl LedgerError {
    /// True for what may pass by itself or by a person's hand while the program runs: no room, a
    /// file system that was mounted to be read only, a lock that another process holds.
    pub fn may_pass(&self) -> bool {
        matches!(
            self,
            LedgerError::Full { .. }
                | LedgerError::ReadOnly { .. }
                | LedgerError::CannotOpen { .. }
                | LedgerError::Disk { .. }
                | LedgerError::Busy { .. }
        )
    }

    /// What a file operation failed with.
    pub(super) fn file(path: &Path, source: std::io::Error) -> LedgerError {
        let path = path.to_owned();
        LedgerError::File { path, source }
    }

    /// The same said of the file that a person knows, where it happened to a copy.
    pub(super) fn at(mut self, other: &Path) -> LedgerError {
        match &mut self {
            LedgerError::Missing { path }
            | LedgerError::NotALedger { path }
            | LedgerError::Newer { path, .. }
            | LedgerError::Older { path, .. }
            | LedgerError::Damaged { path, .. }
            | LedgerError::Full { path, .. }
            | LedgerError::ReadOnly { path, .. }
            | LedgerError::CannotOpen { path, .. }
            | LedgerError::Exists { path }
            | LedgerError::File { path, .. }
            | LedgerError::Busy { path, .. }
            | LedgerError::Unreadable { path, .. }
            | LedgerError::Disk { path, .. }
            | LedgerError::Refused { path, .. } => other.clone_into(path),
        }
        self
    }

    /// Sorts what SQLite said of the file at `path`.
    pub(super) fn of(path: &Path, source: rusqlite::Error) -> LedgerError {
        let path = path.to_owned();
        match &source {
            rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::InvalidColumnType(..)
            | rusqlite::Error::IntegralValueOutOfRange(..)
            | rusqlite::Error::Utf8Error(..) => LedgerError::Unreadable { path, source },
            _ => match source.sqlite_error_code() {
                Some(ErrorCode::NotADatabase | ErrorCode::DatabaseCorrupt) => {
                    LedgerError::Damaged { path, source }
                }
                Some(ErrorCode::DiskFull) => LedgerError::Full { path, source },
                Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => {
                    LedgerError::ReadOnly { path, source }
                }
                Some(ErrorCode::SystemIoFailure) => LedgerError::Disk { path, source },
                Some(ErrorCode::CannotOpen) => LedgerError::CannotOpen { path, source },
                Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
                    LedgerError::Busy { path, source }
                }
                _ => LedgerError::Refused { path, source },
            },
        }
    }
}
