//! What a device makes of a true shot: which quantities it measures, how well, and what it only computes.

use flight::{BallProfile, Launch};
use rand::Rng;
use shot::{Measures, Quantity};

use crate::TrueShot;
use crate::flown::fly;
use crate::habits::normal;

/// The point of the face that a device's face angle belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FaceReference {
    /// The middle of the face.
    Centre,
    /// The point where the ball was met; bulge turns it away from the middle's angle.
    StrikePoint,
}

/// A kind of device: its capability set with the standard deviation of each quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct DeviceKind {
    /// Our name of the capability set.
    pub name: &'static str,
    /// Which point of the face the reported face angle belongs to.
    pub face_reference: FaceReference,
    /// Share of shots whose strike position the device fails to see, 0 to 1.
    pub strike_lost_share: f64,
    /// Share of shots on which the device fails to see the swing, 0 to 1.
    pub swing_lost_share: f64,
    measured_sd: [Option<f64>; Quantity::COUNT],
    computed_sd: [Option<f64>; Quantity::COUNT],
    bias: [f64; Quantity::COUNT],
}

/// What a device reported of one shot.
#[derive(Debug, Clone, PartialEq)]
pub struct Observed {
    /// Every value the device gave, measured or computed, in canonical units and signs.
    pub measures: Measures,
    /// Whether `face_deg` is the azimuth at the strike point.
    pub face_at_strike_point: bool,
    sd: [Option<f64>; Quantity::COUNT],
}

impl Observed {
    /// The value of a quantity, measured or computed.
    pub fn value(&self, quantity: Quantity) -> Option<f64> {
        self.measures.get(quantity)
    }

    /// The standard deviation of a quantity the device MEASURED on this shot; none for what it computed or missed.
    pub fn sd(&self, quantity: Quantity) -> Option<f64> {
        self.measures.get(quantity).and(self.sd[quantity as usize])
    }
}

pub(crate) const BALL: [Quantity; 5] = [
    Quantity::BallSpeedMps,
    Quantity::LaunchElevationDeg,
    Quantity::LaunchAzimuthDeg,
    Quantity::SpinRpm,
    Quantity::SpinTiltDeg,
];
pub(crate) const SWING: [Quantity; 5] =
    [Quantity::ClubSpeedMps, Quantity::AttackDeg, Quantity::PathDeg, Quantity::FaceDeg, Quantity::DeliveredLoftDeg];
const STRIKE: [Quantity; 2] = [Quantity::StrikeToeMm, Quantity::StrikeUpMm];

impl DeviceKind {
    /// A device that gives nothing yet.
    pub fn new(name: &'static str) -> DeviceKind {
        DeviceKind {
            name,
            face_reference: FaceReference::Centre,
            strike_lost_share: 0.0,
            swing_lost_share: 0.0,
            measured_sd: [None; Quantity::COUNT],
            computed_sd: [None; Quantity::COUNT],
            bias: [0.0; Quantity::COUNT],
        }
    }

    /// The device with one more measured quantity, of the given standard deviation in the quantity's unit.
    #[must_use]
    pub fn measuring(mut self, quantity: Quantity, sd: f64) -> DeviceKind {
        self.measured_sd[quantity as usize] = Some(sd);
        self
    }

    /// The device with one more quantity that it only computes: carry and lateral from its own flight model, anything else
    /// off the truth by a normal error of the given standard deviation.
    #[must_use]
    pub fn computing(mut self, quantity: Quantity, error_sd: f64) -> DeviceKind {
        self.computed_sd[quantity as usize] = Some(error_sd);
        self
    }

    /// The device with a constant error in one quantity, as a badly levelled bay has.
    #[must_use]
    pub fn biased(mut self, quantity: Quantity, by: f64) -> DeviceKind {
        self.bias[quantity as usize] = by;
        self
    }

    /// The standard deviation of a quantity that the device measures, in the quantity's unit.
    pub fn measured_sd(&self, quantity: Quantity) -> Option<f64> {
        self.measured_sd[quantity as usize]
    }

    pub(crate) fn measuring_all<const N: usize>(mut self, quantities: [Quantity; N], sds: [f64; N]) -> DeviceKind {
        for (quantity, sd) in quantities.into_iter().zip(sds) {
            self = self.measuring(quantity, sd);
        }
        self
    }

    pub(crate) fn computing_the_flight(self) -> DeviceKind {
        self.computing(Quantity::CarryM, 0.0).computing(Quantity::LateralM, 0.0)
    }

    /// Bay 2 of the demo: ball and swing, no loft, no strike; it misses the swing of 2 % of the shots. 1.0 mph, 0.8, 0.8,
    /// 0.9 deg; 0.5 mph, 0.3, 0.3 deg, 120 rpm, 1.5 deg.
    pub fn plain_imperial() -> DeviceKind {
        let mut device = DeviceKind::new("plain-imperial")
            .measuring_all(BALL, [0.5 * MPS_PER_MPH, 0.3, 0.3, 120.0, 1.5])
            .measuring(Quantity::ClubSpeedMps, MPS_PER_MPH)
            .measuring(Quantity::AttackDeg, 0.8)
            .measuring(Quantity::PathDeg, 0.8)
            .measuring(Quantity::FaceDeg, 0.9)
            .computing_the_flight();
        device.swing_lost_share = 0.02;
        device
    }

    /// Bay 1 of the demo: ball and club speed. 0.3 m/s, 0.25, 0.25 deg, 90 rpm, 1.2 deg; 1.5 km/h.
    pub fn hall_metric() -> DeviceKind {
        DeviceKind::new("hall-metric")
            .measuring_all(BALL, [0.3, 0.25, 0.25, 90.0, 1.2])
            .measuring(Quantity::ClubSpeedMps, 1.5 / 3.6)
            .computing_the_flight()
    }

    /// Bay 3 of the demo: ball, swing with loft, and the strike on all but 4 % of the shots. 0.25 m/s, 0.2, 0.2 deg, 60 rpm,
    /// 1.0 deg; 0.35 m/s, 0.5, 0.5, 0.5, 0.6 deg; 1.5 mm.
    pub fn strike_lines() -> DeviceKind {
        let mut device = DeviceKind::new("strike-lines")
            .measuring_all(BALL, [0.25, 0.2, 0.2, 60.0, 1.0])
            .measuring_all(SWING, [0.35, 0.5, 0.5, 0.5, 0.6])
            .measuring_all(STRIKE, [1.5, 1.5])
            .computing_the_flight();
        device.strike_lost_share = 0.04;
        device
    }

    /// Ball alone, of which the spin is computed, as a simple device gives it.
    pub fn ball_only() -> DeviceKind {
        DeviceKind::new("ball-only")
            .measuring(Quantity::BallSpeedMps, 0.5)
            .measuring(Quantity::LaunchElevationDeg, 0.4)
            .measuring(Quantity::LaunchAzimuthDeg, 0.4)
            .computing(Quantity::SpinRpm, 400.0)
            .computing(Quantity::SpinTiltDeg, 3.0)
            .computing_the_flight()
    }

    /// Ball and the whole swing with loft; no strike.
    pub fn swing() -> DeviceKind {
        DeviceKind::new("swing")
            .measuring_all(BALL, [0.3, 0.2, 0.2, 80.0, 1.2])
            .measuring_all(SWING, [0.4, 0.6, 0.6, 0.6, 0.8])
            .computing_the_flight()
    }

    /// Ball, speed, attack, path and loft, but no face and no strike.
    pub fn swing_without_face() -> DeviceKind {
        let mut device = DeviceKind::swing();
        device.name = "swing-without-face";
        device.measured_sd[Quantity::FaceDeg as usize] = None;
        device
    }

    /// Ball and the whole swing; the face angle is that of the strike point.
    pub fn face_at_strike_point() -> DeviceKind {
        let mut device = DeviceKind::swing();
        device.name = "face-at-strike-point";
        device.face_reference = FaceReference::StrikePoint;
        device
    }

    /// Every capability set of this crate: the demo's bays first.
    pub fn all() -> [DeviceKind; 11] {
        [
            DeviceKind::plain_imperial(),
            DeviceKind::hall_metric(),
            DeviceKind::strike_lines(),
            DeviceKind::session_tree(),
            DeviceKind::range_book(),
            DeviceKind::ball_journal(),
            DeviceKind::tee_columns(),
            DeviceKind::ball_only(),
            DeviceKind::swing(),
            DeviceKind::swing_without_face(),
            DeviceKind::face_at_strike_point(),
        ]
    }

    /// What the device reports of a shot.
    ///
    /// The number of draws taken from `rng` is the same for every device and shot, so that streams stay in step.
    pub fn observe<R: Rng + ?Sized>(&self, true_shot: &TrueShot, rng: &mut R) -> Observed {
        let mut observed = Observed {
            measures: Measures::default(),
            face_at_strike_point: self.face_reference == FaceReference::StrikePoint,
            sd: self.measured_sd,
        };
        let strike_lost = rng.random::<f64>() < self.strike_lost_share;
        let swing_lost = rng.random::<f64>() < self.swing_lost_share;
        for quantity in Quantity::all() {
            let noise = normal(rng);
            let Some(sd) = self.measured_sd[quantity as usize].or(self.computed_sd[quantity as usize]) else {
                continue;
            };
            if (strike_lost && STRIKE.contains(&quantity)) || (swing_lost && SWING.contains(&quantity)) {
                continue;
            }
            let Some(truth) = true_shot.truth(quantity, self.face_reference) else { continue };
            let mut value = truth + sd * noise + self.bias[quantity as usize];
            if quantity == Quantity::SpinRpm {
                value = value.max(0.0);
            }
            observed.measures.set(quantity, Some(value));
        }
        self.compute_the_flight(true_shot, &mut observed.measures);
        observed
    }

    /// A device flies what it saw with a model of its own: the default ball, in the air of the bay.
    fn compute_the_flight(&self, true_shot: &TrueShot, measures: &mut Measures) {
        if self.computed_sd[Quantity::CarryM as usize].is_none() {
            return;
        }
        let seen = |quantity: Quantity, otherwise: f64| measures.get(quantity).unwrap_or(otherwise);
        let launch = Launch {
            ball_speed_mps: seen(Quantity::BallSpeedMps, true_shot.launch.ball_speed_mps),
            elevation_deg: seen(Quantity::LaunchElevationDeg, true_shot.launch.elevation_deg),
            azimuth_deg: seen(Quantity::LaunchAzimuthDeg, true_shot.launch.azimuth_deg),
            spin_rpm: seen(Quantity::SpinRpm, true_shot.launch.spin_rpm),
            spin_tilt_deg: seen(Quantity::SpinTiltDeg, true_shot.launch.spin_tilt_deg),
        };
        let landing = fly(&BallProfile::default(), &launch, &true_shot.conditions);
        measures.set(Quantity::CarryM, Some(landing.carry_m));
        measures.set(Quantity::LateralM, Some(landing.lateral_m));
    }
}

/// Metres per second in one mile per hour (exact; NIST SP 811).
pub const MPS_PER_MPH: f64 = 0.447_04;
/// Metres in one yard (exact; NIST SP 811).
pub const M_PER_YARD: f64 = 0.914_4;
/// Metres in one foot (exact; NIST SP 811).
pub const M_PER_FOOT: f64 = 0.304_8;
/// Metres per second in one knot (exact; NIST SP 811).
pub const MPS_PER_KNOT: f64 = 1852.0 / 3600.0;
/// Hectopascals in one conventional inch of mercury (NIST SP 811).
pub const HPA_PER_INCH_OF_MERCURY: f64 = 33.863_89;

/// A temperature in degrees Fahrenheit as degrees Celsius.
pub fn celsius(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) * 5.0 / 9.0
}

/// A temperature in degrees Celsius as degrees Fahrenheit.
pub fn fahrenheit(celsius: f64) -> f64 {
    celsius * 9.0 / 5.0 + 32.0
}
