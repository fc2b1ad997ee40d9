//! What is believed of a player with a club before any shot is looked at.

use impact::{DELIVERY_UNKNOWNS, Delivery, HeadProfile, NUISANCES, launch};

use crate::reading::{ATTACK, FACE, LOFT, PATH, Reading, SPEED, TOE, UP};

/// Constant differences between launch and model: elevation, azimuth (deg), spin (share), tilt (deg).
pub(crate) const OFFSETS: usize = 4;
/// What all shots share besides the habits: figures of the head, then offsets.
pub(crate) const GLOBALS: usize = NUISANCES + OFFSETS;
/// Habits, then globals.
pub(crate) const SHARED: usize = DELIVERY_UNKNOWNS + GLOBALS;

// Common practice, no source, for all figures below. A mean and a spread of the strike of 8 and 9 mm (5 and 6 mm upward)
// together are the 12 mm (8 mm) that a verdict gives an unknown player's strike.
const HABIT_SD: [f64; DELIVERY_UNKNOWNS] = [f64::NAN, 3.0, 4.0, 3.5, 3.0, 8.0, 5.0];
const HABIT_SPEED_SHARE_SD: f64 = 0.10;
const SPREAD: [f64; DELIVERY_UNKNOWNS] = [f64::NAN, 1.1, 1.4, 1.4, 1.1, 9.0, 6.0];
const SPREAD_SPEED_SHARE: f64 = 0.015;
const SESSION_SPREAD: [f64; DELIVERY_UNKNOWNS] = [f64::NAN, 0.4, 0.4, 0.4, 0.4, 2.0, 1.2];
const SESSION_SPREAD_SPEED_SHARE: f64 = 0.008;
/// How many shots, and sessions, the beliefs about spreads weigh as much as.
pub(crate) const SPREAD_WEIGHT: f64 = 5.0;
pub(crate) const SESSION_SPREAD_WEIGHT: f64 = 3.0;
/// The same for correlations, which are believed to be none.
pub(crate) const CORRELATION_WEIGHT: f64 = 25.0;
/// A player's spread is never taken for less than this share of the belief.
pub(crate) const SMALLEST_SPREAD_SHARE: f64 = 0.25;
/// After so many days a session tells only half as precisely of today's habits.
const HABIT_MEMORY_DAYS: f64 = 120.0;

/// The directions' 0.5 deg cover a turned device and what the rigid head gets wrong in every shot. Spin and tilt have constant
/// errors too, about half of what the model may be off in one shot: without them hundreds of shots would teach the head's figures
/// more exactly than the model deserves.
const OFFSET_SD: [f64; OFFSETS] = [0.5, 0.5, 0.025, 0.5];

/// Prior means and deviations, all independent.
#[derive(Debug, Clone)]
pub(crate) struct Beliefs {
    pub mean: [f64; SHARED],
    pub sd: [f64; SHARED],
    pub spread: [f64; DELIVERY_UNKNOWNS],
    pub session_spread: [f64; DELIVERY_UNKNOWNS],
}

impl Beliefs {
    pub fn new(readings: &[Reading], head: &HeadProfile) -> Beliefs {
        let mut mean = [0.0; SHARED];
        let mut sd = [0.0; SHARED];
        let stock = |side: usize| {
            median(readings.iter().filter_map(|reading| reading.stock_deg[side]).collect()).unwrap_or(0.0)
        };
        mean[ATTACK] = head.typical_attack_deg;
        mean[PATH] = stock(0);
        mean[FACE] = stock(1);
        mean[LOFT] = head.typical_delivered_loft_deg;
        mean[SPEED] = usual_speed(readings, head);
        sd[..DELIVERY_UNKNOWNS].copy_from_slice(&HABIT_SD);
        sd[SPEED] = HABIT_SPEED_SHARE_SD * mean[SPEED];
        mean[DELIVERY_UNKNOWNS..][..NUISANCES].copy_from_slice(&head.nuisances());
        // An invalid profile might hold zeros; what is exactly known needs a tiny deviation here.
        let head_sd = head.nuisance_deviations().map(|deviation| deviation.abs().max(1e-7));
        sd[DELIVERY_UNKNOWNS..][..NUISANCES].copy_from_slice(&head_sd);
        sd[DELIVERY_UNKNOWNS + NUISANCES..].copy_from_slice(&OFFSET_SD);

        let mut beliefs = Beliefs { mean, sd, spread: SPREAD, session_spread: SESSION_SPREAD };
        beliefs.spread[SPEED] = SPREAD_SPEED_SHARE * mean[SPEED];
        beliefs.session_spread[SPEED] = SESSION_SPREAD_SPEED_SHARE * mean[SPEED];
        beliefs
    }
}

/// How much less a session of this age tells of today's habits.
pub(crate) fn ageing(age_days: f64) -> f64 {
    1.0 + age_days / HABIT_MEMORY_DAYS
}

/// The middle of the measured club speeds, or else the speed at which a centred strike gives the usual ball speed.
fn usual_speed(readings: &[Reading], head: &HeadProfile) -> f64 {
    let club = readings.iter().filter_map(|reading| reading.delivery[SPEED]).map(|(speed, _)| speed).collect();
    if let Some(speed) = median(club) {
        return speed.clamp(5.0, 75.0);
    }
    let ball = readings.iter().filter_map(|reading| reading.launch[0]).map(|(speed, _)| speed).collect();
    let typical = Delivery {
        club_speed_mps: head.typical_club_speed_mps,
        attack_deg: head.typical_attack_deg,
        path_deg: 0.0,
        face_deg: 0.0,
        delivered_loft_deg: head.typical_delivered_loft_deg,
        strike_toe_mm: 0.0,
        strike_up_mm: 0.0,
    };
    match (median(ball), launch(head, &typical, impact::Hand::Right)) {
        (Some(ball_speed), Some(centred)) if centred.ball_speed_mps > 1.0 => {
            (head.typical_club_speed_mps * ball_speed / centred.ball_speed_mps).clamp(5.0, 75.0)
        }
        _ => head.typical_club_speed_mps,
    }
}

/// Where a fit starts: the middle of what was measured, the belief where nothing was.
pub(crate) fn first_habits(readings: &[Reading], beliefs: &Beliefs) -> [f64; DELIVERY_UNKNOWNS] {
    std::array::from_fn(|position| {
        let measured = readings
            .iter()
            .filter_map(|reading| Some(reading.delivery[position]?.0 - reading.origin(position)))
            .collect();
        let farthest = if position == TOE || position == UP { 20.0 } else { 3.0 * beliefs.sd[position] };
        let (low, high) = (beliefs.mean[position] - farthest, beliefs.mean[position] + farthest);
        median(measured).unwrap_or(beliefs.mean[position]).clamp(low, high)
    })
}

/// The middle value; of an even number the mean of the middle two.
pub(crate) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => None,
        count if count % 2 == 1 => Some(values[middle]),
        _ => Some(0.5 * (values[middle - 1] + values[middle])),
    }
}
