//! The desk: everything that the page shows and does, asked of the ledger and the optimiser.
//!
//! Reads what the daemon holds to be its settings and the ledger through connections of its own, and
//! writes as a command beside the daemon would, so that the daemon notices. What was worked out is kept
//! while neither settings nor ledger change, and let go of after two minutes without a question.
//!
//! Start reading at [`DaemonDesk`], then `kept`.

mod answers;
mod brief;
mod feeds;
mod front;
mod guide;
mod kept;
mod overview;
mod parts;
mod past;
mod readers;
mod refusal;
mod shapes;
mod told;

pub use self::past::awaited;

use self::kept::{Ground, Kept};
use self::readers::Readers;
use super::asking::{AskFault, Asked, Changes, brief_named};
use super::calls::PollCalls;
use super::clock::Clock;
use super::settings::Settings;
use crate::decide::AnswerRecord;
use crate::ledger::{LedgerError, Reader};
use crate::market::{Matcher, retailers_on};
use crate::optimise::Effort;
use crate::web::desk::Told;
use crate::web::view::WhatIf;
use chrono::{DateTime, TimeDelta, Utc};
use refusal::{invalid, refused};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::watch::{Receiver, Sender, channel};

/// What is kept is let go of after so long without a question.
const KEPT_FOR: TimeDelta = TimeDelta::minutes(2);
/// A search for a page goes on no longer, by the solver's count.
const EFFORT: Effort = Effort {
    seconds_per_solve: 20.0,
    reduce: true,
    engine: crate::optimise::Engine::Sweep,
};

/// So many records of a feed are shown as they are read.
const TRIAL_RECORDS: usize = 20;

/// Answers for the daemon.
pub struct DaemonDesk {
    settings: Mutex<Arc<Settings>>,
    clock: Clock,
    readers: Readers,
    kept: Kept,
    asked_at: Mutex<DateTime<Utc>>,
    /// How often something was worked out.
    solved: AtomicU64,
    change: Sender<u64>,
    /// What the daemon is asked to poll.
    polls: Arc<PollCalls>,
    saving: Mutex<()>,
    /// Of the settings that it was made of: polls do not change it, and making it takes a while.
    matcher: Mutex<Option<(Arc<Settings>, Arc<Matcher>)>>,
}

impl DaemonDesk {
    pub fn new(settings: Arc<Settings>, clock: Clock) -> DaemonDesk {
        DaemonDesk {
            settings: Mutex::new(settings),
            asked_at: Mutex::new(clock.now()),
            clock,
            readers: Readers::default(),
            kept: Kept::default(),
            solved: AtomicU64::new(0),
            change: channel(0).0,
            polls: Arc::default(),
            saving: Mutex::default(),
            matcher: Mutex::default(),
        }
    }

    /// Other settings are in force.
    pub fn took(&self, settings: &Arc<Settings>) {
        *self.settings.lock().unwrap_or_else(PoisonError::into_inner) = settings.clone();
        self.moved();
    }

    /// Something happened that pages may show.
    pub fn moved(&self) {
        self.change.send_modify(|change| *change += 1);
    }

    /// Lets go of what is kept if nobody has asked for a while. To be called now and then.
    pub fn tidy(&self) {
        let asked_at = *self.asked_at.lock().unwrap_or_else(PoisonError::into_inner);
        if self.clock.now() - asked_at >= KEPT_FOR {
            self.kept.let_go();
            self.readers.let_go();
            *self.matcher.lock().unwrap_or_else(PoisonError::into_inner) = None;
        }
    }

    /// The feeds that somebody wants polled now, for the daemon to ask.
    pub fn poll_calls(&self) -> Arc<PollCalls> {
        self.polls.clone()
    }

    /// How often something was worked out so far.
    pub fn solved(&self) -> u64 {
        self.solved.load(Ordering::Relaxed)
    }

    /// Whether anything that was worked out is kept.
    pub fn is_keeping(&self) -> bool {
        self.kept.is_keeping()
    }

    /// Moves with [`DaemonDesk::moved`].
    pub fn changes_seen(&self) -> Receiver<u64> {
        self.change.subscribe()
    }

    fn matcher(&self, settings: &Arc<Settings>) -> Arc<Matcher> {
        let mut kept = self.matcher.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((of, matcher)) = &*kept
            && Arc::ptr_eq(of, settings)
        {
            return matcher.clone();
        }
        let matcher = Arc::new(Matcher::new(&settings.catalogue));
        *kept = Some((settings.clone(), matcher.clone()));
        matcher
    }

    fn saving(&self) -> MutexGuard<'_, ()> {
        self.saving.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn settings(&self) -> Arc<Settings> {
        self.settings
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// What everything that is asked now rests on.
    fn ground(&self) -> Told<Arc<Ground>> {
        let (settings, now) = (self.settings(), self.clock.now());
        *self.asked_at.lock().unwrap_or_else(PoisonError::into_inner) = now;
        let writes = self.readers.writes(&settings.ledger).map_err(refused)?;
        let day = now.date_naive();
        Ok(self.kept.ground(&settings, writes, day, || {
            retailers_on(&settings.retailers, day)
        }))
    }

    /// Reads the ledger.
    fn read<T>(
        &self,
        ground: &Ground,
        read: impl FnOnce(&Reader) -> Result<T, LedgerError>,
    ) -> Told<T> {
        let read = self.readers.with(&ground.settings.ledger, read);
        read.map_err(refused)
    }

    /// Asks something of the ledger that may make no sense.
    fn ask<T>(&self, ground: &Ground, ask: impl FnOnce(&Reader) -> Result<T, AskFault>) -> Told<T> {
        let asked = self.read(ground, |reader| Ok(ask(reader)))?;
        asked.map_err(refused)
    }

    /// The brief of that name with what is different in the question.
    fn asked(&self, ground: &Ground, brief: &str, what_if: &WhatIf) -> Told<Asked> {
        let settings = &ground.settings;
        let brief = brief_named(settings, Some(brief)).map_err(refused)?;
        let listed = ground.listed(|| self.read(ground, |reader| reader.listed(None)))?;
        let stored = self.read(ground, |reader| reader.last_answer(brief.id.as_str()))?;
        let record = stored.and_then(|stored| AnswerRecord::from_json(&stored.answer_json));
        let mut asked = Asked {
            settings: settings.clone(),
            retailers: ground.retailers.clone(),
            brief,
            listed,
            standing: record.map(|record| record.standing()).unwrap_or_default(),
            at: self.clock.now(),
        };
        asked.change(&changes(what_if)).map_err(invalid)?;
        Ok(asked)
    }

    /// Works something out, or has it still.
    fn solve<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: String,
        solve: impl FnOnce() -> Told<T>,
    ) -> Told<Arc<T>> {
        self.kept.solve(ground, key, || {
            self.solved.fetch_add(1, Ordering::Relaxed);
            solve()
        })
    }

    /// Looks something up that may be of a moment ago, while another looks anew: others are called then.
    fn look_dated<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: &str,
        look: impl FnOnce() -> Told<T>,
    ) -> Told<Arc<T>> {
        let found = self.kept.look_dated(ground, key, look)?;
        if found.others_wait {
            self.moved();
        }
        Ok(found.value)
    }

    /// As `solve` for an answer that says of which instant it is: while one works it out anew, others
    /// are told the one before, and called again then.
    fn solve_dated<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: String,
        solve: impl FnOnce() -> Told<T>,
    ) -> Told<Arc<T>> {
        let found = self.kept.solve_dated(ground, key, || {
            self.solved.fetch_add(1, Ordering::Relaxed);
            solve()
        })?;
        if found.others_wait {
            self.moved();
        }
        Ok(found.value)
    }
}

/// A what-if in the words of a question.
fn changes(what_if: &WhatIf) -> Changes {
    let pairs = |named: &std::collections::BTreeMap<String, String>| {
        let pairs = named.iter();
        pairs
            .map(|(key, value)| (key.clone(), value.clone()))
            .collect()
    };
    Changes {
        budget: what_if.budget.clone(),
        pins: pairs(&what_if.pins),
        owned: pairs(&what_if.owned),
        most_retailers: what_if.most_retailers,
        bans: what_if.bans.clone(),
        prices: pairs(&what_if.prices),
    }
}
