//! A weighted sum of normal distributions: what is left of a quantity when its variance components are integrated out.

use statrs::function::erf::erfc;

/// Halving alone exhausts the digits of a double for any sensible range in so many steps.
const MOST_STEPS: usize = 100;

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

    /// The value that is not exceeded with the given probability: Newton's steps, halving where one leaves the bracket.
    pub fn quantile(&self, probability: f64) -> f64 {
        // Every part's own bound encloses the mixture's quantile at twelve deviations.
        let mut low = f64::INFINITY;
        let mut high = f64::NEG_INFINITY;
        let mut second_moment = 0.0;
        let middle = self.mean();
        for part in &self.parts {
            let deviation = part.variance.sqrt();
            low = low.min(part.mean - 12.0 * deviation);
            high = high.max(part.mean + 12.0 * deviation);
            second_moment += part.weight * (part.variance + (part.mean - middle).powi(2));
        }
        let enough = 1e-10 * second_moment.sqrt();
        let mut value = middle;
        for _ in 0..MOST_STEPS {
            let (below, density) = self.below_with_density(value);
            if below < probability {
                low = value;
            } else {
                high = value;
            }
            let mut next = value - (below - probability) / density;
            // A flat place sends Newton's step far out, or nowhere.
            if next.is_nan() || next <= low || next >= high {
                next = f64::midpoint(low, high);
            }
            let step = (next - value).abs();
            value = next;
            if step <= enough {
                break;
            }
        }
        value
    }

    fn below_with_density(&self, value: f64) -> (f64, f64) {
        let mut below = 0.0;
        let mut density = 0.0;
        for part in &self.parts {
            below += part.weight * normal_below(value, part.mean, part.variance);
            if part.variance > 0.0 {
                let square = (value - part.mean).powi(2) / part.variance;
                density += part.weight * (-0.5 * square).exp() / (std::f64::consts::TAU * part.variance).sqrt();
            }
        }
        (below, density)
    }
}

/// Normal distribution function; a distribution without width is a step.
pub(crate) fn normal_below(value: f64, mean: f64, variance: f64) -> f64 {
    if variance <= 0.0 {
        return if value < mean { 0.0 } else { 1.0 };
    }
    0.5 * erfc((mean - value) / (2.0 * variance).sqrt())
}
