//! The force law of many flights at once.

use super::lanes::Lanes;
use super::power::{exp2, log2};
use super::step::Motion;
use crate::ball::{Aerodynamics, BallProfile};
use crate::table::CoefficientTable;

/// Speeds below are taken for this one, in m/s; the forces there are far below any weight.
const SLOWEST_MPS: f64 = 1e-9;

/// Drag and lift coefficients for many flights.
pub(crate) trait Coefficients {
    /// Factor on the tolerance of a step. Where the law has kinks, the error estimate of a step that leaps over one is far too
    /// small.
    const STRICTNESS: f64;

    /// Coefficients at an air speed in m/s (with its reciprocal) and a spin rate in rad/s, before the ball's scales.
    fn drag_and_lift<const WIDTH: usize>(
        &self,
        speed: Lanes<WIDTH>,
        inverse_speed: Lanes<WIDTH>,
        spin: Lanes<WIDTH>,
    ) -> (Lanes<WIDTH>, Lanes<WIDTH>);
}

/// `Aerodynamics::SpinRatio`, prepared.
pub(crate) struct SpinRatioLaw {
    radius_m: f64,
    drag_base: f64,
    drag_slope: f64,
    lift_factor: f64,
    lift_exponent: f64,
    lift_without_spin: f64,
}

impl Coefficients for SpinRatioLaw {
    const STRICTNESS: f64 = 1.0;

    #[inline(always)]
    fn drag_and_lift<const WIDTH: usize>(
        &self,
        _speed: Lanes<WIDTH>,
        inverse_speed: Lanes<WIDTH>,
        spin: Lanes<WIDTH>,
    ) -> (Lanes<WIDTH>, Lanes<WIDTH>) {
        let ratio = spin * self.radius_m * inverse_speed;
        let drag = ratio * self.drag_slope + Lanes::all(self.drag_base);
        let power = exp2(log2(ratio) * self.lift_exponent);
        // The logarithm is for normal numbers only.
        let lift = (ratio - Lanes::all(f64::MIN_POSITIVE))
            .choose(power * self.lift_factor, Lanes::all(self.lift_without_spin));
        (drag, lift)
    }
}

impl Coefficients for &CoefficientTable {
    // Measured: with 0.05 the largest error over the box was 6 mm, with 0.01 it was 1.1 mm.
    const STRICTNESS: f64 = 0.01;

    #[inline(always)]
    fn drag_and_lift<const WIDTH: usize>(
        &self,
        speed: Lanes<WIDTH>,
        _inverse_speed: Lanes<WIDTH>,
        spin: Lanes<WIDTH>,
    ) -> (Lanes<WIDTH>, Lanes<WIDTH>) {
        let (mut drag, mut lift) = ([0.0; WIDTH], [0.0; WIDTH]);
        for lane in 0..WIDTH {
            (drag[lane], lift[lane]) = self.coefficients(speed.0[lane], spin.0[lane] * 60.0 / std::f64::consts::TAU);
        }
        (Lanes(drag), Lanes(lift))
    }
}

pub(crate) enum PreparedLaw<'ball> {
    SpinRatio(SpinRatioLaw),
    Table(&'ball CoefficientTable),
}

impl<'ball> PreparedLaw<'ball> {
    pub(crate) fn new(ball: &'ball BallProfile) -> Self {
        match &ball.aerodynamics {
            Aerodynamics::SpinRatio { drag_base, drag_slope, lift_factor, lift_exponent } => {
                Self::SpinRatio(SpinRatioLaw {
                    radius_m: ball.radius_m,
                    drag_base: *drag_base,
                    drag_slope: *drag_slope,
                    lift_factor: *lift_factor,
                    lift_exponent: *lift_exponent,
                    lift_without_spin: lift_factor * 0.0_f64.powf(*lift_exponent),
                })
            }
            Aerodynamics::Table(table) => Self::Table(table),
        }
    }
}

/// What does not change along a flight.
pub(crate) struct Forces<const WIDTH: usize> {
    /// Wind along x and y, m/s.
    pub(crate) wind: [Lanes<WIDTH>; 2],
    pub(crate) spin_axis: [Lanes<WIDTH>; 3],
    pub(crate) gravity: Lanes<WIDTH>,
    /// rho A / (2 m) times the scale of the drag, 1/m.
    pub(crate) drag_pressure: Lanes<WIDTH>,
    /// The same with the scale of the lift.
    pub(crate) lift_pressure: Lanes<WIDTH>,
    /// c / r of the spin decay, 1/m.
    pub(crate) decay: Lanes<WIDTH>,
}

impl<const WIDTH: usize> Forces<WIDTH> {
    /// Spin axis times a vector.
    #[inline(always)]
    fn turned(&self, [x, y, z]: [Lanes<WIDTH>; 3]) -> [Lanes<WIDTH>; 3] {
        let [axis_x, axis_y, axis_z] = self.spin_axis;
        [axis_y * z - axis_z * y, axis_z * x - axis_x * z, axis_x * y - axis_y * x]
    }

    /// Squared length of the part of a vector at right angles to the spin axis.
    #[inline(always)]
    pub(crate) fn across_axis_squared(&self, vector: [Lanes<WIDTH>; 3]) -> Lanes<WIDTH> {
        let [x, y, z] = self.turned(vector);
        x * x + y * y + z * z
    }

    /// How fast velocity and spin change.
    #[inline(always)]
    pub(crate) fn rates<Law: Coefficients>(&self, law: &Law, motion: &Motion<WIDTH>) -> Motion<WIDTH> {
        let [along, left, up, spin] = *motion;
        let (x, y, z) = (along - self.wind[0], left - self.wind[1], up);
        let squared = x * x + y * y + z * z;
        let speed = squared.root().at_least(Lanes::all(SLOWEST_MPS));
        let [lift_x, lift_y, lift_z] = self.turned([x, y, z]);
        let across = (lift_x * lift_x + lift_y * lift_y + lift_z * lift_z).root().at_least(Lanes::all(SLOWEST_MPS));
        // One division serves both reciprocals.
        let both = (speed * across).reciprocal();
        let (drag, lift) = law.drag_and_lift(speed, both * across, spin);
        let drag_factor = self.drag_pressure * drag * speed;
        let lift_factor = self.lift_pressure * lift * squared * (both * speed);
        [
            lift_factor * lift_x - drag_factor * x,
            lift_factor * lift_y - drag_factor * y,
            lift_factor * lift_z - drag_factor * z - self.gravity,
            -(self.decay * speed * spin),
        ]
    }
}
