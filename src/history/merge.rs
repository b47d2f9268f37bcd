//! The lowest of several series at every instant.

use super::series::{Quote, Series, State, Step, Stock};
use crate::money::Currency;
use chrono::{DateTime, Utc};

/// One series out of several of one currency: at every instant the lowest price that could be
/// had, or else the lowest that was asked. [`Quote::source`] says by its number whose it was; of
/// equal prices it is the first's.
///
/// Where no price is known, the state is [`State::Unread`] if any of those that have begun was not
/// read, for that one may have had a price. Where one is known, an offer that was not read may have
/// been lower: the merged price is the lowest on record. A series counts from its beginning to its end.
pub fn lowest_of(currency: Currency, several: &[&Series]) -> Series {
    let mut bounds: Vec<DateTime<Utc>> = Vec::new();
    for series in several {
        bounds.extend(
            series
                .steps()
                .iter()
                .flat_map(|step| [step.from, step.until]),
        );
        bounds.extend(series.last().map(|(end, _)| end));
    }
    bounds.sort_unstable();
    bounds.dedup();
    let mut merged = Series {
        currency,
        steps: Vec::new(),
        last: None,
    };
    let mut next: Vec<usize> = vec![0; several.len()];
    for two in bounds.windows(2) {
        let (from, until) = (two[0], two[1]);
        let states = several.iter().zip(&mut next).enumerate();
        let states = states.filter_map(|(source, (series, next))| {
            let steps = series.steps();
            while steps.get(*next).is_some_and(|step| step.until <= from) {
                *next += 1;
            }
            let step: Option<&Step> = steps.get(*next).filter(|step| step.from <= from);
            step.map(|step| named(step.state, source))
        });
        if let Some(state) = states.reduce(lower) {
            merged.push(from, until, state);
        }
    }
    if let Some(end) = bounds.last() {
        let states = several.iter().enumerate();
        let states = states.filter_map(|(source, series)| Some(named(series.at(*end)?, source)));
        merged.last = states.reduce(lower).map(|state| (*end, state));
    }
    merged
}

fn named(state: State, source: usize) -> State {
    match state {
        State::Asked(quote) => State::Asked(Quote { source, ..quote }),
        other => other,
    }
}

/// Of two states the one that says more for a buyer; of equals the first.
fn lower(one: State, other: State) -> State {
    let rank = |state: State| match state {
        State::Asked(quote) if quote.stock == Stock::NotOrderable => (1, quote.minor),
        State::Asked(quote) => (0, quote.minor),
        State::Unread => (2, 0),
        State::Absent => (3, 0),
    };
    if rank(other) < rank(one) { other } else { one }
}
