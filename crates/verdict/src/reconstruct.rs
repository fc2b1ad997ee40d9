//! The most probable delivery, strike and head behind one launch, and how far each could be off.

use impact::{Dual, HeadProfile, Scalar};
use nalgebra::{Cholesky, Const, SMatrix, SVector};

use crate::model::{LAUNCH, launch_of};
use crate::unknowns::{BULGE, COUNT, FACE, Prior, TOE, Unknowns, keep_possible};
use crate::{Evidence, Known};

type Matrix = SMatrix<f64, COUNT, COUNT>;
type Vector = SVector<f64, COUNT>;

/// A launch quantity as observed: `None` where it was not measured.
pub type ObservedLaunch = [Option<(f64, f64)>; LAUNCH];

/// What the launch, the club data and the priors together say of one shot.
#[derive(Debug, Clone)]
pub struct Reconstruction {
    /// Most probable unknowns.
    pub mode: Unknowns,
    /// Lower Cholesky factor of the posterior covariance.
    pub factor: Matrix,
    /// Model launch at the mode.
    pub model_launch: [f64; LAUNCH],
    /// For each launch quantity: observed value, share of a residual that is the model's, deviation left of that share.
    pub residual: [ModelError; LAUNCH],
    /// Sum of squared standardised residuals of the launch and the priors at the mode.
    pub misfit: f64,
}

/// How the difference between an observed and a modelled launch quantity is shared between device and model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModelError {
    observed: Option<f64>,
    share: f64,
    sd: f64,
}

impl ModelError {
    /// The model's error given what the model says, with a standard normal draw (0 for the mean).
    pub fn given(&self, modelled: f64, draw: f64) -> f64 {
        match self.observed {
            Some(observed) => (observed - modelled) * self.share + self.sd * draw,
            None => self.sd * draw,
        }
    }
}

/// How far the collision model may be off for one and the same shot, at one standard deviation. Common practice, no source:
/// a rigid head with one contact point and a clean ball describes an impact about this well.
fn model_error_sd(ball_speed: f64, spin: f64) -> [f64; LAUNCH] {
    [0.005 * ball_speed, 0.3, 0.3, (0.05 * spin).max(60.0), 1.0]
}

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

/// The misfit of a candidate, with what a Gauss-Newton step needs of it.
struct Misfit {
    cost: f64,
    gradient: Vector,
    normal: Matrix,
    launch: [f64; LAUNCH],
}

/// Finds the most probable unknowns by damped Gauss-Newton with exact derivatives. `None` where the collision model has no
/// answer near the prior.
pub fn reconstruct(observed: &ObservedLaunch, prior: &Prior, head: &HeadProfile, hand: f64) -> Option<Reconstruction> {
    let spin_scale = observed[3].map_or(3_000.0, |(spin, _)| spin);
    let speed_scale = observed[0].map_or(60.0, |(speed, _)| speed);
    let model_sd = model_error_sd(speed_scale, spin_scale);

    let mut at = prior.mean;
    keep_possible(&mut at);
    let mut current = misfit(&at, observed, &model_sd, prior, head, hand)?;
    let mut damping = 1e-4;
    for _ in 0..40 {
        let mut damped = current.normal;
        for position in 0..COUNT {
            damped[(position, position)] *= 1.0 + damping;
        }
        let step = Cholesky::new(damped)?.solve(&current.gradient);
        let mut candidate = at;
        for position in 0..COUNT {
            candidate[position] -= step[position];
        }
        keep_possible(&mut candidate);
        match misfit(&candidate, observed, &model_sd, prior, head, hand) {
            Some(better) if better.cost <= current.cost => {
                let gain = current.cost - better.cost;
                at = candidate;
                current = better;
                damping = (damping * 0.2).max(1e-9);
                if gain < 1e-9 * (1.0 + current.cost) {
                    break;
                }
            }
            _ => {
                damping *= 10.0;
                if damping > 1e8 {
                    break;
                }
            }
        }
    }
    let covariance = Cholesky::new(current.normal)?.inverse();
    let factor = Cholesky::<f64, Const<COUNT>>::new(covariance)?.l();
    Some(Reconstruction {
        mode: at,
        factor,
        model_launch: current.launch,
        residual: share_residual(observed, &model_sd),
        misfit: current.cost,
    })
}

fn share_residual(observed: &ObservedLaunch, model_sd: &[f64; LAUNCH]) -> [ModelError; LAUNCH] {
    std::array::from_fn(|quantity| match observed[quantity] {
        Some((value, device_sd)) => {
            let (model, device) = (model_sd[quantity].powi(2), device_sd.powi(2));
            ModelError {
                observed: Some(value),
                share: model / (model + device),
                sd: (model * device / (model + device)).sqrt(),
            }
        }
        None => ModelError { observed: None, share: 0.0, sd: model_sd[quantity] },
    })
}

fn misfit(
    at: &Unknowns,
    observed: &ObservedLaunch,
    model_sd: &[f64; LAUNCH],
    prior: &Prior,
    head: &HeadProfile,
    hand: f64,
) -> Option<Misfit> {
    let variables: [Dual<COUNT>; COUNT] = std::array::from_fn(|position| Dual::input(at[position], position));
    let launch = launch_of(head, &variables, hand)?;
    let mut found = Misfit {
        cost: 0.0,
        gradient: Vector::zeros(),
        normal: Matrix::zeros(),
        launch: std::array::from_fn(|quantity| launch[quantity].value),
    };
    for position in 0..COUNT {
        // An unknown that is exactly known keeps a tiny deviation so that the normal matrix stays invertible.
        let weight = prior.sd[position].max(1e-9).powi(-2);
        let offset = at[position] - prior.mean[position];
        found.cost += weight * offset * offset;
        found.gradient[position] += weight * offset;
        found.normal[(position, position)] += weight;
    }
    for quantity in 0..LAUNCH {
        if let Some((value, device_sd)) = observed[quantity] {
            let weight = 1.0 / (device_sd.powi(2) + model_sd[quantity].powi(2));
            add_observation(&mut found, &launch[quantity], value, weight);
        }
    }
    if let Some((value, deviation)) = prior.face_at_strike {
        // On a bulged face the normal at the strike point is turned toward the side of the strike.
        let turned = (variables[TOE] * 1e-3 * variables[BULGE]).asin() * hand.to_degrees();
        add_observation(&mut found, &(variables[FACE] + turned), value, deviation.powi(-2));
    }
    Some(found)
}

fn add_observation(found: &mut Misfit, modelled: &Dual<COUNT>, value: f64, weight: f64) {
    let residual = modelled.value - value;
    found.cost += weight * residual * residual;
    let slope = Vector::from(modelled.slopes);
    found.gradient += slope * (weight * residual);
    found.normal += slope * slope.transpose() * weight;
}

impl Reconstruction {
    /// Standard deviation of one unknown.
    pub fn sd(&self, position: usize) -> f64 {
        self.factor.row(position).norm()
    }

    /// The unknowns of one draw of the posterior from standard normal values.
    pub fn draw(&self, normals: &[f64]) -> Unknowns {
        let mut drawn = self.mode;
        for (row, value) in drawn.iter_mut().enumerate() {
            for column in 0..=row {
                *value += self.factor[(row, column)] * normals[column];
            }
        }
        keep_possible(&mut drawn);
        drawn
    }

    /// The launch with the most probable error of the model: what the ball most probably did.
    pub fn launch(&self) -> [f64; LAUNCH] {
        self.with_error(&self.model_launch)
    }

    /// A modelled counterfactual launch with this shot's most probable model error.
    pub fn with_error(&self, counterfactual: &[f64; LAUNCH]) -> [f64; LAUNCH] {
        std::array::from_fn(|quantity| {
            counterfactual[quantity] + self.residual[quantity].given(self.model_launch[quantity], 0.0)
        })
    }
}
