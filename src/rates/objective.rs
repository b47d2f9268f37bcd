//! What a brief counts as performance: its workloads with weights, floors, caps and reference.

use super::log_rate::{LogRate, percent_of_log};
use crate::catalogue::{Kind, Part, Workload, WorkloadId};

/// One workload as a brief weighs it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Weighted {
    pub workload: WorkloadId,
    pub name: String,
    pub unit: String,
    pub limited_by: Vec<Kind>,
    /// A whole number above zero.
    pub weight: i64,
    /// The least rate that a build must reach, in thousandths of the unit.
    pub floor_milli: Option<i64>,
    /// The rate above which more counts for nothing, in thousandths of the unit.
    pub cap_milli: Option<i64>,
    /// The rate that counts as 100, in thousandths of the unit.
    pub reference_milli: i64,
}

/// The workloads of a brief.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Objective {
    pub workloads: Vec<Weighted>,
}

/// The score of a build: the weighted sum of its capped log-rates. Larger is better; equal means
/// equal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Score(pub i64);

impl Weighted {
    pub fn new(workload: &Workload, weight: i64) -> Weighted {
        Weighted {
            workload: workload.id.clone(),
            name: workload.name.clone(),
            unit: workload.unit.clone(),
            limited_by: workload.limited_by.clone(),
            weight,
            floor_milli: None,
            cap_milli: None,
            reference_milli: workload.reference_milli,
        }
    }

    pub fn is_limited_by(&self, kind: Kind) -> bool {
        self.limited_by.contains(&kind)
    }

    /// The log-rate that a part allows here, no higher than the cap; `None` without a rate.
    pub fn allowed(&self, part: &Part) -> Option<LogRate> {
        self.counted(part.rates.get(&self.workload)?.milli)
    }

    /// What a rate in thousandths counts for, no higher than the cap; `None` unless it is above zero.
    pub fn counted(&self, milli: i64) -> Option<LogRate> {
        LogRate::from_milli(self.cap_milli.map_or(milli, |cap| milli.min(cap)))
    }

    /// True when the part alone keeps the workload below its floor.
    pub fn is_below_floor(&self, part: &Part) -> bool {
        let rate = part.rates.get(&self.workload);
        rate.is_some_and(|rate| self.is_below(rate.milli))
    }

    /// True when a rate in thousandths is below the floor.
    pub fn is_below(&self, milli: i64) -> bool {
        self.floor_milli.is_some_and(|floor| milli < floor)
    }
}

impl Objective {
    /// Sum of the weights.
    pub fn total_weight(&self) -> i64 {
        self.workloads.iter().map(|weighted| weighted.weight).sum()
    }

    /// The score as people read it: the weighted geometric mean of the rates, reference = 100.
    pub fn shown(&self, score: Score) -> f64 {
        let reference: i64 = self
            .workloads
            .iter()
            .filter_map(|weighted| {
                let log = LogRate::from_milli(weighted.reference_milli)?;
                Some(weighted.weight * log.micro())
            })
            .sum();
        percent_of_log((score.0 - reference) as f64 / self.total_weight().max(1) as f64)
    }
}

/// A score for people, in hundredths of a point, so that a build can be compared and hashed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct ShownScore(pub i64);

impl ShownScore {
    pub fn of(objective: &Objective, score: Score) -> ShownScore {
        ShownScore((objective.shown(score) * 100.0).round() as i64)
    }

    /// The score in points.
    pub fn points(self) -> f64 {
        self.0 as f64 / 100.0
    }
}

impl std::fmt::Display for ShownScore {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(&format!("{}.{:02}", self.0 / 100, self.0 % 100))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weighted(name: &str, weight: i64, reference: i64) -> Weighted {
        Weighted {
            workload: WorkloadId::new(name),
            name: name.to_owned(),
            unit: "1/s".to_owned(),
            limited_by: vec![Kind::Cpu],
            weight,
            floor_milli: None,
            cap_milli: None,
            reference_milli: reference * 1_000,
        }
    }

    fn shown(objective: &Objective, rates_milli: &[i64]) -> f64 {
        let score = objective
            .workloads
            .iter()
            .zip(rates_milli)
            .map(|(weighted, rate)| weighted.weight * LogRate::from_milli(*rate).unwrap().micro())
            .sum();
        objective.shown(Score(score))
    }

    #[test]
    fn the_score_is_the_weighted_geometric_mean() {
        // Arithmetic: rates 120 and 80 of reference 100 with weights 0.7 and 0.3 give
        // 120^0.7 x 80^0.3 = 106.256.
        let objective = Objective {
            workloads: vec![weighted("a", 70, 100), weighted("b", 30, 100)],
        };
        assert!((shown(&objective, &[120_000, 80_000]) - 106.256).abs() < 0.001);
    }

    #[test]
    fn the_ranking_does_not_depend_on_the_reference() {
        // Fleming and Wallace, CACM 29(3), 1986, times of programs E F H I K on machines R, M, Z
        // (table from memory, arithmetic ours): normalised to R the geometric means of the times
        // are 1, 0.857 and 0.850, to M 1.166, 1 and 0.991. Rates are the inverse of times.
        let times = [
            [417.0, 83.0, 66.0, 39_449.0, 772.0],
            [244.0, 70.0, 153.0, 33_527.0, 368.0],
            [134.0, 70.0, 135.0, 66_000.0, 369.0],
        ];
        // A million runs per unit of time, in thousandths.
        let rate = |time: f64| (1e9 / time).round() as i64;
        let normalised_to = |base: usize| -> Vec<f64> {
            let workloads = (0..5)
                .map(|program| Weighted {
                    reference_milli: rate(times[base][program]),
                    ..weighted(&program.to_string(), 1, 1)
                })
                .collect();
            let objective = Objective { workloads };
            times
                .iter()
                .map(|machine| 100.0 / shown(&objective, &machine.map(rate)))
                .collect()
        };
        for (base, expected) in [(0, [1.0, 0.857, 0.850]), (1, [1.166, 1.0, 0.991])] {
            for (found, expected) in normalised_to(base).iter().zip(expected) {
                assert!(
                    (found - expected).abs() < 0.001,
                    "{found} is not {expected}"
                );
            }
        }
    }
}
