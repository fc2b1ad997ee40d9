//! The devices of the demo's further bays. What each states of itself stands in its mapping pack too; a test compares the two.

use shot::Quantity;

use crate::device::{BALL, DeviceKind, FaceReference, M_PER_FOOT, M_PER_YARD, MPS_PER_KNOT, SWING};

impl DeviceKind {
    /// Bay 4 of the demo: ball and swing with loft, no strike; it misses the swing of 2 % of the shots. 0.3 m/s, 0.2, 0.2 deg,
    /// 80 rpm, 1.2 deg; 0.4 m/s, 0.6, 0.6, 0.6, 0.8 deg.
    pub fn session_tree() -> DeviceKind {
        let mut device = DeviceKind::new("session-tree")
            .measuring_all(BALL, [0.3, 0.2, 0.2, 80.0, 1.2])
            .measuring_all(SWING, [0.4, 0.6, 0.6, 0.6, 0.8])
            .computing_the_flight();
        device.swing_lost_share = 0.02;
        device
    }

    /// Bay 5 of the demo: ball and swing without loft, the face at the strike point. 1.08 km/h, 0.25, 0.25 deg, 100 rpm, 1.4 deg;
    /// 1.8 km/h, 0.7, 0.7, 0.8 deg.
    pub fn range_book() -> DeviceKind {
        let mut device = DeviceKind::new("range-book")
            .measuring_all(BALL, [1.08 / 3.6, 0.25, 0.25, 100.0, 1.4])
            .measuring(Quantity::ClubSpeedMps, 1.8 / 3.6)
            .measuring(Quantity::AttackDeg, 0.7)
            .measuring(Quantity::PathDeg, 0.7)
            .measuring(Quantity::FaceDeg, 0.8)
            .computing_the_flight();
        device.face_reference = FaceReference::StrikePoint;
        device.swing_lost_share = 0.02;
        device
    }

    /// Bay 6 of the demo: the ball alone, its spin only computed. 0.5 m/s, 0.4, 0.4 deg.
    pub fn ball_journal() -> DeviceKind {
        let mut device = DeviceKind::ball_only();
        device.name = "ball-journal";
        device
    }

    /// The demo's tee in the open: ball, club speed, wind, and the ball followed to the ground. 1 ft/s, 0.2, 0.2 deg, 1.25 turns a
    /// second, 1.5 deg; 1.5 ft/s; 1.5 yd, 1 yd, 2 ft, 0.05 s; 0.5 kn.
    pub fn tee_columns() -> DeviceKind {
        DeviceKind::new("tee-columns")
            .measuring_all(BALL, [M_PER_FOOT, 0.2, 0.2, 1.25 * 60.0, 1.5])
            .measuring(Quantity::ClubSpeedMps, 1.5 * M_PER_FOOT)
            .measuring(Quantity::CarryM, 1.5 * M_PER_YARD)
            .measuring(Quantity::LateralM, M_PER_YARD)
            .measuring(Quantity::PeakHeightM, 2.0 * M_PER_FOOT)
            .measuring(Quantity::FlightTimeS, 0.05)
            .measuring(Quantity::WindAlongMps, 0.5 * MPS_PER_KNOT)
            .measuring(Quantity::WindAcrossMps, 0.5 * MPS_PER_KNOT)
    }
}
