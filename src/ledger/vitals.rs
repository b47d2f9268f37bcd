//! A few numbers about the ledger as a whole, for who looks after the daemon.

use super::error::LedgerError;
use super::open::Reader;

/// What waits, and how much room it all takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct LedgerVitals {
    /// Deliveries that will be tried.
    pub waiting: u64,
    /// Deliveries given up.
    pub dead: u64,
    /// Prices held because they cannot be right.
    pub held: u64,
    /// Of the file and its log.
    pub bytes: u64,
}

impl Reader {
    /// # Errors
    /// [`LedgerError`]
    pub fn vitals(&self) -> Result<LedgerVitals, LedgerError> {
        let mut log = self.path().as_os_str().to_owned();
        log.push("-wal");
        let bytes = |path| std::fs::metadata(path).map_or(0, |metadata| metadata.len());
        let bytes = bytes(self.path().as_os_str()) + bytes(&log);
        self.run(|connection| {
            let count = |select: &str| -> rusqlite::Result<u64> {
                let mut statement = connection.prepare_cached(select)?;
                statement.query_row([], |row| row.get(0))
            };
            Ok(LedgerVitals {
                waiting: count("SELECT count(*) FROM outbox WHERE state = 'waiting'")?,
                dead: count("SELECT count(*) FROM outbox WHERE state = 'dead'")?,
                held: count("SELECT count(*) FROM held WHERE is_dropped = 0")?,
                bytes,
            })
        })
    }
}
