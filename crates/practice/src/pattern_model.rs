//! The hierarchical bivariate normal under the strike pattern.
//!
//! true strike = mean of the period + session effect (covariance T) + shot (covariance W of the period); what is known of a
//! strike is its information (`strike_information`). Fitted by expectation and maximisation (Dempster, Laird and Rubin 1977,
//! J. R. Statist. Soc. B 39, 1) with the mean integrated out under a flat prior, which makes it restricted maximum
//! likelihood: exact strikes of one session give the sample covariance with n - 1.
//!
//! T is common to all periods, with a weak prior: as if two more sessions had been seen whose means scattered by three tenths
//! of a shot's spread (common practice, no source). With one session the prior is all there is to go by.

use nalgebra::{Matrix2, Vector2};

use crate::strike_information::{StrikeInformation, inverse};

/// Sessions that the prior of T counts for.
pub(crate) const PRIOR_SESSIONS: f64 = 2.0;
/// Spread of session means that it expects, in spreads of a shot.
const PRIOR_SESSION_SPREAD: f64 = 0.3;
const MOST_ROUNDS: usize = 400;
const LEAST_VARIANCE: f64 = 0.01;
const MOST_CORRELATION: f64 = 0.999;

/// The strikes of a period, by session.
pub(crate) type Period = Vec<Vec<StrikeInformation>>;

/// What is known of a period.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PeriodFit {
    pub mean: Vector2<f64>,
    pub mean_covariance: Matrix2<f64>,
    /// Covariance of a strike within a session.
    pub within: Matrix2<f64>,
    pub strikes: f64,
    pub sessions: f64,
    /// Degrees of freedom of `within`: strikes weighed by how much of a position each tells, less one a session.
    pub degrees: f64,
}

/// The fitted model.
#[derive(Debug, Clone)]
pub(crate) struct PatternModel {
    pub periods: Vec<PeriodFit>,
    /// Covariance of the session means.
    pub between: Matrix2<f64>,
    /// Degrees of freedom of `between`, the prior's included.
    pub between_degrees: f64,
    /// Posterior mean and covariance of every strike, in the order of the periods, sessions and strikes.
    pub positions: Vec<Vec<(Vector2<f64>, Matrix2<f64>)>>,
}

/// Sums of one pass over a period.
struct Pass {
    mean: Vector2<f64>,
    mean_covariance: Matrix2<f64>,
    within_sum: Matrix2<f64>,
    between_sum: Matrix2<f64>,
    told: f64,
    positions: Vec<(Vector2<f64>, Matrix2<f64>)>,
}

/// Fits the periods together. Every period must hold a strike, and the strikes together some information.
pub(crate) fn fit(periods: &[Period]) -> PatternModel {
    let mut within = vec![Matrix2::new(100.0, 0.0, 0.0, 60.0); periods.len()];
    let mut between = Matrix2::new(9.0, 0.0, 0.0, 5.4);
    let sessions: f64 = periods.iter().map(|period| period.len() as f64).sum();
    for _ in 0..MOST_ROUNDS {
        let mut between_sum = Matrix2::zeros();
        let mut pooled = Matrix2::zeros();
        let mut strikes_of_all = 0.0;
        let mut change: f64 = 0.0;
        for (period, covariance) in periods.iter().zip(&mut within) {
            let pass = run(period, *covariance, between);
            let strikes = count(period);
            let next = bounded(pass.within_sum / strikes);
            change = change.max((next - *covariance).norm() / covariance.norm());
            *covariance = next;
            between_sum += pass.between_sum;
            pooled += next * strikes;
            strikes_of_all += strikes;
        }
        let expected = pooled / strikes_of_all * PRIOR_SESSION_SPREAD.powi(2);
        let next = bounded((between_sum + expected * PRIOR_SESSIONS) / (sessions + PRIOR_SESSIONS));
        change = change.max((next - between).norm() / between.norm());
        between = next;
        if change < 1e-8 {
            break;
        }
    }
    let mut fits = Vec::with_capacity(periods.len());
    let mut positions = Vec::with_capacity(periods.len());
    for (period, &covariance) in periods.iter().zip(&within) {
        let pass = run(period, covariance, between);
        let sessions = period.len() as f64;
        fits.push(PeriodFit {
            mean: pass.mean,
            mean_covariance: pass.mean_covariance,
            within: covariance,
            strikes: count(period),
            sessions,
            degrees: (pass.told - sessions).max(1.0),
        });
        positions.push(pass.positions);
    }
    let between_degrees = sessions - periods.len() as f64 + PRIOR_SESSIONS;
    PatternModel { periods: fits, between, between_degrees, positions }
}

/// Expectations over a period, given the covariances.
fn run(period: &Period, within: Matrix2<f64>, between: Matrix2<f64>) -> Pass {
    let identity = Matrix2::identity();
    let within_inverse = inverse(within);
    let between_inverse = inverse(between);
    // What each session says of its own level, and through it of the period's mean.
    let mut levels = Vec::with_capacity(period.len());
    let mut mean_precision = Matrix2::zeros();
    let mut mean_weighted = Vector2::zeros();
    let mut told = 0.0;
    for session in period {
        let mut precision = Matrix2::zeros();
        let mut weighted = Vector2::zeros();
        for strike in session {
            let own = inverse(within_inverse + strike.precision);
            let of_level = within_inverse - within_inverse * own * within_inverse;
            precision += of_level;
            weighted += within_inverse * own * strike.weighted;
            // The variance of a covariance grows with the square of what the reading adds to the scatter.
            told += (0.5 * (of_level * within).trace()).clamp(0.0, 1.0).powi(2);
        }
        let level_covariance = inverse(between_inverse + precision);
        mean_precision += between_inverse - between_inverse * level_covariance * between_inverse;
        mean_weighted += between_inverse * level_covariance * weighted;
        levels.push((level_covariance, weighted));
    }
    // A trace of precision stands for data that leave a direction wholly open.
    let mean_covariance = inverse(mean_precision + identity * 1e-9);
    let mean = mean_covariance * mean_weighted;
    let mut within_sum = Matrix2::zeros();
    let mut between_sum = Matrix2::zeros();
    let mut positions = Vec::new();
    for (session, (level_covariance, weighted)) in period.iter().zip(levels) {
        let level = level_covariance * (between_inverse * mean + weighted);
        let follows = level_covariance * between_inverse;
        let spread_of_level = level_covariance + follows * mean_covariance * follows.transpose();
        let effect = level - mean;
        let apart = follows - identity;
        between_sum += effect * effect.transpose() + level_covariance + apart * mean_covariance * apart.transpose();
        for strike in session {
            let own = inverse(within_inverse + strike.precision);
            let position = own * (within_inverse * level + strike.weighted);
            let drawn = own * within_inverse;
            let shot = position - level;
            let apart = drawn - identity;
            within_sum += shot * shot.transpose() + own + apart * spread_of_level * apart.transpose();
            positions.push((position, own + drawn * spread_of_level * drawn.transpose()));
        }
    }
    Pass { mean, mean_covariance, within_sum, between_sum, told, positions }
}

fn count(period: &Period) -> f64 {
    period.iter().map(|session| session.len() as f64).sum()
}

/// The matrix made symmetric, with variances and correlation that can be inverted.
fn bounded(matrix: Matrix2<f64>) -> Matrix2<f64> {
    let toe = matrix[(0, 0)].max(LEAST_VARIANCE);
    let up = matrix[(1, 1)].max(LEAST_VARIANCE);
    let most = MOST_CORRELATION * (toe * up).sqrt();
    let across = (0.5 * (matrix[(0, 1)] + matrix[(1, 0)])).clamp(-most, most);
    Matrix2::new(toe, across, across, up)
}
