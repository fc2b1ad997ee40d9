//! The interval of a share.

use statrs::distribution::{ContinuousCDF, Normal};

/// Normal quantile at 95 %: half width of a two-sided 90 % interval in deviations. [source: normal tables]
pub(crate) const NORMAL_95: f64 = 1.644_853_626_951_472_2;

/// Two ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Two-sided score interval of a share at the given level, for example 0.95 (Wilson 1927, J. Am. Statist. Assoc. 22, 209;
/// method 3 of Newcombe 1998, Statist. Med. 17, 857). Successes need not be whole: weights and probabilities may be summed.
/// Nothing for a count of zero, a level outside 0 to 1, or numbers that are not finite.
pub fn wilson(successes: f64, count: f64, level: f64) -> Option<Interval> {
    let usable =
        count.is_finite() && count > 0.0 && successes >= 0.0 && successes <= count && level > 0.0 && level < 1.0;
    if !usable {
        return None;
    }
    let z = Normal::standard().inverse_cdf(0.5 + 0.5 * level);
    let share = successes / count;
    let middle = share + z * z / (2.0 * count);
    let half = z * (share * (1.0 - share) / count + z * z / (4.0 * count * count)).sqrt();
    let scale = 1.0 + z * z / count;
    Some(Interval { low: ((middle - half) / scale).max(0.0), high: ((middle + half) / scale).min(1.0) })
}
