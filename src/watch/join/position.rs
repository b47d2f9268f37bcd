//! Where a pick's price stands in its own past, in words.

use crate::catalogue::PartId;
use crate::history::Facts;
use crate::ledger::Reader;
use crate::market::Condition;
use crate::money::Money;
use crate::watch::asking::{AskFault, Asked};
use crate::watch::past::{Past, PastWanted};
use chrono::{DateTime, TimeDelta, Utc};

/// The past that a price is compared with.
const DAYS: i64 = 90;

/// The words for a price of a part, if anything is known of its past.
///
/// # Errors
/// [`AskFault`]
pub fn of(
    asked: &Asked,
    reader: &Reader,
    part: &PartId,
    price: Money,
) -> Result<Option<String>, AskFault> {
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
    Ok(facts.and_then(|facts| words(facts, price, asked.at)))
}

fn words(facts: &Facts, price: Money, at: DateTime<Utc>) -> Option<String> {
    let lowest = facts.lowest?.minor;
    let days = (at - facts.record.from).num_days();
    if days < 2 {
        return None;
    }
    // A record that is shorter says so.
    let low = match days >= DAYS - 1 {
        true => format!("{DAYS}-day low"),
        false => format!("low since {}", facts.record.from.format("%Y-%m-%d")),
    };
    if price.minor() <= lowest {
        return Some(format!("at its {low}"));
    }
    let above = 100.0 * (price.minor() - lowest) as f64 / lowest.max(1) as f64;
    let lowest = Money::from_minor(lowest, price.currency());
    Some(format!("{above:.0} % above its {low} of {lowest}"))
}
