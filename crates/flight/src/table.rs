//! Measured drag and lift coefficients.

/// Drag and lift coefficients over a grid of air speeds and spin rates, linear in between and constant beyond the edges.
#[derive(Debug, Clone, PartialEq)]
pub struct CoefficientTable {
    speeds_mps: Vec<f64>,
    spins_rpm: Vec<f64>,
    /// `(drag, lift)`, one row of speeds for each spin rate.
    cells: Vec<(f64, f64)>,
}

/// Why a coefficient table was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TableProblem {
    /// An axis has no entry, or is not finite and strictly increasing.
    Axis,
    /// The number of coefficients is not speeds times spin rates.
    Shape,
    /// A coefficient is not finite, or a drag coefficient is negative.
    Coefficient,
}

impl std::fmt::Display for TableProblem {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str(match self {
            Self::Axis => "speeds and spin rates of a coefficient table must be finite and strictly increasing",
            Self::Shape => "a coefficient table needs one drag and one lift coefficient for each speed and spin rate",
            Self::Coefficient => "coefficients must be finite, drag coefficients not negative",
        })
    }
}

impl std::error::Error for TableProblem {}

impl CoefficientTable {
    /// Builds a table; `drag` and `lift` hold one row of `speeds_mps.len()` values for each entry of `spins_rpm`.
    pub fn new(speeds_mps: Vec<f64>, spins_rpm: Vec<f64>, drag: &[f64], lift: &[f64]) -> Result<Self, TableProblem> {
        for axis in [&speeds_mps, &spins_rpm] {
            let increasing = axis.windows(2).all(|pair| pair[0] < pair[1]);
            if axis.is_empty() || !increasing || axis.iter().any(|value| !value.is_finite()) {
                return Err(TableProblem::Axis);
            }
        }
        let expected = speeds_mps.len() * spins_rpm.len();
        if drag.len() != expected || lift.len() != expected {
            return Err(TableProblem::Shape);
        }
        if drag.iter().any(|value| !value.is_finite() || *value < 0.0) || lift.iter().any(|value| !value.is_finite()) {
            return Err(TableProblem::Coefficient);
        }
        let cells = drag.iter().copied().zip(lift.iter().copied()).collect();
        Ok(Self { speeds_mps, spins_rpm, cells })
    }

    /// Drag and lift coefficient at an air speed in m/s and a spin rate in revolutions per minute.
    pub fn coefficients(&self, speed_mps: f64, spin_rpm: f64) -> (f64, f64) {
        let (left, right, speed_share) = neighbours(&self.speeds_mps, speed_mps);
        let (below, above, spin_share) = neighbours(&self.spins_rpm, spin_rpm);
        let width = self.speeds_mps.len();
        let along = |row: usize| mix(self.cells[row * width + left], self.cells[row * width + right], speed_share);
        mix(along(below), along(above), spin_share)
    }
}

/// The two entries of an axis around a value, and how far the value lies between them (0 to 1).
fn neighbours(axis: &[f64], value: f64) -> (usize, usize, f64) {
    let last = axis.len() - 1;
    let upper = axis.partition_point(|entry| *entry <= value);
    if upper == 0 {
        return (0, 0, 0.0);
    }
    if upper > last {
        return (last, last, 0.0);
    }
    let lower = upper - 1;
    (lower, upper, (value - axis[lower]) / (axis[upper] - axis[lower]))
}

fn mix(from: (f64, f64), to: (f64, f64), share: f64) -> (f64, f64) {
    (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1))
}
