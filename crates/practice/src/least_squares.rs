//! Straight lines and planes through points.

use nalgebra::{DMatrix, DVector};

/// A linear fit.
#[derive(Debug, Clone, PartialEq)]
pub struct LeastSquares {
    /// Coefficients, one a column of the design.
    pub coefficients: Vec<f64>,
    /// Their standard deviations.
    pub deviations: Vec<f64>,
    /// Standard deviation of the residuals, degrees of freedom = rows - columns.
    pub residual_deviation: f64,
    /// Share of the squares explained: about the mean where a column of the design is constant, else about zero.
    pub r_squared: f64,
}

/// More cells than this are refused: weekly summaries have tens of rows.
const MOST_CELLS: usize = 1_000_000;
/// A column that the others explain to this degree (diagonal of R after scaling) cannot be told apart from them.
const LEAST_INDEPENDENCE: f64 = 1e-11;

/// Ordinary least squares by QR of the scaled columns with one step of refinement. Nothing where rows do not outnumber
/// columns, lengths differ, a number is not finite, or columns cannot be told apart.
pub fn least_squares(rows: &[Vec<f64>], observed: &[f64]) -> Option<LeastSquares> {
    let columns = usable_columns(rows, observed)?;
    let design = DMatrix::from_fn(rows.len(), columns, |row, column| rows[row][column]);
    let observed = DVector::from_column_slice(observed);
    let scales: Vec<f64> = design.column_iter().map(|column| column.norm()).collect();
    if scales.iter().any(|scale| *scale <= 0.0) {
        return None;
    }
    let mut scaled = design.clone();
    for (column, scale) in scales.iter().enumerate() {
        scaled.column_mut(column).unscale_mut(*scale);
    }
    let factors = scaled.clone().qr();
    let (orthogonal, triangular) = (factors.q(), factors.r());
    if triangular.diagonal().iter().any(|entry| entry.abs() < LEAST_INDEPENDENCE) {
        return None;
    }
    let mut solution = triangular.solve_upper_triangular(&(orthogonal.transpose() * &observed))?;
    let rest = &observed - &scaled * &solution;
    // The residual of the first solution holds the digits that the first pass lost.
    solution += triangular.solve_upper_triangular(&(orthogonal.transpose() * rest))?;
    let residuals = &observed - &scaled * &solution;
    let degrees = (rows.len() - columns) as f64;
    let residual_deviation = (residuals.norm_squared() / degrees).sqrt();
    let inverse = triangular.solve_upper_triangular(&DMatrix::identity(columns, columns))?;
    let mut coefficients = Vec::with_capacity(columns);
    let mut deviations = Vec::with_capacity(columns);
    for column in 0..columns {
        coefficients.push(solution[column] / scales[column]);
        deviations.push(residual_deviation * inverse.row(column).norm() / scales[column]);
    }
    let first = &rows[0];
    let constant = |column: usize| rows.iter().all(|row| (row[column] - first[column]).abs() <= 0.0);
    let origin = if (0..columns).any(constant) { observed.mean() } else { 0.0 };
    let squares: f64 = observed.iter().map(|value| (value - origin).powi(2)).sum();
    let r_squared = if squares > 0.0 { 1.0 - residuals.norm_squared() / squares } else { 0.0 };
    Some(LeastSquares { coefficients, deviations, residual_deviation, r_squared })
}

/// Ridge regression (Hoerl and Kennard 1970, Technometrics 12, 55): columns centred and scaled to unit deviation (divisor n),
/// the mean free; answers the coefficients of the scaled columns for the penalty `strength` on their squares, in which the
/// penalised normal matrix is X'X + strength I with X'X = n times the correlation matrix divided by n.
///
/// The sum is written for columns of unit length times root n, so that `strength` means the same as in the usual tables:
/// (X'X + strength I) b = X'y with X'X having n on its diagonal.
pub fn ridge(rows: &[Vec<f64>], observed: &[f64], strength: f64) -> Option<Vec<f64>> {
    let columns = usable_columns(rows, observed)?;
    if !strength.is_finite() || strength < 0.0 {
        return None;
    }
    let count = rows.len() as f64;
    let mut design = DMatrix::from_fn(rows.len(), columns, |row, column| rows[row][column]);
    for mut column in design.column_iter_mut() {
        let mean = column.mean();
        column.add_scalar_mut(-mean);
        let deviation = column.norm() / count.sqrt();
        if deviation <= 0.0 {
            return None;
        }
        column.unscale_mut(deviation);
    }
    let mean = observed.iter().sum::<f64>() / count;
    let centred = DVector::from_iterator(rows.len(), observed.iter().map(|value| value - mean));
    // Rows of sqrt(strength) below the design keep the condition of the design instead of squaring it.
    let mut taller = DMatrix::zeros(rows.len() + columns, columns);
    taller.rows_mut(0, rows.len()).copy_from(&design);
    for column in 0..columns {
        taller[(rows.len() + column, column)] = strength.sqrt();
    }
    let mut right = DVector::zeros(rows.len() + columns);
    right.rows_mut(0, rows.len()).copy_from(&centred);
    let factors = taller.qr();
    let solution = factors.r().solve_upper_triangular(&(factors.q().transpose() * right))?;
    solution.iter().all(|value| value.is_finite()).then(|| solution.iter().copied().collect())
}

/// Number of columns of a design that can be fitted.
pub(crate) fn usable_columns(rows: &[Vec<f64>], observed: &[f64]) -> Option<usize> {
    let columns = rows.first()?.len();
    let shape_is_right = rows.len() == observed.len() && rows.iter().all(|row| row.len() == columns);
    let size_is_right = columns > 0 && rows.len() > columns && rows.len() * columns <= MOST_CELLS;
    let all_finite = rows.iter().flatten().chain(observed).all(|value| value.is_finite());
    (shape_is_right && size_is_right && all_finite).then_some(columns)
}
