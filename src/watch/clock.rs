//! The one place that reads the system clock.

use chrono::{DateTime, TimeDelta, Utc};
use std::sync::{Arc, Mutex, PoisonError};

/// Tells the time: the system's, or one that a test sets.
#[derive(Debug, Clone, Default)]
pub struct Clock(Option<Arc<Mutex<DateTime<Utc>>>>);

impl Clock {
    /// The system clock.
    pub fn system() -> Clock {
        Clock(None)
    }

    /// A clock that stands still until it is moved.
    pub fn manual(start: DateTime<Utc>) -> Clock {
        Clock(Some(Arc::new(Mutex::new(start))))
    }

    /// The system clock, or a manual one standing at `RIGTIDE_TEST_NOW` (RFC 3339), which exists
    /// for tests of the whole program.
    pub fn from_environment() -> Clock {
        let set = std::env::var("RIGTIDE_TEST_NOW").ok();
        let start = set.and_then(|text| DateTime::parse_from_rfc3339(&text).ok());
        start.map_or(Clock::system(), |start| {
            Clock::manual(start.with_timezone(&Utc))
        })
    }

    pub fn now(&self) -> DateTime<Utc> {
        match &self.0 {
            None => Utc::now(),
            Some(manual) => *manual.lock().unwrap_or_else(PoisonError::into_inner),
        }
    }

    /// Moves a manual clock forward; the system clock is not ours to move.
    pub fn advance(&self, by: TimeDelta) {
        if let Some(manual) = &self.0 {
            *manual.lock().unwrap_or_else(PoisonError::into_inner) += by;
        }
    }
}
