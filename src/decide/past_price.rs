//! What the past of a price says of it, in a few words.

use super::record::PickRecord;
use crate::history::{Facts, LowerBefore, State};
use crate::money::{Currency, Money};
use chrono::{DateTime, Utc};

/// A price that has not been undercut for so long is worth a word.
const WORTH_DAYS: i64 = 2;
/// A record of so few days says so itself.
const SHORT_DAYS: i64 = 30;

/// The lowest price of comparable offers of a part, and how long it has not been undercut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PastPrice {
    pub now: Money,
    pub lower_before: LowerBefore,
}

impl PastPrice {
    /// What a series comes to; `None` where nothing can be had now.
    pub fn new(facts: &Facts, currency: Currency) -> Option<PastPrice> {
        let State::Asked(quote) = facts.now else {
            return None;
        };
        Some(PastPrice {
            now: Money::from_minor(quote.minor, currency),
            lower_before: facts.lower_before?,
        })
    }

    /// This, where the pick has that price: the low of others says nothing of it.
    pub fn of(&self, pick: &PickRecord) -> Option<&PastPrice> {
        (pick.price_minor == Some(self.now.minor())).then_some(self)
    }

    /// "lowest in 214 days", or how short the record is; nothing where it was lower just now or has no past.
    pub fn words(&self, at: DateTime<Utc>) -> Option<String> {
        let days = |since: DateTime<Utc>| at.signed_duration_since(since).num_days();
        match self.lower_before {
            LowerBefore::Until(until) => {
                let days = days(until);
                (days >= WORTH_DAYS).then(|| format!("lowest in {days} days"))
            }
            LowerBefore::Never(begins) => match days(begins) {
                // Of what was never seen before there is nothing to say.
                ..=0 => None,
                1 => Some("on record for 1 day only".to_owned()),
                days if days < SHORT_DAYS => Some(format!("on record for {days} days only")),
                days => Some(format!("lowest on record, {days} days")),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;

    #[test]
    fn a_low_is_told_with_its_days_and_a_short_record_with_its_length() {
        let at = DateTime::UNIX_EPOCH + TimeDelta::days(1000);
        let words = |lower_before| {
            let now = Money::from_minor(39_900, Currency::EUR);
            PastPrice { now, lower_before }.words(at)
        };
        let before = |days| at - TimeDelta::days(days);
        for (lower_before, expected) in [
            (LowerBefore::Until(before(214)), Some("lowest in 214 days")),
            (LowerBefore::Until(before(2)), Some("lowest in 2 days")),
            (LowerBefore::Until(before(1)), None),
            (
                LowerBefore::Never(before(400)),
                Some("lowest on record, 400 days"),
            ),
            (
                LowerBefore::Never(before(29)),
                Some("on record for 29 days only"),
            ),
            (LowerBefore::Never(at), None),
        ] {
            assert_eq!(words(lower_before).as_deref(), expected);
        }
    }
}
