//! What a build achieves in each use, and what was measured of it.

use crate::catalogue::PartId;
use crate::guide::view::{MeasuredView, PowerView, WorkloadView};
use crate::optimise::{Build, Limit, Reached};
use crate::rates::Weighted;
use crate::rates::result::{BenchResult, Reading};
use crate::watch::asking::Asked;

/// How far what was measured may lie from what was expected before the author is told, in percent:
/// five times what runs of one test differ by (common practice, no source).
const FLAGGED_PERCENT: f64 = 15.0;

pub(super) fn workloads(asked: &Asked, build: &Build) -> Vec<WorkloadView> {
    let objective = &asked.brief.objective;
    let whole = objective.total_weight().max(1) as f64;
    let pairs = objective.workloads.iter().zip(&build.rates);
    pairs
        .map(|(weighted, reached)| WorkloadView {
            name: weighted.name.clone(),
            unit: weighted.unit.clone(),
            weight_percent: 100.0 * weighted.weight as f64 / whole,
            rate: reached.rate_milli as f64 / 1e3,
            limited_by: limit_words(reached, build),
            is_estimate: reached.is_estimate,
            measured: measured(asked, build, weighted, reached),
        })
        .collect()
}

fn limit_words(reached: &Reached, build: &Build) -> String {
    match &reached.limited_by {
        Limit::Cap => "the brief's cap".to_owned(),
        Limit::Role(role) => {
            let pick = build.picks.iter().find(|pick| pick.role == *role);
            pick.map_or_else(
                || role.to_string(),
                |pick| format!("{role} ({})", pick.name),
            )
        }
    }
}

/// The latest own result of this very build in a test that alone makes up the workload.
fn measured(
    asked: &Asked,
    build: &Build,
    weighted: &Weighted,
    reached: &Reached,
) -> Option<MeasuredView> {
    let workload = asked.settings.catalogue.workloads.get(&weighted.workload)?;
    let [test] = workload.tests.as_slice() else {
        return None;
    };
    let is_of_build = |result: &&BenchResult| {
        let has = |part: &PartId| build.picks.iter().any(|pick| pick.part == *part);
        // The result of a single part is what the expectation was made of.
        result.parts.len() > 1 && result.parts.iter().all(has) && result.test == test.test
    };
    let results = asked.settings.results.iter().filter(is_of_build);
    let result = results.max_by_key(|result| result.date)?;
    let rate = result.log_rate().exp();
    let expected = reached.rate_milli as f64 / 1e3;
    let difference_percent = off_percent(rate, expected);
    let read = |reading| result.readings.get(reading);
    Some(MeasuredView {
        test: result.test.to_string(),
        rate,
        difference_percent,
        is_flagged: difference_percent.abs() > FLAGGED_PERCENT,
        source: result.source.clone(),
        date: result.date.map(|date| date.to_string()),
        note: result.note.clone(),
        temperature_c: read(Reading::Temperature),
        wall_w: read(Reading::Wall),
        clock_mhz: read(Reading::Clock),
        voltage_v: read(Reading::Voltage),
        wall_expected_w: None,
        wall_difference_percent: None,
        is_wall_flagged: false,
    })
}

/// Puts what the supply's efficiency makes of the expected load beside what was measured at the wall.
pub(super) fn put_wall_power(workloads: &mut [WorkloadView], power: Option<&PowerView>) {
    let expected = power.and_then(|power| power.wall_230_w);
    let measured = workloads.iter_mut().filter_map(|one| one.measured.as_mut());
    for measured in measured {
        if let (Some(expected), Some(wall)) = (expected, measured.wall_w) {
            let off = off_percent(wall, expected as f64);
            measured.wall_expected_w = Some(expected);
            measured.wall_difference_percent = Some(off);
            // The expected load is that of the worst case: a test that draws less is no surprise.
            measured.is_wall_flagged = off > FLAGGED_PERCENT;
        }
    }
}

fn off_percent(measured: f64, expected: f64) -> f64 {
    100.0 * (measured / expected.max(f64::MIN_POSITIVE) - 1.0)
}
