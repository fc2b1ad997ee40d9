//! What the posterior of one shot says: what a centred strike would have given, how sure that is, and what would have mended a
//! miss. Landings are drawn as numbers, from their joint spread and the curvature of the strike; no draw strikes or flies a
//! ball. The thorough method (`thorough.rs`) does both for every draw; tests compare the two.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::Settings;
use crate::case::{ALL_ACTUAL, BOTH, CENTRED, Case, Flights, INTENDED, NONE_ACTUAL};
use crate::decide::{Bounds, Cause};
use crate::expand::{ExpandedPlace, Expander};
use crate::moments::Moments;
use crate::ready::{CURVED, Drawn, StrikeRoots, roots};
use crate::sobol::{DIMENSIONS, EvenNormals, POINTS};
use crate::surface::Surface;
use crate::unknowns::{COUNT, FACE, FALLOFF, PATH, Unknowns};

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

/// Draws side by side, as many as a chunk of the table holds.
const LANES: usize = 8;
/// Landing numbers without and with those of a miss.
const OF_LOSS: usize = 4;
const OF_MISS: usize = DIMENSIONS - CURVED;

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
