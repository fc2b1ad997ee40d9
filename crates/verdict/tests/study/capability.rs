//! What a device measures: from the ball alone to everything, one capability after the other with the same deviations.

use academy::{DeviceKind, FaceReference, Observed, Player};
use impact::HeadProfile;
use shot::Quantity;
use verdict::{Evidence, Known};

/// One set of measured quantities.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(clippy::struct_excessive_bools, reason = "each group is measured or not, independently")]
pub struct Capability {
    pub name: &'static str,
    pub spin: bool,
    pub club_speed: bool,
    pub attack_and_path: bool,
    pub face: Option<FaceReference>,
    pub loft: bool,
    pub strike: Option<StrikeReading>,
    /// Whether the ball is followed to the ground, in wind.
    pub outdoors: bool,
}

/// How the strike position becomes known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StrikeReading {
    /// With the shot, by the device.
    Measured,
    /// From a list kept apart, and linked.
    Linked,
}

/// Deviation of a strike measured with the shot and of one linked from a list, mm.
const STRIKE_SD_MM: f64 = 1.5;
const LINKED_SD_MM: f64 = 4.0;

const BALL: Capability = Capability {
    name: "ball only, no spin",
    spin: false,
    club_speed: false,
    attack_and_path: false,
    face: None,
    loft: false,
    strike: None,
    outdoors: false,
};
const SPIN: Capability = Capability { name: "+ spin and axis", spin: true, ..BALL };
const SPEED: Capability = Capability { name: "+ club speed", club_speed: true, ..SPIN };
const PATH: Capability = Capability { name: "+ attack, path", attack_and_path: true, ..SPEED };
const FACE: Capability = Capability { name: "+ face, at its centre", face: Some(FaceReference::Centre), ..PATH };
pub const FACE_AT_STRIKE: Capability =
    Capability { name: "+ face, at the strike point", face: Some(FaceReference::StrikePoint), ..PATH };
pub const FULL: Capability = Capability { name: "full: + loft, face at centre", loft: true, ..FACE };
pub const FULL_AT_STRIKE: Capability =
    Capability { name: "full: + loft, face at strike point", loft: true, ..FACE_AT_STRIKE };

pub const FULL_LINKED: Capability =
    Capability { name: "full, strike linked", strike: Some(StrikeReading::Linked), ..FULL };
pub const FULL_MEASURED: Capability =
    Capability { name: "full, strike measured", strike: Some(StrikeReading::Measured), ..FULL };

impl Capability {
    /// Every capability set of the study, poorest first.
    pub const ALL: [Capability; 14] = [
        BALL,
        SPIN,
        SPEED,
        PATH,
        FACE,
        FACE_AT_STRIKE,
        FULL,
        FULL_AT_STRIKE,
        Capability { name: "club speed, strike linked", strike: Some(StrikeReading::Linked), ..SPEED },
        Capability { name: "club speed, strike measured", strike: Some(StrikeReading::Measured), ..SPEED },
        FULL_LINKED,
        FULL_MEASURED,
        Capability { name: "club speed, outdoors with carry", outdoors: true, ..SPEED },
        Capability { name: "full, outdoors with carry", outdoors: true, ..FULL },
    ];

    /// Whether the strike position is measured with the shot.
    pub fn measures_strike(&self) -> bool {
        self.strike == Some(StrikeReading::Measured)
    }

    /// Whether speed, attack, path, face and loft are all measured.
    pub fn measures_full_delivery(&self) -> bool {
        self.loft && self.face.is_some()
    }

    /// A device that measures this set; its deviations are usual ones [common practice, no source].
    pub fn device(&self) -> DeviceKind {
        let mut device = DeviceKind::new(self.name)
            .measuring(Quantity::BallSpeedMps, 0.3)
            .measuring(Quantity::LaunchElevationDeg, 0.2)
            .measuring(Quantity::LaunchAzimuthDeg, 0.2);
        let further = [
            (self.spin, Quantity::SpinRpm, 80.0),
            (self.spin, Quantity::SpinTiltDeg, 1.2),
            (self.club_speed, Quantity::ClubSpeedMps, 0.4),
            (self.attack_and_path, Quantity::AttackDeg, 0.6),
            (self.attack_and_path, Quantity::PathDeg, 0.6),
            (self.face.is_some(), Quantity::FaceDeg, 0.6),
            (self.loft, Quantity::DeliveredLoftDeg, 0.8),
            (self.outdoors, Quantity::CarryM, 1.4),
            (self.outdoors, Quantity::LateralM, 0.9),
            (self.outdoors, Quantity::WindAlongMps, 0.25),
            (self.outdoors, Quantity::WindAcrossMps, 0.25),
        ];
        for (measures, quantity, sd) in further {
            if measures {
                device = device.measuring(quantity, sd);
            }
        }
        if let Some(reading) = self.strike {
            let sd = if reading == StrikeReading::Measured { STRIKE_SD_MM } else { LINKED_SD_MM };
            device = device.measuring(Quantity::StrikeToeMm, sd).measuring(Quantity::StrikeUpMm, sd);
        }
        device.face_reference = self.face.unwrap_or(FaceReference::Centre);
        device
    }

    /// What the product knows of a shot as the device saw it; the player's reference is not in it yet.
    pub fn evidence(&self, observed: &Observed, player: &Player, air_density: f64) -> Evidence {
        let mut evidence = Evidence::default();
        for (quantity, value, deviation) in OBSERVATIONS {
            evidence.set(value, observed.value(quantity));
            evidence.set(deviation, observed.sd(quantity));
        }
        evidence.set(Known::StrikeToe, observed.value(Quantity::StrikeToeMm));
        evidence.set(Known::StrikeUp, observed.value(Quantity::StrikeUpMm));
        evidence.set(Known::StrikeSd, observed.sd(Quantity::StrikeToeMm));
        evidence.strike_linked = self.strike == Some(StrikeReading::Linked);
        evidence.face_at_strike_point = observed.face_at_strike_point;
        evidence.set(Known::WindAlong, observed.value(Quantity::WindAlongMps));
        evidence.set(Known::WindAcross, observed.value(Quantity::WindAcrossMps));
        evidence.set(Known::AirDensity, Some(air_density));
        let side = player.hand.sign() as f64;
        let stock = player.clubs[0].habits.stock;
        evidence.set(Known::Hand, Some(side));
        evidence.set(Known::Aim, Some(player.aim_deg));
        evidence.set(Known::StockPath, Some(side * stock.path_deg));
        evidence.set(Known::StockFace, Some(side * stock.face_deg));
        evidence
    }
}

const OBSERVATIONS: [(Quantity, Known, Known); 12] = [
    (Quantity::BallSpeedMps, Known::BallSpeed, Known::BallSpeedSd),
    (Quantity::LaunchElevationDeg, Known::LaunchElevation, Known::LaunchElevationSd),
    (Quantity::LaunchAzimuthDeg, Known::LaunchAzimuth, Known::LaunchAzimuthSd),
    (Quantity::SpinRpm, Known::Spin, Known::SpinSd),
    (Quantity::SpinTiltDeg, Known::SpinTilt, Known::SpinTiltSd),
    (Quantity::ClubSpeedMps, Known::ClubSpeed, Known::ClubSpeedSd),
    (Quantity::AttackDeg, Known::Attack, Known::AttackSd),
    (Quantity::PathDeg, Known::Path, Known::PathSd),
    (Quantity::FaceDeg, Known::Face, Known::FaceSd),
    (Quantity::DeliveredLoftDeg, Known::DeliveredLoft, Known::DeliveredLoftSd),
    (Quantity::CarryM, Known::Carry, Known::CarrySd),
    (Quantity::LateralM, Known::Lateral, Known::LateralSd),
];

/// An earlier shot, as the product remembers it.
pub struct Earlier {
    pub evidence: Evidence,
    /// Number of the session, from 0 for the earliest.
    #[allow(dead_code, reason = "only a learner that knows of sessions looks at it")]
    pub session: usize,
}

/// What is known of a player with a club before a shot: numbers by their position in [`Evidence::NUMBERS`].
pub type Knowledge = Vec<(usize, Option<f64>)>;

/// How earlier shots become knowledge.
pub type Learner = fn(&[Earlier], &HeadProfile) -> Knowledge;

/// The player's reference alone: the medians of what the device measured.
pub fn medians(earlier: &[Earlier], _: &HeadProfile) -> Knowledge {
    let medians = [
        (Known::ClubSpeed, Known::ClubSpeedSd, Known::ReferenceClubSpeed),
        (Known::BallSpeed, Known::BallSpeedSd, Known::ReferenceBallSpeed),
        (Known::LaunchElevation, Known::LaunchElevationSd, Known::ReferenceLaunchElevation),
        (Known::Attack, Known::AttackSd, Known::ReferenceAttack),
        (Known::DeliveredLoft, Known::DeliveredLoftSd, Known::ReferenceDeliveredLoft),
    ];
    let mut known = Knowledge::new();
    for (value, deviation, reference) in medians {
        let seen = earlier.iter().filter_map(|shot| shot.evidence.measured(value, deviation)).map(|(value, _)| value);
        known.push((reference as usize, median(seen.collect())));
    }
    known
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => None,
        count if count % 2 == 1 => Some(values[middle]),
        _ => Some(0.5 * (values[middle - 1] + values[middle])),
    }
}
