//! Opening the ledger to write or to read.

use super::copying::{self, Copied};
use super::error::LedgerError;
use super::migrate::{self, KNOWN};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};
use std::num::NonZeroU32;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a statement waits for another process before it gives up.
const BUSY_TIMEOUT: Duration = Duration::from_secs(10);
/// The write-ahead log is cut back to this size after a checkpoint, in bytes.
const LOG_BYTES_MAX: i64 = 32 << 20;
/// The log is moved into the file when it holds so many pages, 16 MiB. A poll with changes touches few
/// rows on many pages, of which those that many polls touch are then moved once.
const LOG_PAGES: i64 = 4096;
/// Pages kept in memory by each connection, in KiB; enough for the current market of a large feed.
const CACHE_KIB: i64 = 16 << 10;
/// Prepared statements kept; more than this module has.
const STATEMENTS_KEPT: usize = 64;

/// How many polls must agree before the ledger believes something unlikely.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// An offer is gone after missing from so many complete snapshots in a row.
    pub gone_after_polls: NonZeroU32,
    /// A held observation is believed once so many polls that list it in a row say the same.
    pub confirm_after_polls: NonZeroU32,
}

impl Default for Patience {
    fn default() -> Patience {
        // Common practice, no source: one bad export is usual, three in a row are meant.
        const THREE: NonZeroU32 = NonZeroU32::MIN.saturating_add(2);
        Patience {
            gone_after_polls: THREE,
            confirm_after_polls: THREE,
        }
    }
}

/// The writing end. One per process, and one process at a time (see [`super::WatchLock`]).
#[derive(Debug)]
pub struct Ledger {
    reader: Reader,
    pub(super) patience: Patience,
}

/// A reading end. It sees what was committed and blocks nobody.
#[derive(Debug)]
pub struct Reader {
    connection: Connection,
    path: PathBuf,
}

impl Ledger {
    /// Opens the ledger at `path`, making or upgrading it where needed.
    ///
    /// # Errors
    /// [`LedgerError`], before the file was changed: a newer schema, another program's database,
    /// a damaged file, a folder that is missing or may not be written.
    pub fn open(path: &Path) -> Result<Ledger, LedgerError> {
        let fault = |source| LedgerError::of(path, source);
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut connection = Connection::open_with_flags(path, flags).map_err(fault)?;
        prepare(&connection).map_err(fault)?;
        // Looked at before anything is written, so that a foreign file stays as it is.
        migrate::version(&connection, path)?;
        prepare_writer(&connection).map_err(fault)?;
        migrate::migrate(&mut connection, path)?;
        let path = path.to_owned();
        Ok(Ledger {
            reader: Reader { connection, path },
            patience: Patience::default(),
        })
    }

    /// Sets how soon offers are gone and held observations believed, from the next poll on.
    pub fn set_patience(&mut self, patience: Patience) {
        self.patience = patience;
    }

    /// Reads through the writing connection: what the last call wrote is there.
    pub fn read(&self) -> &Reader {
        &self.reader
    }

    /// See [`Reader::foreign_writes`]. What this one writes leaves it as it is.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn foreign_writes(&self) -> Result<i64, LedgerError> {
        self.reader.foreign_writes()
    }

    /// Moves the write-ahead log into the file and cuts it; to be called when idle. Readers that
    /// are busy make it do less, not fail.
    ///
    /// # Errors
    /// [`LedgerError`] when the disk fails.
    pub fn checkpoint(&mut self) -> Result<(), LedgerError> {
        self.reader.run(|connection| {
            connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
        })
    }

    /// Lets go of the pages and statements that are kept for the next work; to be called when idle.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn rest(&self) -> Result<(), LedgerError> {
        self.reader.run(|connection| {
            connection.flush_prepared_statement_cache();
            connection.execute_batch("PRAGMA shrink_memory")
        })
    }

    /// Sets how the connection fares, to bring faults about.
    #[cfg(test)]
    pub(crate) fn set_pragma(&self, pragma: &str) {
        let set = |connection: &Connection| connection.execute_batch(&format!("PRAGMA {pragma}"));
        self.read().run(set).unwrap();
    }

    /// Puts another ledger in the place of all that this one holds: all of it or nothing. Readers
    /// see the old one until then.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub(super) fn overwrite(
        &mut self,
        from: &Reader,
        told: &mut dyn FnMut(Copied),
    ) -> Result<(), LedgerError> {
        let Reader { connection, path } = &mut self.reader;
        copying::copy_steps(&from.connection, connection, told)
            .map_err(|source| LedgerError::of(path, source))
    }

    /// Runs `work` in one transaction that starts as a writer, so that it never has to be
    /// upgraded half-way (which SQLite refuses without waiting).
    pub(super) fn write<T>(
        &mut self,
        work: impl FnOnce(&Connection) -> rusqlite::Result<T>,
    ) -> Result<T, LedgerError> {
        let (transaction, _, path) = self.begin()?;
        let value = work(&transaction).map_err(|source| LedgerError::of(path, source))?;
        transaction
            .commit()
            .map_err(|source| LedgerError::of(path, source))?;
        Ok(value)
    }

    /// Begins a transaction as a writer, with the connection for statements that live as long.
    pub(super) fn begin(&mut self) -> Result<(Transaction<'_>, &Connection, &Path), LedgerError> {
        let Reader { connection, path } = &self.reader;
        // "Unchecked" against nesting alone, which the exclusive borrow of `self` rules out.
        Transaction::new_unchecked(connection, TransactionBehavior::Immediate)
            .map(|transaction| (transaction, connection, path.as_path()))
            .map_err(|source| LedgerError::of(path, source))
    }
}

impl Reader {
    /// Opens the ledger at `path` for reading alone.
    ///
    /// # Errors
    /// [`LedgerError::Missing`], [`LedgerError::Older`] or what [`Ledger::open`] may say.
    pub fn open(path: &Path) -> Result<Reader, LedgerError> {
        let fault = |source| LedgerError::of(path, source);
        if !path.exists() {
            let path = path.to_owned();
            return Err(LedgerError::Missing { path });
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags).map_err(fault)?;
        prepare(&connection).map_err(fault)?;
        let found = migrate::version(&connection, path)?;
        let path = path.to_owned();
        if found < KNOWN {
            let known = KNOWN;
            return Err(LedgerError::Older { path, found, known });
        }
        Ok(Reader { connection, path })
    }

    pub fn path(&self) -> &Path {
        &self.path
    }

    /// A number that changes when another connection has written to the ledger, such as a command's beside
    /// the daemon's. Numbers of two connections say nothing about each other.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn foreign_writes(&self) -> Result<i64, LedgerError> {
        self.run(|connection| connection.query_row("PRAGMA data_version", [], |row| row.get(0)))
    }

    /// Lends the connection to what reports its faults itself.
    pub(super) fn with_connection<T>(&self, work: impl FnOnce(&Connection) -> T) -> T {
        work(&self.connection)
    }

    /// Runs statements and names the file in what they may fail with.
    pub(super) fn run<T>(
        &self,
        work: impl FnOnce(&Connection) -> rusqlite::Result<T>,
    ) -> Result<T, LedgerError> {
        work(&self.connection).map_err(|source| LedgerError::of(&self.path, source))
    }
}

fn prepare(connection: &Connection) -> rusqlite::Result<()> {
    connection.busy_timeout(BUSY_TIMEOUT)?;
    connection.set_prepared_statement_cache_capacity(STATEMENTS_KEPT);
    // Plans depend on the statement alone. Otherwise SQLite compiles a statement anew whenever a
    // bound value changes, which was measured at eight times the cost of running it.
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    connection.pragma_update(None, "cache_size", -CACHE_KIB)?;
    connection.pragma_update(None, "trusted_schema", false)?;
    // Finds most damage while reading a page instead of passing it on as data.
    connection.pragma_update(None, "cell_size_check", true)
}

fn prepare_writer(connection: &Connection) -> rusqlite::Result<()> {
    connection.pragma_update_and_check(None, "journal_mode", "wal", |_| Ok(()))?;
    // FULL synchronises the log at every commit. NORMAL would lose the last polls and, worse,
    // forget that a bulletin was sent when the power fails; a poll commits once, so it is cheap.
    connection.pragma_update(None, "synchronous", "full")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update_and_check(None, "wal_autocheckpoint", LOG_PAGES, |_| Ok(()))?;
    connection.pragma_update_and_check(None, "journal_size_limit", LOG_BYTES_MAX, |_| Ok(()))
}
