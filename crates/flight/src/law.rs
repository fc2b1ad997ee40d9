//! Which forces act on the ball.

use crate::ball::BallProfile;
use crate::launch::Conditions;

/// How fast velocity and spin change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rates {
    /// Acceleration in m/s^2 along x (down the line), y (left), z (up).
    pub acceleration: [f64; 3],
    /// Change of the spin rate in rad/s^2.
    pub spin: f64,
}

/// Forces that depend on velocity and spin only, not on place or time.
pub trait ForceLaw {
    /// Rates at a velocity in m/s and a spin rate in rad/s.
    fn rates(&self, velocity: [f64; 3], spin_rad_s: f64) -> Rates;
}

/// Drag, lift, spin decay and weight of one ball whose spin axis keeps its direction in space.
#[derive(Debug, Clone)]
pub struct AirResistance<'ball> {
    ball: &'ball BallProfile,
    wind: [f64; 3],
    spin_axis: [f64; 3],
    gravity: f64,
    /// rho A / (2 m), 1/m.
    pressure_factor: f64,
    /// c / r of the spin decay, 1/m.
    decay_per_metre: f64,
}

impl<'ball> AirResistance<'ball> {
    /// The forces on `ball` with a unit `spin_axis` (right-hand rule) in the given air.
    pub fn new(ball: &'ball BallProfile, spin_axis: [f64; 3], conditions: &Conditions) -> Self {
        let area = std::f64::consts::PI * ball.radius_m * ball.radius_m;
        Self {
            ball,
            wind: [conditions.wind_along_mps, -conditions.wind_across_mps, 0.0],
            spin_axis,
            gravity: conditions.gravity,
            pressure_factor: conditions.air_density * area / (2.0 * ball.mass_kg),
            decay_per_metre: ball.spin_decay / ball.radius_m,
        }
    }
}

impl ForceLaw for AirResistance<'_> {
    #[inline]
    fn rates(&self, velocity: [f64; 3], spin_rad_s: f64) -> Rates {
        let [x, y, z] = [velocity[0] - self.wind[0], velocity[1] - self.wind[1], velocity[2] - self.wind[2]];
        let air_speed = (x * x + y * y + z * z).sqrt();
        // A ball at rest in the air feels its weight only; the spin ratio below would divide by zero.
        if air_speed < 1e-9 {
            return Rates { acceleration: [0.0, 0.0, -self.gravity], spin: 0.0 };
        }
        let (drag, lift) = self.ball.coefficients(air_speed, spin_rad_s);
        let [axis_x, axis_y, axis_z] = self.spin_axis;
        let lift_direction = [axis_y * z - axis_z * y, axis_z * x - axis_x * z, axis_x * y - axis_y * x];
        let drag_factor = self.pressure_factor * drag * air_speed;
        let across = (lift_direction[0].powi(2) + lift_direction[1].powi(2) + lift_direction[2].powi(2)).sqrt();
        // A ball that spins about its own path (a rifle bullet) feels no lift.
        let lift_factor =
            if across < 1e-9 { 0.0 } else { self.pressure_factor * lift * air_speed * air_speed / across };
        Rates {
            acceleration: [
                lift_factor * lift_direction[0] - drag_factor * x,
                lift_factor * lift_direction[1] - drag_factor * y,
                lift_factor * lift_direction[2] - drag_factor * z - self.gravity,
            ],
            spin: -self.decay_per_metre * air_speed * spin_rad_s,
        }
    }
}
