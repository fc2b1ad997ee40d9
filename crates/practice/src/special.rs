//! Functions that statrs lacks.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Second derivative of the logarithm of the gamma function, for positive arguments: recurrence up to 10, then the
/// asymptotic series (Abramowitz and Stegun 1964, 6.4.6 and 6.4.12).
pub(crate) fn trigamma(argument: f64) -> f64 {
    let mut at = argument;
    let mut sum = 0.0;
    while at < 10.0 {
        sum += 1.0 / (at * at);
        at += 1.0;
    }
    let square = 1.0 / (at * at);
    let series = 1.0 / 6.0 - square * (1.0 / 30.0 - square * (1.0 / 42.0 - square / 30.0));
    sum + 1.0 / at + 0.5 * square + square / at * series
}

/// Student's t quantile; degrees below one count as one, and so many that it is normal as a million.
pub(crate) fn student_quantile(probability: f64, degrees: f64) -> f64 {
    match StudentsT::new(0.0, 1.0, degrees.clamp(1.0, 1e6)) {
        Ok(student) => student.inverse_cdf(probability),
        Err(_) => f64::NAN,
    }
}

/// Student's t distribution function.
pub(crate) fn student_below(value: f64, degrees: f64) -> f64 {
    match StudentsT::new(0.0, 1.0, degrees.clamp(1.0, 1e6)) {
        Ok(student) => student.cdf(value),
        Err(_) => f64::NAN,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trigamma_at_one_and_a_half_is_known() {
        use std::f64::consts::PI;
        // Abramowitz and Stegun 1964, 6.4.2 and 6.4.4: pi^2 / 6 and pi^2 / 2.
        assert!((trigamma(1.0) - PI * PI / 6.0).abs() < 1e-12);
        assert!((trigamma(0.5) - PI * PI / 2.0).abs() < 1e-12);
    }

    #[test]
    fn student_quantiles_are_the_published_ones() {
        // [source: published t tables]
        for (degrees, expected) in [(1.0, 6.3138), (4.0, 2.1318), (9.0, 1.8331), (30.0, 1.6973)] {
            assert!((student_quantile(0.95, degrees) - expected).abs() < 1e-4, "{degrees}");
        }
    }
}
