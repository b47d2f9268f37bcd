//! How long a search may go on, counted in what it looks at: so that the same question ends at the
//! same place on every machine, whoever else is reckoning.

use super::sweep::TooWide;
use std::cell::Cell;

/// Partial selections that may still be looked at, over all searches that it is handed to.
pub(super) struct Work(Cell<u64>);

/// About as many as one core looks at in a second, in a release build.
const A_SECOND: f64 = 5_000_000.0;

impl Work {
    /// What takes about so long.
    pub fn of_seconds(seconds: f64) -> Work {
        // Saturates: beyond what fits, nothing is the limit.
        Work(Cell::new((seconds.max(0.0) * A_SECOND) as u64))
    }

    /// Other bounds end the search.
    pub fn unbounded() -> Work {
        Work(Cell::new(u64::MAX))
    }

    /// # Errors
    /// [`TooWide`] where less is left.
    pub fn spend(&self, n_looked_at: usize) -> Result<(), TooWide> {
        let left = self.0.get().checked_sub(n_looked_at as u64);
        self.0.set(left.unwrap_or(0));
        left.map(|_| ()).ok_or(TooWide)
    }

    pub fn is_spent(&self) -> bool {
        self.0.get() == 0
    }
}
