//! Many means of like kind, drawn toward their common mean.

/// Means drawn together.
#[derive(Debug, Clone, PartialEq)]
pub struct Shrunken {
    /// What is left of each mean's distance from the common mean: 0 nothing, 1 all.
    pub kept: f64,
    /// The common mean.
    pub common: f64,
    /// The means drawn toward it.
    pub means: Vec<f64>,
}

/// Positive-part James-Stein shrinkage of means with a common known variance toward their own mean (Efron and Morris 1973,
/// J. Am. Statist. Assoc. 68, 117): 1 - (k - 3) variance / sum of squares. Nothing below four means, or where a number cannot be used.
pub fn shrink_to_mean(means: &[f64], variance: f64) -> Option<Shrunken> {
    let usable =
        means.len() >= 4 && variance.is_finite() && variance >= 0.0 && means.iter().all(|mean| mean.is_finite());
    if !usable {
        return None;
    }
    let count = means.len() as f64;
    let common = means.iter().sum::<f64>() / count;
    let squares: f64 = means.iter().map(|mean| (mean - common).powi(2)).sum();
    let kept = if squares > 0.0 { (1.0 - (count - 3.0) * variance / squares).max(0.0) } else { 0.0 };
    Some(Shrunken { kept, common, means: means.iter().map(|mean| common + kept * (mean - common)).collect() })
}
