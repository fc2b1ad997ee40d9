//! The fifteen unknowns of a shot and what is known of each before its launch is looked at.

use impact::{DELIVERY_UNKNOWNS, HeadProfile};

use crate::model::launch_of;
use crate::{Evidence, Known};

/// How many unknowns a shot has: seven of club and strike, eight of the head.
pub const COUNT: usize = impact::UNKNOWNS;

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

pub type Unknowns = [f64; COUNT];

// Deviations of what the device did not measure, about the player's own reference. Common practice, no source: between
// shots of one player these spread less; the width also covers how badly a reference may be known.
const SPEED_SHARE_SD: f64 = 0.05;
const ATTACK_SD: f64 = 2.5;
const PATH_SD: f64 = 4.0;
const FACE_SD: f64 = 3.5;
const LOFT_SD: f64 = 2.5;
const TOE_SD: f64 = 12.0;
const UP_SD: f64 = 8.0;

/// The shot that the player means to hit: the middle of every comparison.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reference {
    pub speed: f64,
    pub attack: f64,
    pub path: f64,
    pub face: f64,
    pub loft: f64,
}

/// Independent normal beliefs about each unknown, and where the strike is known from.
#[derive(Debug, Clone, PartialEq)]
pub struct Prior {
    pub mean: Unknowns,
    pub sd: Unknowns,
    pub strike: StrikeKnowledge,
    /// The azimuth that a device reports for the normal at the strike point, with its deviation.
    pub face_at_strike: Option<(f64, f64)>,
    /// Whether anything but the launch tells of path or face.
    pub direction_measured: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StrikeKnowledge {
    Measured,
    Linked,
    Inferred,
}

impl StrikeKnowledge {
    pub fn word(self) -> &'static str {
        match self {
            StrikeKnowledge::Measured => "measured",
            StrikeKnowledge::Linked => "linked",
            StrikeKnowledge::Inferred => "inferred",
        }
    }
}

/// The head as its profile describes it, with the delivery of `reference` and a centred strike.
pub fn profile_means(head: &HeadProfile, reference: &Reference) -> Unknowns {
    let mut mean = [0.0; COUNT];
    mean[SPEED] = reference.speed;
    mean[ATTACK] = reference.attack;
    mean[PATH] = reference.path;
    mean[FACE] = reference.face;
    mean[LOFT] = reference.loft;
    mean[DELIVERY_UNKNOWNS..].copy_from_slice(&head.nuisances());
    mean
}

/// The player's reference, completed from the head profile where the player's own figures are missing.
pub fn reference_of(evidence: &Evidence, head: &HeadProfile, hand: f64) -> Reference {
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
        settle_loft(&mut reference, usual_elevation, head, hand);
    }
    let usual_ball_speed = evidence.get(Known::ReferenceBallSpeed).or(evidence.get(Known::BallSpeed));
    if let Some(speed) = evidence.get(Known::ReferenceClubSpeed) {
        reference.speed = speed;
    } else if let Some(ball_speed) = usual_ball_speed
        && let Some(centred) = launch_of(head, &profile_means(head, &reference), hand)
    {
        // The ratio of ball to club speed hardly depends on the speed itself, so one step is enough.
        reference.speed *= ball_speed / centred[0];
    }
    reference
}

/// Sets the loft so that the centred reference shot leaves at the player's usual elevation.
fn settle_loft(reference: &mut Reference, usual_elevation: f64, head: &HeadProfile, hand: f64) {
    const SHARE_OF_LOFT_IN_ELEVATION: f64 = 0.85;
    for _ in 0..4 {
        let Some(centred) = launch_of(head, &profile_means(head, reference), hand) else { return };
        let step = (usual_elevation - centred[1]) / SHARE_OF_LOFT_IN_ELEVATION;
        reference.loft = (reference.loft + step).clamp(1.0, 60.0);
    }
}

impl Prior {
    /// What the device measured, or else the player's reference with a wide deviation.
    pub fn new(evidence: &Evidence, head: &HeadProfile, reference: &Reference) -> Prior {
        let mut prior = Prior {
            mean: profile_means(head, reference),
            sd: [0.0; COUNT],
            strike: StrikeKnowledge::Inferred,
            face_at_strike: None,
            direction_measured: false,
        };
        prior.sd[SPEED] = SPEED_SHARE_SD * reference.speed;
        prior.sd[ATTACK] = ATTACK_SD;
        prior.sd[PATH] = PATH_SD;
        prior.sd[FACE] = FACE_SD;
        prior.sd[LOFT] = LOFT_SD;
        prior.sd[TOE] = TOE_SD;
        prior.sd[UP] = UP_SD;
        prior.sd[DELIVERY_UNKNOWNS..].copy_from_slice(&head.nuisance_deviations());

        prior.take(SPEED, evidence.measured(Known::ClubSpeed, Known::ClubSpeedSd));
        prior.take(ATTACK, evidence.measured(Known::Attack, Known::AttackSd));
        prior.take(LOFT, evidence.measured(Known::DeliveredLoft, Known::DeliveredLoftSd));
        let path = evidence.measured(Known::Path, Known::PathSd);
        prior.take(PATH, path);
        let face = evidence.measured(Known::Face, Known::FaceSd);
        if evidence.face_at_strike_point {
            prior.face_at_strike = face;
        } else {
            prior.take(FACE, face);
        }
        prior.direction_measured = path.is_some() || face.is_some();

        let toe = evidence.measured(Known::StrikeToe, Known::StrikeSd);
        let up = evidence.measured(Known::StrikeUp, Known::StrikeSd);
        prior.take(TOE, toe);
        prior.take(UP, up);
        if toe.is_some() {
            prior.strike = if evidence.strike_linked { StrikeKnowledge::Linked } else { StrikeKnowledge::Measured };
        }
        prior
    }

    fn take(&mut self, position: usize, observed: Option<(f64, f64)>) {
        if let Some((value, deviation)) = observed {
            self.mean[position] = value;
            self.sd[position] = deviation;
        }
    }
}

/// Keeps a vector of unknowns where the collision model has an answer; only far tails of the posterior are touched.
pub fn keep_possible(unknowns: &mut Unknowns) {
    unknowns[SPEED] = unknowns[SPEED].clamp(2.0, 75.0);
    unknowns[TOE] = unknowns[TOE].clamp(-60.0, 60.0);
    unknowns[UP] = unknowns[UP].clamp(-40.0, 40.0);
    unknowns[LOFT] = unknowns[LOFT].clamp(-5.0, 75.0);
    unknowns[RESTITUTION] = unknowns[RESTITUTION].clamp(0.4, 0.95);
    unknowns[FALLOFF] = unknowns[FALLOFF].max(0.0);
    unknowns[INERTIA] = unknowns[INERTIA].clamp(0.4, 2.5);
    unknowns[BULGE] = unknowns[BULGE].clamp(0.0, 6.0);
    unknowns[FRICTION] = unknowns[FRICTION].clamp(0.02, 1.0);
}
