//! Variance components by restricted maximum likelihood (Patterson and Thompson 1971, Biometrika 58, 545), without a prior: the
//! plain textbook answers, against which the weekly models are checked.

/// The middle and the variance components of values in groups.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Estimate of the common mean.
    pub mean: f64,
    /// Its standard deviation, components taken as known.
    pub mean_deviation: f64,
    /// Variance within groups; zero where only group means with known variances were given.
    pub within: f64,
    /// Variance between groups.
    pub between: f64,
}

/// Steps of the first, coarse search; the golden section then refines the best.
const COARSE_STEPS: usize = 200;
const GOLDEN_STEPS: usize = 120;

/// One-way random effects of values in groups, which may differ in size. Values that are not finite are left out. Nothing below
/// two groups, without two values in one group, or without any scatter within groups.
pub fn one_way(groups: &[Vec<f64>]) -> Option<Components> {
    let mut sums = Vec::new();
    let mut inside = 0.0;
    for group in groups {
        let values: Vec<f64> = group.iter().copied().filter(|value| value.is_finite()).collect();
        if values.is_empty() {
            continue;
        }
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        inside += values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
        sums.push((count, mean));
    }
    let count: f64 = sums.iter().map(|sum| sum.0).sum();
    if sums.len() < 2 || count <= sums.len() as f64 || inside <= 0.0 {
        return None;
    }
    // For a ratio of the components the within-variance has a closed form, which leaves one unknown.
    let within_at = |ratio: f64| {
        let (_, squares, _, _) = weigh(&sums, |size| 1.0 / size + ratio);
        (inside + squares) / (count - 1.0)
    };
    let likelihood = |share: f64| {
        let ratio = share / (1.0 - share);
        let (total, _, logarithms, _) = weigh(&sums, |size| 1.0 / size + ratio);
        -0.5 * ((count - 1.0) * within_at(ratio).ln() + logarithms + total.ln())
    };
    let share = highest(likelihood, 1.0 - 1e-9);
    let ratio = share / (1.0 - share);
    let (total, _, _, mean) = weigh(&sums, |size| 1.0 / size + ratio);
    let within = within_at(ratio);
    Some(Components { mean, mean_deviation: (within / total).sqrt(), within, between: within * ratio })
}

/// Random effects of group means whose own deviations are known, as in a meta-analysis. Pairs that cannot be used are left
/// out; nothing below two.
pub fn random_effects(means: &[f64], deviations: &[f64]) -> Option<Components> {
    let mut pairs = Vec::new();
    for (mean, deviation) in means.iter().zip(deviations) {
        if mean.is_finite() && deviation.is_finite() && *deviation > 0.0 {
            pairs.push((deviation * deviation, *mean));
        }
    }
    if pairs.len() < 2 {
        return None;
    }
    let middle = pairs.iter().map(|pair| pair.1).sum::<f64>() / pairs.len() as f64;
    let widest: f64 = pairs.iter().map(|pair| (pair.1 - middle).abs()).fold(0.0, f64::max);
    let likelihood = |between_deviation: f64| {
        let (total, squares, logarithms, _) = weigh(&pairs, |own| own + between_deviation * between_deviation);
        -0.5 * (squares + logarithms + total.ln())
    };
    // No variance between groups exceeds the square of twice the farthest mean's distance.
    let between_deviation = highest(likelihood, 2.0 * widest);
    let between = between_deviation * between_deviation;
    let (total, _, _, mean) = weigh(&pairs, |own| own + between);
    Some(Components { mean, mean_deviation: total.sqrt().recip(), within: 0.0, between })
}

/// Sum of weights, weighted squares about the weighted mean, sum of logarithms of the variances, and the mean.
fn weigh(pairs: &[(f64, f64)], variance_of: impl Fn(f64) -> f64) -> (f64, f64, f64, f64) {
    let mut total = 0.0;
    let mut sum = 0.0;
    let mut logarithms = 0.0;
    for (own, mean) in pairs {
        let variance = variance_of(*own);
        total += 1.0 / variance;
        sum += mean / variance;
        logarithms += variance.ln();
    }
    let middle = sum / total;
    let squares = pairs.iter().map(|(own, mean)| (mean - middle).powi(2) / variance_of(*own)).sum();
    (total, squares, logarithms, middle)
}

/// Where a function of one variable is highest between zero and `most`: coarse steps, then the golden section.
fn highest(function: impl Fn(f64) -> f64, most: f64) -> f64 {
    let step = most / COARSE_STEPS as f64;
    let mut best = 0;
    for position in 1..=COARSE_STEPS {
        if function(position as f64 * step) > function(best as f64 * step) {
            best = position;
        }
    }
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    let mut low = (best as f64 - 1.0).max(0.0) * step;
    let mut high = ((best as f64 + 1.0) * step).min(most);
    for _ in 0..GOLDEN_STEPS {
        let left = high - golden * (high - low);
        let right = low + golden * (high - low);
        if function(left) >= function(right) {
            high = right;
        } else {
            low = left;
        }
    }
    let inner = f64::midpoint(low, high);
    if function(0.0) >= function(inner) { 0.0 } else { inner }
}
