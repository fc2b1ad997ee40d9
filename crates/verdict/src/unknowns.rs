//! The sixteen unknowns of a shot, and the shot that the player means to hit.

use impact::{DELIVERY_UNKNOWNS, NUISANCES};

use crate::model::{ELEVATION, Model};
use crate::{Evidence, Known};

/// How many unknowns a shot has: seven of club and strike, eight of the head, the bay's direction.
pub const COUNT: usize = impact::UNKNOWNS + 1;

/// Positions in the vector of unknowns. Angles in degrees, lengths of the strike in millimetres, of the head in metres.
pub const SPEED: usize = 0;
pub const ATTACK: usize = 1;
pub const PATH: usize = 2;
pub const FACE: usize = 3;
pub const LOFT: usize = 4;
pub const TOE: usize = 5;
pub const UP: usize = 6;
pub const RESTITUTION: usize = 7;
pub const FALLOFF: usize = 8;
pub const INERTIA: usize = 9;
pub const BULGE: usize = 13;
pub const FRICTION: usize = 14;
/// How far right the bay's readings of direction lie.
pub const BAY: usize = 15;

pub type Unknowns = [f64; COUNT];

/// What is known of the head's uncertain figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeadKnowledge {
    pub mean: [f64; NUISANCES],
    pub sd: [f64; NUISANCES],
}

/// The learned figure and its deviation, in the order of [`impact::NUISANCE_NAMES`].
const LEARNED: [(Known, Known); NUISANCES] = [
    (Known::HeadRestitution, Known::HeadRestitutionSd),
    (Known::HeadRestitutionFalloff, Known::HeadRestitutionFalloffSd),
    (Known::HeadInertiaScale, Known::HeadInertiaScaleSd),
    (Known::HeadCgNormal, Known::HeadCgNormalSd),
    (Known::HeadCgUp, Known::HeadCgUpSd),
    (Known::HeadCgToe, Known::HeadCgToeSd),
    (Known::HeadBulgeCurvature, Known::HeadBulgeCurvatureSd),
    (Known::HeadFriction, Known::HeadFrictionSd),
];

impl HeadKnowledge {
    /// What was learned of this player's head, else the profile.
    pub fn of(evidence: &Evidence, model: &Model<'_>) -> HeadKnowledge {
        let mut known = HeadKnowledge { mean: model.head.nuisances(), sd: model.head.nuisance_deviations() };
        for (position, (value, deviation)) in LEARNED.into_iter().enumerate() {
            if let Some((mean, sd)) = evidence.measured(value, deviation) {
                known.mean[position] = mean;
                known.sd[position] = sd;
            }
        }
        known
    }
}

/// The shot that the player means to hit: the middle of every comparison.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reference {
    pub speed: f64,
    pub attack: f64,
    pub path: f64,
    pub face: f64,
    pub loft: f64,
}

impl Reference {
    /// The player's reference, completed from the head profile where the player's own figures are missing.
    pub fn of(evidence: &Evidence, model: &Model<'_>, known: &HeadKnowledge) -> Reference {
        let head = model.head;
        let aim = evidence.get(Known::Aim).unwrap_or(0.0);
        let mut reference = Reference {
            speed: head.typical_club_speed_mps,
            attack: evidence.get(Known::ReferenceAttack).unwrap_or(head.typical_attack_deg),
            path: aim + evidence.get(Known::StockPath).unwrap_or(0.0),
            face: aim + evidence.get(Known::StockFace).unwrap_or(0.0),
            loft: evidence.get(Known::ReferenceDeliveredLoft).unwrap_or(head.typical_delivered_loft_deg),
        };
        if evidence.get(Known::ReferenceDeliveredLoft).is_none()
            && let Some(usual_elevation) = evidence.get(Known::ReferenceLaunchElevation)
        {
            reference.settle_loft(usual_elevation, model, known);
        }
        let measured = |value, deviation| evidence.measured(value, deviation).map(|(value, _)| value);
        let club_speed = evidence.get(Known::ReferenceClubSpeed);
        let ball_speed = evidence.get(Known::ReferenceBallSpeed);
        let club_speed_now = evidence.get(Known::HabitClubSpeed).or(measured(Known::ClubSpeed, Known::ClubSpeedSd));
        let ball_speed_now = measured(Known::BallSpeed, Known::BallSpeedSd);
        match (club_speed, ball_speed, club_speed_now, ball_speed_now) {
            (Some(usual), ..) => reference.speed = usual,
            (None, Some(usual), ..) => reference.settle_speed(usual, model, known),
            (None, None, Some(now), _) => reference.speed = now,
            (None, None, None, Some(now)) => reference.settle_speed(now, model, known),
            _ => {}
        }
        reference
    }

    /// The head as it is known, with this delivery and a centred strike.
    pub fn centred(&self, known: &HeadKnowledge) -> Unknowns {
        let mut mean = [0.0; COUNT];
        mean[SPEED] = self.speed;
        mean[ATTACK] = self.attack;
        mean[PATH] = self.path;
        mean[FACE] = self.face;
        mean[LOFT] = self.loft;
        mean[DELIVERY_UNKNOWNS..DELIVERY_UNKNOWNS + NUISANCES].copy_from_slice(&known.mean);
        mean
    }

    /// Sets the loft so that the centred shot leaves at the player's usual elevation.
    fn settle_loft(&mut self, usual_elevation: f64, model: &Model<'_>, known: &HeadKnowledge) {
        const SHARE_OF_LOFT_IN_ELEVATION: f64 = 0.85;
        for _ in 0..4 {
            let Some(centred) = model.launch(&self.centred(known)) else { return };
            let step = (usual_elevation - centred[ELEVATION]) / SHARE_OF_LOFT_IN_ELEVATION;
            self.loft = (self.loft + step).clamp(1.0, 60.0);
        }
    }

    /// Sets the club speed so that the centred shot leaves at a ball speed. The ratio of the two hardly depends on the speed
    /// itself, so one step is enough.
    fn settle_speed(&mut self, ball_speed: f64, model: &Model<'_>, known: &HeadKnowledge) {
        if let Some(centred) = model.launch(&self.centred(known)) {
            self.speed *= ball_speed / centred[0];
        }
    }
}

/// Keeps a vector of unknowns where the collision model has an answer; only far tails of the posterior are touched.
pub fn keep_possible(unknowns: &mut Unknowns) {
    for (position, lowest, highest) in POSSIBLE {
        unknowns[position] = unknowns[position].clamp(lowest, highest);
    }
}

/// Position, lowest and highest possible value.
pub const POSSIBLE: [(usize, f64, f64); 9] = [
    (SPEED, 2.0, 75.0),
    (TOE, -60.0, 60.0),
    (UP, -40.0, 40.0),
    (LOFT, -5.0, 75.0),
    (RESTITUTION, 0.4, 0.95),
    (FALLOFF, 0.0, 1_000.0),
    (INERTIA, 0.4, 2.5),
    (BULGE, 0.0, 6.0),
    (FRICTION, 0.02, 1.0),
];
