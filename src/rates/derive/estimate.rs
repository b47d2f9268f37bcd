//! Estimates for parts that nobody tested in a workload.
//!
//! Three ways, each with its error: from the same test at another resolution; from the part's
//! results in other tests, by what they say of parts that were tested in both; from its specs. Of
//! those that a part allows, the one with the least error is taken. An estimate is always called one.

use super::{DerivedRate, ERROR_OF_ONE, LEAST_ERROR, RateTable, WorkloadFit, told_of, weights};
use crate::catalogue::{Catalogue, Evidence, Kind, Part, PartId, TestId, Workload, WorkloadId};
use crate::rates::resolution::{Scaling, log_ratio_of};
use crate::rates::result::BenchResult;
use crate::rates::specs::{SpecModel, drivers, features, known_specs, select};
use crate::rates::two_way::{Cell, TwoWay, Weighting};
use std::collections::{BTreeMap, BTreeSet};

/// Parts that have to be rated in both before other tests say something of a workload.
const LEAST_BRIDGES: usize = 3;

/// What the estimates of one workload and kind rest on.
struct Grounds<'c> {
    results: &'c [BenchResult],
    workload: &'c Workload,
    fit: Option<&'c WorkloadFit>,
    /// Log-rate and error of the parts of the kind that somebody measured in the workload.
    measured: BTreeMap<&'c PartId, f64>,
    scaling: Scaling,
    wide: Option<Wide>,
    /// The features and log-rates of the measured parts, and the models made of them so far, by
    /// the specs that they use.
    rows: Vec<(Vec<Option<f64>>, f64)>,
    models: BTreeMap<BTreeSet<usize>, Option<SpecModel>>,
}

/// A model of a kind over all tests that there are.
struct Wide {
    parts: Vec<PartId>,
    model: TwoWay,
}

/// Estimates for every part that limits a workload and has no rate in it.
pub(super) fn estimates(
    catalogue: &Catalogue,
    results: &[BenchResult],
    table: &RateTable,
) -> BTreeMap<(WorkloadId, PartId), DerivedRate> {
    let mut estimates = BTreeMap::new();
    for workload in catalogue.workloads.values() {
        for kind in &workload.limited_by {
            let mut grounds = Grounds::of(catalogue, results, table, workload, *kind);
            let of_kind = catalogue.parts.values().filter(|part| part.kind == *kind);
            for part in of_kind {
                let key = (workload.id.clone(), part.id.clone());
                let is_rated =
                    table.rates.contains_key(&key) || part.rates.contains_key(&workload.id);
                if let Some(estimate) = (!is_rated).then(|| grounds.estimate(part)).flatten() {
                    estimates.insert(key, estimate);
                }
            }
        }
    }
    estimates
}

impl<'c> Grounds<'c> {
    fn of(
        catalogue: &'c Catalogue,
        results: &'c [BenchResult],
        table: &'c RateTable,
        workload: &'c Workload,
        kind: Kind,
    ) -> Grounds<'c> {
        let of_kind = || catalogue.parts.values().filter(|part| part.kind == kind);
        let measured: BTreeMap<&PartId, f64> = of_kind()
            .filter_map(|part| Some((&part.id, measured_log(part, workload, table)?)))
            .collect();
        let is_of_kind = |id: &PartId| {
            catalogue
                .parts
                .get(id)
                .is_some_and(|part| part.kind == kind)
        };
        let rows: Vec<(Vec<Option<f64>>, f64)> = measured
            .iter()
            .filter_map(|(id, log)| Some((features(catalogue.parts.get(*id)?), *log)))
            .collect();
        Grounds {
            results,
            workload,
            fit: table.fits.get(&workload.id),
            scaling: Scaling::of_results(results, kind, is_of_kind),
            wide: Wide::of(results, is_of_kind),
            rows,
            models: BTreeMap::new(),
            measured,
        }
    }

    fn estimate(&mut self, part: &Part) -> Option<DerivedRate> {
        let ways = [self.scaled(part), self.bridged(part), self.by_specs(part)];
        let known = ways.into_iter().flatten();
        known.min_by(|one, other| one.error.total_cmp(&other.error))
    }

    /// From the same tests at another resolution.
    fn scaled(&self, part: &Part) -> Option<DerivedRate> {
        let fit = self.fit?;
        let mut found: Vec<(usize, f64, f64, &BenchResult)> = Vec::new();
        for (number, test) in fit.tests.iter().enumerate() {
            let of_part = self
                .results
                .iter()
                .filter(|result| result.parts.len() == 1 && result.parts[0] == part.id);
            // The nearest resolution stretches least.
            let nearest = of_part
                .filter_map(|result| Some((log_ratio_of(&result.test, test)?, result)))
                .min_by(|one, other| one.0.abs().total_cmp(&other.0.abs()));
            if let Some((pixels, result)) = nearest {
                let (change, error) = self.scaling.log_change(pixels);
                found.push((number, result.log_rate() + change, error, result));
            }
        }
        let stretch = found.iter().map(|one| one.2).fold(0.0, f64::max);
        let log = self.mean_over_tests(part.kind, &found)?;
        let members: Vec<&BenchResult> = found.iter().map(|one| one.3).collect();
        let how = match self.scaling.pairs {
            0 if part.kind != Kind::Gpu => "which hardly matters to it".to_owned(),
            0 => "by the usual loss".to_owned(),
            pairs => format!("by the loss in {pairs} pairs"),
        };
        let text = format!(
            "scaled from another resolution {how}: {}",
            told_of(&members)
        );
        Some(self.estimated(log, with_runs(stretch, members.len()), text, &members))
    }

    /// The mean over all tests of the workload, from log-rates in some of them.
    fn mean_over_tests(
        &self,
        kind: Kind,
        found: &[(usize, f64, f64, &BenchResult)],
    ) -> Option<f64> {
        let weights = weights(self.workload);
        let total: f64 = weights.iter().map(|(_, weight)| weight).sum();
        if found.len() == weights.len() {
            let sum = found
                .iter()
                .zip(&weights)
                .map(|((_, log, ..), (_, weight))| log * weight);
            return Some(sum.sum::<f64>() / total);
        }
        let (_, model) = self.fit?.kinds.get(&kind)?;
        let effects: Option<Vec<(usize, f64)>> = weights
            .iter()
            .map(|(test, _)| model.test_effect(*test))
            .collect();
        let effects = effects?;
        let is_one_table = effects.iter().all(|(table, _)| *table == effects[0].0);
        if found.is_empty() || !is_one_table {
            return None;
        }
        let part: f64 = found
            .iter()
            .map(|(test, log, ..)| log - effects[*test].1)
            .sum();
        let mean = weights
            .iter()
            .map(|(test, weight)| weight * effects[*test].1);
        Some(part / found.len() as f64 + mean.sum::<f64>() / total)
    }

    /// From the part's results in other tests.
    fn bridged(&self, part: &Part) -> Option<DerivedRate> {
        let wide = self.wide.as_ref()?;
        let effect_of = |id: &PartId| {
            let number = wide.parts.iter().position(|known| known == id)?;
            wide.model.part_effect(number)
        };
        let (table, effect) = effect_of(&part.id)?;
        let offsets: Vec<f64> = self
            .measured
            .iter()
            .filter_map(|(id, log)| Some((effect_of(id)?, log)))
            .filter(|((other, _), _)| *other == table)
            .map(|((_, effect), log)| log - effect)
            .collect();
        if offsets.len() < LEAST_BRIDGES {
            return None;
        }
        let number = offsets.len() as f64;
        let mean = offsets.iter().sum::<f64>() / number;
        let squares: f64 = offsets.iter().map(|one| (one - mean) * (one - mean)).sum();
        let error = libm::sqrt(squares / (number - 1.0) * (1.0 + 1.0 / number));
        let members: Vec<&BenchResult> = self
            .results
            .iter()
            .filter(|result| result.parts.len() == 1 && result.parts[0] == part.id)
            .collect();
        let text = format!(
            "from other tests, by {} parts tested in both: {}",
            offsets.len(),
            told_of(&members)
        );
        let error = with_runs(error, members.len());
        Some(self.estimated(mean + effect, error, text, &members))
    }

    /// From the part's specs, by the measured parts that have the same ones.
    fn by_specs(&mut self, part: &Part) -> Option<DerivedRate> {
        let own = features(part);
        let used = known_specs(&own);
        let rows = &self.rows;
        let model = self.models.entry(used.clone()).or_insert_with(|| {
            let rows = rows.iter();
            let alike = rows.filter_map(|(row, log)| Some((select(row, &used)?, *log)));
            SpecModel::fit(&alike.collect::<Vec<_>>())
        });
        let model = model.as_ref()?;
        let estimate = model.estimate(&select(&own, &used)?);
        let specs = drivers(part.kind);
        let names: Vec<&str> = used
            .iter()
            .filter_map(|one| Some(specs.get(*one)?.key()))
            .collect();
        let beyond = match estimate.is_beyond {
            true => ", beyond their specs",
            false => "",
        };
        let text = format!(
            "from {}, by {} measured parts{beyond}; they foretell each other to {:.0} %",
            names.join(", "),
            model.rows(),
            100.0 * model.cross_validated_error()
        );
        Some(self.estimated(estimate.log, estimate.error, text, &[]))
    }

    fn estimated(
        &self,
        log: f64,
        error: f64,
        text: String,
        members: &[&BenchResult],
    ) -> DerivedRate {
        DerivedRate {
            log,
            error: error.max(2.0 * LEAST_ERROR),
            evidence: Evidence::Derived(text.into()),
            newest: members.iter().filter_map(|result| result.date).max(),
        }
    }
}

/// An error together with that of the runs which the estimate starts from.
fn with_runs(error: f64, runs: usize) -> f64 {
    let of_runs = ERROR_OF_ONE / libm::sqrt(runs.max(1) as f64);
    libm::sqrt(error * error + of_runs * of_runs)
}

/// The log-rate of a part that somebody measured in the workload.
fn measured_log(part: &Part, workload: &Workload, table: &RateTable) -> Option<f64> {
    if let Some(written) = part.rates.get(&workload.id) {
        return (!written.evidence.is_estimate())
            .then(|| libm::log(written.milli as f64 / 1_000.0));
    }
    let derived = table.rates.get(&(workload.id.clone(), part.id.clone()))?;
    Some(derived.log)
}

impl Wide {
    fn of(results: &[BenchResult], is_of_kind: impl Fn(&PartId) -> bool) -> Option<Wide> {
        let mut parts: Vec<PartId> = Vec::new();
        let mut tests: Vec<&TestId> = Vec::new();
        let mut cells = Vec::new();
        let number = |position: Option<usize>, length: usize| position.unwrap_or(length);
        for result in results.iter().filter(|result| result.parts.len() == 1) {
            let id = &result.parts[0];
            if !is_of_kind(id) {
                continue;
            }
            let part = number(parts.iter().position(|known| known == id), parts.len());
            if part == parts.len() {
                parts.push(id.clone());
            }
            let test = number(
                tests.iter().position(|known| **known == result.test),
                tests.len(),
            );
            if test == tests.len() {
                tests.push(&result.test);
            }
            let log = result.log_rate();
            cells.push(Cell { part, test, log });
        }
        let model = TwoWay::fit(&cells, parts.len(), tests.len(), Weighting::Huber);
        (!cells.is_empty()).then_some(Wide { parts, model })
    }
}
