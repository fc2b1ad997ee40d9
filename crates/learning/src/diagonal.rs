//! Independent deviations that are never too narrow.
//!
//! A verdict takes the learned numbers as independent, but what was learned of them is correlated: many shots tell well how
//! strongly the head turns under an off-centre strike, and badly whether its inertia or the depth of its centre of gravity makes it. The
//! marginal deviations alone can then be too narrow for some quantities that a verdict derives. A diagonal matrix D with
//! `D - covariance` positive semidefinite is too narrow for none (to first order).

use nalgebra::{Cholesky, DMatrix, DVector};

const ROUNDS: usize = 60;
const LAST_BARRIER: f64 = 1e-5;

/// Variances whose diagonal matrix covers `covariance` (their difference is positive semidefinite), as small as can be measured against
/// `scale` (the prior variances): a small semidefinite program, solved by a barrier method with Newton steps. `None` where the
/// covariance is not one.
pub(crate) fn covering_variances(covariance: &DMatrix<f64>, scale: &DVector<f64>) -> Option<DVector<f64>> {
    let size = covariance.nrows();
    let standardised =
        DMatrix::from_fn(size, size, |row, column| covariance[(row, column)] / (scale[row] * scale[column]).sqrt());
    let trace = standardised.trace();
    if !trace.is_finite() || trace <= 0.0 {
        return None;
    }
    // The trace is no less than the largest eigenvalue, so this start lies inside.
    let mut variances = DVector::from_element(size, 1.01 * trace);
    let mut barrier = 0.1 * trace;
    for _ in 0..ROUNDS {
        let inverse = gap(&variances, &standardised)?.inverse();
        let gradient = DVector::from_fn(size, |at, _| 1.0 - barrier * inverse[(at, at)]);
        let curvature = inverse.map(|entry| barrier * entry * entry);
        let step = -Cholesky::new(curvature)?.solve(&gradient);
        let mut share = 1.0;
        for _ in 0..40 {
            let candidate = &variances + &step * share;
            if gap(&candidate, &standardised).is_some() {
                variances = candidate;
                break;
            }
            share *= 0.5;
        }
        barrier = (0.6 * barrier).max(LAST_BARRIER * trace);
    }
    Some(variances.component_mul(scale))
}

fn gap(variances: &DVector<f64>, covariance: &DMatrix<f64>) -> Option<Cholesky<f64, nalgebra::Dyn>> {
    Cholesky::new(DMatrix::from_diagonal(variances) - covariance)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cover(rows: &[f64], size: usize) -> DVector<f64> {
        let matrix = DMatrix::from_row_slice(size, size, rows);
        covering_variances(&matrix, &DVector::from_element(size, 1.0)).expect("a covariance")
    }

    #[test]
    fn independent_numbers_keep_their_variances() {
        let found = cover(&[4.0, 0.0, 0.0, 9.0], 2);
        assert!((found[0] - 4.0).abs() < 1e-3 && (found[1] - 9.0).abs() < 1e-3, "{found}");
    }

    #[test]
    fn two_correlated_numbers_get_the_closed_form() {
        // [derived] The smallest trace with (a - s11)(b - s22) = s12^2 has a = s11 + |s12|, b = s22 + |s12|.
        let found = cover(&[2.0, -1.5, -1.5, 3.0], 2);
        assert!((found[0] - 3.5).abs() < 2e-3 && (found[1] - 4.5).abs() < 2e-3, "{found}");
    }

    #[test]
    fn the_difference_is_positive_semidefinite() {
        let rows = [1.0, 0.8, -0.3, 0.8, 1.2, 0.1, -0.3, 0.1, 0.5];
        let found = cover(&rows, 3);
        let gap = DMatrix::from_diagonal(&found) - DMatrix::from_row_slice(3, 3, &rows);
        let smallest = gap.symmetric_eigenvalues().min();
        assert!((-1e-12..1e-2).contains(&smallest), "{smallest}");
    }

    #[test]
    fn what_is_no_covariance_gets_no_answer() {
        let scale = DVector::from_element(2, 1.0);
        assert!(covering_variances(&DMatrix::from_element(2, 2, f64::NAN), &scale).is_none());
        assert!(covering_variances(&DMatrix::zeros(2, 2), &scale).is_none());
    }
}
