//! What one strike says of where the ball was met, freed of what was expected beforehand.

use nalgebra::{Matrix2, SymmetricEigen, Vector2};

use crate::strike::USUAL_PRIOR;
use crate::{Strike, StrikeSource};

/// No position is known better than this, mm; it also keeps every matrix invertible.
const LEAST_DEVIATION_MM: f64 = 0.05;
const MOST_CORRELATION: f64 = 0.99;

/// Information on the true position: precision, and precision times position. Zero in a direction that the data leave open.
#[derive(Debug, Clone, Copy)]
pub(crate) struct StrikeInformation {
    pub precision: Matrix2<f64>,
    pub weighted: Vector2<f64>,
}

/// The information of a strike. A measured or linked one is a reading with an error. An inferred one is a posterior, which
/// already holds what was expected: dividing the prior out leaves the likelihood, the only part that came from the ball.
/// Without that step a pattern of inferred strikes is drawn toward the middle twice, and looks tighter than it is.
pub(crate) fn information_of(strike: &Strike) -> StrikeInformation {
    let precision = inverse(covariance(strike.toe_sd_mm, strike.up_sd_mm, strike.correlation));
    let position = Vector2::new(strike.toe_mm, strike.up_mm);
    let weighted = precision * position;
    if strike.source != StrikeSource::Inferred {
        return StrikeInformation { precision, weighted };
    }
    let [toe, toe_sd, up, up_sd] = strike.prior.unwrap_or(USUAL_PRIOR);
    let prior = inverse(covariance(toe_sd, up_sd, 0.0));
    let difference = SymmetricEigen::new(precision - prior);
    let rest = weighted - prior * Vector2::new(toe, up);
    let mut information = StrikeInformation { precision: Matrix2::zeros(), weighted: Vector2::zeros() };
    for axis in 0..2 {
        let direction = difference.eigenvectors.column(axis).into_owned();
        let value = difference.eigenvalues[axis];
        // A posterior wider than its prior says nothing in that direction.
        if value > 0.0 {
            information.precision += value * direction * direction.transpose();
            information.weighted += direction * direction.dot(&rest);
        }
    }
    information
}

/// Covariance from deviations and correlation, bounded so that it can be inverted.
fn covariance(toe_sd: f64, up_sd: f64, correlation: f64) -> Matrix2<f64> {
    let toe = toe_sd.abs().max(LEAST_DEVIATION_MM);
    let up = up_sd.abs().max(LEAST_DEVIATION_MM);
    let across = correlation.clamp(-MOST_CORRELATION, MOST_CORRELATION) * toe * up;
    Matrix2::new(toe * toe, across, across, up * up)
}

/// Inverse of a symmetric positive definite matrix. Callers keep every diagonal and determinant above zero.
pub(crate) fn inverse(matrix: Matrix2<f64>) -> Matrix2<f64> {
    let determinant = matrix[(0, 0)] * matrix[(1, 1)] - matrix[(0, 1)] * matrix[(1, 0)];
    Matrix2::new(matrix[(1, 1)], -matrix[(0, 1)], -matrix[(1, 0)], matrix[(0, 0)]) / determinant
}
