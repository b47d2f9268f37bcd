//! What the daemon counts while it runs: a small registry that anybody in `watch` adds to.
//!
//! Everything starts at nothing when the process does and only grows. A new counter is a `static`
//! here and a line in [`COUNTERS`]; what can be read off the ledger is not counted.

use super::poll::PollReport;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// Solves of a brief, those that came to nothing or were cut off included.
pub static SOLVES: Counter = Counter::new("rigtide_solves", "Briefs solved.");
/// Changes of market after which a brief provably kept its answer.
pub static SOLVES_SKIPPED: Counter = Counter::new(
    "rigtide_skipped_solves",
    "Solves spared because a change of market provably left the answer as it was.",
);
pub static BULLETINS: Counter = Counter::new("rigtide_bulletins", "Bulletins decided on.");
/// By what came of it: `taken` or `refused`.
pub static RELOADS: Labelled = Labelled::new(
    "rigtide_reloads",
    "Changed settings, by whether they were taken.",
    &["outcome"],
);
pub static POLLS: Labelled = Labelled::new(
    "rigtide_polls",
    "Polls, by feed and by how they ended.",
    &["feed", "status"],
);
pub static POLL_DURATION: Durations = Durations::new(
    "rigtide_poll_duration_seconds",
    "How long polls took, from the first request until they were stored.",
);
pub static SOLVE_DURATION: Durations =
    Durations::new("rigtide_solve_duration_seconds", "How long solves took.");

pub static COUNTERS: [&Counter; 3] = [&SOLVES, &SOLVES_SKIPPED, &BULLETINS];
pub static LABELLED: [&Labelled; 2] = [&POLLS, &RELOADS];
pub static DURATIONS: [&Durations; 2] = [&POLL_DURATION, &SOLVE_DURATION];

/// Upper bounds of the durations that are told apart, in seconds.
pub const BOUNDS: [f64; 10] = [0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0];

/// What has happened so often.
#[derive(Debug)]
pub struct Counter {
    pub name: &'static str,
    pub help: &'static str,
    count: AtomicU64,
}

impl Counter {
    const fn new(name: &'static str, help: &'static str) -> Counter {
        Counter {
            name,
            help,
            count: AtomicU64::new(0),
        }
    }

    pub fn add(&self, more: u64) {
        self.count.fetch_add(more, Ordering::Relaxed);
    }

    pub fn count(&self) -> u64 {
        self.count.load(Ordering::Relaxed)
    }
}

/// The same told apart by a few words. Keep to words of which there are few, such as feeds.
#[derive(Debug)]
pub struct Labelled {
    pub name: &'static str,
    pub help: &'static str,
    pub labels: &'static [&'static str],
    counts: Mutex<BTreeMap<Vec<String>, u64>>,
}

impl Labelled {
    const fn new(
        name: &'static str,
        help: &'static str,
        labels: &'static [&'static str],
    ) -> Labelled {
        Labelled {
            name,
            help,
            labels,
            counts: Mutex::new(BTreeMap::new()),
        }
    }

    /// `words` are those of the labels, in their order.
    pub fn add(&self, words: &[&str], more: u64) {
        debug_assert_eq!(words.len(), self.labels.len(), "{}", self.name);
        let words = words.iter().map(|word| (*word).to_owned()).collect();
        let mut counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        *counts.entry(words).or_default() += more;
    }

    pub fn counts(&self) -> BTreeMap<Vec<String>, u64> {
        let counts = self.counts.lock();
        counts.unwrap_or_else(PoisonError::into_inner).clone()
    }
}

/// How often something took how long.
#[derive(Debug)]
pub struct Durations {
    pub name: &'static str,
    pub help: &'static str,
    /// One more than [`BOUNDS`]: the last are those above all of them.
    within: [AtomicU64; BOUNDS.len() + 1],
    sum_micros: AtomicU64,
}

impl Durations {
    const fn new(name: &'static str, help: &'static str) -> Durations {
        Durations {
            name,
            help,
            within: [const { AtomicU64::new(0) }; BOUNDS.len() + 1],
            sum_micros: AtomicU64::new(0),
        }
    }

    pub fn took(&self, duration: Duration) {
        let seconds = duration.as_secs_f64();
        let place = BOUNDS.partition_point(|bound| *bound < seconds);
        self.within[place].fetch_add(1, Ordering::Relaxed);
        let micros = u64::try_from(duration.as_micros()).unwrap_or(u64::MAX);
        self.sum_micros.fetch_add(micros, Ordering::Relaxed);
    }

    /// How many took no longer than each bound, how many there were, and their sum in seconds.
    pub fn seen(&self) -> (Vec<(f64, u64)>, u64, f64) {
        let mut count = 0;
        let mut so_far = self.within.iter().map(|within| {
            count += within.load(Ordering::Relaxed);
            count
        });
        let buckets = BOUNDS.into_iter().zip(so_far.by_ref()).collect();
        let all = so_far.next().unwrap_or_default();
        let sum = Duration::from_micros(self.sum_micros.load(Ordering::Relaxed));
        (buckets, all, sum.as_secs_f64())
    }
}

/// Counts a poll that was stored.
pub fn polled(report: &PollReport) {
    POLLS.add(&[&report.feed, report.status], 1);
    POLL_DURATION.took(Duration::from_millis(report.duration_ms));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_count_towards_every_bound_that_they_keep_within() {
        static TOOK: Durations = Durations::new("test_duration_seconds", "");
        for millis in [10, 11, 4_000, 1_000_000] {
            TOOK.took(Duration::from_millis(millis));
        }
        let (buckets, count, sum) = TOOK.seen();
        let counts: Vec<u64> = buckets.iter().map(|(_, count)| *count).collect();
        assert_eq!(counts, [1, 2, 2, 2, 2, 2, 3, 3, 3, 3]);
        assert_eq!((count, sum), (4, 1004.021));
    }

    #[test]
    fn words_are_counted_apart() {
        static BY_WORD: Labelled = Labelled::new("test_words", "", &["word"]);
        BY_WORD.add(&["a"], 1);
        BY_WORD.add(&["b"], 2);
        BY_WORD.add(&["a"], 3);
        let counts: Vec<_> = BY_WORD.counts().into_iter().collect();
        assert_eq!(
            counts,
            [(vec!["a".to_owned()], 4), (vec!["b".to_owned()], 2)]
        );
    }
}
