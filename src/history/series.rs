//! The past of one offer as steps: prices while they held, and the gaps between them.
//!
//! A price holds until it is seen to have changed, but only while somebody looks: where the feed
//! was not read for much longer than it usually is, the step ends and the record has a gap.

use crate::market::Availability;
use crate::money::Currency;
use chrono::{DateTime, TimeDelta, Utc};

/// A price is trusted for so many times the usual time between two readings of its feed.
/// Common practice, no source: two failed polls in a row happen, three are an outage.
const READINGS_TRUSTED: i32 = 3;
/// Bounds of that trust. Common practice, no source.
const TRUST_LEAST: TimeDelta = TimeDelta::hours(1);
const TRUST_MOST: TimeDelta = TimeDelta::days(14);
/// The trust where a feed was read only once, so that its rhythm is unknown.
const TRUST_UNKNOWN: TimeDelta = TimeDelta::days(1);

/// Whether one could order at a price.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stock {
    Orderable,
    NotOrderable,
    /// The feed does not say; the price counts as one that could be had.
    Untold,
}

/// A price that an offer asked from its first sighting until its last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asked {
    pub from: DateTime<Utc>,
    pub until: DateTime<Utc>,
    /// When the offer was given up, where that ended the sightings.
    pub gone_since: Option<DateTime<Utc>>,
    /// In minor units of the series' currency.
    pub minor: i64,
    pub stock: Stock,
}

/// An instant at which the offer's feed was read with success.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    pub at: DateTime<Utc>,
    /// True when what the reading did not bring was not on offer.
    pub is_complete: bool,
}

/// A price and where it stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Quote {
    pub minor: i64,
    pub stock: Stock,
    /// The number of the series that it came from, where several were merged.
    pub source: usize,
}

/// What is known of an instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    Asked(Quote),
    /// The feed was read, and the offer was not in it or its price was not believed.
    Absent,
    /// Nobody looked, or the feed could not be read.
    Unread,
}

/// A state from an instant until another, which is excluded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    pub from: DateTime<Utc>,
    pub until: DateTime<Utc>,
    pub state: State,
}

/// Steps without holes, in the order of time; neighbours differ, and none is empty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Series {
    pub(super) currency: Currency,
    pub(super) steps: Vec<Step>,
    /// The state at the end, which belongs to no step.
    pub(super) last: Option<(DateTime<Utc>, State)>,
}

impl Stock {
    pub fn of(availability: Availability) -> Stock {
        match availability {
            Availability::Unknown => Stock::Untold,
            told if told.is_orderable() => Stock::Orderable,
            _ => Stock::NotOrderable,
        }
    }
}

impl State {
    /// The price, where one could order at it.
    pub fn to_be_had(self) -> Option<i64> {
        match self {
            State::Asked(quote) if quote.stock != Stock::NotOrderable => Some(quote.minor),
            _ => None,
        }
    }
}

impl Step {
    /// How long it lasted, in milliseconds.
    pub fn ms(&self) -> i64 {
        (self.until - self.from).num_milliseconds()
    }
}

impl Series {
    /// The series of one offer up to `now`. `asked` is in the order of time and does not overlap;
    /// what lies after `now` is left out.
    pub fn of_offer(
        currency: Currency,
        asked: &[Asked],
        readings: &[Reading],
        now: DateTime<Utc>,
    ) -> Series {
        let asked: Vec<Asked> = asked
            .iter()
            .copied()
            .filter(|one| one.from <= now)
            .collect();
        let seen = seen(&asked, readings, now);
        let trust = trust(&seen);
        let mut complete: Vec<DateTime<Utc>> = readings
            .iter()
            .filter(|reading| reading.is_complete)
            .map(|reading| reading.at)
            .collect();
        complete.sort();
        let mut builder = Builder {
            silences: silences(&seen, trust, now),
            series: Series {
                currency,
                steps: Vec::new(),
                last: None,
            },
        };
        for (number, one) in asked.iter().enumerate() {
            let next = asked.get(number + 1).map_or(now, |next| next.from);
            let is_last = number + 1 == asked.len();
            builder.offer(one, next, trust, &complete, is_last);
        }
        builder.series
    }

    pub fn currency(&self) -> Currency {
        self.currency
    }

    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// When the record ends, and what is known of that instant.
    pub fn last(&self) -> Option<(DateTime<Utc>, State)> {
        self.last
    }

    /// When the record begins.
    pub fn begins(&self) -> Option<DateTime<Utc>> {
        let first = self.steps.first().map(|step| step.from);
        first.or(self.last.map(|(at, _)| at))
    }

    /// What is known of an instant on the record.
    pub fn at(&self, instant: DateTime<Utc>) -> Option<State> {
        let after = self.steps.partition_point(|step| step.from <= instant);
        let step = after.checked_sub(1).and_then(|last| self.steps.get(last));
        match step {
            Some(step) if instant < step.until => Some(step.state),
            _ => self
                .last
                .filter(|(end, _)| *end == instant)
                .map(|(_, state)| state),
        }
    }

    /// The part of the record from `from` on.
    pub fn since(&self, from: DateTime<Utc>) -> Series {
        let steps = self.steps.iter().filter(|step| step.until > from);
        let steps = steps.map(|step| Step {
            from: step.from.max(from),
            ..*step
        });
        Series {
            currency: self.currency,
            steps: steps.collect(),
            last: self.last.filter(|(end, _)| *end >= from),
        }
    }

    /// Adds a step, joining it to the one before where they say the same.
    pub(super) fn push(&mut self, from: DateTime<Utc>, until: DateTime<Utc>, state: State) {
        if from >= until {
            return;
        }
        match self.steps.last_mut() {
            Some(last) if last.state == state && last.until == from => last.until = until,
            _ => self.steps.push(Step { from, until, state }),
        }
    }
}

/// Puts steps down and cuts the silences of the feed out of them.
struct Builder {
    /// In the order of time; a silence without end runs to the end of the record.
    silences: Vec<(DateTime<Utc>, Option<DateTime<Utc>>)>,
    series: Series,
}

impl Builder {
    /// One price, and what is known after it until `next`.
    fn offer(
        &mut self,
        asked: &Asked,
        next: DateTime<Utc>,
        trust: TimeDelta,
        complete: &[DateTime<Utc>],
        is_last: bool,
    ) {
        let after = complete.partition_point(|at| *at <= asked.until);
        let missed = complete.get(after).copied();
        let missed = match (missed, asked.gone_since) {
            (Some(missed), Some(gone)) => Some(missed.min(gone)),
            (missed, gone) => missed.or(gone),
        };
        let absent_from = missed.map_or(next, |missed| missed.min(next));
        let trusted = asked.until.checked_add_signed(trust).unwrap_or(next);
        let held_until = trusted.min(absent_from);
        let quote = State::Asked(Quote {
            minor: asked.minor,
            stock: asked.stock,
            source: 0,
        });
        self.put(asked.from, held_until, quote);
        self.series
            .push(held_until.max(asked.from), absent_from, State::Unread);
        self.put(absent_from, next, State::Absent);
        if is_last {
            let state = match missed {
                Some(missed) if missed <= next => State::Absent,
                _ if next >= trusted => State::Unread,
                _ => quote,
            };
            let is_silent = self
                .silences
                .iter()
                .any(|(from, until)| *from <= next && until.is_none_or(|until| next < until));
            let state = if is_silent { State::Unread } else { state };
            self.series.last = Some((next, state));
        }
    }

    fn put(&mut self, from: DateTime<Utc>, until: DateTime<Utc>, state: State) {
        let mut at = from;
        let first = self
            .silences
            .partition_point(|(_, end)| end.is_some_and(|end| end <= from));
        for (silent_from, silent_until) in self.silences.iter().skip(first) {
            if *silent_from >= until {
                break;
            }
            let silent_until = silent_until.map_or(until, |end| end.min(until));
            self.series.push(at, *silent_from, state);
            self.series
                .push((*silent_from).max(at), silent_until, State::Unread);
            at = at.max(silent_until);
        }
        self.series.push(at, until, state);
    }
}

/// Every instant up to `now` at which somebody looked, in microseconds: a year has thousands, and plain
/// numbers are compared and subtracted several times as fast as instants.
fn seen(asked: &[Asked], readings: &[Reading], now: DateTime<Utc>) -> Vec<i64> {
    let read = readings.iter().map(|reading| reading.at);
    let sighted = asked.iter().flat_map(|one| [one.from, one.until]);
    let seen = read.chain(sighted).filter(|at| *at <= now);
    let mut seen: Vec<i64> = seen.map(|at| at.timestamp_micros()).collect();
    // Two runs in order, which this sort finds.
    seen.sort();
    seen.dedup();
    seen
}

/// How long after a sighting a price is trusted: three times the median time between two.
fn trust(seen: &[i64]) -> TimeDelta {
    let mut spacings: Vec<i64> = seen.windows(2).map(|two| two[1] - two[0]).collect();
    if spacings.is_empty() {
        return TRUST_UNKNOWN;
    }
    let middle = spacings.len() / 2;
    let (_, median, _) = spacings.select_nth_unstable(middle);
    let three = TimeDelta::microseconds(*median).checked_mul(READINGS_TRUSTED);
    three.unwrap_or(TRUST_MOST).clamp(TRUST_LEAST, TRUST_MOST)
}

/// From where on a sighting is no longer trusted until the next one.
fn silences(
    seen: &[i64],
    trust: TimeDelta,
    now: DateTime<Utc>,
) -> Vec<(DateTime<Utc>, Option<DateTime<Utc>>)> {
    let trust_us = trust.num_microseconds().unwrap_or(i64::MAX);
    let long = seen.windows(2).filter(|two| two[1] - two[0] > trust_us);
    let long = long.map(|two| {
        let from = DateTime::from_timestamp_micros(two[0])?.checked_add_signed(trust)?;
        Some((from, DateTime::from_timestamp_micros(two[1])))
    });
    let last = seen.last().map(|last| {
        let from = DateTime::from_timestamp_micros(*last)?.checked_add_signed(trust)?;
        (now >= from).then_some((from, None))
    });
    long.chain(last).flatten().collect()
}
