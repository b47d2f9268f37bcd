//! Whether a claimed reduction agrees with the lowest price of the 30 days before it.
//!
//! The measure is Directive 98/6/EC, Article 6a (inserted by Directive (EU) 2019/2161), on which
//! the Commission gives guidance in the notice 2021/C 526/02: the prior price of a reduction is
//! the lowest that the trader applied in a period of at least 30 days before it. This is a fact
//! about a price series for a reader and no legal judgement: states may differ for goods that
//! spoil or are new, a list price may be the maker's recommended one, which the rule is not about,
//! and the record is that of one feed.
//!
//! Only prices that could be had count. What a record does not cover is never taken for agreement:
//! a lower price on record contradicts whatever else is unknown, but to agree takes a whole record.

use super::series::{Series, State, Step};
use crate::money::div_half_up;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;

/// The days before a reduction that count (Directive 98/6/EC, Art. 6a(2)).
pub const DAYS: u64 = 30;

/// A reduction as the retailer claims it, in minor units of the series' currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reduction {
    /// When the reduced price was first seen.
    pub from: DateTime<Utc>,
    pub price_minor: i64,
    /// What it is said to have cost before.
    pub was_minor: i64,
}

/// A price as it was stated from an instant on, with the price that it is said to have had before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stated {
    pub from: DateTime<Utc>,
    pub price_minor: i64,
    pub was_minor: Option<i64>,
}

/// The reductions that an offer claimed, in the order of time: each begins when its price is first
/// stated beside a higher one. A price that gets another such claim is claimed twice.
pub fn reductions(stated: &[Stated]) -> Vec<Reduction> {
    let mut reductions: Vec<Reduction> = Vec::new();
    let mut running: Option<Reduction> = None;
    for one in stated {
        let was = one.was_minor.filter(|was| *was > one.price_minor);
        let claim = was.map(|was_minor| Reduction {
            from: running
                .filter(|running| running.price_minor == one.price_minor)
                .map_or(one.from, |running| running.from),
            price_minor: one.price_minor,
            was_minor,
        });
        if claim != running {
            reductions.extend(claim);
        }
        running = claim;
    }
    reductions
}

/// What the record cannot know.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Terms {
    /// Whose midnights part the days.
    pub zone: Tz,
    /// Art. 6a(5), where a state has taken it up: of a reduction that grows step by step without
    /// a rise between, the prior price is the one before its first step.
    pub progressive: bool,
    /// When the article came on the market, where that is known; else a record that begins within
    /// the 30 days cannot tell (Art. 6a(4)).
    pub on_market_since: Option<DateTime<Utc>>,
}

/// What the record says of a claim.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    pub verdict: Verdict,
    /// From when until when the record was asked.
    pub opens: DateTime<Utc>,
    pub closes: DateTime<Utc>,
    /// The lowest price on record in that time.
    pub lowest_minor: Option<i64>,
    /// What the reduction comes to from that price, in hundredths of a percent rounded half up.
    /// Negative where the price went up.
    pub percent_off_hundredths: Option<i64>,
    /// What it comes to from the claimed price.
    pub claimed_off_hundredths: Option<i64>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// It could be had for less than it is said to have cost.
    Contradicted {
        /// When that lower price was first to be had within the days that count.
        from: DateTime<Utc>,
        /// When it was last to be had within them.
        until: DateTime<Utc>,
        price_minor: i64,
    },
    /// No lower price is on a record without gaps.
    Consistent,
    CannotTell(Why),
}

/// Why the record neither contradicts a claim nor agrees with it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Why {
    #[error("the record begins on {0}, within the 30 days")]
    BeginsLate(NaiveDate),
    #[error("the feed was not read from {from} to {until}")]
    Unread { from: NaiveDate, until: NaiveDate },
    #[error("no price was to be had in the 30 days")]
    NoPrice,
}

/// Holds a claim against the record of the offer.
pub fn check(record: &Series, claim: &Reduction, terms: &Terms) -> Finding {
    let before: Vec<Step> = record
        .steps()
        .iter()
        .filter(|step| step.from < claim.from)
        .map(|step| Step {
            until: step.until.min(claim.from),
            ..*step
        })
        .collect();
    let (closes, broken_by) = match terms.progressive {
        true => first_step(&before, claim),
        false => (claim.from, None),
    };
    let opens = opening(closes, terms.zone);
    let inside: Vec<Step> = before
        .iter()
        .filter(|step| step.until > opens && step.from < closes)
        .map(|step| Step {
            from: step.from.max(opens),
            until: step.until.min(closes),
            ..*step
        })
        .collect();
    let lowest_minor = inside
        .iter()
        .filter_map(|step| step.state.to_be_had())
        .min();
    let day = |at: DateTime<Utc>| at.with_timezone(&terms.zone).date_naive();
    let unread = |step: &Step| Why::Unread {
        from: day(step.from),
        until: day(step.until),
    };
    let verdict = match (contradiction(&inside, lowest_minor, claim), broken_by) {
        // The steps before the outage may have been steps of this reduction.
        (Some(_), Some(outage)) => Verdict::CannotTell(unread(&outage)),
        (Some(contradicted), None) => contradicted,
        (None, _) => match gap(record, &inside, opens, terms) {
            Some(Gap::Before(begins)) => Verdict::CannotTell(Why::BeginsLate(day(begins))),
            Some(Gap::Unread(step)) => Verdict::CannotTell(unread(&step)),
            None if lowest_minor.is_none() => Verdict::CannotTell(Why::NoPrice),
            None => Verdict::Consistent,
        },
    };
    Finding {
        verdict,
        opens,
        closes,
        lowest_minor,
        percent_off_hundredths: lowest_minor
            .and_then(|prior| percent_off(prior, claim.price_minor)),
        claimed_off_hundredths: percent_off(claim.was_minor, claim.price_minor),
    }
}

fn contradiction(inside: &[Step], lowest: Option<i64>, claim: &Reduction) -> Option<Verdict> {
    let price_minor = lowest.filter(|lowest| *lowest < claim.was_minor)?;
    let mut with_it = inside
        .iter()
        .filter(|step| step.state.to_be_had() == Some(price_minor));
    let first = with_it.next()?;
    Some(Verdict::Contradicted {
        from: first.from,
        until: with_it.next_back().unwrap_or(first).until,
        price_minor,
    })
}

enum Gap {
    Before(DateTime<Utc>),
    Unread(Step),
}

/// What of the time that counts the record does not cover.
fn gap(record: &Series, inside: &[Step], opens: DateTime<Utc>, terms: &Terms) -> Option<Gap> {
    let outage = inside.iter().find(|step| step.state == State::Unread);
    if let Some(outage) = outage {
        return Some(Gap::Unread(*outage));
    }
    let begins = record.begins()?;
    let needed = terms
        .on_market_since
        .map_or(opens, |since| since.max(opens));
    (begins > needed).then_some(Gap::Before(begins))
}

/// Walks back over lower and lower prices to when the first of them began. An outage ends the walk
/// and is named, for what happened during it is unknown.
fn first_step(before: &[Step], claim: &Reduction) -> (DateTime<Utc>, Option<Step>) {
    let (mut starts, mut price) = (claim.from, claim.price_minor);
    let mut candidate = starts;
    for step in before.iter().rev() {
        match step.state {
            State::Unread => return (starts, Some(*step)),
            state => {
                let Some(earlier) = state.to_be_had() else {
                    continue;
                };
                if earlier < price {
                    break;
                }
                if earlier > price {
                    starts = candidate;
                }
                (price, candidate) = (earlier, step.from);
            }
        }
    }
    (starts, None)
}

/// The midnight that begins the 30th day before the day of an instant.
fn opening(closes: DateTime<Utc>, zone: Tz) -> DateTime<Utc> {
    let day = closes.with_timezone(&zone).date_naive();
    let Some(first) = day.checked_sub_days(Days::new(DAYS)) else {
        return DateTime::<Utc>::MIN_UTC;
    };
    let midnight = first.and_time(NaiveTime::MIN);
    // Where the clocks are put forward at midnight, the day begins later by what they skip.
    let local = zone.from_local_datetime(&midnight).earliest();
    let local = local.or_else(|| {
        let after = midnight.checked_add_signed(chrono::TimeDelta::hours(1))?;
        zone.from_local_datetime(&after).earliest()
    });
    local.map_or_else(|| midnight.and_utc(), |local| local.with_timezone(&Utc))
}

/// How much lower a price is than a prior one, in hundredths of a percent of that.
fn percent_off(prior: i64, price: i64) -> Option<i64> {
    let off = (i128::from(prior) - i128::from(price)) * 10_000;
    let hundredths = (prior > 0).then(|| div_half_up(off, i128::from(prior)))?;
    i64::try_from(hundredths).ok()
}

#[cfg(test)]
#[path = "prior_price_tests.rs"]
mod tests;
