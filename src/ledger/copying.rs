//! Copies of the whole ledger: backups of a live one, and putting one back.

use super::error::LedgerError;
use super::lock::WatchLock;
use super::open::{Ledger, Reader};
use super::verify::Verified;
use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, ErrorCode, OpenFlags};
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Pages copied between two reports of progress: 4 MiB.
const PAGES_A_STEP: i32 = 1024;
/// How long a step waits that met a lock, and how often.
const STEP_WAIT: Duration = Duration::from_millis(50);
const STEP_WAITS_MAX: u32 = 200;

/// How far a copy is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Copied {
    pub pages: u64,
    pub of_pages: u64,
}

/// What a ledger that was put back replaced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restored {
    /// Where the old one is kept, if there was one.
    pub kept: Option<PathBuf>,
}

impl Reader {
    /// Writes the ledger as it stands now into the new file `to`, which appears when it is whole,
    /// and verifies the copy. Polls go on beside it and do not come into it.
    ///
    /// # Errors
    /// [`LedgerError::Exists`] when there is such a file, or [`LedgerError`] of either file.
    pub fn backup(&self, to: &Path, told: &mut dyn FnMut(Copied)) -> Result<Verified, LedgerError> {
        self.with_connection(|connection| copy_whole(connection, self.path(), to, told))?;
        Reader::open(to)?.verify()
    }
}

/// Copies a database into the new file `to`, which appears when it is whole.
fn copy_whole(
    from: &Connection,
    path: &Path,
    to: &Path,
    told: &mut dyn FnMut(Copied),
) -> Result<(), LedgerError> {
    if to.exists() {
        let path = to.to_owned();
        return Err(LedgerError::Exists { path });
    }
    let part = Staged::beside(to);
    let fault = |source| LedgerError::of(to, source);
    let mut copy = Connection::open(&part.0).map_err(fault)?;
    // One snapshot for all steps: otherwise each poll in between would begin the copy anew.
    let snapshot = |source| LedgerError::of(path, source);
    let transaction = from.unchecked_transaction().map_err(snapshot)?;
    transaction
        .query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()))
        .map_err(snapshot)?;
    copy_steps(from, &mut copy, told).map_err(|source| match source.sqlite_error_code() {
        Some(ErrorCode::DiskFull | ErrorCode::CannotOpen | ErrorCode::ReadOnly) => fault(source),
        _ => snapshot(source),
    })?;
    drop(transaction);
    // One file that needs no other beside it.
    copy.pragma_update_and_check(None, "journal_mode", "delete", |_| Ok(()))
        .map_err(fault)?;
    copy.close().map_err(|(_, source)| fault(source))?;
    let io = |source| LedgerError::file(to, source);
    std::fs::File::open(&part.0)
        .and_then(|file| file.sync_all())
        .map_err(io)?;
    std::fs::rename(&part.0, to).map_err(io)
}

/// Opens a ledger of any schema that this program knows, to copy it.
fn open_any(path: &Path) -> Result<Connection, LedgerError> {
    if !path.exists() {
        let path = path.to_owned();
        return Err(LedgerError::Missing { path });
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection =
        Connection::open_with_flags(path, flags).map_err(|source| LedgerError::of(path, source))?;
    super::migrate::version(&connection, path)?;
    Ok(connection)
}

/// Puts the backup at `from` in the place of the ledger at `path`, which is kept beside it under a
/// name that ends in `suffix`. The backup is brought up to date and verified first.
///
/// # Errors
/// [`RestoreError`]; then the ledger is as it was.
pub fn restore(
    path: &Path,
    from: &Path,
    suffix: &str,
    told: &mut dyn FnMut(Copied),
) -> Result<Restored, RestoreError> {
    let _lock = WatchLock::acquire(path)?;
    let staged = Staged::beside(path);
    staged.fill(from, told)?;
    put_in_place(path, &staged, Some(suffix), told)
}

/// Why a ledger could not be put back.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    #[error(transparent)]
    Lock(#[from] super::LockError),
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    #[error("{path} does not hold together: {first}; nothing was changed", path = path.display())]
    Unsound { path: PathBuf, first: String },
}

/// A ledger in the making, beside the one that it is to replace. Goes away when dropped.
pub(super) struct Staged(pub PathBuf);

impl Staged {
    pub fn beside(path: &Path) -> Staged {
        let staged = Staged(beside(path, ".part"));
        staged.remove();
        staged
    }

    /// Copies the ledger at `from` and brings it up to date.
    fn fill(&self, from: &Path, told: &mut dyn FnMut(Copied)) -> Result<(), RestoreError> {
        let source = open_any(from)?;
        copy_whole(&source, from, &self.0, told)?;
        // Migrations, and whether it is a ledger at all.
        let ledger = Ledger::open(&self.0).map_err(|error| error.at(from))?;
        sound(&ledger, from)
    }

    fn remove(&self) {
        for ending in ["", "-wal", "-shm", "-journal"] {
            // It is there only if something went wrong before.
            let _ = std::fs::remove_file(beside(&self.0, ending));
        }
    }
}

impl Drop for Staged {
    fn drop(&mut self) {
        self.remove();
    }
}

/// Refuses a ledger that does not hold together.
pub(super) fn sound(ledger: &Ledger, from: &Path) -> Result<(), RestoreError> {
    let verified = ledger.read().verify().map_err(|error| error.at(from))?;
    match verified.failed().next() {
        None => Ok(()),
        Some(verdict) => Err(RestoreError::Unsound {
            path: from.to_owned(),
            first: verdict.sentence(),
        }),
    }
}

/// Replaces the ledger at `path` by the staged one; the old one is kept if there is a name for it.
pub(super) fn put_in_place(
    path: &Path,
    staged: &Staged,
    suffix: Option<&str>,
    told: &mut dyn FnMut(Copied),
) -> Result<Restored, RestoreError> {
    let kept = suffix.filter(|_| path.exists());
    let kept = kept.map(|suffix| beside(path, suffix));
    if let Some(kept) = &kept {
        let is_kept = open_any(path).and_then(|old| copy_whole(&old, path, kept, told));
        match is_kept {
            Ok(()) => {}
            // What cannot be read any more is moved away as it is.
            Err(LedgerError::Damaged { .. } | LedgerError::NotALedger { .. }) => {
                move_away(path, kept)?;
            }
            Err(error) => return Err(error.into()),
        }
    }
    let from = Reader::open(&staged.0)?;
    let mut ledger = Ledger::open(path)?;
    ledger.overwrite(&from, told)?;
    ledger.checkpoint()?;
    Ok(Restored { kept })
}

fn move_away(path: &Path, kept: &Path) -> Result<(), LedgerError> {
    for ending in ["", "-wal", "-shm"] {
        let (from, to) = (beside(path, ending), beside(kept, ending));
        if from.exists() {
            std::fs::rename(&from, &to).map_err(|source| LedgerError::file(&from, source))?;
        }
    }
    Ok(())
}

/// Copies all pages; nothing of it is seen in the destination before the end.
pub(super) fn copy_steps(
    from: &Connection,
    to: &mut Connection,
    told: &mut dyn FnMut(Copied),
) -> rusqlite::Result<()> {
    let backup = Backup::new(from, to)?;
    let mut n_waits = 0;
    loop {
        let step = backup.step(PAGES_A_STEP)?;
        let progress = backup.progress();
        let pages = progress.pagecount.saturating_sub(progress.remaining);
        told(Copied {
            pages: u64::try_from(pages).unwrap_or(0),
            of_pages: u64::try_from(progress.pagecount).unwrap_or(0),
        });
        match step {
            StepResult::Done => return Ok(()),
            StepResult::More => n_waits = 0,
            // Somebody holds a lock for a moment.
            _ if n_waits < STEP_WAITS_MAX => {
                n_waits += 1;
                std::thread::sleep(STEP_WAIT);
            }
            _ => {
                let busy = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_BUSY);
                return Err(rusqlite::Error::SqliteFailure(busy, None));
            }
        }
    }
}

/// A file beside another, its name longer by `ending`.
pub(super) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name: OsString = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}
