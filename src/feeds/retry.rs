//! When to ask again: jitter that a restart does not change, and pauses that grow.
//!
//! Pure. Chance comes from a hash of the feed's name, so that the same feed does the same after
//! every restart, and different feeds do not march in step.

use crate::market::FeedId;
use ring::digest::{SHA256, digest};
use std::time::Duration;

/// How the pauses after failures grow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Backoff {
    /// The pause after the first failure.
    pub first: Duration,
    pub longest: Duration,
}

impl Backoff {
    /// For faults that pass: 1 minute, doubling up to 6 hours. Common practice, no source.
    pub const USUAL: Backoff = Backoff {
        first: Duration::from_secs(60),
        longest: Duration::from_secs(6 * 3600),
    };

    /// For hosts that do not want the program: 1 hour, doubling up to a day.
    pub const UNWELCOME: Backoff = Backoff {
        first: Duration::from_secs(3600),
        longest: Duration::from_secs(24 * 3600),
    };

    /// The pause after a number of failures in a row: it doubles with each, and jitter takes up
    /// to half of it away.
    pub fn pause(&self, feed: &FeedId, failures: u32) -> Duration {
        let doublings = failures.saturating_sub(1).min(31);
        let whole = self.first.saturating_mul(1 << doublings).min(self.longest);
        let half = whole / 2;
        half + fraction(whole - half, &format!("{feed} after {failures}"))
    }
}

/// How much later than its schedule says a feed is polled: less than `window`, the same every
/// time.
pub fn spread(feed: &FeedId, window: Duration) -> Duration {
    fraction(window, feed.as_str())
}

/// A part of `whole`, less than it unless it is zero, that the seed alone decides.
fn fraction(whole: Duration, seed: &str) -> Duration {
    let hash = digest(&SHA256, seed.as_bytes());
    let draw = hash
        .as_ref()
        .iter()
        .take(4)
        .fold(0, |draw: u128, byte| draw << 8 | u128::from(*byte));
    let nanoseconds = (whole.as_nanos() * draw) >> 32;
    Duration::from_nanos(u64::try_from(nanoseconds).unwrap_or(u64::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_up_to_the_longest_with_half_as_jitter() {
        let feed = FeedId::new("kestrel/all");
        for (failures, whole_s) in [
            (1, 60),
            (2, 120),
            (3, 240),
            (9, 15_360),
            (10, 21_600),
            (4_000_000_000, 21_600),
        ] {
            let pause = Backoff::USUAL.pause(&feed, failures);
            let whole = Duration::from_secs(whole_s);
            assert!(pause >= whole / 2 && pause < whole, "{failures}: {pause:?}");
        }
        assert!(Backoff::USUAL.pause(&feed, 0) < Duration::from_secs(60));
    }

    #[test]
    fn feeds_spread_over_the_window_and_stay_where_they_are() {
        let window = Duration::from_secs(600);
        let place = |number: u32| spread(&FeedId::new(format!("shop-{number}/all")), window);
        let mut tenths = [0; 10];
        for number in 0..1000 {
            assert!(place(number) < window);
            assert_eq!(place(number), place(number));
            tenths[usize::try_from(place(number).as_secs() / 60).unwrap()] += 1;
        }
        // Each tenth of the window gets its share; 100 ± 40 is more than four deviations.
        assert!(
            tenths.iter().all(|n_feeds| (60..140).contains(n_feeds)),
            "{tenths:?}"
        );
        assert_eq!(spread(&FeedId::new("a/b"), Duration::ZERO), Duration::ZERO);
    }

    // The first four bytes of SHA-256("abc"), FIPS 180-2 B.1, are ba7816bf; times 2^32 ns.
    #[test]
    fn the_draw_is_the_hash_itself() {
        let window = Duration::from_nanos(1 << 32);
        assert_eq!(spread(&FeedId::new("abc"), window).as_nanos(), 0xba78_16bf);
    }
}
