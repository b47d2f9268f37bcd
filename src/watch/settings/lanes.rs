//! Threads for the files of a catalogue: they are most of what a command reads, and each is read by itself.
//! A command wants them soon, a daemon wants them in little room. May not know what is read.

use crate::catalogue::SideBySide;
use std::panic::resume_unwind;
use std::sync::Mutex;
use std::thread::scope;

/// For a command, which ends with its answer: this thread and one more.
pub struct TwoLanes;

impl SideBySide for TwoLanes {
    fn each<T: Send, R: Send>(&self, things: Vec<T>, work: impl Fn(T) -> R + Sync) -> Vec<R> {
        let number = things.len();
        let waiting = Mutex::new(things.into_iter().enumerate());
        let next = || waiting.lock().ok()?.next();
        let lane = || {
            let mut done = Vec::new();
            while let Some((place, thing)) = next() {
                done.push((place, work(thing)));
            }
            done
        };
        let mut done = scope(|threads| {
            let other = threads.spawn(lane);
            let mut done = lane();
            match other.join() {
                Ok(more) => done.extend(more),
                // What went wrong there goes wrong here.
                Err(panic) => resume_unwind(panic),
            }
            done
        });
        debug_assert_eq!(done.len(), number);
        done.sort_by_key(|(place, _)| *place);
        done.into_iter().map(|(_, made)| made).collect()
    }
}

/// For a daemon, which keeps what was read for as long as it runs: one thing after the other. The allocator
/// gives each thread pages of its own, and those of a thread that ended to the next one; so nobody but this
/// thread reads, or the copy that is kept would be put into the holes of what was read and will be gone.
pub struct ForLong;

impl SideBySide for ForLong {
    const IS_FOR_LONG: bool = true;

    fn each<T: Send, R: Send>(&self, things: Vec<T>, work: impl Fn(T) -> R + Sync) -> Vec<R> {
        things.into_iter().map(work).collect()
    }

    /// What a new thread makes lies side by side, in pages that had nothing before.
    fn apart<R: Send>(&self, work: impl FnOnce() -> R + Send) -> R {
        scope(|threads| match threads.spawn(work).join() {
            Ok(made) => made,
            Err(panic) => resume_unwind(panic),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_made_comes_in_the_order_of_the_things() {
        let things: Vec<u32> = (0..100).collect();
        let made = TwoLanes.each(things, |thing| thing * thing);
        assert_eq!(
            made,
            (0..100).map(|thing| thing * thing).collect::<Vec<u32>>()
        );
        let none: Vec<u32> = TwoLanes.each(Vec::new(), |thing: u32| thing);
        assert!(none.is_empty());
    }

    #[test]
    fn work_that_is_to_lie_apart_has_a_thread_of_its_own() {
        let here = std::thread::current().id();
        assert_ne!(ForLong.apart(|| std::thread::current().id()), here);
        assert_eq!(TwoLanes.apart(|| std::thread::current().id()), here);
    }
}
