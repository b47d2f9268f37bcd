//! From results to rates: every part's rate in every workload that its kind limits, as far as the
//! results reach.
//!
//! A workload is a weighted set of tests, and its rate the weighted geometric mean over them. One
//! log-additive model per workload and kind of part is fitted on that workload's results alone, for
//! parts do not keep their order from one use to another. A part that no chain of common tests
//! connects with all tests of a workload gets no rate, and is named. A part without results may get
//! an estimate; see [`estimate`].
//!
//! Start reading at [`derive`].

use super::limiting::{Disagreement, find_limits};
use super::result::BenchResult;
use super::two_way::TwoWay;
use crate::catalogue::{Catalogue, Evidence, Kind, PartId, Rate, TestId, Workload, WorkloadId};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

pub mod estimate;
mod rows;

pub use rows::UsedRow;

/// A rate that was worked out.
#[derive(Debug, Clone, PartialEq)]
pub struct DerivedRate {
    /// Natural logarithm of the rate in the workload's unit.
    pub log: f64,
    /// Standard error of `log`.
    pub error: f64,
    pub evidence: Evidence,
    /// When the newest result that it rests on was found.
    pub newest: Option<NaiveDate>,
}

/// What the results say of a workload.
#[derive(Debug, Clone)]
pub struct WorkloadFit {
    pub tests: Vec<TestId>,
    /// The results that measure it, repeats of one run taken together.
    pub rows: Vec<UsedRow>,
    /// By row: the kind whose part limited it.
    pub limits: Vec<Kind>,
    pub is_stable: bool,
    pub disagreements: Vec<Disagreement>,
    /// For each kind: its parts, and the model of them.
    pub kinds: BTreeMap<Kind, (Vec<PartId>, TwoWay)>,
    pub unconnected: Vec<Unconnected>,
}

/// How well the model foretells a result from all others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CheckedRow {
    pub row: usize,
    pub kind: Kind,
    /// The log-rate found, less the one foretold without it; `None` where nothing else speaks of
    /// the part or of the test.
    pub left_out: Option<f64>,
    /// How much the result counts in the model, up to 1.
    pub weight: f64,
    /// The spread of residuals in its model.
    pub scale: f64,
}

/// A part with results that cannot be compared in every test of its workload.
#[derive(Debug, Clone, PartialEq)]
pub struct Unconnected {
    pub part: PartId,
    /// The tests that no chain of common tests connects it with.
    pub tests: Vec<TestId>,
}

/// All that was worked out.
#[derive(Debug, Clone, Default)]
pub struct RateTable {
    pub rates: BTreeMap<(WorkloadId, PartId), DerivedRate>,
    pub fits: BTreeMap<WorkloadId, WorkloadFit>,
}

/// No rate is believed to be more exact than this, however well results agree.
const LEAST_ERROR: f64 = 0.01;
/// The error of one result, where there is nothing to work it out from: runs of one test differ by
/// some 3 % between days and machines (common practice, no source).
const ERROR_OF_ONE: f64 = 0.03;
/// Log-rates stay within what fits into thousandths of a unit.
const MOST_LOG: f64 = 30.0;

/// Works out the rates of all parts from results, and estimates for parts without.
pub fn derive(catalogue: &Catalogue, results: &[BenchResult]) -> RateTable {
    let mut table = RateTable::default();
    for workload in catalogue
        .workloads
        .values()
        .filter(|one| !one.tests.is_empty())
    {
        let fit = fit_workload(workload, catalogue, results);
        for (part, rate) in rates_of(workload, &fit, results) {
            table.rates.insert((workload.id.clone(), part), rate);
        }
        table.fits.insert(workload.id.clone(), fit);
    }
    let estimates = estimate::estimates(catalogue, results, &table);
    table.rates.extend(estimates);
    table
}

impl WorkloadFit {
    /// Every result against the model without it.
    pub fn checked_rows(&self) -> Vec<CheckedRow> {
        let mut checked = Vec::new();
        for (kind, (_, model)) in &self.kinds {
            // The cells of a model are the rows that its kind limited, in their order.
            let rows = self.limits.iter().enumerate();
            let rows = rows.filter(|(_, limit)| *limit == kind);
            for (cell, (row, _)) in rows.enumerate() {
                checked.push(CheckedRow {
                    row,
                    kind: *kind,
                    left_out: model.left_out(cell),
                    weight: model.weights()[cell],
                    scale: model.scale(),
                });
            }
        }
        checked.sort_by_key(|one| one.row);
        checked
    }
}

impl RateTable {
    /// Gives the parts their rates. What the author wrote at a part stays.
    pub fn apply(&self, catalogue: &mut Catalogue) {
        for ((workload, part), derived) in &self.rates {
            let Some(part) = catalogue.parts.get_mut(part) else {
                continue;
            };
            let milli = (1_000.0 * libm::exp(derived.log.clamp(-MOST_LOG, MOST_LOG))).round();
            if part.rates.contains_key(workload) {
                continue;
            }
            let rate = Rate {
                // At least a thousandth, at most e^30 thousand: within an i64.
                milli: (milli as i64).max(1),
                evidence: derived.evidence.clone(),
                error_micro: (derived.error * 1e6).round() as i64,
            };
            part.rates.insert(workload.clone(), rate);
        }
    }
}

fn fit_workload(
    workload: &Workload,
    catalogue: &Catalogue,
    results: &[BenchResult],
) -> WorkloadFit {
    let tests: Vec<TestId> = workload.tests.iter().map(|one| one.test.clone()).collect();
    let gathered = rows::gather(workload, &tests, catalogue, results);
    let sizes = gathered
        .parts
        .iter()
        .map(|(kind, parts)| (*kind, parts.len()))
        .collect();
    let (rows, limited): (Vec<UsedRow>, Vec<_>) = gathered.rows.into_iter().unzip();
    let found = find_limits(&limited, &sizes, tests.len());
    let kinds: BTreeMap<Kind, (Vec<PartId>, TwoWay)> = gathered
        .parts
        .into_iter()
        .filter_map(|(kind, parts)| Some((kind, (parts, found.fits.get(&kind)?.clone()))))
        .collect();
    let mut fit = WorkloadFit {
        tests,
        rows,
        limits: found.kinds,
        is_stable: found.is_stable,
        disagreements: found.disagreements,
        kinds,
        unconnected: Vec::new(),
    };
    fit.unconnected = unconnected(workload, &fit);
    fit
}

/// A workload's tests by number, with their weights.
fn weights(workload: &Workload) -> Vec<(usize, f64)> {
    let tests = workload.tests.iter().enumerate();
    tests.map(|(test, one)| (test, one.weight as f64)).collect()
}

/// Parts that limited at least one result, and still cannot be rated.
fn unconnected(workload: &Workload, fit: &WorkloadFit) -> Vec<Unconnected> {
    let mut found = Vec::new();
    for (parts, model) in fit.kinds.values() {
        for (number, part) in parts.iter().enumerate() {
            let Err(apart) = model.mean_over(number, &weights(workload)) else {
                continue;
            };
            if model.part_effect(number).is_some() {
                let tests = apart.iter().map(|test| fit.tests[*test].clone()).collect();
                let part = part.clone();
                found.push(Unconnected { part, tests });
            }
        }
    }
    found
}

fn rates_of(
    workload: &Workload,
    fit: &WorkloadFit,
    results: &[BenchResult],
) -> Vec<(PartId, DerivedRate)> {
    let mut rates = Vec::new();
    for (kind, (parts, model)) in &fit.kinds {
        for (number, part) in parts.iter().enumerate() {
            let Ok(level) = model.mean_over(number, &weights(workload)) else {
                continue;
            };
            let of_part = || {
                fit.rows
                    .iter()
                    .zip(&fit.limits)
                    .filter(|(row, limit)| *limit == kind && row.parts.contains(part))
                    .map(|(row, _)| row)
            };
            let members: Vec<&BenchResult> = of_part()
                .flat_map(|row| &row.results)
                .filter_map(|number| results.get(*number))
                .collect();
            let alone = ERROR_OF_ONE / libm::sqrt(of_part().count().max(1) as f64);
            rates.push((
                part.clone(),
                DerivedRate {
                    log: level.log,
                    error: level
                        .error
                        .map_or(alone, |error| error * of_few(model))
                        .max(LEAST_ERROR),
                    evidence: Evidence::Results(told_of(&members).into()),
                    newest: members.iter().filter_map(|result| result.date).max(),
                },
            ));
        }
    }
    rates
}

/// How much wider an interval has to be where few results go beyond the effects.
///
/// Student's t at 97.5 % beside the normal quantile 1.96: 12.706 and 4.303 for one and two, and for
/// more the expansion of Cornish and Fisher, within 4 % (from memory: Abramowitz and Stegun, table 26.10
/// and 26.7.5). On top comes an allowance for the scale, which is taken from residuals that the
/// effects have already made small. Of intervals for 19 of 20, simulated tables of 5, 8 and 20 parts
/// held the truth in 91, 92 and 93 of 100 without it, and do in 94, 95 and 96 with it.
fn of_few(model: &TwoWay) -> f64 {
    const Z: f64 = 1.959_963_984_540_054;
    const OF_SCALE: f64 = 0.45;
    let results = model.cells().len().max(1) as f64;
    let free = model.free().max(1) as f64;
    let first = (Z * Z + 1.0) / 4.0;
    let second = (5.0 * Z * Z * Z * Z + 16.0 * Z * Z + 3.0) / 96.0;
    let student = match model.free() {
        0 | 1 => 12.706 / Z,
        2 => 4.303 / Z,
        _ => 1.0 + first / free + second / (free * free),
    };
    student * (1.0 + OF_SCALE * (results - free) / results)
}

/// What results a rate rests on, in a line.
fn told_of(results: &[&BenchResult]) -> String {
    let tests: BTreeSet<&TestId> = results.iter().map(|result| &result.test).collect();
    let sources: BTreeSet<&str> = results
        .iter()
        .map(|result| result.source.as_str())
        .collect();
    let sources: Vec<&str> = sources.into_iter().collect();
    let count = |number: usize, one: &str| match number {
        1 => format!("1 {one}"),
        number => format!("{number} {one}s"),
    };
    let newest = results.iter().filter_map(|result| result.date).max();
    let newest = newest.map_or(String::new(), |date| format!(", {}", date.format("%Y-%m")));
    format!(
        "{} in {}, {}{newest}",
        count(results.len(), "result"),
        count(tests.len(), "test"),
        sources.join(" and ")
    )
}

#[cfg(test)]
mod tests;
