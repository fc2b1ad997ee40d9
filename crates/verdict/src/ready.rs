//! Landing numbers ready to be drawn: how each spreads with the strike, with everything else, and how far it is curved.

use crate::case::Case;
use crate::expand::ExpandedPlace;
use crate::model::LAUNCH;
use crate::posterior::Spread;
use crate::sobol::DIMENSIONS;
use crate::unknowns::{COUNT, FALLOFF, TOE, UP, Unknowns};

/// Up to this share of a number's variance may come from curvature that is drawn straight.
const CURVED_SHARE: f64 = 0.04;
/// Deviations below this, in m, need no better than their own size.
const SMALL_DEVIATION: f64 = 1.5;

/// Unknowns in which landings are curved, drawn first: toe, up, fall-off.
pub(crate) const CURVED: usize = 3;
/// A landing number ready to be drawn.
#[derive(Clone, Copy)]
pub(crate) struct Drawn {
    /// At the mode, moved by the curvature in all directions that are drawn straight.
    pub value: f64,
    /// By the first two normal values: the first twice, both, the second twice.
    pub curvature: [f64; 3],
    pub falloff: f64,
    noise: [f64; LAUNCH],
    spread: Spread,
    /// How far `value` was moved.
    shift: f64,
    /// How the slopes by toe and by up move with everything, and with the first two normal values.
    slope_spreads: [(Spread, [f64; 2]); 2],
}

/// The strike's own spread: lower Cholesky factor of toe and up.
pub(crate) struct StrikeRoots {
    toe: Spread,
    up: Spread,
    toe_root: f64,
    mixed_root: f64,
    up_root: f64,
}

fn unit(case: &Case<'_>, position: usize) -> Spread {
    let mut slopes: Unknowns = [0.0; COUNT];
    slopes[position] = 1.0;
    case.found.spread(&slopes)
}

impl StrikeRoots {
    pub fn of(case: &Case<'_>) -> StrikeRoots {
        let (toe, up) = (unit(case, TOE), unit(case, UP));
        let toe_root = toe.with(&toe).max(1e-18).sqrt();
        let mixed_root = up.with(&toe) / toe_root;
        let up_root = (up.with(&up) - mixed_root * mixed_root).max(1e-18).sqrt();
        StrikeRoots { toe, up, toe_root, mixed_root, up_root }
    }

    /// Carry and distance off the aim of a landing. Its launch moves with the strike, by itself and by all that hangs together
    /// with the strike; along that way the flight's bend is kept. In every other direction only its mean is.
    pub fn ready(&self, case: &Case<'_>, place: &ExpandedPlace) -> [Drawn; 2] {
        let spreads: [Spread; LAUNCH] =
            std::array::from_fn(|quantity| case.found.spread(&place.launch_slopes[quantity]));
        let first: [f64; LAUNCH] = std::array::from_fn(|quantity| spreads[quantity].with(&self.toe) / self.toe_root);
        let second: [f64; LAUNCH] = std::array::from_fn(|quantity| {
            (spreads[quantity].with(&self.up) - first[quantity] * self.mixed_root) / self.up_root
        });
        let mut left = [[0.0; LAUNCH]; LAUNCH];
        for row in 0..LAUNCH {
            for column in 0..=row {
                let mut shared = spreads[row].with(&spreads[column]);
                if row == column {
                    shared += place.launch_noise[row].powi(2);
                }
                left[row][column] = shared - first[row] * first[column] - second[row] * second[column];
                left[column][row] = left[row][column];
            }
        }
        [&place.carry, &place.off].map(|number| {
            // The collision's curvature is toe times one linear function plus up times another.
            let mut halves = number.curvature;
            for axis in 0..2 {
                halves[axis][TOE] *= 0.5;
                halves[axis][UP] *= 0.5;
            }
            let slope_spreads = halves.map(|slopes| {
                let spread = case.found.spread(&slopes);
                let first = spread.with(&self.toe) / self.toe_root;
                (spread, [first, (spread.with(&self.up) - first * self.mixed_root) / self.up_root])
            });
            let [(_, [toe_first, toe_second]), (_, [up_first, up_second])] = slope_spreads;
            let (toe, mixed, up) = (self.toe_root, self.mixed_root, self.up_root);
            let mut curvature = [
                2.0 * (toe * toe_first + mixed * up_first),
                toe * toe_second + mixed * up_second + up * up_first,
                2.0 * up * up_second,
            ];
            let mut shift = 0.0;
            for row in 0..LAUNCH {
                for column in 0..LAUNCH {
                    let bend = number.bend[row][column];
                    curvature[0] += bend * first[row] * first[column];
                    curvature[1] += bend * first[row] * second[column];
                    curvature[2] += bend * second[row] * second[column];
                    shift += 0.5 * bend * left[row][column];
                }
            }
            Drawn {
                value: number.value + shift,
                shift,
                curvature,
                falloff: number.slopes[FALLOFF],
                noise: number.noise,
                spread: case.found.spread(&number.slopes),
                slope_spreads,
            }
        })
    }

    /// Whether what is curved in a number, apart from the way of the strike, is small beside its spread.
    pub fn holds_for(&self, number: &Drawn) -> bool {
        let noise: f64 = number.noise.iter().map(|noise| noise * noise).sum();
        let variance = number.spread.with(&number.spread) + noise;
        let curved = self.of_slopes(number, number) + number.shift * number.shift;
        curved <= CURVED_SHARE * variance.max(SMALL_DEVIATION * SMALL_DEVIATION)
    }

    /// What two numbers vary by together because their slopes by the strike are uncertain too: products of the strike's spread
    /// with what is left of the slopes' spread. They count as normal.
    fn of_slopes(&self, one: &Drawn, other: &Drawn) -> f64 {
        let strike = [
            [self.toe_root * self.toe_root, self.toe_root * self.mixed_root],
            [self.toe_root * self.mixed_root, self.mixed_root * self.mixed_root + self.up_root * self.up_root],
        ];
        let mut sum = 0.0;
        for (axis, (spread, along)) in one.slope_spreads.iter().enumerate() {
            for (other_axis, (other_spread, other_along)) in other.slope_spreads.iter().enumerate() {
                let left = spread.with(other_spread) - along[0] * other_along[0] - along[1] * other_along[1];
                sum += strike[axis][other_axis] * left;
            }
        }
        sum
    }
}

/// Lower Cholesky factor of the joint covariance of toe, up, fall-off and the numbers, row by row. A number that hangs on the
/// others alone gets a zero on the diagonal.
pub(crate) fn roots(case: &Case<'_>, strike: &StrikeRoots, drawn: &[Drawn]) -> Option<[[f64; DIMENSIONS]; DIMENSIONS]> {
    let mut spreads: Vec<(Spread, [f64; LAUNCH])> =
        [TOE, UP, FALLOFF].map(|position| (unit(case, position), [0.0; LAUNCH])).to_vec();
    spreads.extend(drawn.iter().map(|number| (number.spread, number.noise)));
    let mut roots = [[0.0; DIMENSIONS]; DIMENSIONS];
    for row in 0..spreads.len() {
        for column in 0..=row {
            let mut left = spreads[row].0.with(&spreads[column].0);
            for quantity in 0..LAUNCH {
                left += spreads[row].1[quantity] * spreads[column].1[quantity];
            }
            if column >= CURVED {
                left += strike.of_slopes(&drawn[row - CURVED], &drawn[column - CURVED]);
            }
            let whole = left;
            for earlier in 0..column {
                left -= roots[row][earlier] * roots[column][earlier];
            }
            if row == column {
                roots[row][row] = if left > 1e-12 * whole { left.sqrt() } else { 0.0 };
            } else if roots[column][column] > 0.0 {
                roots[row][column] = left / roots[column][column];
            }
            if !roots[row][column].is_finite() {
                return None;
            }
        }
    }
    Some(roots)
}
