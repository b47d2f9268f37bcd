//! What in a set of results can hardly be right: repeated, contradictory and impossible rows.

use super::result::BenchResult;
use crate::catalogue::spec::Spec;
use crate::catalogue::{Catalogue, PartId, TestId};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// One doubt about results.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ResultDoubt {
    pub kind: DoubtKind,
    /// Numbers of the results that it is about.
    pub results: Vec<usize>,
    pub text: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DoubtKind {
    /// The same number of the same run, twice.
    Duplicate,
    /// Two results of one part in one test that differ by more than runs do.
    Conflict,
    /// Units that cannot be compared, in one test.
    Units,
    /// More than the part can do.
    Impossible,
    /// Found later than today.
    Future,
}

impl DoubtKind {
    pub fn label(self) -> &'static str {
        match self {
            DoubtKind::Duplicate => "duplicate",
            DoubtKind::Conflict => "conflict",
            DoubtKind::Units => "units",
            DoubtKind::Impossible => "impossible",
            DoubtKind::Future => "date",
        }
    }
}

/// Runs of one test on one part differ by this factor at most, in driver, cooling and silicon; more
/// is another setting or a typing error (common practice, no source).
const MOST_RATIO: f64 = 1.25;
/// What many threads do at most beside one, per thread: clocks fall under load, so each does no
/// more; the allowance is for the spread of runs (common practice, no source).
const MOST_PER_THREAD: f64 = 1.1;
/// Settings of a test that runs on one thread, and on all of them.
const ONE_THREAD: [&str; 4] = ["single", "single thread", "1t", "one thread"];
const ALL_THREADS: [&str; 4] = ["multi", "multi thread", "nt", "all threads"];

/// Every doubt about the results, seen on `today`.
pub fn result_doubts(
    results: &[BenchResult],
    catalogue: &Catalogue,
    today: NaiveDate,
) -> Vec<ResultDoubt> {
    let mut doubts = Vec::new();
    let mut by_run: BTreeMap<(&TestId, Vec<&PartId>), Vec<usize>> = BTreeMap::new();
    let mut by_test: BTreeMap<&TestId, usize> = BTreeMap::new();
    for (number, result) in results.iter().enumerate() {
        let mut parts: Vec<&PartId> = result.parts.iter().collect();
        parts.sort();
        by_run
            .entry((&result.test, parts))
            .or_default()
            .push(number);
        let first = *by_test.entry(&result.test).or_insert(number);
        if !results[first].unit.is_comparable(&result.unit) {
            let text = format!(
                "{} has results in {} ({}) and in {} ({}), which cannot be compared",
                result.test,
                results[first].unit,
                results[first].place(),
                result.unit,
                result.place()
            );
            doubts.push(doubt(DoubtKind::Units, &[first, number], text));
        }
        if let Some(date) = result.date.filter(|date| *date > today) {
            let text = format!("{} is dated {date}, which is yet to come", result.place());
            doubts.push(doubt(DoubtKind::Future, &[number], text));
        }
    }
    for members in by_run.values() {
        for (position, first) in members.iter().enumerate() {
            let others = &members[position + 1..];
            doubts.extend(
                others
                    .iter()
                    .filter_map(|other| compare(*first, *other, results)),
            );
        }
    }
    doubts.extend(impossible(results, catalogue));
    doubts.sort_by_key(|doubt| (doubt.results.clone(), doubt.kind));
    doubts
}

fn doubt(kind: DoubtKind, results: &[usize], text: String) -> ResultDoubt {
    ResultDoubt {
        kind,
        results: results.to_vec(),
        text,
    }
}

/// Two results of the same parts in the same test.
fn compare(first: usize, other: usize, results: &[BenchResult]) -> Option<ResultDoubt> {
    let (one, two) = (&results[first], &results[other]);
    if !one.unit.is_comparable(&two.unit) {
        return None;
    }
    let what = || format!("{} in {}", names(one), one.test);
    let is_same = one.value_micro == two.value_micro && one.unit == two.unit;
    if is_same && one.source == two.source && one.date == two.date {
        let text = format!("{}: {} repeats {}", what(), two.place(), one.place());
        return Some(doubt(DoubtKind::Duplicate, &[first, other], text));
    }
    let ratio = libm::exp((one.log_rate() - two.log_rate()).abs());
    if ratio <= MOST_RATIO {
        return None;
    }
    let text = format!(
        "{}: {} {} ({}, {}) and {} {} ({}, {}) differ by a factor of {ratio:.2}",
        what(),
        one.decimal(),
        one.unit,
        one.source,
        one.place(),
        two.decimal(),
        two.unit,
        two.source,
        two.place()
    );
    Some(doubt(DoubtKind::Conflict, &[first, other], text))
}

fn names(result: &BenchResult) -> String {
    let names: Vec<&str> = result.parts.iter().map(PartId::as_str).collect();
    names.join(" + ")
}

/// Processors that do more on all threads than so many times one thread.
fn impossible(results: &[BenchResult], catalogue: &Catalogue) -> Vec<ResultDoubt> {
    let is_setting = |result: &BenchResult, settings: &[&str]| {
        settings
            .iter()
            .any(|setting| TestId::new(&result.test.name, setting) == result.test)
    };
    let mut doubts = Vec::new();
    for (number, single) in results.iter().enumerate() {
        let part = match single.parts.as_slice() {
            [part] if is_setting(single, &ONE_THREAD) => catalogue.parts.get(part),
            _ => None,
        };
        let threads = part.and_then(|part| {
            part.number(Spec::Threads)
                .or_else(|| part.number(Spec::Cores).map(|cores| 2 * cores))
        });
        let Some(threads) = threads else { continue };
        for (other, multi) in results.iter().enumerate() {
            let is_pair = multi.parts == single.parts
                && multi.test.is_same_test(&single.test)
                && multi.source == single.source
                && is_setting(multi, &ALL_THREADS);
            let ratio = libm::exp(multi.log_rate() - single.log_rate());
            if is_pair && ratio > MOST_PER_THREAD * threads as f64 {
                let text = format!(
                    "{} in {}: {} on all threads is {ratio:.1} times {} on one, and it has {threads} threads ({}, {})",
                    names(single),
                    single.test.name,
                    multi.decimal(),
                    single.decimal(),
                    single.place(),
                    multi.place()
                );
                doubts.push(doubt(DoubtKind::Impossible, &[number, other], text));
            }
        }
    }
    doubts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::load_catalogue;
    use crate::rates::result::load_results;

    fn doubts_of(rows: &str) -> Vec<(DoubtKind, String)> {
        let parts = "[[part]]\nid = \"tarn-4\"\nkind = \"cpu\"\nname = \"Tarn 4\"\ncores = 4\n\
            threads = 4\n";
        let (catalogue, _) = load_catalogue(&[("p.toml", parts)]);
        let text = format!("parts,test,setting,value,unit,source,date\n{rows}");
        let (results, faults) = load_results(&[("m.csv", &text)], &catalogue);
        assert_eq!(faults, Vec::new());
        let today = NaiveDate::from_ymd_opt(2026, 11, 25).unwrap();
        let found = result_doubts(&results, &catalogue, today);
        found.into_iter().map(|one| (one.kind, one.text)).collect()
    }

    #[test]
    fn repeated_and_contradictory_rows_are_named_and_runs_that_differ_a_little_are_not() {
        let found = doubts_of(
            "tarn-4,Fold,,100,points,own bench,2026-09-01\n\
             tarn-4,Fold,,100,points,own bench,2026-09-01\n\
             tarn-4,Fold,,104,points,own bench,2026-09-02\n\
             tarn-4,Fold,,140,points,a reader,2026-09-03\n",
        );
        let kinds: Vec<DoubtKind> = found.iter().map(|(kind, _)| *kind).collect();
        assert_eq!(
            kinds,
            [
                DoubtKind::Duplicate,
                DoubtKind::Conflict,
                DoubtKind::Conflict,
                DoubtKind::Conflict,
            ]
        );
        assert_eq!(found[0].1, "tarn-4 in Fold: m.csv:3 repeats m.csv:2");
        assert_eq!(
            found[3].1,
            "tarn-4 in Fold: 104 points (own bench, m.csv:4) and 140 points (a reader, m.csv:5) \
             differ by a factor of 1.35"
        );
    }

    #[test]
    fn four_threads_do_hardly_more_than_four_times_one() {
        // A part with four threads scored about 5,100 on one and 16,000 on all: 3.1 times; common
        // practice, no source.
        let single = "tarn-4,Render,single,5100,points,own bench,2026-09\n";
        let fine = doubts_of(&format!(
            "{single}tarn-4,Render,multi,16000,points,own bench,2026-09\n"
        ));
        assert_eq!(fine, Vec::new());
        let wrong = doubts_of(&format!(
            "{single}tarn-4,Render,multi,26000,points,own bench,2026-09\n"
        ));
        assert_eq!(wrong.len(), 1);
        assert_eq!(wrong[0].0, DoubtKind::Impossible);
        assert_eq!(
            wrong[0].1,
            "tarn-4 in Render: 26000 on all threads is 5.1 times 5100 on one, and it has 4 threads \
             (m.csv:2, m.csv:3)"
        );
    }

    #[test]
    fn units_that_do_not_compare_and_dates_to_come_are_named() {
        let found = doubts_of(
            "tarn-4,Fold,,100,points,own bench,2026-09-01\n\
             tarn-4,Fold,,61,s,own bench,2026-12-24\n",
        );
        let kinds: Vec<DoubtKind> = found.iter().map(|(kind, _)| *kind).collect();
        assert_eq!(kinds, [DoubtKind::Units, DoubtKind::Future]);
    }
}
