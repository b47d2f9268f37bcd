//! The results that measure a workload, as rows of its model.

use crate::catalogue::{Catalogue, Kind, PartId, TestId, Workload};
use crate::rates::limiting::Row;
use crate::rates::result::BenchResult;
use std::collections::BTreeMap;

/// A row of a workload's model, with the results that it was made of.
#[derive(Debug, Clone, PartialEq)]
pub struct UsedRow {
    /// The parts that could have limited it.
    pub parts: Vec<PartId>,
    pub test: TestId,
    /// Numbers of the results: runs of one test by one source are one row.
    pub results: Vec<usize>,
    /// Natural logarithm of their mean rate.
    pub log: f64,
}

/// Rows and the parts that they are of.
pub(super) struct Gathered {
    pub rows: Vec<(UsedRow, Row)>,
    /// The parts of each kind, by number.
    pub parts: BTreeMap<Kind, Vec<PartId>>,
}

/// What makes two results runs of one: parts, test, source, and what is said to have limited them.
type Run<'r> = (Vec<(Kind, &'r PartId)>, usize, &'r str, Option<Kind>);

/// Gathers the results of a workload's tests.
pub(super) fn gather(
    workload: &Workload,
    tests: &[TestId],
    catalogue: &Catalogue,
    results: &[BenchResult],
) -> Gathered {
    let mut runs: BTreeMap<Run<'_>, Vec<usize>> = BTreeMap::new();
    for (number, result) in results.iter().enumerate() {
        let Some(test) = tests.iter().position(|test| *test == result.test) else {
            continue;
        };
        let limiting = limiting_parts(workload, catalogue, result);
        let told = result
            .limited_by
            .filter(|kind| limiting.iter().any(|(one, _)| one == kind));
        // A build that is held back by a kind that the workload does not count says nothing of it.
        if limiting.is_empty() || told.is_none() && result.limited_by.is_some() {
            continue;
        }
        let run = (limiting, test, result.source.as_str(), told);
        runs.entry(run).or_default().push(number);
    }
    let mut parts: BTreeMap<Kind, Vec<PartId>> = BTreeMap::new();
    let mut rows = Vec::new();
    for ((limiting, test, _, told), members) in runs {
        let mut numbers = BTreeMap::new();
        for (kind, part) in &limiting {
            let of_kind = parts.entry(*kind).or_default();
            let number = of_kind.iter().position(|known| known == *part);
            let number = number.unwrap_or_else(|| {
                of_kind.push((*part).clone());
                of_kind.len() - 1
            });
            numbers.insert(*kind, number);
        }
        let logs: Vec<f64> = members.iter().map(|one| results[*one].log_rate()).collect();
        let log = results[members[0]].unit.log_mean(&logs);
        let used = UsedRow {
            parts: limiting.iter().map(|(_, part)| (*part).clone()).collect(),
            test: tests[test].clone(),
            results: members,
            log,
        };
        let row = Row {
            parts: numbers,
            test,
            log,
            told,
        };
        rows.push((used, row));
    }
    Gathered { rows, parts }
}

/// One part of each kind that limits the workload. Two different parts of one kind leave open
/// which of them it was, so that kind is left out.
fn limiting_parts<'r>(
    workload: &Workload,
    catalogue: &Catalogue,
    result: &'r BenchResult,
) -> Vec<(Kind, &'r PartId)> {
    let kind_of = |id: &PartId| catalogue.parts.get(id).map(|part| part.kind);
    let mut limiting: Vec<(Kind, &PartId)> = result
        .parts
        .iter()
        .filter_map(|id| Some((kind_of(id)?, id)))
        .filter(|(kind, _)| workload.limited_by.contains(kind))
        .collect();
    limiting.sort();
    limiting.dedup();
    let kinds: Vec<Kind> = limiting.iter().map(|(kind, _)| *kind).collect();
    limiting.retain(|(kind, _)| kinds.iter().filter(|other| *other == kind).count() == 1);
    limiting
}
