//! Cholesky's factorisation of a small symmetric positive definite matrix.

/// The lower triangle L with L·Lᵀ the matrix.
#[derive(Debug, Clone)]
pub(super) struct Cholesky {
    lower: Vec<Vec<f64>>,
}

/// A pivot below this share of its diagonal is rounding: the matrix does not determine that
/// unknown, and it is set to 0.
const SINGULAR: f64 = 1e-12;

impl Cholesky {
    /// Factors a matrix given by its rows.
    pub fn of(mut matrix: Vec<Vec<f64>>) -> Cholesky {
        for row in 0..matrix.len() {
            let whole = matrix[row][row];
            for column in 0..=row {
                let done: f64 = (0..column)
                    .map(|before| matrix[row][before] * matrix[column][before])
                    .sum();
                let rest = matrix[row][column] - done;
                matrix[row][column] = match column == row {
                    true if rest > SINGULAR * whole => rest.sqrt(),
                    true => f64::INFINITY,
                    false => rest / matrix[column][column],
                };
            }
        }
        Cholesky { lower: matrix }
    }

    pub fn size(&self) -> usize {
        self.lower.len()
    }

    /// The x with matrix·x = `right`.
    pub fn solve(&self, mut right: Vec<f64>) -> Vec<f64> {
        for row in 0..right.len() {
            let done: f64 = (0..row)
                .map(|before| self.lower[row][before] * right[before])
                .sum();
            right[row] = (right[row] - done) / self.lower[row][row];
        }
        for row in (0..right.len()).rev() {
            let done: f64 = (row + 1..right.len())
                .map(|after| self.lower[after][row] * right[after])
                .sum();
            right[row] = (right[row] - done) / self.lower[row][row];
        }
        right
    }
}

impl Cholesky {
    /// The diagonal of the matrix's inverse.
    pub fn inverse_diagonal(&self) -> Vec<f64> {
        let size = self.size();
        // The matrix's inverse is L⁻ᵀ·L⁻¹, so its diagonal has the squares of L⁻¹, column by column.
        let of_column = |column: usize| {
            let mut inverse = vec![0.0; size];
            for row in column..size {
                let unit = if row == column { 1.0 } else { 0.0 };
                let done: f64 = (column..row)
                    .map(|before| self.lower[row][before] * inverse[before])
                    .sum();
                inverse[row] = (unit - done) / self.lower[row][row];
            }
            inverse.iter().map(|one| one * one).sum()
        };
        (0..size).map(of_column).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_system_with_a_known_solution_is_solved() {
        // A matrix with the factor (2 0 0 / 6 1 0 / -8 5 3), after Cholesky's method; from memory.
        let matrix = vec![
            vec![4.0, 12.0, -16.0],
            vec![12.0, 37.0, -43.0],
            vec![-16.0, -43.0, 98.0],
        ];
        let factor = Cholesky::of(matrix.clone());
        assert_eq!(&factor.lower[2][..3], &[-8.0, 5.0, 3.0]);
        // The inverse's diagonal by cofactors: (37·98-43²)/36, (4·98-16²)/36, (4·37-12²)/36.
        let cofactors = [1_777.0 / 36.0, 136.0 / 36.0, 4.0 / 36.0];
        for (found, wanted) in factor.inverse_diagonal().iter().zip(cofactors) {
            assert!((found - wanted).abs() < 1e-9);
        }
        let wanted = [1.0, -2.0, 0.5];
        let right = matrix
            .iter()
            .map(|row| row.iter().zip(wanted).map(|(one, other)| one * other).sum());
        let found = factor.solve(right.collect());
        for (found, wanted) in found.iter().zip(wanted) {
            assert!((found - wanted).abs() < 1e-9);
        }
    }

    #[test]
    fn an_unknown_that_nothing_determines_is_zero() {
        let factor = Cholesky::of(vec![vec![1.0, 1.0], vec![1.0, 1.0]]);
        assert_eq!(factor.solve(vec![3.0, 3.0]), vec![3.0, 0.0]);
    }
}
