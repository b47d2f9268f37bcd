//! What reaches a daemon that runs from outside, and what it lets out.

use super::poll::PollReport;
use super::settings::Settings;
use crate::catalogue::Fault;
use crate::decide::Bulletin;
use crate::market::FeedId;
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;
use std::pin::pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{Notify, watch};

/// A sign of life is given so often, unless somebody wants it more often.
const USUAL_PULSE: Duration = Duration::from_secs(10);

/// What may be asked of the daemon while it runs.
pub struct Calls {
    /// True asks it to end.
    pub stop: watch::Receiver<bool>,
    /// Asks it to read the settings again. Calls that it has not yet answered are one.
    pub reload: Arc<Notify>,
    /// Asks it to poll feeds now.
    pub polls: Arc<PollCalls>,
    pub pulse: Pulse,
}

impl Calls {
    /// Nothing but the end can be asked for.
    pub fn to_stop(stop: watch::Receiver<bool>) -> Calls {
        Calls {
            stop,
            reload: Arc::new(Notify::new()),
            polls: Arc::default(),
            pulse: Pulse::default(),
        }
    }
}

/// Feeds that somebody wants polled now. Calls for one feed that are not yet answered are one.
#[derive(Debug, Default)]
pub struct PollCalls {
    wanted: Mutex<BTreeSet<FeedId>>,
    asked: Notify,
}

impl PollCalls {
    pub fn ask(&self, feed: &FeedId) {
        self.wanted().insert(feed.clone());
        self.asked.notify_one();
    }

    /// Waits until somebody asks.
    pub(super) async fn asked(&self) {
        self.asked.notified().await;
    }

    /// What was asked for since it was last taken.
    pub(super) fn take(&self) -> BTreeSet<FeedId> {
        std::mem::take(&mut self.wanted())
    }

    fn wanted(&self) -> MutexGuard<'_, BTreeSet<FeedId>> {
        self.wanted.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The daemon's signs of life. They are given by the loop itself and end when it stands still.
#[derive(Clone)]
pub struct Pulse {
    pub every: Duration,
    pub beat: Arc<dyn Fn() + Send + Sync>,
}

impl Default for Pulse {
    fn default() -> Pulse {
        Pulse {
            every: USUAL_PULSE,
            beat: Arc::new(|| {}),
        }
    }
}

impl Pulse {
    /// Does the work and beats meanwhile. No beat comes while the work blocks its thread.
    pub async fn during<T>(&self, work: impl Future<Output = T>) -> T {
        let mut work = pin!(work);
        loop {
            (self.beat)();
            if let Ok(done) = tokio::time::timeout(self.every, work.as_mut()).await {
                return done;
            }
        }
    }
}

/// Where a daemon is in its life.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// It does its work under the settings that it has.
    Ready,
    /// It reads them again; [`Phase::Ready`] follows, whatever came of it.
    Reloading,
    Stopping,
}

/// What the daemon tells as it goes.
pub trait Listener: Send {
    fn polled(&mut self, _report: &PollReport) {}
    fn told(&mut self, _bulletin: &Bulletin) {}
    /// The briefs were looked at, if anything was seen, as the market is at this instant.
    fn looked(&mut self, _at: DateTime<Utc>) {}
    fn entered(&mut self, _phase: Phase) {}
    /// Settings without faults are about to be taken.
    ///
    /// # Errors
    /// They cannot be followed; then the daemon keeps the ones that it has.
    fn taking(&mut self, _settings: &Arc<Settings>) -> Result<(), Vec<Fault>> {
        Ok(())
    }
    /// The files say again what is in force, after they had been refused.
    fn restored(&mut self, _settings: &Settings) {}
    /// Settings were refused; those that it has go on.
    fn refused(&mut self, _faults: &[Fault]) {}
    /// The ledger can be written, or not, and why.
    fn ledger_fares(&mut self, _fault: Option<&str>) {}
}

/// A listener that does not listen.
pub struct Silent;

impl Listener for Silent {}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[tokio::test]
    async fn a_loop_that_blocks_gives_no_sign_of_life() {
        let beats = Arc::new(AtomicUsize::new(0));
        let counted = beats.clone();
        let pulse = Pulse {
            every: Duration::from_millis(10),
            beat: Arc::new(move || {
                counted.fetch_add(1, Ordering::SeqCst);
            }),
        };
        pulse
            .during(tokio::time::sleep(Duration::from_millis(200)))
            .await;
        let alive = beats.swap(0, Ordering::SeqCst);
        assert!(alive >= 5, "{alive}");
        pulse
            .during(async { std::thread::sleep(Duration::from_millis(200)) })
            .await;
        // The one before the work began.
        assert_eq!(beats.load(Ordering::SeqCst), 1);
    }
}
