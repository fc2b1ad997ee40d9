//! One most probable set of delivery, strike and head behind a launch, and how far each could be off.

use impact::{Dual, Scalar};
use nalgebra::{Cholesky, SMatrix};

use crate::model::{AZIMUTH, LAUNCH};
use crate::prior::Prior;
use crate::readings::{ModelError, ROWS, Readings};
use crate::search::{Column, Gain, Modelled, dot, gain};
use crate::unknowns::{BAY, COUNT, Unknowns};

type Matrix = SMatrix<f64, COUNT, COUNT>;

/// What the launch, the club data and the priors together say of one shot, about one most probable set of unknowns.
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

impl Reconstruction {
    /// The posterior about a mode, from the model as it is there.
    pub fn new(
        mode: Unknowns,
        modelled: &Modelled,
        readings: &Readings,
        residual: [ModelError; LAUNCH],
        prior: &Prior,
    ) -> Option<Reconstruction> {
        let (white, gain) = gain(modelled, readings, prior)?;
        Some(Reconstruction {
            mode,
            model_launch: modelled.launch,
            residual,
            misfit: modelled.cost,
            observations: readings.present.iter().filter(|present| **present).count(),
            prior: prior.clone(),
            white,
            gain,
        })
    }

    /// Logarithm of the probability around this mode, by Laplace's method, but for a constant of the shot.
    pub fn log_evidence(&self) -> f64 {
        let mut log_determinant = 0.0;
        for row in 0..ROWS {
            log_determinant += 2.0 * self.gain.l_dirty()[(row, row)].ln();
        }
        -0.5 * (self.misfit + log_determinant)
    }

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
