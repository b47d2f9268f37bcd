//! The answer to a brief from what the ledger knows.

use super::metrics::{SOLVE_DURATION, SOLVES};
use super::settings::Settings;
use crate::decide::AnswerRecord;
use crate::market::{Brief, Listed, Market, market, retailers_on};
use crate::optimise::{Answer, BestFault, Build, Effort, Standing, best, relaxations, reprice};
use chrono::{DateTime, Utc};
use std::time::Instant;

/// Today's best build for a brief, and the standing one at today's prices.
#[derive(Debug, Clone, PartialEq)]
pub struct Today {
    pub best: AnswerRecord,
    /// `None` when there is no standing build or it can no longer be had.
    pub repriced: Option<AnswerRecord>,
    /// The best build itself, if there is one.
    pub build: Option<Build>,
}

/// Answers a brief. Of several best builds it is the one closest to `standing`.
///
/// # Errors
/// [`BestFault`]
pub fn answer(
    settings: &Settings,
    brief: &Brief,
    listed: &[Listed],
    standing: &Standing,
    at: DateTime<Utc>,
    effort: Effort,
) -> Result<Today, BestFault> {
    let retailers = retailers_on(&settings.retailers, at.date_naive());
    let market = market(brief, &settings.catalogue, &retailers, listed);
    answer_in(settings, &market, listed, standing, at, effort)
}

/// The same in a market that is there already, made of `listed`.
///
/// # Errors
/// [`BestFault`]
pub fn answer_in(
    settings: &Settings,
    market: &Market<'_>,
    listed: &[Listed],
    standing: &Standing,
    at: DateTime<Utc>,
    effort: Effort,
) -> Result<Today, BestFault> {
    let brief = market.brief;
    let begun = Instant::now();
    let answer = best(market, &settings.catalogue, standing, effort);
    SOLVES.add(1);
    SOLVE_DURATION.took(begun.elapsed());
    let answer = answer?;
    let repriced = reprice(market, &settings.catalogue, standing);
    let mut record = AnswerRecord::new(market, &answer, at);
    if let Answer::NothingFits(_) = answer {
        let shops = (market.retailers, listed);
        let found = relaxations((brief, &settings.catalogue), shops, effort)?;
        record.put_relaxations(&found);
    }
    Ok(Today {
        best: record,
        repriced: repriced.map(|build| AnswerRecord::of_build(market, &build, at)),
        build: match answer {
            Answer::Best(best) => Some(best.build),
            Answer::NothingFits(_) | Answer::CutOff => None,
        },
    })
}
