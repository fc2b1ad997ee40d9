//! A weighted sum of normal distributions: what is left of a quantity when its variance components are integrated out.

use statrs::function::erf::erfc;

/// One normal distribution of a mixture.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Part {
    pub weight: f64,
    pub mean: f64,
    pub variance: f64,
}

/// A mixture whose weights sum to one.
#[derive(Debug, Clone)]
pub(crate) struct Mixture {
    parts: Vec<Part>,
}

impl Mixture {
    /// Scales the weights to one.
    pub fn new(mut parts: Vec<Part>) -> Self {
        let total: f64 = parts.iter().map(|part| part.weight).sum();
        for part in &mut parts {
            part.weight /= total;
        }
        Self { parts }
    }

    /// The mean.
    pub fn mean(&self) -> f64 {
        self.parts.iter().map(|part| part.weight * part.mean).sum()
    }

    /// The same quantity with an independent error added.
    pub fn widened(mut self, variance: f64) -> Self {
        for part in &mut self.parts {
            part.variance += variance;
        }
        self
    }

    /// Probability of at most `value`.
    pub fn below(&self, value: f64) -> f64 {
        self.parts.iter().map(|part| part.weight * normal_below(value, part.mean, part.variance)).sum()
    }

    /// The value that is not exceeded with the given probability, by bisection.
    pub fn quantile(&self, probability: f64) -> f64 {
        // Every part's own bound encloses the mixture's quantile at twelve deviations.
        let mut low = f64::INFINITY;
        let mut high = f64::NEG_INFINITY;
        for part in &self.parts {
            low = low.min(part.mean - 12.0 * part.variance.sqrt());
            high = high.max(part.mean + 12.0 * part.variance.sqrt());
        }
        // 80 halvings exhaust the digits of a double for any sensible range.
        for _ in 0..80 {
            let middle = f64::midpoint(low, high);
            if self.below(middle) < probability {
                low = middle;
            } else {
                high = middle;
            }
        }
        f64::midpoint(low, high)
    }
}

/// Normal distribution function; a distribution without width is a step.
pub(crate) fn normal_below(value: f64, mean: f64, variance: f64) -> f64 {
    if variance <= 0.0 {
        return if value < mean { 0.0 } else { 1.0 };
    }
    0.5 * erfc((mean - value) / (2.0 * variance).sqrt())
}
