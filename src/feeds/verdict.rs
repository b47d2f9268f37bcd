//! Doubts a poll whose counts cannot be right.
//!
//! Pure. A feed that answers with nothing, or with a small part of what it had, has failed; it
//! has not sold out. The rules are the author's, see [`DoubtRules`].

use super::source::DoubtRules;
use thiserror::Error;

/// What a poll held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Counts {
    /// Records that the decoder found, good or not.
    pub records: u64,
    /// Offers with a usable price among them.
    pub offers: u64,
}

/// Why a poll is not believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum ContentFault {
    #[error("the feed is empty; that is taken as a failure, not as sold out")]
    Empty,
    #[error("the feed has {records} records, fewer than {least} (`least_records`)")]
    TooFew { records: u64, least: u64 },
    #[error(
        "the feed has {has} {what} and had {had}, a loss of more than {limit_percent} % \
         (`largest_loss_percent`); raise the limit for one poll if that is right"
    )]
    Lost {
        what: Counted,
        had: u64,
        has: u64,
        limit_percent: u32,
    },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counted {
    Records,
    Offers,
}

/// Below this many, a share says nothing. Common practice, no source.
const FEW: u64 = 10;

/// Compares a poll with the rules and with the last good poll, if there was one.
///
/// # Errors
/// The poll is not believed; the last good state stands.
pub fn judge(
    counts: Counts,
    last_good: Option<Counts>,
    rules: &DoubtRules,
) -> Result<(), ContentFault> {
    let (records, least) = (counts.records, rules.least_records);
    if records == 0 && least > 0 {
        return Err(ContentFault::Empty);
    }
    if records < least {
        return Err(ContentFault::TooFew { records, least });
    }
    let Some(last) = last_good else {
        return Ok(());
    };
    for (what, had, has) in [
        (Counted::Records, last.records, counts.records),
        (Counted::Offers, last.offers, counts.offers),
    ] {
        let limit_percent = rules.largest_loss_percent;
        let lost = u128::from(had.saturating_sub(has));
        if had >= FEW && lost * 100 > u128::from(had) * u128::from(limit_percent) {
            return Err(ContentFault::Lost {
                what,
                had,
                has,
                limit_percent,
            });
        }
    }
    Ok(())
}

impl std::fmt::Display for Counted {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Counted::Records => "records",
            Counted::Offers => "usable offers",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(records: u64, offers: u64) -> Counts {
        Counts { records, offers }
    }

    // Pitfalls F28, F29 and F36, and what lies beside them.
    #[test]
    fn a_poll_that_lost_most_of_its_records_is_not_believed() {
        let rules = DoubtRules::default();
        let lost = |what, had, has| {
            let limit_percent = 50;
            Err(ContentFault::Lost {
                what,
                had,
                has,
                limit_percent,
            })
        };
        for (now, last, expected) in [
            (
                counts(312, 312),
                Some(counts(48_000, 48_000)),
                lost(Counted::Records, 48_000, 312),
            ),
            (counts(0, 0), Some(counts(5, 5)), Err(ContentFault::Empty)),
            (counts(0, 0), None, Err(ContentFault::Empty)),
            (
                counts(48_000, 0),
                Some(counts(48_000, 47_000)),
                lost(Counted::Offers, 47_000, 0),
            ),
            (
                counts(1, 1),
                Some(counts(10, 10)),
                lost(Counted::Records, 10, 1),
            ),
            (counts(5, 5), Some(counts(10, 10)), Ok(())),
            (
                counts(4, 4),
                Some(counts(10, 10)),
                lost(Counted::Records, 10, 4),
            ),
            (counts(1, 1), Some(counts(9, 9)), Ok(())),
            (counts(312, 312), None, Ok(())),
            (counts(u64::MAX, 1), Some(counts(1, 1)), Ok(())),
            (
                counts(1, 1),
                Some(counts(u64::MAX, 1)),
                lost(Counted::Records, u64::MAX, 1),
            ),
        ] {
            assert_eq!(judge(now, last, &rules), expected, "{now:?} after {last:?}");
        }
    }

    #[test]
    fn the_author_sets_the_limits() {
        let strict = DoubtRules {
            least_records: 100,
            ..DoubtRules::default()
        };
        let (records, least) = (99, 100);
        let expected = Err(ContentFault::TooFew { records, least });
        assert_eq!(judge(counts(99, 99), None, &strict), expected);
        let lenient = DoubtRules {
            least_records: 0,
            largest_loss_percent: 100,
            ..DoubtRules::default()
        };
        assert_eq!(judge(counts(0, 0), Some(counts(50, 50)), &lenient), Ok(()));
    }

    proptest::proptest! {
        #[test]
        fn what_was_believed_is_believed_again(records in 1..u64::MAX, offers: u64) {
            let same = counts(records, offers);
            proptest::prop_assert_eq!(judge(same, Some(same), &DoubtRules::default()), Ok(()));
        }
    }
}
