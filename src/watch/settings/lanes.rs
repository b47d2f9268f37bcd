//! Two threads for the files of a catalogue: they are most of what a command reads, and each is read
//! by itself.

use crate::catalogue::SideBySide;
use std::sync::Mutex;
use std::thread::scope;

/// This thread and one more. More would leave memory in more places in a daemon that reads its
/// settings seldom.
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
                Err(panic) => std::panic::resume_unwind(panic),
            }
            done
        });
        debug_assert_eq!(done.len(), number);
        done.sort_by_key(|(place, _)| *place);
        done.into_iter().map(|(_, made)| made).collect()
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
}
