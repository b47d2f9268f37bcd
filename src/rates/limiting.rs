//! Which part held a whole build back, worked out from the results themselves.
//!
//! A build is as fast as the slowest of the parts that limit it. So a result of a build says what
//! one of its parts can do, and of the others only that they can do no less. Which one it was is
//! found by turns: fit the parts on the results that they limited, then give every result to the
//! part with the lowest fitted rate, until nothing changes hands. Results that contradict the
//! outcome are shown, not hidden.

use super::two_way::{Cell, TwoWay, Weighting};
use crate::catalogue::Kind;
use std::collections::{BTreeMap, BTreeSet};

/// A result with the parts that could have limited it.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// One part of each limiting kind, by its number among the parts of its kind.
    pub parts: BTreeMap<Kind, usize>,
    pub test: usize,
    pub log: f64,
    /// Which kind limited it, where whoever measured it says so.
    pub told: Option<Kind>,
}

/// What came out.
#[derive(Debug, Clone)]
pub struct Limiting {
    /// By row: the kind whose part limited it.
    pub kinds: Vec<Kind>,
    pub fits: BTreeMap<Kind, TwoWay>,
    /// False when results kept changing hands; the fits are those of the last turn.
    pub is_stable: bool,
    pub disagreements: Vec<Disagreement>,
}

/// A result that does not agree with what the others say of its parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disagreement {
    pub row: usize,
    pub kind: Kind,
    /// The log-rate found, less the lowest that the fits give its parts.
    pub log_difference: f64,
    pub why: DisagreementKind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DisagreementKind {
    /// Faster than its slowest part is known to be.
    TooFast,
    /// Slower than every part of it is known to be.
    TooSlow,
    /// Another part than the one that is said to have limited it is slower.
    OtherLimit,
}

/// Turns before the search gives up; results are few and mostly stand after two or three.
const MOST_TURNS: usize = 50;
/// Spreads beyond which a result disagrees: 1 in 370 does so by chance.
const SPREADS: f64 = 3.0;
/// A result is not held to agree more closely than this: runs differ by some 3 % (common
/// practice, no source).
const LEAST_SPREAD: f64 = 0.03;
/// Nor is a wider spread believed: it comes of results that were given to the wrong part.
const MOST_SPREAD: f64 = 0.1;

/// Finds what limited each result, and fits the parts of every kind on theirs.
///
/// `parts` holds how many parts there are of each kind.
pub fn find_limits(rows: &[Row], parts: &BTreeMap<Kind, usize>, tests: usize) -> Limiting {
    let mut kinds: Vec<Kind> = rows.iter().map(|row| first_guess(row, rows)).collect();
    let mut seen = BTreeSet::new();
    let mut is_stable = false;
    let mut fits = fit(rows, &kinds, parts, tests);
    for _ in 0..MOST_TURNS {
        let next: Vec<Kind> = rows
            .iter()
            .zip(&kinds)
            .map(|(row, now)| row.told.unwrap_or_else(|| slowest(row, *now, &fits)))
            .collect();
        if next == kinds {
            is_stable = true;
            break;
        }
        if !seen.insert(next.clone()) {
            break;
        }
        kinds = next;
        fits = fit(rows, &kinds, parts, tests);
    }
    let disagreements = disagreements(rows, &fits);
    Limiting {
        kinds,
        fits,
        is_stable,
        disagreements,
    }
}

/// Where nothing is fitted yet: a part that did better in the same test in another build did not
/// limit this one. Of those left, the graphics card, which limits most of what has one (common
/// practice, no source).
fn first_guess(row: &Row, rows: &[Row]) -> Kind {
    let best_of = |kind: Kind, part: usize| {
        let alike = rows
            .iter()
            .filter(|other| other.test == row.test && other.parts.get(&kind) == Some(&part));
        alike.fold(row.log, |best, other| best.max(other.log))
    };
    let may_limit = |kind: &Kind| {
        let part = row.parts.get(kind).copied();
        part.is_some_and(|part| best_of(*kind, part) - row.log <= SPREADS * LEAST_SPREAD)
    };
    let left: Vec<Kind> = row.parts.keys().copied().filter(may_limit).collect();
    let usual = left.iter().copied().find(|kind| *kind == Kind::Gpu);
    let any = || left.first().or(row.parts.keys().next()).copied();
    row.told.or(usual).or_else(any).unwrap_or(Kind::Cpu)
}

fn fit(
    rows: &[Row],
    kinds: &[Kind],
    parts: &BTreeMap<Kind, usize>,
    tests: usize,
) -> BTreeMap<Kind, TwoWay> {
    let fit_of = |kind: Kind, number: usize| {
        let of_kind = rows.iter().zip(kinds).filter(|(_, limit)| **limit == kind);
        let cells: Vec<Cell> = of_kind
            .filter_map(|(row, _)| {
                Some(Cell {
                    part: *row.parts.get(&kind)?,
                    test: row.test,
                    log: row.log,
                })
            })
            .collect();
        TwoWay::fit(&cells, number, tests, Weighting::Huber)
    };
    parts
        .iter()
        .map(|(kind, number)| (*kind, fit_of(*kind, *number)))
        .collect()
}

fn spread(fit: &TwoWay) -> f64 {
    SPREADS * fit.scale().clamp(LEAST_SPREAD, MOST_SPREAD)
}

/// What the fits give each part of a row, lowest first.
fn given(row: &Row, fits: &BTreeMap<Kind, TwoWay>) -> Vec<(f64, Kind)> {
    let mut given: Vec<(f64, Kind)> = row
        .parts
        .iter()
        .filter_map(|(kind, part)| Some((fits.get(kind)?.predict(*part, row.test)?, *kind)))
        .collect();
    given.sort_by(|one, other| one.0.total_cmp(&other.0).then(one.1.cmp(&other.1)));
    given
}

/// The kind of the row's slowest part. A part of which nothing is known yet is taken for it only
/// where the row is slower than the known ones explain.
fn slowest(row: &Row, now: Kind, fits: &BTreeMap<Kind, TwoWay>) -> Kind {
    let given = given(row, fits);
    let Some((lowest, kind)) = given.first() else {
        return now;
    };
    let is_explained = fits
        .get(kind)
        .is_none_or(|fit| lowest - row.log <= spread(fit));
    let unknown = row
        .parts
        .keys()
        .find(|kind| given.iter().all(|(_, known)| known != *kind));
    match (is_explained, unknown) {
        (false, Some(unknown)) => *unknown,
        _ => *kind,
    }
}

fn disagreements(rows: &[Row], fits: &BTreeMap<Kind, TwoWay>) -> Vec<Disagreement> {
    let mut found = Vec::new();
    for (number, row) in rows
        .iter()
        .enumerate()
        .filter(|(_, row)| row.parts.len() > 1)
    {
        let given = given(row, fits);
        let Some((lowest, kind)) = given.first().copied() else {
            continue;
        };
        let spread = fits.get(&kind).map_or(LEAST_SPREAD, spread);
        let log_difference = row.log - lowest;
        let told = row.told.and_then(|told| {
            let of_told = given.iter().find(|(_, kind)| *kind == told)?;
            (told != kind && of_told.0 - lowest > spread).then_some(DisagreementKind::OtherLimit)
        });
        let why = match log_difference {
            over if over > spread => Some(DisagreementKind::TooFast),
            under if under < -spread => Some(DisagreementKind::TooSlow),
            _ => told,
        };
        found.extend(why.map(|why| Disagreement {
            row: number,
            kind,
            log_difference,
            why,
        }));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    const CPUS: [f64; 3] = [80.0, 110.0, 240.0];
    const GPUS: [f64; 3] = [60.0, 100.0, 150.0];
    /// How much each test asks of the processor and of the card.
    const TESTS: [(f64, f64); 3] = [(1.0, 1.0), (1.3, 0.8), (0.8, 1.2)];

    fn row(cpu: usize, gpu: usize, test: usize) -> (Row, Kind) {
        let (of_cpu, of_gpu) = TESTS[test];
        let (cpu_rate, gpu_rate) = (CPUS[cpu] * of_cpu, GPUS[gpu] * of_gpu);
        let limit = match cpu_rate < gpu_rate {
            true => Kind::Cpu,
            false => Kind::Gpu,
        };
        let row = Row {
            parts: BTreeMap::from([(Kind::Cpu, cpu), (Kind::Gpu, gpu)]),
            test,
            log: cpu_rate.min(gpu_rate).ln(),
            told: None,
        };
        (row, limit)
    }

    fn every_build() -> Vec<(Row, Kind)> {
        let pairs = (0..9).map(|pair| (pair / 3, pair % 3));
        pairs
            .flat_map(|(cpu, gpu)| (0..3).map(move |test| row(cpu, gpu, test)))
            .collect()
    }

    fn sizes() -> BTreeMap<Kind, usize> {
        BTreeMap::from([(Kind::Cpu, 3), (Kind::Gpu, 3)])
    }

    #[test]
    fn builds_tell_what_limited_them_without_being_told() {
        let (rows, truth): (Vec<Row>, Vec<Kind>) = every_build().into_iter().unzip();
        let found = find_limits(&rows, &sizes(), 3);
        assert!(found.is_stable);
        assert_eq!(found.disagreements, Vec::new());
        assert_eq!(found.kinds, truth);
        let ratio = |kind: Kind, slow: usize, fast: usize| {
            let of = |part| found.fits[&kind].predict(part, 2).unwrap().exp();
            of(fast) / of(slow)
        };
        assert!((ratio(Kind::Gpu, 0, 1) - 100.0 / 60.0).abs() < 1e-6);
        assert!((ratio(Kind::Cpu, 0, 1) - 110.0 / 80.0).abs() < 1e-6);
    }

    #[test]
    fn a_result_that_contradicts_the_rest_is_shown_with_its_direction() {
        let (mut rows, _): (Vec<Row>, Vec<Kind>) = every_build().into_iter().unzip();
        // Half as fast again as the slowest card: a typing error.
        let typed = rows
            .iter()
            .position(|row| row.parts == BTreeMap::from([(Kind::Cpu, 2), (Kind::Gpu, 0)]));
        let typed = typed.unwrap();
        rows[typed].log += 1.5_f64.ln();
        let found = find_limits(&rows, &sizes(), 3);
        let shown: Vec<_> = found
            .disagreements
            .iter()
            .map(|one| (one.row, one.kind, one.why))
            .collect();
        assert_eq!(shown, [(typed, Kind::Gpu, DisagreementKind::TooFast)]);
    }

    #[test]
    fn a_part_that_is_said_to_limit_and_is_not_the_slowest_is_shown() {
        let (mut rows, truth): (Vec<Row>, Vec<Kind>) = every_build().into_iter().unzip();
        // The fastest processor is said to hold back the slowest card.
        let wrong = rows
            .iter()
            .position(|row| row.parts == BTreeMap::from([(Kind::Cpu, 2), (Kind::Gpu, 0)]));
        let wrong = wrong.unwrap();
        assert_eq!(truth[wrong], Kind::Gpu);
        rows[wrong].told = Some(Kind::Cpu);
        rows.push(Row {
            parts: BTreeMap::from([(Kind::Cpu, 2)]),
            test: 0,
            log: CPUS[2].ln(),
            told: None,
        });
        let found = find_limits(&rows, &sizes(), 3);
        assert!(
            found.disagreements.iter().any(|one| one.row == wrong),
            "{:?}",
            found.disagreements
        );
    }
}
