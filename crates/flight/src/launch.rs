//! From a launch to a landing.

use crate::STANDARD_GRAVITY;
use crate::ball::BallProfile;
use crate::batch::fly_one;
use crate::integrate::{State, integrate};
use crate::law::AirResistance;

/// What one step of [`fly`] may add to the error of the landing, in m; README.md of the crate tells how it was chosen and what
/// the whole flight's error came to.
pub const DEFAULT_TOLERANCE_M: f64 = 5e-4;

const RADIAN_PER_SECOND_PER_RPM: f64 = std::f64::consts::TAU / 60.0;

/// The ball as it leaves the club face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Launch {
    /// Speed in m/s, 0 to 150.
    pub ball_speed_mps: f64,
    /// Vertical start direction in degrees, positive = up.
    pub elevation_deg: f64,
    /// Horizontal start direction in degrees, positive = right of the target line.
    pub azimuth_deg: f64,
    /// Total spin rate in revolutions per minute, 0 to 30 000. Top spin is back spin with a tilt of 180 degrees.
    pub spin_rpm: f64,
    /// Tilt of the spin axis in degrees, positive = curves right.
    pub spin_tilt_deg: f64,
}

/// The air and the Earth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// Air density in kg/m^3.
    pub air_density: f64,
    /// Wind in m/s, positive = tail wind.
    pub wind_along_mps: f64,
    /// Wind in m/s, positive = blows toward the right.
    pub wind_across_mps: f64,
    /// Acceleration of gravity in m/s^2.
    pub gravity: f64,
}

impl Default for Conditions {
    /// Sea-level standard air (1.225 kg/m^3), calm, standard gravity.
    fn default() -> Self {
        Self { air_density: 1.225, wind_along_mps: 0.0, wind_across_mps: 0.0, gravity: STANDARD_GRAVITY }
    }
}

/// The ball at its first landing at the tee's level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Landing {
    /// Straight horizontal distance from the tee in m.
    pub carry_m: f64,
    /// Part of the carry across the target line in m, positive = right.
    pub lateral_m: f64,
    /// Greatest height above the tee in m.
    pub peak_height_m: f64,
    /// Angle of the path below the horizontal at landing in degrees.
    pub descent_deg: f64,
    /// Time in the air in s.
    pub flight_time_s: f64,
    /// Speed at landing in m/s.
    pub landing_speed_mps: f64,
    /// Spin rate at landing in revolutions per minute.
    pub landing_spin_rpm: f64,
}

impl Landing {
    /// The answer of [`fly`] to a question that has none: every field NaN, so that it cannot pass for a shot.
    pub const UNKNOWN: Self = Self {
        carry_m: f64::NAN,
        lateral_m: f64::NAN,
        peak_height_m: f64::NAN,
        descent_deg: f64::NAN,
        flight_time_s: f64::NAN,
        landing_speed_mps: f64::NAN,
        landing_spin_rpm: f64::NAN,
    };
}

/// Flies the ball, for inputs known to be sensible; what [`try_fly`] refuses comes back as [`Landing::UNKNOWN`].
///
/// A ball that does not leave the ground (topped, launched downward, or level with less lift than weight) has a sensible
/// answer, not none: carry, lateral distance, time and peak 0, speed and spin those of the launch, and a descent angle equal
/// to the launch's angle below the horizontal. How far such a ball rolls is not modelled.
pub fn fly(ball: &BallProfile, launch: &Launch, conditions: &Conditions) -> Landing {
    try_fly(ball, launch, conditions).unwrap_or(Landing::UNKNOWN)
}

/// Flies the ball; `None` where a number is not finite or beyond what the model can mean.
///
/// Beyond means: ball speed outside 0 to 150 m/s, elevation outside -90 to 90 degrees, spin outside 0 to 30 000 rpm, air
/// density outside 0 to 5 kg/m^3, wind above 60 m/s, gravity outside 0.1 to 50 m/s^2, or a ball without positive mass and
/// radius or with negative drag; also a flight longer than 600 s. Every field of an answer is finite.
pub fn try_fly(ball: &BallProfile, launch: &Launch, conditions: &Conditions) -> Option<Landing> {
    fly_one(ball, launch, conditions)
}

/// [`try_fly`] by a second, slower integrator ([`integrate`]) with a step tolerance of one's own, in m (and m/s), clamped to
/// 1e-13 to 1: for those who want more digits than [`fly`] gives.
pub fn fly_with_tolerance(
    ball: &BallProfile,
    launch: &Launch,
    conditions: &Conditions,
    tolerance_m: f64,
) -> Option<Landing> {
    if !launch.is_usable() || !conditions.is_usable() || !ball.is_usable() || tolerance_m.is_nan() {
        return None;
    }
    let (start, spin_axis) = launch.start();
    let law = AirResistance::new(ball, spin_axis, conditions);
    let flight = integrate(&law, &start, tolerance_m.clamp(1e-13, 1.0))?;
    let [x, y, _] = flight.end.position;
    Landing::of([x, y], flight.end.velocity, flight.end.spin_rad_s, flight.time_s, flight.peak_height_m)
}

impl Launch {
    /// The ball at the tee, and its unit spin axis.
    ///
    /// The axis stands at right angles to the start direction: to the right of it for pure back spin, turned about the start
    /// direction by the tilt, so that the tip of a positive tilt points downward.
    pub(crate) fn start(&self) -> (State, [f64; 3]) {
        let (sin_up, cos_up) = self.elevation_deg.to_radians().sin_cos();
        let (sin_right, cos_right) = self.azimuth_deg.to_radians().sin_cos();
        let (sin_tilt, cos_tilt) = self.spin_tilt_deg.to_radians().sin_cos();
        let speed = self.ball_speed_mps;
        let state = State {
            position: [0.0; 3],
            velocity: [speed * cos_up * cos_right, -speed * cos_up * sin_right, speed * sin_up],
            spin_rad_s: self.spin_rpm * RADIAN_PER_SECOND_PER_RPM,
        };
        let spin_axis = [
            -cos_tilt * sin_right + sin_tilt * sin_up * cos_right,
            -cos_tilt * cos_right - sin_tilt * sin_up * sin_right,
            -sin_tilt * cos_up,
        ];
        (state, spin_axis)
    }

    pub(crate) fn is_usable(&self) -> bool {
        (0.0..=150.0).contains(&self.ball_speed_mps)
            && (-90.0..=90.0).contains(&self.elevation_deg)
            && self.azimuth_deg.is_finite()
            && (0.0..=30_000.0).contains(&self.spin_rpm)
            && self.spin_tilt_deg.is_finite()
    }
}

impl Conditions {
    pub(crate) fn is_usable(&self) -> bool {
        (0.0..=5.0).contains(&self.air_density)
            && self.wind_along_mps.hypot(self.wind_across_mps) <= 60.0
            && (0.1..=50.0).contains(&self.gravity)
    }
}

impl Landing {
    /// From the place, velocity and spin at the ground; `None` where something is not finite.
    pub(crate) fn of(
        [x, y]: [f64; 2],
        [along, left, up]: [f64; 3],
        spin_rad_s: f64,
        time_s: f64,
        peak_height_m: f64,
    ) -> Option<Self> {
        let ground_speed = along.hypot(left);
        let landing = Self {
            carry_m: x.hypot(y),
            // Written as a difference so that a straight ball gets 0, not -0.
            lateral_m: 0.0 - y,
            peak_height_m,
            descent_deg: (0.0 - up).atan2(ground_speed).to_degrees(),
            flight_time_s: time_s,
            landing_speed_mps: ground_speed.hypot(up),
            landing_spin_rpm: spin_rad_s / RADIAN_PER_SECOND_PER_RPM,
        };
        landing.is_finite().then_some(landing)
    }

    fn is_finite(&self) -> bool {
        [
            self.carry_m,
            self.lateral_m,
            self.peak_height_m,
            self.descent_deg,
            self.flight_time_s,
            self.landing_speed_mps,
            self.landing_spin_rpm,
        ]
        .iter()
        .all(|value| value.is_finite())
    }
}
