//! How much a shot counts that fits badly.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::reading::LAUNCH;

/// Most numbers that a shot can hold: launch, delivery, face at the strike point.
const MOST_OBSERVATIONS: usize = LAUNCH + impact::DELIVERY_UNKNOWNS + 1;
/// One good shot in a hundred is taken for a bad one.
const GOOD_SHARE: f64 = 0.99;

/// Squared misfits up to which shots count fully, by the number of observations.
#[derive(Debug)]
pub(crate) struct Cutoffs([f64; MOST_OBSERVATIONS + 1]);

impl Cutoffs {
    pub fn new() -> Cutoffs {
        Cutoffs(std::array::from_fn(|count| {
            ChiSquared::new(count.max(1) as f64).map_or(f64::INFINITY, |law| law.inverse_cdf(GOOD_SHARE))
        }))
    }

    pub fn of(&self, observations: usize) -> f64 {
        self.0[observations.min(MOST_OBSERVATIONS)]
    }
}

/// 1 up to the cutoff, then falling with the squared misfit: a shot's pull then falls as its misfit grows, unlike with Huber's
/// weights, whose pull stays. Good shots count fully, so spreads of players without mishits are not shrunk.
pub(crate) fn weight_of(square: f64, cutoff: f64) -> f64 {
    if square <= cutoff { 1.0 } else { cutoff / square }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cutoffs_are_the_quantiles_of_chi_squared() {
        // 0.99 quantiles of chi-squared with 1, 3, 5, 10 degrees of freedom (NIST/SEMATECH e-Handbook, table 1.3.6.7.4).
        let cutoffs = Cutoffs::new();
        for (count, quantile) in [(1, 6.635), (3, 11.345), (5, 15.086), (10, 23.209)] {
            assert!((cutoffs.of(count) - quantile).abs() < 5e-4, "{count}: {}", cutoffs.of(count));
        }
        assert!(cutoffs.of(99) >= cutoffs.of(13));
    }

    #[test]
    fn the_pull_of_a_shot_never_grows_beyond_the_cutoff() {
        let pull = |misfit: f64| weight_of(misfit * misfit, 25.0) * misfit;
        assert!((pull(5.0) - 5.0).abs() < 1e-12);
        for misfit in [6.0, 10.0, 100.0, 1e6] {
            assert!(pull(misfit) < 5.0, "{misfit}");
        }
    }
}
