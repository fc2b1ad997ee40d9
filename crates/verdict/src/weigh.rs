//! What the posterior of one shot says: what a centred strike would have given, how sure that is, and what would have mended a
//! miss. Landings are drawn as numbers, from their joint spread and the curvature of the strike; no draw strikes or flies a
//! ball. The thorough method (`thorough.rs`) does both for every draw; tests compare the two.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::Settings;
use crate::case::{ALL_ACTUAL, BOTH, CENTRED, Case, Flights, INTENDED, NONE_ACTUAL};
use crate::decide::{Bounds, Cause};
use crate::expand::{ExpandedPlace, Expander};
use crate::model::LAUNCH;
use crate::moments::Moments;
use crate::posterior::Spread;
use crate::sobol::{DIMENSIONS, EvenNormals, POINTS};
use crate::surface::Surface;
use crate::unknowns::{COUNT, FACE, FALLOFF, PATH, TOE, UP, Unknowns};

/// What was weighed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Weighed {
    /// Mean and deviation of centred minus actual carry, m.
    pub loss: (f64, f64),
    /// Mean of centred minus actual lateral, m.
    pub sideways: f64,
    /// Shares of the causes in the order of [`Cause::ALL`], for a miss.
    pub causes: Option<[f64; Cause::ALL.len()]>,
}

/// Up to this share of a number's variance may come from curvature that is drawn straight.
const CURVED_SHARE: f64 = 0.04;
/// Deviations below this, in m, need no better than their own size.
const SMALL_DEVIATION: f64 = 1.5;

/// Draws side by side, as many as a chunk of the table holds.
const LANES: usize = 8;
/// Unknowns in which landings are curved, drawn first: toe, up, fall-off.
const CURVED: usize = 3;
/// Landing numbers without and with those of a miss.
const OF_LOSS: usize = 4;
const OF_MISS: usize = DIMENSIONS - CURVED;

/// A landing number ready to be drawn.
#[derive(Clone, Copy)]
struct Drawn {
    /// At the mode, moved by the curvature in all directions that are drawn straight.
    value: f64,
    /// By the first two normal values: the first twice, both, the second twice.
    curvature: [f64; 3],
    falloff: f64,
    noise: [f64; LAUNCH],
    spread: Spread,
    /// How far `value` was moved.
    shift: f64,
    /// How the slopes by toe and by up move with everything, and with the first two normal values.
    slope_spreads: [(Spread, [f64; 2]); 2],
}

/// The strike's own spread: lower Cholesky factor of toe and up.
struct StrikeRoots {
    toe: Spread,
    up: Spread,
    toe_root: f64,
    mixed_root: f64,
    up_root: f64,
}

/// Weighs a shot by its expansion. `None` where the expansion does not hold: the caller draws thoroughly then.
pub(crate) fn weigh(
    case: &Case<'_>,
    flights: &Flights,
    surface: &Surface,
    settings: &Settings,
    missed: bool,
    draws: &EvenNormals,
    share: f64,
) -> Option<Weighed> {
    let expander = Expander::new(case, surface)?;
    let expanded = |coalition: usize| -> Option<ExpandedPlace> {
        let (launch, flown) = &flights.flown[coalition];
        expander.expand(coalition, launch, *flown)
    };
    let (actual, centred) = (expanded(ALL_ACTUAL)?, expanded(CENTRED)?);
    let strike = StrikeRoots::of(case);
    let mut drawn = Vec::with_capacity(OF_MISS);
    for place in [actual, centred] {
        drawn.extend(strike.ready(case, &place));
    }
    if missed {
        for place in [expanded(INTENDED)?, expanded(BOTH)?] {
            drawn.extend(strike.ready(case, &place));
        }
        drawn.push(strike.ready(case, &expanded(NONE_ACTUAL)?)[0]);
    }
    if drawn.iter().any(|number| !strike.holds_for(number)) {
        return None;
    }
    let roots = roots(case, &strike, &drawn)?;
    // One of many possible strikes needs only its part of the points; a quarter of a net is a net.
    let every = if share > 0.99 { 1 } else { 4 };
    Some(if missed {
        draw::<OF_MISS>(case, &drawn, &roots, settings, draws, every)
    } else {
        draw::<OF_LOSS>(case, &drawn, &roots, settings, draws, every)
    })
}

fn unit(case: &Case<'_>, position: usize) -> Spread {
    let mut slopes: Unknowns = [0.0; COUNT];
    slopes[position] = 1.0;
    case.found.spread(&slopes)
}

impl StrikeRoots {
    fn of(case: &Case<'_>) -> StrikeRoots {
        let (toe, up) = (unit(case, TOE), unit(case, UP));
        let toe_root = toe.with(&toe).max(1e-18).sqrt();
        let mixed_root = up.with(&toe) / toe_root;
        let up_root = (up.with(&up) - mixed_root * mixed_root).max(1e-18).sqrt();
        StrikeRoots { toe, up, toe_root, mixed_root, up_root }
    }

    /// Carry and distance off the aim of a landing. Its launch moves with the strike, by itself and by all that hangs together
    /// with the strike; along that way the flight's bend is kept. In every other direction only its mean is.
    fn ready(&self, case: &Case<'_>, place: &ExpandedPlace) -> [Drawn; 2] {
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
    fn holds_for(&self, number: &Drawn) -> bool {
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
fn roots(case: &Case<'_>, strike: &StrikeRoots, drawn: &[Drawn]) -> Option<[[f64; DIMENSIONS]; DIMENSIONS]> {
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

fn draw<const NUMBERS: usize>(
    case: &Case<'_>,
    drawn: &[Drawn],
    roots: &[[f64; DIMENSIONS]; DIMENSIONS],
    settings: &Settings,
    draws: &EvenNormals,
    every: usize,
) -> Weighed {
    let bounds = Bounds::shares(settings, case.model.head.kind);
    let lean = case.aim_slope();
    let falloff = case.found.mode[FALLOFF];
    let mut loss = Moments::default();
    let mut sideways = Moments::default();
    // How often each combination of good counterfactuals came up: bit 0 centred, 1 intended, 2 both.
    let mut combinations = [0usize; 8];
    // Points of a net, taken to a part of it: the first so many of Sobol's points are a net themselves.
    for start in (0..POINTS / every).step_by(LANES) {
        let mut places = [[0.0; LANES]; NUMBERS];
        let mut normals = [[0.0; LANES]; DIMENSIONS];
        for dimension in 0..CURVED + NUMBERS {
            normals[dimension].copy_from_slice(&draws.dimension(dimension)[start..start + LANES]);
        }
        let mut hidden = [falloff; LANES];
        for column in 0..CURVED {
            for lane in 0..LANES {
                hidden[lane] += roots[CURVED - 1][column] * normals[column][lane];
            }
        }
        for lane in 0..LANES {
            // A fall-off below nothing counts as none.
            hidden[lane] = -hidden[lane].min(0.0);
        }
        let (first, second) = (normals[0], normals[1]);
        for number in 0..NUMBERS {
            let one = &drawn[number];
            let row = &roots[CURVED + number];
            let place = &mut places[number];
            for lane in 0..LANES {
                let twice = one.curvature[0] * first[lane] * first[lane]
                    + 2.0 * one.curvature[1] * first[lane] * second[lane]
                    + one.curvature[2] * second[lane] * second[lane];
                place[lane] = one.value + 0.5 * twice + one.falloff * hidden[lane];
            }
            for column in 0..=CURVED + number {
                for lane in 0..LANES {
                    place[lane] += row[column] * normals[column][lane];
                }
            }
        }
        for lane in 0..LANES {
            let lost = places[2][lane] - places[0][lane];
            loss.add(lost);
            sideways.add(places[3][lane] - places[1][lane] + lean * lost);
            if NUMBERS == OF_MISS {
                let (half_width, shortest) = (bounds.0 * places[8][lane], bounds.1 * places[8][lane]);
                let good = |first: usize| {
                    usize::from(places[first + 1][lane].abs() <= half_width && places[first][lane] >= shortest)
                };
                combinations[good(2) | good(4) << 1 | good(6) << 2] += 1;
            }
        }
    }
    let causes = (NUMBERS == OF_MISS).then(|| {
        let mut shares = [0.0; Cause::ALL.len()];
        for (combination, count) in combinations.into_iter().enumerate() {
            let good = |bit: usize| combination & (1 << bit) != 0;
            shares[Cause::of(good(0), good(1), good(2)) as usize] += count as f64 / (POINTS / every) as f64;
        }
        shares
    });
    Weighed { loss: (loss.mean(), loss.sd()), sideways: sideways.mean(), causes }
}

/// The probability that the true face to path differs from what a reader of the curve takes it for, by at least the angle that
/// is acted on, or has the other sign.
pub(crate) fn misread_probability(case: &Case<'_>, reading: f64, settings: &Settings) -> f64 {
    let mut slopes: Unknowns = [0.0; COUNT];
    slopes[FACE] = 1.0;
    slopes[PATH] = -1.0;
    let spread = case.found.spread(&slopes);
    let sd = spread.with(&spread).max(1e-12).sqrt();
    let side = if reading < 0.0 { -1.0 } else { 1.0 };
    let (reading, truth) = (side * reading, side * (case.found.mode[FACE] - case.found.mode[PATH]));
    let normal = Normal::standard();
    let angle = settings.curve_acted_on_deg;
    let below = |limit: f64| normal.cdf((limit - truth) / sd);
    1.0 - (below(reading + angle) - below((reading - angle).max(0.0)))
}
