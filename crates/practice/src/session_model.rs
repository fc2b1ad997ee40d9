//! Values that scatter within sessions, and sessions that scatter about a line: the model under every weekly number.
//!
//! value = x' beta + session effect (deviation tau) + shot (deviation sigma) + error of the value (known variance).
//! The restricted likelihood (Patterson and Thompson 1971, Biometrika 58, 545; beta under a flat prior) times a weak prior
//! is integrated over sigma and tau on a grid instead of maximised: with one or two sessions a week the maximum often sits at
//! tau = 0, and an interval that takes it at its word is too short. The integral also is the small-sample factor: with one
//! session and exact values it gives Student's t with n - 1 degrees of freedom.
//!
//! Prior: flat in the logarithm of the deviation of a shot as read (shot and error together); tau over that deviation
//! half-Cauchy with scale one half (Gelman 2006, Bayesian Analysis 1, 515, on the half-Cauchy for few groups; the scale
//! means that sessions usually differ by less than shots do: common practice, no source).
//!
//! Within a session the mean is the plain mean; weights differ between sessions only. A coach can so recompute every
//! session's figure, and no value counts less because its device is honest about its error.

use crate::mixture::{Mixture, Part};
use crate::session_summary::SessionSummary;

/// Scale of the half-Cauchy prior of tau, in deviations of a shot as read.
const TAU_PRIOR_SCALE: f64 = 0.5;
const TAU_STEPS: usize = 24;
const SIGMA_STEPS: usize = 40;
/// Pairs of variance components lighter than this, against the heaviest, change no digit that is shown.
const LEAST_WEIGHT: f64 = 1e-8;

/// Row of the design: what a session's expectation is made of.
pub(crate) type DesignRow = [f64; 2];

/// How the second coefficient is known beforehand.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Slope {
    /// There is none: the second column is ignored.
    Absent,
    /// Nothing is known.
    Free,
    /// Normal about zero with this deviation.
    Prior(f64),
}

/// One pair of variance components with all that follows from it.
struct GridPoint {
    weight: f64,
    shot_variance: f64,
    tau_variance: f64,
    beta: [f64; 2],
    covariance: [[f64; 2]; 2],
}

impl GridPoint {
    /// Share of a session's distance from the line that is the session's own.
    fn kept(&self, session: &SessionSummary) -> f64 {
        let variance = (self.shot_variance + session.error_variance) / session.count + self.tau_variance;
        self.tau_variance / variance
    }
}

/// The fitted model.
pub(crate) struct SessionModel {
    points: Vec<GridPoint>,
    sessions: Vec<SessionSummary>,
    design: Vec<DesignRow>,
}

impl SessionModel {
    /// Fits the model; nothing where the sessions cannot carry it.
    pub fn fit(sessions: &[SessionSummary], design: Vec<DesignRow>, slope: Slope) -> Option<Self> {
        let values: f64 = sessions.iter().map(|session| session.count).sum();
        if sessions.is_empty() || values < 2.0 {
            return None;
        }
        let (logs, floor) = sigma_grid(sessions, values);
        let mut raw = Vec::with_capacity(SIGMA_STEPS * TAU_STEPS);
        let mut largest = f64::NEG_INFINITY;
        for log_deviation in logs {
            let read_variance = (2.0 * log_deviation).exp();
            let shot_variance = (read_variance - floor).max(0.0);
            let within = log_likelihood_within(sessions, shot_variance);
            for step in 0..TAU_STEPS {
                // Equal steps of the prior's probability: every step then has the same prior weight.
                let share = (step as f64 + 0.5) / TAU_STEPS as f64;
                let ratio = TAU_PRIOR_SCALE * (std::f64::consts::FRAC_PI_2 * share).tan();
                let tau_variance = ratio * ratio * read_variance;
                let (between, point) = evaluate(sessions, &design, slope, shot_variance, tau_variance)?;
                let log_likelihood = within + between;
                largest = largest.max(log_likelihood);
                raw.push((log_likelihood, point));
            }
        }
        let mut points = Vec::with_capacity(raw.len());
        let mut total = 0.0;
        for (log_likelihood, mut point) in raw {
            point.weight = (log_likelihood - largest).exp();
            if point.weight > LEAST_WEIGHT {
                total += point.weight;
                points.push(point);
            }
        }
        for point in &mut points {
            point.weight /= total;
        }
        (total.is_finite() && total > 0.0).then(|| Self { points, sessions: sessions.to_vec(), design })
    }

    /// Distribution of `coefficients . beta`, and of a session drawn anew about it where asked for.
    pub fn expectation(&self, coefficients: DesignRow, new_session: bool) -> Mixture {
        let mut parts = Vec::with_capacity(self.points.len());
        for point in &self.points {
            let own = if new_session { point.tau_variance } else { 0.0 };
            let mean = dot(coefficients, point.beta);
            parts.push(Part { weight: point.weight, mean, variance: quadratic(coefficients, &point.covariance) + own });
        }
        Mixture::new(parts)
    }

    /// Distribution of the weighted mean of the sessions' own levels, session effects included (best linear unbiased
    /// prediction and its error: Henderson 1975, Biometrics 31, 423).
    pub fn level_of(&self, weights: &[f64]) -> Mixture {
        let mut parts = Vec::with_capacity(self.points.len());
        for point in &self.points {
            let mut mean = 0.0;
            let mut own_variance = 0.0;
            let mut of_beta = [0.0, 0.0];
            for (position, &weight) in weights.iter().enumerate() {
                if weight == 0.0 {
                    continue;
                }
                let session = &self.sessions[position];
                let kept = point.kept(session);
                let row = self.design[position];
                mean += weight * (kept * session.mean + (1.0 - kept) * dot(row, point.beta));
                own_variance += weight * weight * point.tau_variance * (1.0 - kept);
                of_beta[0] += weight * (1.0 - kept) * row[0];
                of_beta[1] += weight * (1.0 - kept) * row[1];
            }
            parts.push(Part {
                weight: point.weight,
                mean,
                variance: own_variance + quadratic(of_beta, &point.covariance),
            });
        }
        Mixture::new(parts)
    }

    /// Posterior mean of the deviation of a true value within a session.
    pub fn shot_deviation(&self) -> f64 {
        self.points.iter().map(|point| point.weight * point.shot_variance.sqrt()).sum()
    }

    /// Posterior mean of the deviation of the sessions.
    pub fn session_deviation(&self) -> f64 {
        self.points.iter().map(|point| point.weight * point.tau_variance.sqrt()).sum()
    }

    /// How far the weighted mean of sessions is drawn toward the line.
    pub fn drawn(&self, weights: &[f64]) -> f64 {
        let mut drawn = 0.0;
        for point in &self.points {
            for (position, weight) in weights.iter().enumerate() {
                drawn += point.weight * weight * (1.0 - point.kept(&self.sessions[position]));
            }
        }
        drawn
    }
}

/// Logarithms of the deviations of a shot as read that matter, and the error variance below which none can lie.
fn sigma_grid(sessions: &[SessionSummary], values: f64) -> (Vec<f64>, f64) {
    let inside: f64 = sessions.iter().map(|session| session.squares).sum();
    let grand_mean = sessions.iter().map(|session| session.count * session.mean).sum::<f64>() / values;
    let between: f64 = sessions.iter().map(|session| session.count * (session.mean - grand_mean).powi(2)).sum();
    let degrees = values - sessions.len() as f64;
    // With next to no pairs within sessions, the scatter of all values says where to look.
    let (squares, degrees) = if degrees >= 2.0 { (inside, degrees) } else { (inside + between, 1.0) };
    let floor = sessions.iter().map(|session| session.count * session.error_variance).sum::<f64>() / values;
    // Equal values have no scatter; a tiny one keeps the logarithm finite.
    let tiny = (1e-9 * grand_mean.abs()).powi(2) + 1e-24;
    let centre = 0.5 * (squares / degrees).max(floor).max(tiny).ln();
    // The logarithm of a deviation has about the deviation 1 / sqrt(2 degrees); its upper tail is the longer one.
    let unit = 1.0 / (2.0 * degrees).sqrt();
    let low = (centre - 5.0 * unit).max(0.5 * floor.max(tiny).ln());
    let high = (centre + 8.0 * unit).max(low + 8.0 * unit);
    let step = (high - low) / SIGMA_STEPS as f64;
    ((0..SIGMA_STEPS).map(|position| low + (position as f64 + 0.5) * step).collect(), floor)
}

/// Log likelihood of the scatter within sessions, which knows nothing of what differs between them.
fn log_likelihood_within(sessions: &[SessionSummary], shot_variance: f64) -> f64 {
    let mut sum = 0.0;
    for session in sessions {
        let read_variance = shot_variance + session.error_variance;
        sum -= 0.5 * ((session.count - 1.0) * read_variance.ln() + session.squares / read_variance);
    }
    sum
}

/// Restricted log likelihood of the sessions' means under one pair of variance components, and what follows from it.
fn evaluate(
    sessions: &[SessionSummary],
    design: &[DesignRow],
    slope: Slope,
    shot_variance: f64,
    tau_variance: f64,
) -> Option<(f64, GridPoint)> {
    let mut information = [[0.0; 2]; 2];
    let mut right = [0.0; 2];
    let mut squares = 0.0;
    let mut log_likelihood = 0.0;
    // Differences from one mean keep the digits of values far from zero.
    let origin = sessions[0].mean;
    for (session, &row) in sessions.iter().zip(design) {
        let read_variance = shot_variance + session.error_variance;
        let variance = read_variance / session.count + tau_variance;
        let mean = session.mean - origin;
        log_likelihood -= 0.5 * variance.ln();
        squares += mean * mean / variance;
        for left in 0..2 {
            right[left] += row[left] * mean / variance;
            for other in 0..2 {
                information[left][other] += row[left] * row[other] / variance;
            }
        }
    }
    match slope {
        Slope::Absent => information = [[information[0][0], 0.0], [0.0, 1.0]],
        Slope::Free => {}
        Slope::Prior(deviation) => information[1][1] += 1.0 / (deviation * deviation),
    }
    if matches!(slope, Slope::Absent) {
        right[1] = 0.0;
    }
    let determinant = information[0][0] * information[1][1] - information[0][1] * information[1][0];
    // A design that does not tell its columns apart has no answer.
    if determinant.is_nan() || determinant <= 1e-12 * information[0][0] * information[1][1] {
        return None;
    }
    let covariance = [
        [information[1][1] / determinant, -information[0][1] / determinant],
        [-information[1][0] / determinant, information[0][0] / determinant],
    ];
    let mut beta = [dot(covariance[0], right), dot(covariance[1], right)];
    log_likelihood -= 0.5 * (determinant.ln() + squares - dot(beta, right));
    beta[0] += origin;
    let covariance = match slope {
        Slope::Absent => [[covariance[0][0], 0.0], [0.0, 0.0]],
        _ => covariance,
    };
    let point = GridPoint { weight: 0.0, shot_variance, tau_variance, beta, covariance };
    Some((log_likelihood, point))
}

fn dot(left: [f64; 2], right: [f64; 2]) -> f64 {
    left[0] * right[0] + left[1] * right[1]
}

fn quadratic(vector: [f64; 2], matrix: &[[f64; 2]; 2]) -> f64 {
    dot(vector, [dot(matrix[0], vector), dot(matrix[1], vector)]).max(0.0)
}
