//! The one place that reads the system clock.

use chrono::{DateTime, TimeDelta, Utc};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// Tells the time: the system's, or one that a test sets.
#[derive(Debug, Clone, Default)]
pub struct Clock(Kind);

#[derive(Debug, Clone, Default)]
enum Kind {
    #[default]
    System,
    Manual(Arc<Mutex<DateTime<Utc>>>),
    /// Whoever rests on it is where they want to be at once.
    Leaping(Arc<Mutex<DateTime<Utc>>>),
}

impl Clock {
    /// The system clock.
    pub fn system() -> Clock {
        Clock(Kind::System)
    }

    /// A clock that stands still until it is moved.
    pub fn manual(start: DateTime<Utc>) -> Clock {
        Clock(Kind::Manual(Arc::new(Mutex::new(start))))
    }

    /// A clock that stands still while work is done and leaps over the rests, so that months of watching
    /// take as long as their work.
    pub fn leaping(start: DateTime<Utc>) -> Clock {
        Clock(Kind::Leaping(Arc::new(Mutex::new(start))))
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
            Kind::System => Utc::now(),
            Kind::Manual(set) | Kind::Leaping(set) => {
                *set.lock().unwrap_or_else(PoisonError::into_inner)
            }
        }
    }

    /// Moves a clock that a test sets; the system clock is not ours to move.
    pub fn advance(&self, by: TimeDelta) {
        if let Kind::Manual(set) | Kind::Leaping(set) = &self.0 {
            *set.lock().unwrap_or_else(PoisonError::into_inner) += by;
        }
    }

    /// How much of a rest is slept at once, where somebody wants to look around every so often.
    pub(super) fn stride(&self, rest: Duration, look_around: Duration) -> Duration {
        match self.0 {
            Kind::Leaping(_) => rest,
            Kind::System | Kind::Manual(_) => rest.min(look_around),
        }
    }

    /// Sleeps, or leaps. Stopped half-way, a leap has happened whole.
    pub(super) async fn sleep(&self, time: Duration) {
        match self.0 {
            Kind::Leaping(_) => {
                self.advance(TimeDelta::from_std(time).unwrap_or_default());
                // Whoever wants to stop the daemon gets a word in.
                tokio::task::yield_now().await;
            }
            Kind::System | Kind::Manual(_) => tokio::time::sleep(time).await,
        }
    }
}
