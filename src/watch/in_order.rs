//! Work shared by several threads whose results come in the order of the work.
//!
//! One thread produces items, several work on them, the caller takes the results. Items travel in
//! batches, so that no thread wakes another too often. Each batch has a place in a line, which is
//! bounded: what is in memory at once does not depend on how many items there are. The end of any
//! of them, a panic too, is the end of all. Knows nothing of what the items are.

use std::num::NonZeroUsize;
use std::ops::ControlFlow;
use std::panic::resume_unwind;
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::sync::{Mutex, PoisonError};
use std::thread::{ScopedJoinHandle, scope};

/// Items that go from thread to thread at once.
const BATCH_ITEMS: usize = 128;
/// Batches of each working thread that may be under way, one to work on and one to go on with.
const BATCHES_EACH: usize = 2;

/// Where the producing thread puts its items.
pub struct Items<I, O> {
    line: SyncSender<Place<O>>,
    jobs: Sender<Job<I, O>>,
    batch: Vec<I>,
}

/// A batch's place in the line: its results come here, whoever works on it.
type Place<O> = Receiver<Vec<O>>;

struct Job<I, O> {
    batch: Vec<I>,
    results: SyncSender<Vec<O>>,
}

/// Runs all three until there are no more items, or `consume` returns. Every one of `n_workers`
/// threads has its own clone of `work`.
///
/// # Panics
/// With the panic of any of the three.
pub fn in_order<I, O, P, C, W>(
    n_workers: NonZeroUsize,
    produce: impl FnOnce(&mut Items<I, O>) -> P + Send,
    work: W,
    consume: impl FnOnce(&mut dyn Iterator<Item = O>) -> C,
) -> (P, C)
where
    I: Send,
    O: Send,
    P: Send,
    W: FnMut(I) -> O + Clone + Send,
{
    let (line, places) = sync_channel(n_workers.get() * BATCHES_EACH);
    let (jobs, waiting) = channel();
    let waiting = Mutex::new(waiting);
    scope(|threads| {
        let producer = threads.spawn(|| {
            let mut items = Items::new(line, jobs);
            let produced = produce(&mut items);
            // Nothing is left to be ended where nobody takes the last batch.
            let _ = items.send();
            produced
        });
        let workers: Vec<_> = (0..n_workers.get())
            .map(|_| {
                let work = work.clone();
                threads.spawn(|| work_off(&waiting, work))
            })
            .collect();
        // A place where nothing arrives is that of a worker that panicked.
        let results = places.into_iter().map_while(|place| place.recv().ok());
        let mut results = results.flatten();
        let consumed = consume(&mut results);
        // The line ends with the iterator, which stops a producer that goes on.
        drop(results);
        let produced = joined(producer);
        workers.into_iter().for_each(joined);
        (produced, consumed)
    })
}

impl<I, O> Items<I, O> {
    fn new(line: SyncSender<Place<O>>, jobs: Sender<Job<I, O>>) -> Items<I, O> {
        let batch = Vec::with_capacity(BATCH_ITEMS);
        Items { line, jobs, batch }
    }

    /// Takes one more; `Break` when nobody wants any.
    pub fn push(&mut self, item: I) -> ControlFlow<()> {
        self.batch.push(item);
        if self.batch.len() < BATCH_ITEMS {
            return ControlFlow::Continue(());
        }
        self.send()
    }

    /// Sends what is there. The place is taken first: it waits while the line is full, so that no
    /// more jobs than places ever wait.
    fn send(&mut self) -> ControlFlow<()> {
        let (results, place) = sync_channel(1);
        let next = Vec::with_capacity(BATCH_ITEMS);
        let batch = std::mem::replace(&mut self.batch, next);
        if self.line.send(place).is_err() || self.jobs.send(Job { batch, results }).is_err() {
            return ControlFlow::Break(());
        }
        ControlFlow::Continue(())
    }
}

/// Works on one batch after another until none will come.
fn work_off<I, O>(waiting: &Mutex<Receiver<Job<I, O>>>, mut work: impl FnMut(I) -> O) {
    let next = || {
        let waiting = waiting.lock().unwrap_or_else(PoisonError::into_inner);
        waiting.recv()
    };
    while let Ok(Job { batch, results }) = next() {
        let done = batch.into_iter().map(&mut work).collect();
        // Nobody takes what was still in line when the end came.
        let _ = results.send(done);
    }
}

fn joined<T>(thread: ScopedJoinHandle<'_, T>) -> T {
    thread.join().unwrap_or_else(|panic| resume_unwind(panic))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::panic::catch_unwind;
    use std::sync::atomic::{AtomicUsize, Ordering};

    const WORKERS: [usize; 3] = [1, 2, 4];

    fn workers(n_workers: usize) -> NonZeroUsize {
        NonZeroUsize::new(n_workers).unwrap()
    }

    /// Pushes all of them as long as anybody wants them, and tells how many that were.
    fn push_all(items: &mut Items<usize, usize>, n_items: usize) -> usize {
        let pushed = (0..n_items).map(|item| items.push(item));
        pushed.take_while(ControlFlow::is_continue).count()
    }

    #[test]
    fn results_come_in_the_order_of_the_items_and_the_last_few_too() {
        for n_workers in WORKERS {
            for n_items in [0, 1, BATCH_ITEMS, 40 * BATCH_ITEMS + 1] {
                // The first of many batches takes longest.
                let work = |item: usize| {
                    (0..if item < BATCH_ITEMS { 1000 } else { 1 }).for_each(|_| {
                        std::hint::black_box(item);
                        std::thread::yield_now();
                    });
                    item
                };
                let (n_pushed, results) = in_order(
                    workers(n_workers),
                    |items| push_all(items, n_items),
                    work,
                    |results| results.collect::<Vec<_>>(),
                );
                assert_eq!(n_pushed, n_items);
                assert!(results.into_iter().eq(0..n_items), "{n_workers} {n_items}");
            }
        }
    }

    #[test]
    fn every_thread_ends_when_nobody_takes_the_results() {
        for n_workers in WORKERS {
            for n_taken in [0, 1, 3 * BATCH_ITEMS] {
                let n_worked = AtomicUsize::new(0);
                let (n_pushed, taken) = in_order(
                    workers(n_workers),
                    |items| push_all(items, usize::MAX),
                    |item| {
                        n_worked.fetch_add(1, Ordering::Relaxed);
                        item
                    },
                    |results| results.take(n_taken).count(),
                );
                assert_eq!(taken, n_taken);
                // The line, the batch that is taken from and the one that finds no place.
                let n_batches = n_taken.div_ceil(BATCH_ITEMS) + n_workers * BATCHES_EACH + 1;
                assert!(n_pushed <= n_batches * BATCH_ITEMS, "{n_pushed}");
                assert!(n_worked.into_inner() <= n_pushed);
            }
        }
    }

    #[test]
    fn items_wait_while_their_results_are_not_taken() {
        for n_workers in WORKERS {
            let n_pushed = AtomicUsize::new(0);
            let n_items = 50 * BATCH_ITEMS;
            let ahead_max = (n_workers * BATCHES_EACH + 3) * BATCH_ITEMS;
            let produce = |items: &mut Items<usize, usize>| {
                for item in 0..n_items {
                    n_pushed.fetch_add(1, Ordering::SeqCst);
                    assert!(items.push(item).is_continue());
                }
            };
            let consume = |results: &mut dyn Iterator<Item = usize>| {
                for (n_taken, _) in results.enumerate() {
                    std::thread::yield_now();
                    let ahead = n_pushed.load(Ordering::SeqCst) - n_taken;
                    assert!(ahead <= ahead_max, "{ahead} of {ahead_max}");
                }
            };
            in_order(workers(n_workers), produce, |item| item, consume);
            assert_eq!(n_pushed.into_inner(), n_items);
        }
    }

    #[test]
    fn a_panic_of_any_thread_ends_them_all_and_is_passed_on() {
        for n_workers in WORKERS {
            for at in ["producing", "working", "consuming"] {
                let run = || {
                    let produce = |items: &mut Items<usize, usize>| {
                        push_all(items, 2 * BATCH_ITEMS);
                        assert_ne!(at, "producing", "producing");
                        push_all(items, usize::MAX)
                    };
                    let work = |item: usize| {
                        assert!(at != "working" || item != BATCH_ITEMS + 3, "working");
                        item
                    };
                    in_order(workers(n_workers), produce, work, |results| {
                        for _ in results {
                            assert_ne!(at, "consuming", "consuming");
                        }
                    })
                };
                let panic = catch_unwind(run).unwrap_err();
                let text = panic.downcast_ref::<String>().cloned();
                let text = text.or_else(|| panic.downcast_ref::<&str>().map(|s| (*s).to_owned()));
                assert!(text.unwrap().contains(at), "{n_workers} {at}");
            }
        }
    }
}
