//! The most probable unknowns behind one launch, by damped Gauss-Newton with exact derivatives.
//!
//! There are far fewer observations than unknowns, so the step is taken in the space of the observations: with prior N(m, P),
//! observations y of variance R and H the slopes at x, the next x is `m + P H' (H P H' + R)^-1 (y - h(x) + H (x - m))`, the
//! same as the step of the normal equations.

use impact::{Dual, Scalar};
use nalgebra::{Cholesky, Const, SMatrix, SVector};

use crate::model::{AZIMUTH, LAUNCH, Model};
use crate::prior::Prior;
use crate::readings::{ROWS, Readings};
use crate::unknowns::{BAY, BULGE, COUNT, FACE, LOFT, POSSIBLE, TOE, UP, Unknowns, keep_possible};

/// Factored covariance of the innovations.
pub type Gain = Cholesky<f64, Const<ROWS>>;
/// One value for each row of observations.
pub type Column = SVector<f64, ROWS>;

/// The observations as the model has them at one point.
pub struct Modelled {
    pub launch: [Dual<COUNT>; LAUNCH],
    rows: [Dual<COUNT>; ROWS],
    /// Sum of squared standardised residuals of the observations and the priors.
    pub cost: f64,
}

/// The azimuth of the normal at the strike point: bulge turns it toward the side of the strike, roll leans it, and a leaning
/// face turns further round the vertical.
fn face_at_strike(unknowns: &[Dual<COUNT>; COUNT], model: &Model<'_>) -> Dual<COUNT> {
    let roll = model.head.roll_radius_m.map_or(0.0, |radius| 1.0 / radius);
    let along = unknowns[TOE] * 1e-3 * unknowns[BULGE];
    let up = unknowns[UP] * (1e-3 * roll);
    if along.value.abs() >= 1.0 || up.value.abs() >= 1.0 {
        // Beyond the curvature of the face the collision has no answer either.
        return unknowns[FACE];
    }
    let (sin_along, cos_along) = along.asin().sin_cos();
    let elevation = unknowns[LOFT] * 1f64.to_radians() + up.asin();
    unknowns[FACE] + sin_along.atan2(cos_along * elevation.cos()) * model.hand.to_degrees()
}

fn look(at: &Unknowns, readings: &Readings, prior: &Prior, model: &Model<'_>) -> Option<Modelled> {
    let variables: [Dual<COUNT>; COUNT] = std::array::from_fn(|position| Dual::input(at[position], position));
    let launch = model.launch_with_slopes(at)?;
    let mut rows = [Dual::constant(0.0); ROWS];
    rows[..LAUNCH].copy_from_slice(&launch);
    rows[AZIMUTH] = rows[AZIMUTH] + variables[BAY];
    if readings.present[LAUNCH] {
        rows[LAUNCH] = face_at_strike(&variables, model) + variables[BAY];
    }
    let mut cost = prior.misfit(at);
    for row in 0..ROWS {
        if readings.present[row] {
            cost += (readings.value[row] - rows[row].value).powi(2) / readings.variance[row];
        }
    }
    Some(Modelled { launch, rows, cost })
}

/// Slopes in whitened unknowns and the factored covariance of the innovations; rows without an observation stay apart.
pub fn gain(modelled: &Modelled, readings: &Readings, prior: &Prior) -> Option<([Unknowns; ROWS], Gain)> {
    let mut white = [[0.0; COUNT]; ROWS];
    let mut innovation = SMatrix::<f64, ROWS, ROWS>::identity();
    for row in 0..ROWS {
        if readings.present[row] {
            white[row] = prior.whitened(&modelled.rows[row].slopes);
            innovation[(row, row)] = readings.variance[row] + dot(&white[row], &white[row]);
            for other in 0..row {
                let shared = dot(&white[row], &white[other]);
                innovation[(row, other)] = shared;
                innovation[(other, row)] = shared;
            }
        }
    }
    Some((white, Cholesky::new(innovation)?))
}

pub fn dot(left: &Unknowns, right: &Unknowns) -> f64 {
    let mut sum = 0.0;
    for position in 0..COUNT {
        sum += left[position] * right[position];
    }
    sum
}

/// The Gauss-Newton target from `at`: the most probable unknowns if the model were linear there.
fn target(at: &Unknowns, modelled: &Modelled, readings: &Readings, prior: &Prior) -> Option<Unknowns> {
    let (white, gain) = gain(modelled, readings, prior)?;
    let mut pull = Column::zeros();
    for row in 0..ROWS {
        if readings.present[row] {
            pull[row] = readings.value[row] - modelled.rows[row].value;
            for position in 0..COUNT {
                pull[row] += modelled.rows[row].slopes[position] * (at[position] - prior.mean[position]);
            }
        }
    }
    gain.solve_mut(&mut pull);
    let mut combined = [0.0; COUNT];
    for row in 0..ROWS {
        for position in 0..COUNT {
            combined[position] += white[row][position] * pull[row];
        }
    }
    let mut found = prior.coloured(&combined);
    for position in 0..COUNT {
        found[position] += prior.mean[position];
    }
    Some(found)
}

/// The target within what is possible: unknowns that would leave it are held at the limit, the others found anew.
fn possible_target(at: &Unknowns, modelled: &Modelled, readings: &Readings, prior: &Prior) -> Option<Unknowns> {
    let free = target(at, modelled, readings, prior)?;
    let mut held = prior.clone();
    let mut is_held = false;
    for (position, lowest, highest) in POSSIBLE {
        if free[position] < lowest || free[position] > highest {
            held.mean[position] = free[position].clamp(lowest, highest);
            held.sd[position] = 0.0;
            is_held = true;
        }
    }
    if !is_held {
        return Some(free);
    }
    let mut found = target(at, modelled, readings, &held)?;
    keep_possible(&mut found);
    Some(found)
}

/// Descends from `at` to the nearest most probable unknowns; unknowns whose prior has no deviation stay where it has them.
/// `None` where the collision model has no answer on the way.
pub fn descend(
    mut at: Unknowns,
    readings: &Readings,
    prior: &Prior,
    model: &Model<'_>,
) -> Option<(Unknowns, Modelled)> {
    keep_possible(&mut at);
    let mut current = look(&at, readings, prior, model)?;
    for _ in 0..40 {
        let goal = possible_target(&at, &current, readings, prior)?;
        let before = current.cost;
        let mut share = 1.0;
        let mut moved = false;
        while share > 1e-4 {
            let candidate: Unknowns =
                std::array::from_fn(|position| at[position] + share * (goal[position] - at[position]));
            if let Some(better) = look(&candidate, readings, prior, model)
                && better.cost <= before
            {
                at = candidate;
                current = better;
                moved = true;
                break;
            }
            share *= 0.5;
        }
        if !moved || before - current.cost < 1e-9 * (1.0 + current.cost) {
            break;
        }
    }
    Some((at, current))
}
