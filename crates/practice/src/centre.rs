//! The centre of the face: within 10 mm toe or heel AND 8 mm high or low.

use nalgebra::{Matrix2, Vector2};

use crate::Strike;
use crate::mixture::normal_below;

/// Half width of the centre along the face, mm.
pub const CENTRE_TOE_MM: f64 = 10.0;
/// Half height of the centre, mm.
pub const CENTRE_UP_MM: f64 = 8.0;

/// Whether the reading lies in the centre.
pub(crate) fn in_centre(strike: &Strike) -> bool {
    strike.toe_mm.abs() <= CENTRE_TOE_MM && strike.up_mm.abs() <= CENTRE_UP_MM
}

/// Probability that a position of the given distribution lies in the centre: normal along the face, and up the face normal
/// given the toe; summed over the toe by the midpoint rule.
pub(crate) fn probability_in_centre(mean: Vector2<f64>, covariance: Matrix2<f64>) -> f64 {
    const STRIPS: usize = 64;
    let slope = covariance[(0, 1)] / covariance[(0, 0)];
    let rest = (covariance[(1, 1)] - slope * covariance[(0, 1)]).max(0.0);
    let width = 2.0 * CENTRE_TOE_MM / STRIPS as f64;
    let mut sum = 0.0;
    for strip in 0..STRIPS {
        let left = -CENTRE_TOE_MM + strip as f64 * width;
        let along =
            normal_below(left + width, mean[0], covariance[(0, 0)]) - normal_below(left, mean[0], covariance[(0, 0)]);
        let up = mean[1] + slope * (left + 0.5 * width - mean[0]);
        sum += along * (normal_below(CENTRE_UP_MM, up, rest) - normal_below(-CENTRE_UP_MM, up, rest));
    }
    sum.clamp(0.0, 1.0)
}
