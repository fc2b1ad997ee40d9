//! Fits that a few wild shots do not move.

use crate::least_squares::{least_squares, usable_columns};

/// A robust linear fit.
#[derive(Debug, Clone, PartialEq)]
pub struct HuberFit {
    /// Coefficients, one a column of the design.
    pub coefficients: Vec<f64>,
    /// Robust standard deviation of the residuals.
    pub scale: f64,
}

/// Tuning constant: 95 % of the efficiency of least squares where errors are normal (Huber 1981, Robust Statistics).
pub const HUBER_TUNING: f64 = 1.345;
/// 0.75 quantile of the normal: makes the median of absolute residuals a standard deviation. [source: normal tables]
const NORMAL_75: f64 = 0.674_489_750_196_081_7;
const MOST_ROUNDS: usize = 200;

/// M-estimate of a linear fit with Huber's weights, by iterated weighted least squares; the scale is the median absolute
/// residual over 0.6745, taken anew every round. Nothing where least squares gives nothing.
pub fn huber(rows: &[Vec<f64>], observed: &[f64]) -> Option<HuberFit> {
    usable_columns(rows, observed)?;
    let mut coefficients = least_squares(rows, observed)?.coefficients;
    let mut scale = 0.0;
    for _ in 0..MOST_ROUNDS {
        let residuals = residuals(rows, observed, &coefficients);
        scale = median(residuals.iter().map(|residual| residual.abs()).collect()) / NORMAL_75;
        if scale <= 0.0 {
            break;
        }
        let mut weighted_rows = Vec::with_capacity(rows.len());
        let mut weighted_observed = Vec::with_capacity(rows.len());
        for (position, row) in rows.iter().enumerate() {
            let distance = (residuals[position] / scale).abs();
            let root = if distance <= HUBER_TUNING { 1.0 } else { (HUBER_TUNING / distance).sqrt() };
            weighted_rows.push(row.iter().map(|value| value * root).collect());
            weighted_observed.push(observed[position] * root);
        }
        let next = least_squares(&weighted_rows, &weighted_observed)?.coefficients;
        let change = next.iter().zip(&coefficients).map(|(new, old)| (new - old).abs() / (1.0 + old.abs()));
        let largest = change.fold(0.0, f64::max);
        coefficients = next;
        if largest < 1e-12 {
            break;
        }
    }
    Some(HuberFit { coefficients, scale })
}

/// Huber's M-estimate of the middle of some values; values that are not finite are left out.
pub fn huber_location(values: &[f64]) -> Option<f64> {
    let mut finite: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    finite.sort_by(f64::total_cmp);
    match finite.len() {
        0 => None,
        1 => Some(finite[0]),
        count => Some(huber(&vec![vec![1.0]; count], &finite)?.coefficients[0]),
    }
}

fn residuals(rows: &[Vec<f64>], observed: &[f64], coefficients: &[f64]) -> Vec<f64> {
    let mut residuals = Vec::with_capacity(rows.len());
    for (row, value) in rows.iter().zip(observed) {
        let fitted: f64 = row.iter().zip(coefficients).map(|(entry, coefficient)| entry * coefficient).sum();
        residuals.push(value - fitted);
    }
    residuals
}

/// The median; zero of nothing.
fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    match values.len() {
        0 => 0.0,
        count if count % 2 == 1 => values[half],
        _ => f64::midpoint(values[half - 1], values[half]),
    }
}
