//! The lock that lets one watch at a time use a ledger.

use super::error::LockError;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Held while a watch runs; the system lets go of it when the process ends, however it ends.
///
/// The file stays behind: deleting it could let two processes lock two files of one name.
#[derive(Debug)]
pub struct WatchLock {
    // Held for its lock, and to say where the holder answers.
    file: File,
}

impl WatchLock {
    /// Locks the ledger at `ledger` by a file beside it, `NAME.lock`.
    ///
    /// # Errors
    /// [`LockError::Held`] names the process that has it.
    pub fn acquire(ledger: &Path) -> Result<WatchLock, LockError> {
        let path = beside(ledger);
        let fault = |source| LockError::Io {
            path: path.clone(),
            source,
        };
        let mut options = OpenOptions::new();
        options.read(true).write(true).create(true).truncate(false);
        let mut file = options.open(&path).map_err(fault)?;
        match try_for_a_moment(&file) {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let process = holder(&mut file);
                return Err(LockError::Held { process });
            }
            Err(TryLockError::Error(source)) => return Err(fault(source)),
        }
        let lock = WatchLock { file };
        lock.say(None).map_err(fault)?;
        Ok(lock)
    }

    /// Says who has the lock, and where that process answers.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn say(&self, address: Option<SocketAddr>) -> io::Result<()> {
        let process = std::process::id();
        let address = address.map(|address| format!("{address}\n"));
        let text = format!("{process}\n{}", address.unwrap_or_default());
        let mut file = &self.file;
        file.set_len(0)?;
        file.seek(SeekFrom::Start(0))?;
        file.write_all(text.as_bytes())
    }

    /// Where the process that has the lock answers, if one has it and answers.
    pub fn address(ledger: &Path) -> Option<SocketAddr> {
        let mut file = File::open(beside(ledger)).ok()?;
        match file.try_lock_shared() {
            Err(TryLockError::WouldBlock) => said(&mut file)?.lines().nth(1)?.parse().ok(),
            Ok(()) | Err(TryLockError::Error(_)) => None,
        }
    }

    /// The process that has the lock: `None` if nobody has, `Some(None)` if it did not say who it is.
    pub fn holder(ledger: &Path) -> Option<Option<u32>> {
        // Without the file nobody has ever had it. Looking makes none, and changes none.
        let mut file = File::open(beside(ledger)).ok()?;
        match file.try_lock_shared() {
            Err(TryLockError::WouldBlock) => Some(holder(&mut file)),
            Ok(()) | Err(TryLockError::Error(_)) => None,
        }
    }
}

/// Somebody who only looks whether it is held has it for an instant.
fn try_for_a_moment(file: &File) -> Result<(), TryLockError> {
    const TRIES: u32 = 5;
    for _ in 1..TRIES {
        match file.try_lock() {
            Err(TryLockError::WouldBlock) => std::thread::sleep(Duration::from_millis(20)),
            settled => return settled,
        }
    }
    file.try_lock()
}

fn beside(ledger: &Path) -> PathBuf {
    let mut name = ledger.as_os_str().to_owned();
    name.push(".lock");
    PathBuf::from(name)
}

/// The process that wrote the file; none while it is still writing.
fn holder(file: &mut File) -> Option<u32> {
    said(file)?.lines().next()?.trim().parse().ok()
}

fn said(file: &mut File) -> Option<String> {
    let mut text = String::new();
    file.take(128).read_to_string(&mut text).ok()?;
    Some(text)
}
