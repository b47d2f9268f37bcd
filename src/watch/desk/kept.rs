//! What was worked out, kept for as long as what it rests on stands; and how much is worked out at once.
//!
//! Whoever asks what somebody else is working out waits for that; whoever finds too much under way waits a
//! little, and is refused then. Where an answer says of which instant it is, only one waits until a poll is
//! taken into account: to all others the answer before is told meanwhile.

use crate::market::{Listed, Retailer, RetailerId};
use crate::watch::settings::Settings;
use crate::web::desk::Told;
use crate::web::view::{Refusal, RefusalKind};
use chrono::NaiveDate;
use std::any::Any;
use std::collections::BTreeMap;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// So much is worked out at once.
pub(super) const AT_ONCE: usize = 2;
/// So many wait for their turn; more are refused at once.
const WAITING_MAX: usize = 16;
/// Nobody waits longer.
const WAIT: Duration = Duration::from_secs(5);
/// So many answers are kept; the one that was asked for longest ago goes first.
const KEPT_MAX: usize = 64;

/// What answers rest on: settings, the ledger as it was written last, the day.
pub(super) struct Ground {
    pub settings: Arc<Settings>,
    /// With the terms of the day.
    pub retailers: BTreeMap<RetailerId, Retailer>,
    writes: i64,
    day: NaiveDate,
    listed: Mutex<Option<Arc<Vec<Listed>>>>,
    /// No two are alike.
    number: u64,
    /// The same for grounds that differ in the ledger alone.
    terms: u64,
}

#[derive(Default)]
pub(super) struct Kept {
    state: Mutex<State>,
    moved: Condvar,
}

#[derive(Default)]
struct State {
    ground: Option<Arc<Ground>>,
    entries: BTreeMap<String, Entry>,
    n_working: usize,
    n_waiting: usize,
    /// Counts questions.
    tick: u64,
    /// When the ground of now began.
    began: u64,
    grounds: u64,
    terms: u64,
}

type Value = Arc<dyn Any + Send + Sync>;

struct Entry {
    /// By number.
    ground: u64,
    terms: u64,
    /// None while it is worked out.
    value: Option<Value>,
    /// What was said of the ground before, to be told while this is worked out.
    before: Option<Value>,
    was_before_told: bool,
    /// May be told of the ground before.
    is_dated: bool,
    n_waiting: usize,
    asked: u64,
}

/// What somebody wants who asks.
#[derive(Clone, Copy)]
struct Manner {
    /// Counts towards what is worked out at once.
    counts: bool,
    /// Says of which instant it is, so that the answer before will do while another works it out.
    is_dated: bool,
}

/// An answer, and whether others were told the one before meanwhile: they have to hear of it.
pub(super) struct Found<T> {
    pub value: Arc<T>,
    pub others_wait: bool,
}

/// Somebody's turn, which ends when dropped: whatever happens in it.
struct Turn<'k> {
    kept: &'k Kept,
    key: &'k str,
    counts: bool,
}

enum Taken {
    Value(Value),
    Turn,
}

impl Ground {
    /// What is listed, read once.
    pub fn listed(&self, read: impl FnOnce() -> Told<Vec<Listed>>) -> Told<Arc<Vec<Listed>>> {
        let mut listed = self.listed.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(listed) = &*listed {
            return Ok(listed.clone());
        }
        let read = Arc::new(read()?);
        *listed = Some(read.clone());
        Ok(read)
    }
}

impl Kept {
    /// The ground of now: the one before if nothing has changed, else a new one. What rested on the one
    /// before is let go of, but for answers with a date that were asked for on it, if only the ledger moved.
    pub fn ground(
        &self,
        settings: &Arc<Settings>,
        writes: i64,
        day: NaiveDate,
        retailers: impl FnOnce() -> BTreeMap<RetailerId, Retailer>,
    ) -> Arc<Ground> {
        let mut state = self.state();
        let mut are_terms_same = false;
        if let Some(ground) = &state.ground {
            are_terms_same = Arc::ptr_eq(&ground.settings, settings) && ground.day == day;
            if are_terms_same && ground.writes == writes {
                return ground.clone();
            }
        }
        state.grounds += 1;
        state.terms += u64::from(!are_terms_same);
        let ground = Arc::new(Ground {
            settings: settings.clone(),
            retailers: retailers(),
            writes,
            day,
            listed: Mutex::default(),
            number: state.grounds,
            terms: state.terms,
        });
        let before = state.ground.replace(ground.clone());
        let (began, terms) = (state.began, state.terms);
        let let_go =
            state.let_go(|entry| entry.is_dated && entry.terms == terms && entry.asked > began);
        state.began = state.tick;
        drop(state);
        // What was listed and worked out is much to give back: others need not wait for that.
        drop((before, let_go));
        ground
    }

    /// Works something out in a turn of its own, or has it still.
    pub fn solve<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: String,
        solve: impl FnOnce() -> Told<T>,
    ) -> Told<Arc<T>> {
        let manner = Manner {
            counts: true,
            is_dated: false,
        };
        self.have(ground, &key, manner, solve)
            .map(|found| found.value)
    }

    /// As [`Kept::solve`] for an answer that says of which instant it is.
    pub fn solve_dated<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: String,
        solve: impl FnOnce() -> Told<T>,
    ) -> Told<Found<T>> {
        let manner = Manner {
            counts: true,
            is_dated: true,
        };
        self.have(ground, &key, manner, solve)
    }

    /// Looks something up that costs little, or has it still.
    pub fn look<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: String,
        look: impl FnOnce() -> Told<T>,
    ) -> Told<Arc<T>> {
        let manner = Manner {
            counts: false,
            is_dated: false,
        };
        self.have(ground, &key, manner, look)
            .map(|found| found.value)
    }

    /// As [`Kept::look`] for what may be of a moment ago, while another looks anew.
    pub fn look_dated<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: &str,
        look: impl FnOnce() -> Told<T>,
    ) -> Told<Found<T>> {
        let manner = Manner {
            counts: false,
            is_dated: true,
        };
        self.have(ground, key, manner, look)
    }

    /// What is kept under a key, if it is.
    pub fn known<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: &str,
    ) -> Option<Arc<T>> {
        let state = self.state();
        let entry = state.entries.get(key)?;
        let value = entry.value.clone()?;
        let is_current = entry.ground == ground.number;
        is_current.then(|| value.downcast().ok()).flatten()
    }

    pub fn let_go(&self) {
        let mut state = self.state();
        let before = state.ground.take();
        // What is being worked out is of terms that are gone.
        state.terms += 1;
        let let_go = state.let_go(|_| false);
        drop(state);
        drop((before, let_go));
    }

    pub fn is_keeping(&self) -> bool {
        let state = self.state();
        state.ground.is_some() || !state.entries.is_empty()
    }

    fn have<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: &str,
        manner: Manner,
        work: impl FnOnce() -> Told<T>,
    ) -> Told<Found<T>> {
        if let Taken::Value(value) = self.take_turn(ground, key, manner)? {
            let value = value.downcast().map_err(|_| {
                let message = format!("\"{key}\" was kept as something else");
                Refusal::new(RefusalKind::Broken, message, "ask again")
            })?;
            return Ok(Found {
                value,
                others_wait: false,
            });
        }
        let turn = Turn {
            kept: self,
            key,
            counts: manner.counts,
        };
        let value = Arc::new(work()?);
        let others_wait = self.put(key, value.clone());
        drop(turn);
        Ok(Found { value, others_wait })
    }

    /// What is kept, or this one's turn to work it out.
    fn take_turn(&self, ground: &Arc<Ground>, key: &str, manner: Manner) -> Told<Taken> {
        let until = Instant::now() + WAIT;
        let mut state = self.state();
        loop {
            state.tick += 1;
            let tick = state.tick;
            let is_free = !manner.counts || state.n_working < AT_ONCE;
            let entry = state.entries.get_mut(key);
            if let Some(value) = entry.and_then(|entry| entry.told(ground, manner, is_free, tick)) {
                return Ok(Taken::Value(value));
            }
            let is_worked_out = |entry: &Entry| entry.value.is_none();
            if is_free && !state.entries.get(key).is_some_and(is_worked_out) {
                let before = state.entries.remove(key);
                let entry = Entry::begun(ground, manner, before, tick);
                state.entries.insert(key.to_owned(), entry);
                state.n_working += usize::from(manner.counts);
                return Ok(Taken::Turn);
            }
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() || state.n_waiting >= WAITING_MAX {
                return Err(Refusal::new(
                    RefusalKind::Busy,
                    "too much is being worked out at once",
                    "ask again in some seconds",
                ));
            }
            let waiting = |state: &mut State, more: bool| {
                let entry = state.entries.get_mut(key);
                let entry = entry.map(|entry| &mut entry.n_waiting);
                for count in [entry, Some(&mut state.n_waiting)].into_iter().flatten() {
                    *count = if more {
                        *count + 1
                    } else {
                        count.saturating_sub(1)
                    };
                }
            };
            waiting(&mut state, true);
            let waited = self.moved.wait_timeout(state, left);
            state = waited.unwrap_or_else(PoisonError::into_inner).0;
            waiting(&mut state, false);
        }
    }

    /// Whether others were told what was before.
    fn put(&self, key: &str, value: Value) -> bool {
        let mut let_go = Vec::new();
        let mut state = self.state();
        let mut others_wait = false;
        if let Some(entry) = state.entries.get_mut(key) {
            entry.value = Some(value);
            let_go.extend(entry.before.take());
            others_wait = std::mem::take(&mut entry.was_before_told);
        }
        while state.entries.len() > KEPT_MAX {
            let done = state.entries.iter().filter(|(_, one)| one.value.is_some());
            let oldest = done.min_by_key(|(_, one)| one.asked);
            let Some(oldest) = oldest.map(|(key, _)| key.clone()) else {
                break;
            };
            let oldest = state.entries.remove(&oldest);
            let_go.extend(oldest.and_then(|oldest| oldest.value));
        }
        drop(state);
        drop(let_go);
        others_wait
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl State {
    /// Takes out what is worked out and not wanted, to be given back when nobody waits.
    fn let_go(&mut self, is_wanted: impl Fn(&Entry) -> bool) -> Vec<Entry> {
        let (kept, let_go): (BTreeMap<_, _>, BTreeMap<_, _>) = std::mem::take(&mut self.entries)
            .into_iter()
            .partition(|(_, entry)| entry.value.is_none() || is_wanted(entry));
        self.entries = kept;
        let_go.into_values().collect()
    }
}

impl Entry {
    fn begun(ground: &Ground, manner: Manner, before: Option<Entry>, tick: u64) -> Entry {
        let before = before.filter(|before| before.terms == ground.terms && manner.is_dated);
        let was_before_told = before.as_ref().is_some_and(|before| before.was_before_told);
        Entry {
            ground: ground.number,
            terms: ground.terms,
            value: None,
            before: before.and_then(|before| before.value),
            was_before_told,
            is_dated: manner.is_dated,
            n_waiting: 0,
            asked: tick,
        }
    }

    /// What somebody who asks now is told at once, if anything.
    fn told(&mut self, ground: &Ground, manner: Manner, is_free: bool, tick: u64) -> Option<Value> {
        let before = match &self.value {
            Some(value) if self.ground == ground.number => {
                self.asked = tick;
                return Some(value.clone());
            }
            // Somebody waits for a turn to work it out.
            Some(value) if !is_free && self.n_waiting > 0 => value,
            Some(_) => return None,
            None => self.before.as_ref()?,
        };
        let will_do = manner.is_dated && self.terms == ground.terms;
        self.was_before_told |= will_do;
        will_do.then(|| before.clone())
    }
}

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        let mut state = self.kept.state();
        state.n_working -= usize::from(self.counts);
        // What failed is not kept, nor what rests on a ground that has gone meanwhile, unless it has a date.
        let now = state.ground.as_ref();
        let now = now.map_or((0, 0), |ground| (ground.number, ground.terms));
        let is_kept = state.entries.get(self.key).is_some_and(|entry| {
            let is_current = entry.ground == now.0 || (entry.is_dated && entry.terms == now.1);
            entry.value.is_some() && is_current
        });
        let let_go = match is_kept {
            true => None,
            false => state.entries.remove(self.key),
        };
        drop(state);
        self.kept.moved.notify_all();
        drop(let_go);
    }
}

#[cfg(test)]
mod tests;
