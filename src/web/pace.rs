//! How often one asker may ask for what costs much.
//!
//! A bucket for each asker and kind of cost, by the generic cell rate algorithm (ITU-T I.371, annex
//! A, virtual scheduling): one instant is all that is kept of each.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// More askers than these are remembered by nobody honest; then the ones that rest are forgotten.
const ASKERS: usize = 4096;

/// What a request costs the machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cost {
    /// It may have to solve: another budget, pins, bans.
    Solve,
    /// It writes to the ledger or to the author's files.
    Write,
    /// It asks a shop.
    Poll,
    /// It hashes a password.
    SignIn,
}

impl Cost {
    /// So many at once, and then one each time that this has passed.
    fn limit(self) -> (u32, Duration) {
        match self {
            // A hand that drags the budget asks some ten times a second.
            Cost::Solve => (60, Duration::from_millis(100)),
            Cost::Write => (60, Duration::from_millis(200)),
            Cost::Poll => (6, Duration::from_secs(10)),
            Cost::SignIn => (5, Duration::from_secs(20)),
        }
    }
}

/// What has been asked lately.
#[derive(Debug, Default)]
pub struct Pace {
    /// When each bucket will be empty again.
    buckets: Mutex<BTreeMap<(IpAddr, Cost), Instant>>,
    is_unlimited: bool,
}

impl Pace {
    /// Without limits, if the environment says so: a tester asks more in a minute than a person in a year.
    pub fn of_environment() -> Pace {
        Pace {
            is_unlimited: std::env::var_os("RIGTIDE_TEST_UNPACED").is_some(),
            ..Pace::default()
        }
    }

    /// Counts one.
    ///
    /// # Errors
    /// It is one too many; after so long it would not be.
    pub fn count(&self, who: IpAddr, cost: Cost, now: Instant) -> Result<(), Duration> {
        if self.is_unlimited {
            return Ok(());
        }
        let (burst, every) = cost.limit();
        let mut buckets = self.buckets.lock().unwrap_or_else(PoisonError::into_inner);
        if buckets.len() >= ASKERS {
            buckets.retain(|_, empty| *empty > now);
        }
        let empty = buckets.get(&(who, cost)).copied().unwrap_or(now).max(now);
        let room = every * (burst - 1);
        let ahead = empty.saturating_duration_since(now);
        if ahead > room {
            return Err(ahead - room);
        }
        if buckets.len() >= ASKERS {
            return Err(every);
        }
        buckets.insert((who, cost), empty + every);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_burst_is_let_through_and_then_one_at_a_time() {
        let pace = Pace::default();
        let (start, who) = (Instant::now(), IpAddr::from([127, 0, 0, 1]));
        let (burst, every) = Cost::SignIn.limit();
        for _ in 0..burst {
            assert_eq!(pace.count(who, Cost::SignIn, start), Ok(()));
        }
        let wait = pace.count(who, Cost::SignIn, start).unwrap_err();
        assert_eq!(wait, every);
        // What is refused costs nothing, and nobody else waits for it.
        assert_eq!(pace.count(who, Cost::Solve, start), Ok(()));
        let other = IpAddr::from([127, 0, 0, 2]);
        assert_eq!(pace.count(other, Cost::SignIn, start), Ok(()));
        let almost = start + wait - Duration::from_millis(1);
        assert!(pace.count(who, Cost::SignIn, almost).is_err());
        assert_eq!(pace.count(who, Cost::SignIn, start + wait), Ok(()));
        assert!(pace.count(who, Cost::SignIn, start + wait).is_err());
        // After a rest all of the burst is there again.
        let rested = start + wait + every * burst;
        for _ in 0..burst {
            assert_eq!(pace.count(who, Cost::SignIn, rested), Ok(()));
        }
        assert!(pace.count(who, Cost::SignIn, rested).is_err());
    }

    #[test]
    fn many_askers_take_no_more_room_than_is_set_aside() {
        let pace = Pace::default();
        let start = Instant::now();
        for number in 0..2 * ASKERS as u32 {
            let who = IpAddr::from(number.to_be_bytes());
            let _ = pace.count(who, Cost::Write, start);
        }
        assert_eq!(pace.buckets.lock().unwrap().len(), ASKERS);
        let later = start + Duration::from_secs(60);
        assert_eq!(
            pace.count(IpAddr::from([9, 9, 9, 9]), Cost::Write, later),
            Ok(())
        );
        assert_eq!(pace.buckets.lock().unwrap().len(), 1);
    }
}
