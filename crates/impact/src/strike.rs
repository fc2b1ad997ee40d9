//! From a delivery to a launch.

use std::f64::consts::TAU;

use crate::collision::collide_where;
use crate::delivery::{BallLaunch, Delivery, Hand};
use crate::head::{HeadParameters, HeadProfile, NUISANCES};
use crate::scalar::{Mask, Scalar};
use crate::vector::Vector;

/// Numbers that describe a delivery with its strike position.
pub const DELIVERY_UNKNOWNS: usize = 7;
/// Numbers that a launch is differentiated by: those of the delivery, then those of the head.
pub const UNKNOWNS: usize = DELIVERY_UNKNOWNS + NUISANCES;

pub(crate) const RADIAN_PER_DEGREE: f64 = TAU / 360.0;
pub(crate) const DEGREE_PER_RADIAN: f64 = 360.0 / TAU;
pub(crate) const RPM_PER_RADIAN_PER_SECOND: f64 = 60.0 / TAU;

/// The launch of a delivery with a head as its profile describes it; `None` where head and ball do not meet (see
/// [`crate::collide`]).
pub fn launch(head: &HeadProfile, delivery: &Delivery, hand: Hand) -> Option<BallLaunch> {
    strike(&head.parameters(&head.nuisances()), delivery, hand)
}

/// Strikes the ball: the collision of [`crate::collide`] between world axes on either side.
///
/// `None` where head and ball do not meet or a number is not finite; every field of an answer is finite. With several lanes:
/// where that happens in any one of them ([`strike_where`] keeps the others).
pub fn strike<S: Scalar>(head: &HeadParameters<S>, delivery: &Delivery<S>, hand: Hand) -> Option<BallLaunch<S>> {
    let (launch, met) = strike_where(head, delivery, hand)?;
    met.all().then_some(launch)
}

/// The launch, and in which lanes head and ball meet; what stands in the other lanes means nothing. `None` where they meet in
/// no lane.
pub fn strike_where<S: Scalar>(
    head: &HeadParameters<S>,
    delivery: &Delivery<S>,
    hand: Hand,
) -> Option<(BallLaunch<S>, S::Mask)> {
    let swing = swing(delivery, hand);
    let toe_m = delivery.strike_toe_mm * 1e-3;
    let up_m = delivery.strike_up_mm * 1e-3;
    let (collision, mut met) = collide_where(head, &swing.head_velocity, toe_m, up_m)?;
    let launch = leave(&collision.ball_velocity, &collision.ball_spin, &swing, delivery.face_deg, hand);
    for number in launch.to_array() {
        met = met & number.is_finite();
    }
    met.any().then_some((launch, met))
}

/// The head's motion in face axes, with the turn between these and the world.
pub(crate) struct Swing<S> {
    pub head_velocity: Vector<S>,
    pub level_speed: S,
    pub climb: S,
    pub sin_across: S,
    pub cos_across: S,
    pub sin_loft: S,
    pub cos_loft: S,
}

#[inline]
pub(crate) fn swing<S: Scalar>(delivery: &Delivery<S>, hand: Hand) -> Swing<S> {
    // Only the path relative to the face matters to the collision; a left-hander is computed in the mirror.
    let across = (delivery.path_deg - delivery.face_deg) * (hand.sign() * RADIAN_PER_DEGREE);
    let (sin_across, cos_across) = across.sin_cos();
    let (sin_attack, cos_attack) = (delivery.attack_deg * RADIAN_PER_DEGREE).sin_cos();
    let (sin_loft, cos_loft) = (delivery.delivered_loft_deg * RADIAN_PER_DEGREE).sin_cos();

    let level_speed = delivery.club_speed_mps * cos_attack;
    let climb = delivery.club_speed_mps * sin_attack;
    let forward = level_speed * cos_across;
    let head_velocity =
        [forward * cos_loft + climb * sin_loft, climb * cos_loft - forward * sin_loft, level_speed * sin_across];
    Swing { head_velocity, level_speed, climb, sin_across, cos_across, sin_loft, cos_loft }
}

/// Turns the ball's motion from face axes back: forward along the face's azimuth, right, up.
#[inline]
pub(crate) fn leave<S: Scalar>(
    ball_velocity: &Vector<S>,
    ball_spin: &Vector<S>,
    swing: &Swing<S>,
    face_deg: S,
    hand: Hand,
) -> BallLaunch<S> {
    let (sin_loft, cos_loft) = (swing.sin_loft, swing.cos_loft);
    let [normal, upward, right] = *ball_velocity;
    let forward = normal * cos_loft - upward * sin_loft;
    let up = normal * sin_loft + upward * cos_loft;
    let level_square = forward * forward + right * right;
    let level = level_square.sqrt();
    let speed = (level_square + up * up).sqrt();

    let [spin_normal, spin_upward, spin_right] = *ball_spin;
    let spin_forward = spin_normal * cos_loft - spin_upward * sin_loft;
    let spin_up = spin_normal * sin_loft + spin_upward * cos_loft;
    let spin = (spin_forward * spin_forward + spin_right * spin_right + spin_up * spin_up).sqrt();
    // The spin axis is at right angles to the start direction (both follow from one impulse), so these two components, each
    // times the level speed, are all of it.
    let side = -(spin_up * speed);
    let back = forward * spin_right - right * spin_forward;

    let mirror = hand.sign();
    BallLaunch {
        ball_speed_mps: speed,
        launch_elevation_deg: up.atan2(level) * DEGREE_PER_RADIAN,
        launch_azimuth_deg: face_deg + right.atan2(forward) * (mirror * DEGREE_PER_RADIAN),
        spin_rpm: spin * RPM_PER_RADIAN_PER_SECOND,
        spin_tilt_deg: side.atan2(back) * (mirror * DEGREE_PER_RADIAN),
    }
}
