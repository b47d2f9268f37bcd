//! Rates from specs: for a part that nobody tested, what the tested parts of its kind say of one
//! with such specs.
//!
//! A log-linear trend in the specs, corrected by how the most alike of the tested parts lie above or
//! below it (kriging, in the geostatisticians' word). The constants are fixed, so that there is
//! nothing to search and nothing random; they were chosen on published processors and hold for
//! eight rows as for two hundred. The error is that of cross-validation: every part is foretold
//! from the others, in closed form.
//!
//! What it cannot do: beyond the specs of the tested parts it reads too low, so such an estimate is
//! given twice the error; and it is not monotone, a part with a little more may get a little less.

use super::cholesky::Cholesky;
use crate::catalogue::spec::Spec;
use crate::catalogue::{Kind, Part};
use std::collections::BTreeSet;

/// The specs that tell how fast parts of a kind are.
const DRIVERS: [(Kind, &[Spec]); 4] = [
    (
        Kind::Cpu,
        &[Spec::Cores, Spec::Threads, Spec::BoostMhz, Spec::CacheMb],
    ),
    (
        Kind::Gpu,
        &[Spec::Fp32Gflops, Spec::BandwidthGbS, Spec::VideoMemoryGb],
    ),
    (
        Kind::Memory,
        &[Spec::TransferMtS, Spec::Latency, Spec::CapacityGb],
    ),
    (Kind::Storage, &[Spec::ReadMbS, Spec::PcieGeneration]),
];

/// Fewer tested parts than this say nothing of another one, nor do fewer than two more than specs.
const LEAST_ROWS: usize = 6;
/// How far apart the constant, the slopes, and what parts have of their own are held to lie, as
/// variances beside that of the noise, which is 1.
const OF_CONSTANT: f64 = 100.0;
const OF_SLOPES: f64 = 10.0;
const OF_LIKENESS: f64 = 3.0;
/// Estimates beyond the tested parts' specs lie further off than they think: of the largest fifth,
/// foretold from the rest, 48 % lay within one standard error instead of 68 %.
const BEYOND: f64 = 2.0;

/// The specs of a kind that estimates use.
pub fn drivers(kind: Kind) -> &'static [Spec] {
    let known = DRIVERS.iter().find(|(one, _)| *one == kind);
    known.map_or(&[], |(_, specs)| specs)
}

/// The logarithms of a part's specs, in the order of [`drivers`]; `None` where it lacks one.
pub fn features(part: &Part) -> Vec<Option<f64>> {
    let specs = drivers(part.kind).iter();
    specs
        .map(|spec| {
            let number = part.number(*spec).filter(|number| *number > 0)?;
            Some(libm::log(number as f64))
        })
        .collect()
}

/// A model of log-rates from log-specs.
#[derive(Debug, Clone)]
pub struct SpecModel {
    /// By spec: mean and standard deviation of the rows, and the least and most of them.
    spread: Vec<(f64, f64)>,
    range: Vec<(f64, f64)>,
    rows: Vec<Vec<f64>>,
    mean: f64,
    factor: Cholesky,
    /// The inverse of the rows' covariance, times their log-rates.
    pull: Vec<f64>,
    noise: f64,
    left_out: Vec<f64>,
}

/// An estimate of a log-rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpecEstimate {
    pub log: f64,
    pub error: f64,
    /// Some spec lies outside those of the tested parts.
    pub is_beyond: bool,
}

impl SpecModel {
    /// Fits rows of log-specs and their log-rates; `None` where there are too few.
    pub fn fit(rows: &[(Vec<f64>, f64)]) -> Option<SpecModel> {
        let specs = rows.first()?.0.len();
        if specs == 0 || rows.len() < LEAST_ROWS.max(specs + 2) {
            return None;
        }
        let number = rows.len() as f64;
        let column = |spec: usize| rows.iter().map(move |(specs, _)| specs[spec]);
        let spread: Vec<(f64, f64)> = (0..specs)
            .map(|spec| {
                let mean = column(spec).sum::<f64>() / number;
                let squares: f64 = column(spec).map(|one| (one - mean) * (one - mean)).sum();
                let deviation = libm::sqrt(squares / number);
                // A spec that all rows share tells nothing, and must not divide by nothing.
                (mean, if deviation > 0.0 { deviation } else { 1.0 })
            })
            .collect();
        let range = (0..specs).map(|spec| {
            let least = column(spec).fold(f64::INFINITY, f64::min);
            (least, column(spec).fold(f64::NEG_INFINITY, f64::max))
        });
        let mean = rows.iter().map(|(_, log)| log).sum::<f64>() / number;
        let scaled: Vec<Vec<f64>> = rows
            .iter()
            .map(|(specs, _)| scale(specs, &spread))
            .collect();
        let mut matrix = vec![vec![0.0; rows.len()]; rows.len()];
        for (row, one) in scaled.iter().enumerate() {
            for (column, other) in scaled.iter().enumerate().take(row + 1) {
                let noise = if row == column { 1.0 } else { 0.0 };
                matrix[row][column] = likeness(one, other) + noise;
            }
        }
        let factor = Cholesky::of(matrix);
        let pull = factor.solve(rows.iter().map(|(_, log)| log - mean).collect());
        let own = factor.inverse_diagonal();
        let squares: f64 = pull
            .iter()
            .zip(&own)
            .map(|(pull, own)| pull * pull / own)
            .sum();
        Some(SpecModel {
            range: range.collect(),
            left_out: pull
                .iter()
                .zip(&own)
                .map(|(pull, own)| pull / own)
                .collect(),
            noise: squares / number,
            spread,
            rows: scaled,
            mean,
            factor,
            pull,
        })
    }

    /// What the model says of a part with these log-specs.
    pub fn estimate(&self, specs: &[f64]) -> SpecEstimate {
        let scaled = scale(specs, &self.spread);
        let alike: Vec<f64> = self.rows.iter().map(|row| likeness(&scaled, row)).collect();
        let pulled: f64 = alike
            .iter()
            .zip(&self.pull)
            .map(|(one, other)| one * other)
            .sum();
        let solved = self.factor.solve(alike.clone());
        let known: f64 = alike
            .iter()
            .zip(&solved)
            .map(|(one, other)| one * other)
            .sum();
        let own = 1.0 + likeness(&scaled, &scaled);
        let error = libm::sqrt(self.noise * (own - known).max(0.0));
        let mut pairs = specs.iter().zip(&self.range);
        let is_beyond = pairs.any(|(spec, (least, most))| spec < least || spec > most);
        SpecEstimate {
            log: self.mean + pulled,
            error: if is_beyond { BEYOND * error } else { error },
            is_beyond,
        }
    }

    /// How far each row is off when the others foretell it, as logarithms.
    pub fn left_out(&self) -> &[f64] {
        &self.left_out
    }

    /// The root mean square of [`left_out`](SpecModel::left_out).
    pub fn cross_validated_error(&self) -> f64 {
        let squares: f64 = self.left_out.iter().map(|one| one * one).sum();
        libm::sqrt(squares / self.left_out.len() as f64)
    }

    pub fn rows(&self) -> usize {
        self.rows.len()
    }
}

fn scale(specs: &[f64], spread: &[(f64, f64)]) -> Vec<f64> {
    let pairs = specs.iter().zip(spread);
    pairs
        .map(|(spec, (mean, deviation))| (spec - mean) / deviation)
        .collect()
}

/// The covariance of two parts: a constant and slopes that are all but free, and a likeness that
/// fades with distance (Matérn, of smoothness 3/2 and length 1).
fn likeness(one: &[f64], other: &[f64]) -> f64 {
    let number = one.len() as f64;
    let pairs = || one.iter().zip(other);
    let together: f64 = pairs().map(|(one, other)| one * other).sum();
    let apart: f64 = pairs()
        .map(|(one, other)| (one - other) * (one - other))
        .sum();
    let distance = libm::sqrt(3.0 * apart / number);
    OF_CONSTANT
        + OF_SLOPES * together / number
        + OF_LIKENESS * (1.0 + distance) * libm::exp(-distance)
}

/// Which of a kind's specs an estimate uses: those that the part itself has.
pub fn known_specs(features: &[Option<f64>]) -> BTreeSet<usize> {
    let known = features.iter().enumerate();
    known
        .filter_map(|(number, feature)| feature.map(|_| number))
        .collect()
}

/// The values of some specs; `None` where one is missing.
pub fn select(features: &[Option<f64>], wanted: &BTreeSet<usize>) -> Option<Vec<f64>> {
    wanted
        .iter()
        .map(|number| *features.get(*number)?)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_power_law_is_found_and_its_error_is_small() {
        // rate = 2 · throughput^0.8 · bandwidth^0.2, on a grid.
        let row = |throughput: f64, bandwidth: f64| {
            let log = 2.0_f64.ln() + 0.8 * throughput.ln() + 0.2 * bandwidth.ln();
            (vec![throughput.ln(), bandwidth.ln()], log)
        };
        let rows: Vec<_> = (1..5)
            .flat_map(|one| (1..5).map(move |other| row(f64::from(one), f64::from(other))))
            .collect();
        let model = SpecModel::fit(&rows).unwrap();
        let (specs, log) = row(2.5, 3.5);
        let estimate = model.estimate(&specs);
        assert!((estimate.log - log).abs() < 0.01, "{estimate:?}");
        assert!(model.cross_validated_error() < 0.05);
        assert!(!estimate.is_beyond);
        let beyond = model.estimate(&row(9.0, 3.5).0);
        assert!(beyond.is_beyond && beyond.error > 2.0 * estimate.error);
    }

    #[test]
    fn leaving_a_row_out_is_what_a_model_without_it_says() {
        // The spread of the specs is that of all rows, so the model without one is told it.
        let rows: Vec<(Vec<f64>, f64)> = (0..9)
            .map(|number| {
                let spec = f64::from(number * number % 7);
                (vec![spec], 0.3 * spec + f64::from(number % 3))
            })
            .collect();
        let model = SpecModel::fit(&rows).unwrap();
        let gone = 4;
        let scaled: Vec<Vec<f64>> = rows
            .iter()
            .map(|(specs, _)| scale(specs, &model.spread))
            .collect();
        let kept: Vec<usize> = (0..9).filter(|row| *row != gone).collect();
        let matrix = kept.iter().map(|row| {
            let entries = kept.iter().map(|column| {
                let noise = if row == column { 1.0 } else { 0.0 };
                likeness(&scaled[*row], &scaled[*column]) + noise
            });
            entries.collect()
        });
        let factor = Cholesky::of(matrix.collect());
        let pull = factor.solve(kept.iter().map(|row| rows[*row].1 - model.mean).collect());
        let foretold: f64 = kept
            .iter()
            .zip(&pull)
            .map(|(row, pull)| pull * likeness(&scaled[gone], &scaled[*row]))
            .sum();
        let expected = rows[gone].1 - model.mean - foretold;
        assert!((model.left_out()[gone] - expected).abs() < 1e-9);
    }

    #[test]
    fn too_few_parts_say_nothing() {
        let rows: Vec<(Vec<f64>, f64)> = (0..5).map(|one| (vec![f64::from(one)], 1.0)).collect();
        assert!(SpecModel::fit(&rows).is_none());
        assert!(SpecModel::fit(&[]).is_none());
    }
}
