//! The log-additive model of a table with holes: log-rate = what the part is + what the test is.
//!
//! Parts are the rows and tests the columns of a two-way layout. Least squares fits both effects
//! over all results at once, so that a part tested in two of five tests is compared with the others
//! through the tests that they share. Huber's weights (k = 1.345, scale from the median absolute
//! residual) keep one gross outlier from bending its neighbours. Rows and columns that no chain of
//! results connects have no common scale, and are never compared.
//!
//! Written out in plain arithmetic, without a linear algebra library: those choose their
//! instructions by the processor that they find, and a rate has to be the same on every machine.

use super::cholesky::Cholesky;

/// One result: a part in a test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    pub part: usize,
    pub test: usize,
    /// Natural logarithm of the rate.
    pub log: f64,
}

/// How residuals count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weighting {
    /// All alike: ordinary least squares.
    Equal,
    /// Large ones less, after Huber.
    Huber,
}

/// A log-rate with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    pub log: f64,
    /// `None` where there are no more results than effects: nothing contradicts anything.
    pub error: Option<f64>,
}

/// The fitted effects of parts and tests.
#[derive(Debug, Clone)]
pub struct TwoWay {
    cells: Vec<Cell>,
    parts: Vec<f64>,
    tests: Vec<f64>,
    /// Which connected table a part or test belongs to; `None` without any result.
    table_of_part: Vec<Option<usize>>,
    table_of_test: Vec<Option<usize>>,
    /// By cell, 1 where it counts in full.
    weights: Vec<f64>,
    residuals: Vec<f64>,
    /// Spread of the residuals, as a standard deviation of the logarithm.
    scale: f64,
    /// What the variance of a combination of effects is a multiple of.
    variance: Option<f64>,
    plain: Normal,
    weighted: Normal,
}

/// Huber's constant: 95 % as efficient as least squares where errors are normal.
const HUBER_K: f64 = 1.345;
/// The median of |x| for a standard normal x: the third quartile.
const MAD_OF_NORMAL: f64 = 0.674_489_750_196_081_7;
/// No result is believed to be more exact than this; it keeps a perfect fit from dividing by zero.
const LEAST_SCALE: f64 = 1e-9;
const MOST_ROUNDS: usize = 500;
/// Effects that move less than this stand.
const STEADY: f64 = 1e-12;

impl TwoWay {
    /// Fits a table of so many parts and tests.
    pub fn fit(cells: &[Cell], parts: usize, tests: usize, weighting: Weighting) -> TwoWay {
        let (table_of_part, table_of_test) = tables(cells, parts, tests);
        let gauges = gauges(&table_of_test);
        let plain = Normal::new(cells, &vec![1.0; cells.len()], parts, &gauges);
        let mut fit = TwoWay {
            cells: cells.to_vec(),
            parts: vec![0.0; parts],
            tests: vec![0.0; tests],
            table_of_part,
            table_of_test,
            weights: vec![1.0; cells.len()],
            residuals: Vec::new(),
            scale: 0.0,
            variance: None,
            weighted: plain.clone(),
            plain,
        };
        fit.solve();
        if weighting == Weighting::Huber {
            fit.reweigh(&gauges);
        }
        fit.variance = fit.variance_factor(weighting);
        fit
    }

    /// The log-rate that the model gives a part in a test; `None` where no chain connects them.
    pub fn predict(&self, part: usize, test: usize) -> Option<f64> {
        self.are_connected(part, test)
            .then(|| self.parts[part] + self.tests[test])
    }

    pub fn are_connected(&self, part: usize, test: usize) -> bool {
        self.table_of_part[part].is_some() && self.table_of_part[part] == self.table_of_test[test]
    }

    /// A part's weighted mean log-rate over tests, `(test, weight)`.
    ///
    /// # Errors
    /// The tests that no chain of results connects with the part.
    pub fn mean_over(&self, part: usize, tests: &[(usize, f64)]) -> Result<Level, Vec<usize>> {
        let apart: Vec<usize> = tests
            .iter()
            .map(|(test, _)| *test)
            .filter(|test| !self.are_connected(part, *test))
            .collect();
        if !apart.is_empty() {
            return Err(apart);
        }
        let total: f64 = tests.iter().map(|(_, weight)| weight).sum();
        let shares: Vec<(usize, f64)> = tests
            .iter()
            .map(|(test, weight)| (*test, weight / total))
            .collect();
        let of_tests: f64 = shares
            .iter()
            .map(|(test, share)| share * self.tests[*test])
            .sum();
        let spread = self.plain.variance_of(part, &shares);
        Ok(Level {
            log: self.parts[part] + of_tests,
            error: self.variance.map(|variance| (variance * spread).sqrt()),
        })
    }

    /// The effect of a part, on the scale of its own table alone.
    pub fn part_effect(&self, part: usize) -> Option<(usize, f64)> {
        Some((self.table_of_part[part]?, self.parts[part]))
    }

    /// The effect of a test, on the scale of its own table alone.
    pub fn test_effect(&self, test: usize) -> Option<(usize, f64)> {
        Some((self.table_of_test[test]?, self.tests[test]))
    }

    /// How many more results than effects there are.
    pub fn free(&self) -> usize {
        self.cells.len().saturating_sub(self.plain.rank())
    }

    pub fn cells(&self) -> &[Cell] {
        &self.cells
    }

    /// By cell: the log-rate found less the one that the model gives.
    pub fn residuals(&self) -> &[f64] {
        &self.residuals
    }

    /// By cell: how much it counts, up to 1.
    pub fn weights(&self) -> &[f64] {
        &self.weights
    }

    /// Spread of the residuals, as a standard deviation of the logarithm.
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// What a cell would be off by if the model had not seen it; `None` if nothing else speaks of
    /// its part or its test.
    pub fn left_out(&self, cell: usize) -> Option<f64> {
        let Cell { part, test, .. } = self.cells[cell];
        let leverage = self.weights[cell] * self.weighted.variance_of(part, &[(test, 1.0)]);
        (leverage < 1.0 - 1e-9).then(|| self.residuals[cell] / (1.0 - leverage))
    }

    fn solve(&mut self) {
        let (parts, tests) = self.weighted.solve(&self.cells, &self.weights);
        self.parts = parts;
        self.tests = tests;
        self.residuals = self
            .cells
            .iter()
            .map(|cell| cell.log - self.parts[cell.part] - self.tests[cell.test])
            .collect();
        self.scale = median_absolute(&self.residuals) / MAD_OF_NORMAL;
    }

    /// Weighs and solves until the effects stand.
    fn reweigh(&mut self, gauges: &[bool]) {
        for _ in 0..MOST_ROUNDS {
            let scale = self.scale.max(LEAST_SCALE);
            self.weights = self
                .residuals
                .iter()
                .map(|residual| huber_weight(residual / scale))
                .collect();
            self.weighted = Normal::new(&self.cells, &self.weights, self.parts.len(), gauges);
            let before = (self.parts.clone(), self.tests.clone());
            self.solve();
            let moved = |now: &[f64], before: &[f64]| {
                let pairs = now.iter().zip(before);
                pairs.fold(0.0_f64, |most, (now, before)| {
                    most.max((now - before).abs())
                })
            };
            if moved(&self.parts, &before.0).max(moved(&self.tests, &before.1)) < STEADY {
                return;
            }
        }
    }

    /// The factor between the unweighted normal matrix's inverse and the effects' covariance:
    /// Huber, Robust Statistics (1981), section 7.6, the estimate H1; the mean square where all
    /// count alike.
    fn variance_factor(&self, weighting: Weighting) -> Option<f64> {
        let results = self.cells.len();
        let effects = self.plain.rank();
        let free = results.checked_sub(effects).filter(|free| *free > 0)? as f64;
        if weighting == Weighting::Equal {
            return Some(self.residuals.iter().map(|one| one * one).sum::<f64>() / free);
        }
        let scale = self.scale.max(LEAST_SCALE);
        let scaled = || self.residuals.iter().map(|residual| residual / scale);
        let results = results as f64;
        // psi is clipped at k, so its slope is 1 within and 0 without.
        let inside = scaled().filter(|one| one.abs() <= HUBER_K).count() as f64 / results;
        let psi_squares: f64 = scaled()
            .map(|one| one.clamp(-HUBER_K, HUBER_K))
            .map(|psi| psi * psi)
            .sum();
        let correction =
            1.0 + effects as f64 / results * (inside * (1.0 - inside)) / (inside * inside);
        (inside > 0.0).then(|| {
            correction * correction * (psi_squares * scale * scale / free) / (inside * inside)
        })
    }
}

fn huber_weight(scaled: f64) -> f64 {
    match scaled.abs() <= HUBER_K {
        true => 1.0,
        false => HUBER_K / scaled.abs(),
    }
}

/// The median of the absolute values; 0 of none.
pub(super) fn median_absolute(values: &[f64]) -> f64 {
    let mut sizes: Vec<f64> = values.iter().map(|value| value.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let middle = sizes.len() / 2;
    match sizes.len() {
        0 => 0.0,
        length if length % 2 == 1 => sizes[middle],
        _ => (sizes[middle - 1] + sizes[middle]) / 2.0,
    }
}

/// Which connected table each part and each test belongs to, numbered by their first part.
fn tables(cells: &[Cell], parts: usize, tests: usize) -> (Vec<Option<usize>>, Vec<Option<usize>>) {
    let mut of_part: Vec<Option<usize>> = vec![None; parts];
    let mut of_test: Vec<Option<usize>> = vec![None; tests];
    let mut number = 0;
    for start in 0..parts {
        let has_results = cells.iter().any(|cell| cell.part == start);
        if of_part[start].is_some() || !has_results {
            continue;
        }
        of_part[start] = Some(number);
        // Grow the table until no result leads out of it.
        loop {
            let mut grew = false;
            for cell in cells {
                let (part, test) = (&mut of_part[cell.part], &mut of_test[cell.test]);
                match (*part == Some(number), *test == Some(number)) {
                    (true, false) => *test = Some(number),
                    (false, true) => *part = Some(number),
                    _ => continue,
                }
                grew = true;
            }
            if !grew {
                break;
            }
        }
        number += 1;
    }
    (of_part, of_test)
}

/// The tests whose effect is set to 0: the first of each table, for effects are only known up to
/// a constant that parts and tests may share out as they like; and those without results.
fn gauges(table_of_test: &[Option<usize>]) -> Vec<bool> {
    let mut seen = Vec::new();
    let gauge = table_of_test.iter().map(|table| match table {
        None => true,
        Some(table) if seen.contains(table) => false,
        Some(table) => {
            seen.push(*table);
            true
        }
    });
    gauge.collect()
}

/// The normal equations of a two-way layout, with the parts' effects eliminated: what is left is
/// one small system over the tests.
#[derive(Debug, Clone)]
struct Normal {
    /// Sum of weights by part.
    of_part: Vec<f64>,
    /// Sum of weights by part and free test.
    between: Vec<Vec<f64>>,
    /// Position of a test among the free ones; `None` if its effect is 0.
    free: Vec<Option<usize>>,
    reduced: Cholesky,
}

impl Normal {
    fn new(cells: &[Cell], weights: &[f64], parts: usize, gauges: &[bool]) -> Normal {
        let mut tests = 0;
        let free: Vec<Option<usize>> = gauges
            .iter()
            .map(|is_gauge| {
                (!is_gauge).then(|| {
                    tests += 1;
                    tests - 1
                })
            })
            .collect();
        let mut of_part = vec![0.0; parts];
        let mut between = vec![vec![0.0; tests]; parts];
        let mut matrix = vec![vec![0.0; tests]; tests];
        for (cell, weight) in cells.iter().zip(weights) {
            of_part[cell.part] += weight;
            if let Some(test) = free[cell.test] {
                between[cell.part][test] += weight;
                matrix[test][test] += weight;
            }
        }
        for (sum, row) in of_part.iter().zip(&between).filter(|(sum, _)| **sum > 0.0) {
            for (left, into) in matrix.iter_mut().enumerate() {
                for (right, entry) in into.iter_mut().enumerate() {
                    *entry -= row[left] * row[right] / sum;
                }
            }
        }
        Normal {
            of_part,
            between,
            free,
            reduced: Cholesky::of(matrix),
        }
    }

    /// How many effects are fitted.
    fn rank(&self) -> usize {
        let parts = self.of_part.iter().filter(|sum| **sum > 0.0).count();
        parts + self.reduced.size()
    }

    /// The effects that fit the cells best.
    fn solve(&self, cells: &[Cell], weights: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let mut of_parts = vec![0.0; self.of_part.len()];
        let mut of_tests = vec![0.0; self.reduced.size()];
        for (cell, weight) in cells.iter().zip(weights) {
            of_parts[cell.part] += weight * cell.log;
            if let Some(test) = self.free[cell.test] {
                of_tests[test] += weight * cell.log;
            }
        }
        let (parts, free) = self.apply(of_parts, of_tests);
        let tests = self.free.iter();
        let tests = tests.map(|position| position.map_or(0.0, |position| free[position]));
        (parts, tests.collect())
    }

    /// The inverse of the normal matrix, times a vector given by its two halves.
    fn apply(&self, of_parts: Vec<f64>, mut of_tests: Vec<f64>) -> (Vec<f64>, Vec<f64>) {
        let known = || self.of_part.iter().zip(&self.between);
        for ((sum, row), value) in known().zip(&of_parts).filter(|((sum, _), _)| **sum > 0.0) {
            for (entry, weight) in of_tests.iter_mut().zip(row) {
                *entry -= weight * value / sum;
            }
        }
        let tests = self.reduced.solve(of_tests);
        let parts = known().zip(of_parts).map(|((sum, row), value)| {
            let carried: f64 = row
                .iter()
                .zip(&tests)
                .map(|(weight, test)| weight * test)
                .sum();
            match *sum > 0.0 {
                true => (value - carried) / sum,
                false => 0.0,
            }
        });
        (parts.collect(), tests)
    }

    /// The variance of a part's effect plus so much of tests' effects, where errors have variance 1.
    fn variance_of(&self, part: usize, shares: &[(usize, f64)]) -> f64 {
        let mut of_parts = vec![0.0; self.of_part.len()];
        of_parts[part] = 1.0;
        let mut of_tests = vec![0.0; self.reduced.size()];
        for (test, share) in shares {
            if let Some(position) = self.free[*test] {
                of_tests[position] += share;
            }
        }
        let (parts, tests) = self.apply(of_parts, of_tests.clone());
        let of_tests = of_tests.iter().zip(&tests).map(|(one, other)| one * other);
        parts[part] + of_tests.sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rates as they come, by part and test; 0 is a hole.
    fn fit(rates: &[&[f64]], weighting: Weighting) -> TwoWay {
        let mut cells = Vec::new();
        for (part, row) in rates.iter().enumerate() {
            for (test, rate) in row.iter().enumerate().filter(|(_, rate)| **rate > 0.0) {
                let log = rate.ln();
                cells.push(Cell { part, test, log });
            }
        }
        TwoWay::fit(&cells, rates.len(), rates[0].len(), weighting)
    }

    fn rate(fit: &TwoWay, part: usize, tests: usize) -> f64 {
        let all: Vec<(usize, f64)> = (0..tests).map(|test| (test, 1.0)).collect();
        fit.mean_over(part, &all).unwrap().log.exp()
    }

    #[test]
    fn a_full_table_gives_each_part_its_geometric_mean() {
        let table: &[&[f64]] = &[&[60.0, 90.0, 40.0], &[75.0, 120.0, 44.0]];
        let fit = fit(table, Weighting::Equal);
        for (part, row) in table.iter().enumerate() {
            let mean = row.iter().product::<f64>().cbrt();
            assert!((rate(&fit, part, 3) - mean).abs() < 1e-9);
        }
    }

    #[test]
    fn a_part_tested_in_two_of_five_is_rated_over_all_five() {
        // The second part is a quarter faster wherever both were tested, by construction.
        let first = [60.0, 90.0, 40.0, 111.0, 77.0];
        let second = [75.0, 0.0, 50.0, 0.0, 0.0];
        let fit = fit(&[&first, &second], Weighting::Huber);
        let ratio = rate(&fit, 1, 5) / rate(&fit, 0, 5);
        assert!((ratio - 1.25).abs() < 1e-9, "{ratio}");
    }

    #[test]
    fn parts_that_no_common_test_connects_are_named_not_rated() {
        let fit = fit(
            &[&[60.0, 90.0, 0.0], &[0.0, 0.0, 40.0], &[0.0, 0.0, 50.0]],
            Weighting::Huber,
        );
        let all = [(0, 1.0), (1, 1.0), (2, 1.0)];
        assert_eq!(fit.mean_over(0, &all), Err(vec![2]));
        assert_eq!(fit.mean_over(1, &all), Err(vec![0, 1]));
        let own = fit.mean_over(2, &all[2..]).unwrap();
        assert!((own.log.exp() - 50.0).abs() < 1e-9);
    }

    #[test]
    fn one_gross_outlier_hardly_moves_its_neighbours() {
        let clean: Vec<Vec<f64>> = (0..6)
            .map(|part| {
                (0..6)
                    .map(|test| 30.0 * 1.1_f64.powi(part) * 1.2_f64.powi(test))
                    .collect()
            })
            .collect();
        // A misread digit: one result is ten times what it should be.
        let mut wrong = clean.clone();
        wrong[2][3] *= 10.0;
        let of = |rates: &[Vec<f64>], weighting| {
            let rows: Vec<&[f64]> = rates.iter().map(Vec::as_slice).collect();
            fit(&rows, weighting)
        };
        let truth = rate(&of(&clean, Weighting::Equal), 2, 6);
        let robust = of(&wrong, Weighting::Huber);
        assert!((rate(&robust, 2, 6) / truth - 1.0).abs() < 0.001);
        assert!((rate(&of(&wrong, Weighting::Equal), 2, 6) / truth - 1.0).abs() > 0.4);
        let least = (0..36).min_by(|a, b| robust.weights()[*a].total_cmp(&robust.weights()[*b]));
        assert_eq!(least, Some(2 * 6 + 3));
    }

    #[test]
    fn leaving_a_result_out_is_what_a_fit_without_it_says() {
        let table: &[&[f64]] = &[
            &[60.0, 90.0, 40.0],
            &[75.0, 120.0, 44.0],
            &[70.0, 0.0, 47.0],
            &[50.0, 0.0, 0.0],
        ];
        let whole = fit(table, Weighting::Equal);
        for (index, cell) in whole.cells().iter().enumerate() {
            let rest: Vec<Cell> = whole
                .cells()
                .iter()
                .copied()
                .filter(|one| one != cell)
                .collect();
            let without = TwoWay::fit(&rest, 4, 3, Weighting::Equal);
            let expected = without
                .predict(cell.part, cell.test)
                .map(|log| cell.log - log);
            match (whole.left_out(index), expected) {
                (Some(found), Some(expected)) => assert!((found - expected).abs() < 1e-9),
                (found, expected) => assert_eq!(found, expected),
            }
        }
    }
}
