//! Where a pick's price stands in its own past, as figures and in words.

use crate::catalogue::PartId;
use crate::history::Facts;
use crate::ledger::Reader;
use crate::market::Condition;
use crate::money::Money;
use crate::watch::asking::{AskFault, Asked};
use crate::watch::past::{Past, PastWanted};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

/// The past that a price is compared with.
const DAYS: i64 = 90;

/// A price beside the lowest of its own past.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    /// By how much it is above the lowest; absent where it is not.
    pub above_percent: Option<f64>,
    pub lowest: Money,
    /// Of so many days.
    pub days: i64,
    /// The record's first day, where it is shorter than that.
    pub since: Option<NaiveDate>,
}

impl Position {
    fn new(facts: &Facts, price: Money, at: DateTime<Utc>) -> Option<Position> {
        let lowest = facts.lowest?.minor;
        let days = (at - facts.record.from).num_days();
        if days < 2 {
            return None;
        }
        let above = 100.0 * (price.minor() - lowest) as f64 / lowest.max(1) as f64;
        Some(Position {
            above_percent: (price.minor() > lowest).then_some(above),
            lowest: Money::from_minor(lowest, price.currency()),
            days: DAYS,
            since: (days < DAYS - 1).then(|| facts.record.from.date_naive()),
        })
    }

    pub fn words(&self) -> String {
        let Position { days, lowest, .. } = self;
        // A record that is shorter says so.
        let low = match self.since {
            None => format!("{days}-day low"),
            Some(day) => format!("low since {day}"),
        };
        match self.above_percent {
            None => format!("at its {low}"),
            Some(above) => format!("{above:.0} % above its {low} of {lowest}"),
        }
    }
}

/// Where a price of a part stands, if anything is known of its past.
///
/// # Errors
/// [`AskFault`]
pub fn of(
    asked: &Asked,
    reader: &Reader,
    part: &PartId,
    price: Money,
) -> Result<Option<Position>, AskFault> {
    let since = asked.at - TimeDelta::days(DAYS);
    let wanted = PastWanted {
        since: Some(since.date_naive()),
        ..PastWanted::of(part.as_str())
    };
    let past = Past::read(&asked.settings, reader, &wanted, asked.at)?;
    let ware = past.wares.iter().find(|ware| {
        ware.kind.condition == Condition::New && ware.kind.currency == price.currency()
    });
    let facts = ware.and_then(|ware| ware.facts.as_ref());
    Ok(facts.and_then(|facts| Position::new(facts, price, asked.at)))
}
