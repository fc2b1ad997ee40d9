//! One step of many flights at once.

use super::forces::{Coefficients, Forces};
use super::lanes::Lanes;

/// Velocity (x, y, z) in m/s and spin in rad/s; nothing else decides what the forces are.
pub(crate) type Motion<const WIDTH: usize> = [Lanes<WIDTH>; 4];
/// Place (x, y, z) in m.
pub(crate) type Place<const WIDTH: usize> = [Lanes<WIDTH>; 3];

/// Where a step led.
#[derive(Clone, Copy)]
pub(crate) struct Step<const WIDTH: usize> {
    pub(crate) motion: Motion<WIDTH>,
    pub(crate) place: Place<WIDTH>,
    /// Rates of the motion at the end.
    pub(crate) rates: Motion<WIDTH>,
    /// Estimated error, in m and m/s.
    pub(crate) error: Lanes<WIDTH>,
}

#[inline(always)]
fn advance<const WIDTH: usize, const STAGES: usize>(
    from: &Motion<WIDTH>,
    step: Lanes<WIDTH>,
    weights: [f64; STAGES],
    slopes: [&Motion<WIDTH>; STAGES],
) -> Motion<WIDTH> {
    let mut to = *from;
    for part in 0..4 {
        let mut sum = slopes[0][part] * weights[0];
        for stage in 1..STAGES {
            sum = sum + slopes[stage][part] * weights[stage];
        }
        to[part] = to[part] + step * sum;
    }
    to
}

/// A step of Dormand & Prince 5(4) (J. Comput. Appl. Math. 6, 1980, 19) with local extrapolation.
///
/// The place is a plain integral of the velocity, so its stages are never formed: its weights below are those of the
/// velocity's stages summed over the method's table.
#[inline(always)]
pub(crate) fn dormand_prince_5<const WIDTH: usize, Law: Coefficients>(
    law: &Law,
    forces: &Forces<WIDTH>,
    from: &Motion<WIDTH>,
    place: &Place<WIDTH>,
    k1: &Motion<WIDTH>,
    step: Lanes<WIDTH>,
) -> Step<WIDTH> {
    let k2 = forces.rates(law, &advance(from, step, [1.0 / 5.0], [k1]));
    let k3 = forces.rates(law, &advance(from, step, [3.0 / 40.0, 9.0 / 40.0], [k1, &k2]));
    let k4 = forces.rates(law, &advance(from, step, [44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0], [k1, &k2, &k3]));
    let k5 = forces.rates(
        law,
        &advance(
            from,
            step,
            [19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0],
            [k1, &k2, &k3, &k4],
        ),
    );
    let k6 = forces.rates(
        law,
        &advance(
            from,
            step,
            [9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0],
            [k1, &k2, &k3, &k4, &k5],
        ),
    );
    let motion = advance(
        from,
        step,
        [35.0 / 384.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0],
        [k1, &k3, &k4, &k5, &k6],
    );
    let rates = forces.rates(law, &motion);

    let mut error = Lanes::all(0.0);
    for part in 0..4 {
        let difference = k1[part] * (71.0 / 57600.0)
            + k3[part] * (-71.0 / 16695.0)
            + k4[part] * (71.0 / 1920.0)
            + k5[part] * (-17253.0 / 339_200.0)
            + k6[part] * (22.0 / 525.0)
            + rates[part] * (-1.0 / 40.0);
        // The spin as surface speed of a ball, so that one tolerance fits all.
        let weighed = if part == 3 { difference * 0.02 } else { difference };
        // What is not a number is so in every part, since the air speed enters all; as the argument it survives.
        error = error.at_least((weighed * step).absolute());
    }
    let mut to = *place;
    for axis in 0..3 {
        let sum = k1[axis] * (35.0 / 384.0)
            + k3[axis] * (50.0 / 159.0)
            + k4[axis] * (25.0 / 192.0)
            + k5[axis] * (-243.0 / 6784.0);
        to[axis] = to[axis] + step * (from[axis] + step * sum);
    }
    Step { motion, place: to, rates, error }
}
