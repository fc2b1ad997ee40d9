//! The most probable delivery, strike and head behind one launch, and how far each could be off.
//!
//! There are far fewer observations than unknowns, so the Gauss-Newton step is taken in the space of the observations:
//! with prior N(m, P), observations y of variance R and H the slopes at x, the next x is
//! `m + P H' (H P H' + R)^-1 (y - h(x) + H (x - m))`, the same as the step of the normal equations.

use impact::{Dual, Scalar};
use nalgebra::{Cholesky, Const, SMatrix, SVector};

use crate::model::{AZIMUTH, ELEVATION, LAUNCH, Model, model_error_sd};
use crate::prior::Prior;
use crate::unknowns::{BAY, BULGE, COUNT, FACE, LOFT, POSSIBLE, TOE, UP, Unknowns, keep_possible};
use crate::{Evidence, Known};

/// Rows of observations: the launch, and the face at the strike point.
const ROWS: usize = LAUNCH + 1;

type Gain = Cholesky<f64, Const<ROWS>>;
type Column = SVector<f64, ROWS>;
type Matrix = SMatrix<f64, COUNT, COUNT>;

/// A launch quantity as observed: `None` where it was not measured.
pub type ObservedLaunch = [Option<(f64, f64)>; LAUNCH];

/// The launch quantities that the device measured.
pub fn observed_launch(evidence: &Evidence) -> ObservedLaunch {
    [
        evidence.measured(Known::BallSpeed, Known::BallSpeedSd),
        evidence.measured(Known::LaunchElevation, Known::LaunchElevationSd),
        evidence.measured(Known::LaunchAzimuth, Known::LaunchAzimuthSd),
        evidence.measured(Known::Spin, Known::SpinSd),
        evidence.measured(Known::SpinTilt, Known::SpinTiltSd),
    ]
}

/// How the difference between an observed and a modelled launch quantity is shared between device and model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModelError {
    observed: f64,
    /// Share of a residual that is the model's; 0 where nothing was observed.
    pub share: f64,
    /// Deviation of the model's error beside that share.
    pub sd: f64,
}

impl ModelError {
    fn new(observed: Option<(f64, f64)>, model_sd: f64) -> ModelError {
        let Some((value, device_sd)) = observed else {
            return ModelError { observed: 0.0, share: 0.0, sd: model_sd };
        };
        let (model, device) = (model_sd.powi(2), device_sd.powi(2));
        ModelError { observed: value, share: model / (model + device), sd: (model * device / (model + device)).sqrt() }
    }
}

/// What the launch, the club data and the priors together say of one shot.
#[derive(Debug, Clone)]
pub struct Reconstruction {
    /// Most probable unknowns.
    pub mode: Unknowns,
    /// Model launch at the mode, with its derivatives by the unknowns.
    pub model_launch: [Dual<COUNT>; LAUNCH],
    /// How residuals of the launch are shared.
    pub residual: [ModelError; LAUNCH],
    /// Sum of squared standardised residuals of the launch and the priors at the mode, and how many observations are in it.
    pub misfit: f64,
    pub observations: usize,
    prior: Prior,
    /// Slopes of the observations by independent standard normal values, row by row.
    white: [Unknowns; ROWS],
    gain: Gain,
}

/// Observations, their variances and which of them there are.
struct Readings {
    value: [f64; ROWS],
    variance: [f64; ROWS],
    present: [bool; ROWS],
}

/// The observations as the model has them at one point.
struct Modelled {
    launch: [Dual<COUNT>; LAUNCH],
    rows: [Dual<COUNT>; ROWS],
    cost: f64,
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
fn gain(modelled: &Modelled, readings: &Readings, prior: &Prior) -> Option<([Unknowns; ROWS], Gain)> {
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

fn dot(left: &Unknowns, right: &Unknowns) -> f64 {
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

/// Finds the most probable unknowns by damped Gauss-Newton with exact derivatives. `None` where the collision model has no
/// answer near the prior.
pub fn reconstruct(
    observed: &ObservedLaunch,
    prior: &Prior,
    model: &Model<'_>,
    evidence: &Evidence,
) -> Option<Reconstruction> {
    let mut at = prior.mean;
    keep_possible(&mut at);
    let expected = model.launch(&at)?;
    let speed_scale = observed[0].map_or(expected[0], |(speed, _)| speed);
    let spin_scale = observed[3].map_or(expected[3], |(spin, _)| spin);
    let mut model_sd = model_error_sd(speed_scale, spin_scale);
    // A constant offset is linear in one observation, so its deviation belongs to that observation's variance, exactly.
    for (quantity, deviation) in [(ELEVATION, Known::LoftOffsetSd), (AZIMUTH, Known::DirectionOffsetSd)] {
        model_sd[quantity] = model_sd[quantity].hypot(evidence.get(deviation).unwrap_or(0.0));
    }
    let readings = Readings::new(observed, &model_sd, prior);

    let mut current = look(&at, &readings, prior, model)?;
    for _ in 0..40 {
        let goal = possible_target(&at, &current, &readings, prior)?;
        let before = current.cost;
        let mut share = 1.0;
        let mut moved = false;
        while share > 1e-4 {
            let candidate: Unknowns =
                std::array::from_fn(|position| at[position] + share * (goal[position] - at[position]));
            if let Some(better) = look(&candidate, &readings, prior, model)
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
    let (white, gain) = gain(&current, &readings, prior)?;
    Some(Reconstruction {
        mode: at,
        model_launch: current.launch,
        residual: std::array::from_fn(|quantity| ModelError::new(observed[quantity], model_sd[quantity])),
        misfit: current.cost,
        observations: readings.present.iter().filter(|present| **present).count(),
        prior: prior.clone(),
        white,
        gain,
    })
}

impl Readings {
    fn new(observed: &ObservedLaunch, model_sd: &[f64; LAUNCH], prior: &Prior) -> Readings {
        let mut readings = Readings { value: [0.0; ROWS], variance: [1.0; ROWS], present: [false; ROWS] };
        for quantity in 0..LAUNCH {
            if let Some((value, device_sd)) = observed[quantity] {
                readings.take(quantity, value, device_sd.powi(2) + model_sd[quantity].powi(2));
            }
        }
        if let Some((value, device_sd)) = prior.face_at_strike {
            readings.take(LAUNCH, value, device_sd.powi(2));
        }
        readings
    }

    fn take(&mut self, row: usize, value: f64, variance: f64) {
        self.value[row] = value;
        self.variance[row] = variance;
        self.present[row] = true;
    }
}

impl Reconstruction {
    /// A linear function of the unknowns, given by its slopes, in the terms that [`Reconstruction::covariance`] takes.
    pub fn spread(&self, slopes: &Unknowns) -> Spread {
        let white = self.prior.whitened(slopes);
        let mut told = Column::zeros();
        for row in 0..ROWS {
            told[row] = dot(&self.white[row], &white);
        }
        // The forward half of the solution is enough: products of two halves give the whole.
        self.gain.l_dirty().solve_lower_triangular_mut(&mut told);
        Spread { white, told }
    }

    /// Standard deviation of one unknown.
    pub fn sd(&self, position: usize) -> f64 {
        let mut slopes = [0.0; COUNT];
        slopes[position] = 1.0;
        let spread = self.spread(&slopes);
        spread.with(&spread).max(0.0).sqrt()
    }

    /// A square root of the posterior covariance: its product with standard normal values gives offsets from the mode.
    pub fn factor(&self) -> Option<Matrix> {
        let mut left = Matrix::identity();
        let spreads: [Spread; COUNT] = std::array::from_fn(|position| {
            let mut white = [0.0; COUNT];
            white[position] = 1.0;
            let mut told = Column::zeros();
            for row in 0..ROWS {
                told[row] = self.white[row][position];
            }
            self.gain.l_dirty().solve_lower_triangular_mut(&mut told);
            Spread { white, told }
        });
        for row in 0..COUNT {
            for column in 0..COUNT {
                left[(row, column)] = spreads[row].with(&spreads[column]);
            }
        }
        // What remains of independent unit spreads after the observations is positive definite by construction.
        let root = Cholesky::new(left)?.l();
        let mut factor = Matrix::zeros();
        for column in 0..COUNT {
            let white: Unknowns = std::array::from_fn(|row| root[(row, column)]);
            let offset = self.prior.coloured(&white);
            for row in 0..COUNT {
                factor[(row, column)] = offset[row];
            }
        }
        Some(factor)
    }

    /// What the model's error is for unknowns that give a modelled launch, with standard normal draws (0 for the mean).
    pub fn model_error<S: Scalar>(&self, bay: S, modelled: &[S; LAUNCH], draws: &[S; LAUNCH]) -> [S; LAUNCH] {
        std::array::from_fn(|quantity| {
            let residual = &self.residual[quantity];
            let reading = if quantity == AZIMUTH { modelled[quantity] + bay } else { modelled[quantity] };
            draws[quantity] * residual.sd - (reading - residual.observed) * residual.share
        })
    }

    /// Posterior deviation of the launch as the ball had it.
    pub fn launch_sd(&self) -> [f64; LAUNCH] {
        std::array::from_fn(|quantity| {
            let residual = &self.residual[quantity];
            let mut slopes = self.model_launch[quantity].slopes.map(|slope| slope * (1.0 - residual.share));
            if quantity == AZIMUTH {
                slopes[BAY] -= residual.share;
            }
            let spread = self.spread(&slopes);
            (spread.with(&spread).max(0.0) + residual.sd.powi(2)).sqrt()
        })
    }

    /// The model launch at the mode, plain.
    pub fn modelled(&self) -> [f64; LAUNCH] {
        std::array::from_fn(|quantity| self.model_launch[quantity].value)
    }

    /// A modelled counterfactual launch with this shot's most probable model error.
    pub fn with_error(&self, counterfactual: &[f64; LAUNCH]) -> [f64; LAUNCH] {
        let error = self.model_error(self.mode[BAY], &self.modelled(), &[0.0; LAUNCH]);
        std::array::from_fn(|quantity| counterfactual[quantity] + error[quantity])
    }

    /// The launch with the most probable error of the model: what the ball most probably did.
    pub fn launch(&self) -> [f64; LAUNCH] {
        self.with_error(&self.modelled())
    }
}

/// A linear function of the unknowns, made ready for covariances.
#[derive(Debug, Clone, Copy)]
pub struct Spread {
    white: Unknowns,
    told: Column,
}

impl Spread {
    /// Posterior covariance of two linear functions.
    pub fn with(&self, other: &Spread) -> f64 {
        dot(&self.white, &other.white) - self.told.dot(&other.told)
    }
}
