//! What a series comes to, each fact over the time for which it is known.

use super::held_time::HeldTime;
use super::series::{Series, State, Step, Stock};
use chrono::{DateTime, TimeDelta, Utc};

/// A slope over less priced time than this says nothing of a trend. Common practice, no source.
const TREND_LEAST: TimeDelta = TimeDelta::days(14);
const DAY_MS: f64 = 86_400_000.0;

/// On how much record the facts stand. The four times add up to the time from first to last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Record {
    pub from: DateTime<Utc>,
    pub until: DateTime<Utc>,
    /// With a price that could be had, or of which the feed does not say.
    pub to_be_had_ms: i64,
    /// With a price at which one could not order.
    pub not_orderable_ms: i64,
    pub absent_ms: i64,
    pub unread_ms: i64,
    /// Of [`Record::to_be_had_ms`], the time of which the feed says nothing.
    pub untold_ms: i64,
}

/// The lowest or highest price, and when it could be had.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Extreme {
    pub minor: i64,
    /// When it was first to be had.
    pub from: DateTime<Utc>,
    /// When it was last to be had.
    pub until: DateTime<Utc>,
    /// Whose it was first, by number; see [`super::Quote::source`].
    pub source: usize,
}

/// A price that followed another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Change {
    /// When the new price was first seen.
    pub at: DateTime<Utc>,
    pub before: i64,
    pub after: i64,
}

/// How long today's price has not been undercut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LowerBefore {
    /// A lower price could be had until then.
    Until(DateTime<Utc>),
    /// Never on this record, which begins then.
    Never(DateTime<Utc>),
}

/// Facts about a series. All but the record count only prices that could be had.
#[derive(Debug, Clone, PartialEq)]
pub struct Facts {
    pub record: Record,
    pub now: State,
    pub held: HeldTime,
    pub lowest: Option<Extreme>,
    pub highest: Option<Extreme>,
    /// The share of the time with a price and a word on stock at which one could order, in
    /// thousandths.
    pub in_stock_thousandths: Option<u32>,
    pub last_change: Option<Change>,
    /// How often the price changed.
    pub changes: usize,
    /// The slope of the least-squares line through the price over the time held, in percent of
    /// the mean for 30 days. `None` below 14 days of prices. For showing only.
    pub trend_percent: Option<f64>,
    /// How long today's price or a lower one could be had, in milliseconds.
    pub at_or_below_now_ms: Option<i64>,
    pub lower_before: Option<LowerBefore>,
}

impl Facts {
    /// The facts of a series; `None` where it is empty.
    pub fn of(series: &Series) -> Option<Facts> {
        let (until, now) = series.last()?;
        let from = series.begins()?;
        let held = HeldTime::of(series);
        let record = record(series, from, until);
        let told_ms = record.to_be_had_ms - record.untold_ms;
        let stated_ms = told_ms + record.not_orderable_ms;
        let in_stock_thousandths = (stated_ms > 0).then(|| {
            let share =
                (i128::from(told_ms) * 2000 + i128::from(stated_ms)) / (2 * i128::from(stated_ms));
            // At most a thousand, for what is told is a part of what is stated.
            u32::try_from(share).unwrap_or(1000)
        });
        let changes = changes(series);
        let at_or_below_now_ms = now.to_be_had().map(|minor| held.at_or_below(minor));
        Some(Facts {
            record,
            now,
            lowest: held
                .lowest()
                .or(now.to_be_had())
                .and_then(|low| extreme(series, low)),
            highest: held
                .highest()
                .or(now.to_be_had())
                .and_then(|high| extreme(series, high)),
            in_stock_thousandths,
            last_change: changes.last().copied(),
            changes: changes.len(),
            trend_percent: trend(series, &held),
            at_or_below_now_ms,
            lower_before: now
                .to_be_had()
                .map(|minor| lower_before(series, from, minor)),
            held,
        })
    }
}

fn record(series: &Series, from: DateTime<Utc>, until: DateTime<Utc>) -> Record {
    let mut record = Record {
        from,
        until,
        to_be_had_ms: 0,
        not_orderable_ms: 0,
        absent_ms: 0,
        unread_ms: 0,
        untold_ms: 0,
    };
    for step in series.steps() {
        match step.state {
            State::Asked(quote) if quote.stock == Stock::NotOrderable => {
                record.not_orderable_ms += step.ms();
            }
            State::Asked(quote) => {
                record.to_be_had_ms += step.ms();
                if quote.stock == Stock::Untold {
                    record.untold_ms += step.ms();
                }
            }
            State::Absent => record.absent_ms += step.ms(),
            State::Unread => record.unread_ms += step.ms(),
        }
    }
    record
}

/// When a price could be had first and last. The end of the record counts as an instant.
fn extreme(series: &Series, minor: i64) -> Option<Extreme> {
    let end = series
        .last()
        .filter(|(_, state)| state.to_be_had() == Some(minor));
    let end = end.map(|(at, state)| Step {
        from: at,
        until: at,
        state,
    });
    let steps = series.steps().iter().copied().chain(end);
    let mut with_it = steps.filter(|step| step.state.to_be_had() == Some(minor));
    let first = with_it.next()?;
    let State::Asked(quote) = first.state else {
        return None;
    };
    Some(Extreme {
        minor,
        from: first.from,
        until: with_it.next_back().unwrap_or(first).until,
        source: quote.source,
    })
}

/// Every change of the price that could be had, over gaps too: there it is dated when it was seen.
fn changes(series: &Series) -> Vec<Change> {
    let end = series.last();
    let states = series.steps().iter().map(|step| (step.from, step.state));
    let mut changes = Vec::new();
    let mut before: Option<i64> = None;
    for (at, state) in states.chain(end) {
        let Some(after) = state.to_be_had() else {
            continue;
        };
        if let Some(before) = before.filter(|before| *before != after) {
            changes.push(Change { at, before, after });
        }
        before = Some(after);
    }
    changes
}

fn lower_before(series: &Series, begins: DateTime<Utc>, minor: i64) -> LowerBefore {
    let lower = |step: &&Step| step.state.to_be_had().is_some_and(|price| price < minor);
    let last = series.steps().iter().rev().find(lower);
    last.map_or(LowerBefore::Never(begins), |step| {
        LowerBefore::Until(step.until)
    })
}

/// The integrals over each step are exact: the price is constant there and the time is linear.
fn trend(series: &Series, held: &HeldTime) -> Option<f64> {
    if held.total_ms() < TREND_LEAST.num_milliseconds() {
        return None;
    }
    let begins = series.begins()?;
    let days = |at: DateTime<Utc>| (at - begins).num_milliseconds() as f64 / DAY_MS;
    let priced = || {
        let steps = series.steps().iter();
        steps.filter_map(|step| {
            let price = step.state.to_be_had()? as f64;
            Some((days(step.from), days(step.until), price))
        })
    };
    let total: f64 = priced().map(|(from, until, _)| until - from).sum();
    let middle = priced()
        .map(|(from, until, _)| (until * until - from * from) / 2.0)
        .sum::<f64>()
        / total;
    let mean = priced()
        .map(|(from, until, price)| (until - from) * price)
        .sum::<f64>()
        / total;
    let (mut covariance, mut variance) = (0.0, 0.0);
    for (from, until, price) in priced() {
        let (low, high) = (from - middle, until - middle);
        covariance += (price - mean) * (high * high - low * low) / 2.0;
        variance += (high * high * high - low * low * low) / 3.0;
    }
    let percent = 30.0 * 100.0 * covariance / (variance * mean);
    (mean > 0.0 && percent.is_finite()).then_some(percent)
}
