//! How far out the next of a two-dimensional cloud of points may lie.

/// Quantile of chi-square with two degrees of freedom, in closed form; `level` 0 to 1.
pub fn chi_square_two(level: f64) -> f64 {
    -2.0 * (1.0 - level).ln()
}

/// Squared distance, in units of the sample covariance about the sample mean, that holds a NEW point with probability
/// `level`, from `count` earlier ones of a bivariate normal (Hotelling 1931, Ann. Math. Statist. 2, 360):
/// 2 (n + 1)(n - 1) / (n (n - 2)) F(2, n - 2). Nothing below three points: an ellipse needs three.
pub fn hotelling_factor(count: f64, level: f64) -> Option<f64> {
    let factor = next_vector_factor(count - 1.0, level)?;
    Some(factor * (1.0 + 1.0 / count))
}

/// The same for a covariance with the given degrees of freedom that already includes the uncertainty of the mean:
/// 2 v / (v - 1) F(2, v - 1). Nothing at one degree or below.
pub fn next_vector_factor(degrees: f64, level: f64) -> Option<f64> {
    if !degrees.is_finite() || degrees <= 1.0 || !(0.0..1.0).contains(&level) {
        return None;
    }
    let rest = degrees - 1.0;
    // F with two numerator degrees has a closed form: F = (v / 2) ((1 - p)^(-2 / v) - 1).
    let fisher = 0.5 * rest * (-2.0 / rest * (1.0 - level).ln()).exp_m1();
    Some(2.0 * degrees / rest * fisher)
}
