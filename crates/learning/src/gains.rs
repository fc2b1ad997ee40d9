//! What the learned head makes of an off-centre strike, against what the profile's would.

use impact::{DELIVERY_UNKNOWNS, Delivery, Hand, HeadProfile, NUISANCES, strike_with_derivatives};

use crate::reading::{FACE, PATH, SPIN, TOE, UP};

const TILT: usize = 4;
/// A profile that turns the spin axis by less than this per mm (a flat face with a shallow centre of gravity) gives no ratio.
const LEAST_TILT_PER_MM: f64 = 0.05;
const LEAST_SPIN_PER_MM: f64 = 2.0;
/// Step of the differences, as a share of a deviation.
const STEP: f64 = 0.1;

/// Spin tilt per mm along the face and spin rate per mm up the face, at the face centre.
fn slopes(head: &HeadProfile, delivery: &Delivery, nuisances: &[f64; NUISANCES]) -> Option<[f64; 2]> {
    // Ratios are the same for both hands: path and face are set equal, and only their difference knows a hand.
    let launch = strike_with_derivatives(head, delivery, nuisances, Hand::Right)?.to_array();
    Some([launch[TILT].slopes[TOE], launch[SPIN].slopes[UP]])
}

/// Ratio of learned to profile slope with its deviation, lateral and vertical. The delta method: the ratio's slope by each figure
/// of the head, through the covariance of the figures.
pub(crate) fn gear_gains(
    head: &HeadProfile,
    habits: &[f64; DELIVERY_UNKNOWNS],
    learned: &[f64; NUISANCES],
    deviations: &[f64; NUISANCES],
    covariance: impl Fn(usize, usize) -> f64,
) -> [Option<(f64, f64)>; 2] {
    let mut centred = *habits;
    centred[TOE] = 0.0;
    centred[UP] = 0.0;
    centred[PATH] = 0.0;
    centred[FACE] = 0.0;
    let delivery = Delivery::from_array(centred);
    let slopes = |nuisances: &[f64; NUISANCES]| slopes(head, &delivery, nuisances);
    let (Some(of_profile), Some(of_learned)) = (slopes(&head.nuisances()), slopes(learned)) else { return [None; 2] };

    let mut by_figure = [[0.0; NUISANCES]; 2];
    for figure in 0..NUISANCES {
        let step = STEP * deviations[figure];
        let (mut above, mut below) = (*learned, *learned);
        above[figure] += step;
        below[figure] -= step;
        let (Some(above), Some(below)) = (slopes(&above), slopes(&below)) else { return [None; 2] };
        for direction in 0..2 {
            by_figure[direction][figure] = (above[direction] - below[direction]) / (2.0 * step);
        }
    }
    let least = [LEAST_TILT_PER_MM, LEAST_SPIN_PER_MM];
    std::array::from_fn(|direction| {
        let profile = of_profile[direction];
        if profile.abs() < least[direction] {
            return None;
        }
        let mut variance = 0.0;
        for row in 0..NUISANCES {
            for column in 0..NUISANCES {
                variance += by_figure[direction][row] * covariance(row, column) * by_figure[direction][column];
            }
        }
        Some((of_learned[direction] / profile, variance.max(0.0).sqrt() / profile.abs()))
    })
}
