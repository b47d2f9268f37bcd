//! How long to wait before the next attempt.

use crate::decide::BulletinId;
use std::time::Duration;

/// Attempts before a bulletin becomes a dead letter: four to five days of growing pauses. They
/// are counted, not timed, so that a wild clock gives nothing up.
pub const ATTEMPTS_MAX: u32 = 28;

const FIRST: Duration = Duration::from_secs(30);
const LONGEST: Duration = Duration::from_secs(6 * 3600);

/// The pause after so many failed attempts: 30 s, doubled each time up to six hours, less up to
/// a quarter.
///
/// The quarter spreads bulletins that failed together. It follows from the bulletin, the channel
/// and the attempt, so that the same history gives the same schedule.
pub fn backoff(attempts: u32, bulletin: &BulletinId, channel: &str) -> Duration {
    let doublings = attempts.saturating_sub(1).min(16);
    let full = FIRST.saturating_mul(1 << doublings).min(LONGEST);
    let mut hash = fnv1a(0xcbf2_9ce4_8422_2325, bulletin.as_str().as_bytes());
    hash = fnv1a(hash, channel.as_bytes());
    hash = fnv1a(hash, &attempts.to_be_bytes());
    // The upper bits of this hash are mixed best.
    let spread = u32::try_from((hash >> 32) % 250).unwrap_or(0);
    full - full / 1000 * spread
}

/// The hash FNV-1a of 64 bits.
fn fnv1a(start: u64, bytes: &[u8]) -> u64 {
    bytes.iter().fold(start, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_fnv_1a() {
        // draft-eastlake-fnv, test vectors of 64-bit FNV-1a, from memory.
        let start = 0xcbf2_9ce4_8422_2325;
        assert_eq!(fnv1a(start, b""), start);
        assert_eq!(fnv1a(start, b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv1a(start, b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn pauses_double_up_to_six_hours_and_last_for_days() {
        let id = BulletinId::from_stored("5c1e");
        let mut total = Duration::ZERO;
        for attempts in 1..ATTEMPTS_MAX {
            let full = FIRST
                .saturating_mul(1 << (attempts - 1).min(20))
                .min(LONGEST);
            let pause = backoff(attempts, &id, "phone");
            assert!(
                pause <= full && pause > full * 3 / 4,
                "{attempts}: {pause:?}"
            );
            assert_eq!(backoff(attempts, &id, "phone"), pause);
            total += pause;
        }
        let day = Duration::from_secs(24 * 3600);
        assert!(total > 3 * day && total < 5 * day, "{total:?}");
        assert!(backoff(u32::MAX, &id, "phone") <= LONGEST);
        assert!(backoff(0, &id, "phone") <= FIRST);
    }

    #[test]
    fn bulletins_that_fail_together_come_back_apart() {
        let pauses: std::collections::BTreeSet<Duration> = (0..50)
            .map(|number| {
                backoff(
                    9,
                    &BulletinId::from_stored(format!("{number:032x}")),
                    "phone",
                )
            })
            .collect();
        assert!(pauses.len() > 25, "{pauses:?}");
    }
}
