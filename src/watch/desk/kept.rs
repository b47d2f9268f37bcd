//! What was worked out, kept for as long as what it rests on stands; and how much is worked out at once.
//!
//! Whoever asks what somebody else is working out waits for that; whoever finds too much under way waits a
//! little, and is refused then.

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
}

struct Entry {
    ground: Arc<Ground>,
    /// None while it is worked out.
    value: Option<Arc<dyn Any + Send + Sync>>,
    asked: u64,
}

/// Somebody's turn, which ends when dropped: whatever happens in it.
struct Turn<'k> {
    kept: &'k Kept,
    key: &'k str,
    counts: bool,
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
    /// The ground of now: the one before if nothing has changed, else a new one, and what rested on the
    /// one before is let go of.
    pub fn ground(
        &self,
        settings: &Arc<Settings>,
        writes: i64,
        day: NaiveDate,
        retailers: impl FnOnce() -> BTreeMap<RetailerId, Retailer>,
    ) -> Arc<Ground> {
        let mut state = self.state();
        if let Some(ground) = &state.ground
            && Arc::ptr_eq(&ground.settings, settings)
            && (ground.writes, ground.day) == (writes, day)
        {
            return ground.clone();
        }
        let ground = Arc::new(Ground {
            settings: settings.clone(),
            retailers: retailers(),
            writes,
            day,
            listed: Mutex::default(),
        });
        state.ground = Some(ground.clone());
        state.entries.retain(|_, entry| entry.value.is_none());
        ground
    }

    /// Works something out in a turn of its own, or has it still.
    pub fn solve<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: String,
        solve: impl FnOnce() -> Told<T>,
    ) -> Told<Arc<T>> {
        self.have(ground, &key, true, solve)
    }

    /// Looks something up that costs little, or has it still.
    pub fn look<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: String,
        look: impl FnOnce() -> Told<T>,
    ) -> Told<Arc<T>> {
        self.have(ground, &key, false, look)
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
        let is_current = Arc::ptr_eq(&entry.ground, ground);
        is_current.then(|| value.downcast().ok()).flatten()
    }

    pub fn let_go(&self) {
        let mut state = self.state();
        state.ground = None;
        state.entries.retain(|_, entry| entry.value.is_none());
    }

    pub fn is_keeping(&self) -> bool {
        let state = self.state();
        state.ground.is_some() || !state.entries.is_empty()
    }

    fn have<T: Send + Sync + 'static>(
        &self,
        ground: &Arc<Ground>,
        key: &str,
        counts: bool,
        work: impl FnOnce() -> Told<T>,
    ) -> Told<Arc<T>> {
        if let Some(value) = self.take_turn(ground, key, counts)? {
            return value.downcast().map_err(|_| {
                let message = format!("\"{key}\" was kept as something else");
                Refusal::new(RefusalKind::Broken, message, "ask again")
            });
        }
        let turn = Turn {
            kept: self,
            key,
            counts,
        };
        let value = Arc::new(work()?);
        self.put(key, value.clone());
        drop(turn);
        Ok(value)
    }

    /// What is kept; `None` where it is this one's turn to work it out.
    fn take_turn(
        &self,
        ground: &Arc<Ground>,
        key: &str,
        counts: bool,
    ) -> Told<Option<Arc<dyn Any + Send + Sync>>> {
        let until = Instant::now() + WAIT;
        let mut state = self.state();
        loop {
            state.tick += 1;
            let tick = state.tick;
            let is_free = !counts || state.n_working < AT_ONCE;
            match state.entries.get_mut(key) {
                Some(entry) if entry.value.is_some() && Arc::ptr_eq(&entry.ground, ground) => {
                    entry.asked = tick;
                    return Ok(entry.value.clone());
                }
                // Of another ground: worked out anew.
                Some(entry) if entry.value.is_some() && is_free => {
                    *entry = Entry::begun(ground, tick);
                    state.n_working += usize::from(counts);
                    return Ok(None);
                }
                None if is_free => {
                    let entry = Entry::begun(ground, tick);
                    state.entries.insert(key.to_owned(), entry);
                    state.n_working += usize::from(counts);
                    return Ok(None);
                }
                _ => {}
            }
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() || state.n_waiting >= WAITING_MAX {
                return Err(Refusal::new(
                    RefusalKind::Busy,
                    "too much is being worked out at once",
                    "ask again in some seconds",
                ));
            }
            state.n_waiting += 1;
            let waited = self.moved.wait_timeout(state, left);
            state = waited.unwrap_or_else(PoisonError::into_inner).0;
            state.n_waiting -= 1;
        }
    }

    fn put(&self, key: &str, value: Arc<dyn Any + Send + Sync>) {
        let mut state = self.state();
        if let Some(entry) = state.entries.get_mut(key) {
            entry.value = Some(value);
        }
        while state.entries.len() > KEPT_MAX {
            let done = state.entries.iter().filter(|(_, one)| one.value.is_some());
            let oldest = done.min_by_key(|(_, one)| one.asked);
            let Some(oldest) = oldest.map(|(key, _)| key.clone()) else {
                break;
            };
            state.entries.remove(&oldest);
        }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Entry {
    fn begun(ground: &Arc<Ground>, tick: u64) -> Entry {
        Entry {
            ground: ground.clone(),
            value: None,
            asked: tick,
        }
    }
}

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        let mut state = self.kept.state();
        state.n_working -= usize::from(self.counts);
        // What failed is not kept, nor what rests on a ground that has gone meanwhile.
        let current = state.ground.clone();
        let is_kept = state.entries.get(self.key).is_some_and(|entry| {
            let is_current = current.is_some_and(|ground| Arc::ptr_eq(&ground, &entry.ground));
            entry.value.is_some() && is_current
        });
        if !is_kept {
            state.entries.remove(self.key);
        }
        drop(state);
        self.kept.moved.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::settings::load_settings;
    use std::path::Path;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::sync::mpsc::channel;
    use std::thread::scope;

    fn ground(kept: &Kept, settings: &Arc<Settings>, writes: i64) -> Arc<Ground> {
        let day = NaiveDate::from_ymd_opt(2026, 3, 31).unwrap();
        kept.ground(settings, writes, day, BTreeMap::new)
    }

    fn settings() -> Arc<Settings> {
        let starter = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let settings = load_settings(&starter);
        Arc::new(settings.unwrap_or_else(|faults| panic!("{faults:?}")))
    }

    #[test]
    fn one_works_out_what_many_ask_and_all_have_it() {
        let (kept, settings) = (Kept::default(), settings());
        let ground = ground(&kept, &settings, 1);
        let worked = AtomicUsize::new(0);
        scope(|threads| {
            for _ in 0..8 {
                threads.spawn(|| {
                    let value = kept.solve(&ground, "a".to_owned(), || {
                        std::thread::sleep(Duration::from_millis(50));
                        worked.fetch_add(1, Ordering::SeqCst);
                        Ok(7_u32)
                    });
                    assert_eq!(*value.unwrap(), 7);
                });
            }
        });
        assert_eq!(worked.load(Ordering::SeqCst), 1);
    }

    #[test]
    fn what_rests_on_another_ground_is_worked_out_anew_and_what_fails_is_not_kept() {
        let (kept, settings) = (Kept::default(), settings());
        let solve = |writes, value: Told<u32>| {
            let ground = ground(&kept, &settings, writes);
            kept.solve(&ground, "a".to_owned(), || value)
                .map(|value| *value)
        };
        let broken = || Refusal::new(RefusalKind::Broken, "no", "");
        assert_eq!(solve(1, Err(broken())), Err(broken()));
        assert_eq!(solve(1, Ok(1)), Ok(1));
        assert_eq!(solve(1, Ok(2)), Ok(1));
        assert_eq!(solve(2, Ok(3)), Ok(3));
        kept.let_go();
        assert!(!kept.is_keeping());
        assert_eq!(solve(2, Ok(4)), Ok(4));
    }

    #[test]
    fn beyond_the_bound_questions_are_refused_and_looks_are_not() {
        let (kept, settings) = (Kept::default(), settings());
        let ground = ground(&kept, &settings, 1);
        scope(|threads| {
            let (begin, begun) = channel();
            let mut ends = Vec::new();
            for number in 0..AT_ONCE {
                let (end, ended) = channel::<()>();
                ends.push(end);
                let (kept, ground, begin) = (&kept, &ground, begin.clone());
                threads.spawn(move || {
                    kept.solve(ground, format!("long {number}"), || {
                        begin.send(()).unwrap();
                        Ok(ended.recv().is_ok())
                    })
                    .unwrap();
                });
            }
            (0..AT_ONCE).for_each(|_| begun.recv().unwrap());
            let look = kept.look(&ground, "look".to_owned(), || Ok(1_u32));
            assert_eq!(*look.unwrap(), 1);
            let more = (0..WAITING_MAX + 1).map(|number| {
                let (kept, ground) = (&kept, &ground);
                threads.spawn(move || kept.solve(ground, format!("more {number}"), || Ok(0_u32)))
            });
            let more: Vec<_> = more.collect();
            let kinds = more.into_iter().map(|one| one.join().unwrap());
            let kinds = kinds.map(|told| told.map_err(|refusal| refusal.kind).err());
            assert_eq!(
                kinds.collect::<Vec<_>>(),
                vec![Some(RefusalKind::Busy); WAITING_MAX + 1]
            );
            drop(ends);
        });
        let after = kept.solve(&ground, "after".to_owned(), || Ok(5_u32));
        assert_eq!(*after.unwrap(), 5);
    }
}
