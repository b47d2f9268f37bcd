//! What readers ask of a ledger that holds a year.

use crate::N_PARTS;
use crate::world::begin;
use anyhow::{Context as _, Result};
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::chart::steps::{Line, StepChart};
use rigtide::history::{Asked, Facts, Reading, Series, Stock, lowest_of};
use rigtide::ledger::{Interval, Reader};
use rigtide::market::FeedId;
use rigtide::money::Currency;
use std::collections::BTreeMap;
use std::time::Instant;

const N_QUESTIONS: usize = 21;

/// Medians of several, in milliseconds by the clock.
#[derive(Debug)]
pub struct Questions {
    pub series_ms: f64,
    pub series_rows: usize,
    pub chart_ms: f64,
    pub now_ms: f64,
    pub then_ms: f64,
    /// The slowest instant of those that were asked about.
    pub then_most_ms: f64,
    pub then_rows: usize,
    pub states_ms: f64,
}

pub fn ask(reader: &Reader, n_hours: i64) -> Result<Questions> {
    let now = begin() + TimeDelta::hours(n_hours);
    let (mut number, mut series_rows) = (0, 0);
    let mut next_part = || {
        number += 211;
        format!("part-{}", number % N_PARTS)
    };
    let series = times_ms(|| {
        series_rows = reader.series(&next_part())?.len();
        Ok(())
    })?;
    let chart = times_ms(|| {
        let svg = chart(reader, &next_part(), now)?;
        anyhow::ensure!(svg.contains("<path"), "a chart without a line");
        Ok(())
    })?;
    let market_now = times_ms(|| reader.listed(None).map_err(Into::into))?;
    let (mut back, mut then_rows) = (0, 0);
    let then = times_ms(|| {
        back += 1;
        let at = begin() + TimeDelta::hours(n_hours * back / (N_QUESTIONS as i64 + 1));
        let market = reader.listed(Some(at))?;
        then_rows = market.len();
        Ok(market)
    })?;
    let states = times_ms(|| reader.feed_states().map_err(Into::into))?;
    Ok(Questions {
        series_ms: median(&series),
        series_rows,
        chart_ms: median(&chart),
        now_ms: median(&market_now),
        then_ms: median(&then),
        then_most_ms: then[N_QUESTIONS - 1],
        then_rows,
        states_ms: median(&states),
    })
}

/// The chart of a part as SVG, from the ledger.
fn chart(reader: &Reader, part: &str, now: DateTime<Utc>) -> Result<String> {
    let mut readings: BTreeMap<FeedId, Vec<Reading>> = BTreeMap::new();
    let intervals = reader.series(part)?;
    let mut others = Vec::new();
    for of_offer in intervals.chunk_by(|one, next| one.observation.offer == next.observation.offer)
    {
        let first = of_offer.first().context("no interval")?;
        if !readings.contains_key(&first.feed) {
            readings.insert(first.feed.clone(), reader.readings(&first.feed)?);
        }
        let asked: Vec<Asked> = of_offer.iter().map(asked).collect();
        let series = Series::of_offer(Currency::EUR, &asked, &readings[&first.feed], now);
        others.push(Line {
            name: first.retailer.to_string(),
            series,
        });
    }
    let all: Vec<&Series> = others.iter().map(|line| &line.series).collect();
    let lowest = lowest_of(Currency::EUR, &all);
    let facts = Facts::of(&lowest).context("no facts")?;
    let chart = StepChart {
        title: part.to_owned(),
        description: format!("since {}", facts.record.from),
        subject: Line {
            name: "the lowest".to_owned(),
            series: lowest,
        },
        others,
    };
    Ok(chart.svg())
}

fn asked(interval: &Interval) -> Asked {
    Asked {
        from: interval.from,
        until: interval.until,
        gone_since: interval.gone_since,
        minor: interval.price.minor(),
        stock: Stock::of(interval.availability),
    }
}

/// How long each took by the clock, in milliseconds and rising order.
fn times_ms<T>(mut ask: impl FnMut() -> Result<T>) -> Result<Vec<f64>> {
    let mut taken = Vec::new();
    for _ in 0..N_QUESTIONS {
        let start = Instant::now();
        let answer = ask()?;
        taken.push(start.elapsed().as_secs_f64() * 1000.0);
        drop(answer);
    }
    taken.sort_by(f64::total_cmp);
    Ok(taken)
}

fn median(times: &[f64]) -> f64 {
    times[times.len() / 2]
}
