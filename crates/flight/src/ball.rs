//! What a ball is to the air.

use crate::table::CoefficientTable;

/// How drag and lift coefficients depend on speed and spin.
#[derive(Debug, Clone, PartialEq)]
pub enum Aerodynamics {
    /// Coefficients from the spin ratio S = r omega / v alone:
    /// `C_D = drag_base + drag_slope * S`, `C_L = lift_factor * S^lift_exponent`.
    SpinRatio {
        /// Drag coefficient without spin.
        drag_base: f64,
        /// Growth of the drag coefficient with the spin ratio.
        drag_slope: f64,
        /// Lift coefficient at spin ratio 1.
        lift_factor: f64,
        /// Exponent of the spin ratio in the lift coefficient.
        lift_exponent: f64,
    },
    /// Measured coefficients over speed and spin rate.
    Table(CoefficientTable),
}

/// A ball: its body and its behaviour in air.
#[derive(Debug, Clone, PartialEq)]
pub struct BallProfile {
    /// Mass in kg.
    pub mass_kg: f64,
    /// Radius in m.
    pub radius_m: f64,
    /// Drag and lift coefficients.
    pub aerodynamics: Aerodynamics,
    /// Factor on every drag coefficient; fitted where a site has measured carries, else 1.
    pub drag_scale: f64,
    /// Factor on every lift coefficient; fitted where a site has measured carries, else 1.
    pub lift_scale: f64,
    /// Spin decay c in `d omega / dt = -c omega v / r`.
    pub spin_decay: f64,
}

impl Default for BallProfile {
    /// The heaviest and smallest ball that the Equipment Rules allow (45.93 g, 42.67 mm) with a drag and lift law after
    /// Smits & Smith 1994, Science and Golf II (from memory, not checked against the paper).
    fn default() -> Self {
        Self {
            mass_kg: 0.045_93,
            radius_m: 0.021_335,
            aerodynamics: Aerodynamics::SpinRatio {
                drag_base: 0.24,
                drag_slope: 0.18,
                lift_factor: 0.54,
                lift_exponent: 0.4,
            },
            drag_scale: 1.0,
            lift_scale: 1.0,
            spin_decay: 2e-5,
        }
    }
}

impl BallProfile {
    /// Drag and lift coefficient at an air speed in m/s and a spin rate in rad/s.
    #[inline]
    pub fn coefficients(&self, air_speed_mps: f64, spin_rad_s: f64) -> (f64, f64) {
        let (drag, lift) = match &self.aerodynamics {
            Aerodynamics::SpinRatio { drag_base, drag_slope, lift_factor, lift_exponent } => {
                let spin_ratio = (self.radius_m * spin_rad_s / air_speed_mps).max(0.0);
                (drag_base + drag_slope * spin_ratio, lift_factor * spin_ratio.powf(*lift_exponent))
            }
            Aerodynamics::Table(table) => table.coefficients(air_speed_mps, spin_rad_s * 60.0 / std::f64::consts::TAU),
        };
        (drag * self.drag_scale, lift * self.lift_scale)
    }

    /// Whether a flight can be computed with this ball: finite, positive mass and radius, nothing that feeds energy in.
    pub(crate) fn is_usable(&self) -> bool {
        let law_is_finite = match &self.aerodynamics {
            Aerodynamics::SpinRatio { drag_base, drag_slope, lift_factor, lift_exponent } => {
                *drag_base >= 0.0
                    && *drag_slope >= 0.0
                    && *lift_exponent >= 0.0
                    && drag_base.is_finite()
                    && drag_slope.is_finite()
                    && lift_factor.is_finite()
                    && lift_exponent.is_finite()
            }
            Aerodynamics::Table(_) => true,
        };
        let not_negative = |value: f64| value.is_finite() && value >= 0.0;
        law_is_finite
            && self.mass_kg.is_finite()
            && self.mass_kg > 0.0
            && self.radius_m.is_finite()
            && self.radius_m > 0.0
            && not_negative(self.drag_scale)
            && self.lift_scale.is_finite()
            && not_negative(self.spin_decay)
    }
}
