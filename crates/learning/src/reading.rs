//! The shots of a fit: what was measured of each, in an order that does not depend on how they came.

use std::cmp::Ordering;

use impact::{DELIVERY_UNKNOWNS, Hand};
use verdict::{Known, model_error_sd};

use crate::beliefs::median;
use crate::learning_shot::LearningShot;

/// Launch quantities: ball speed, elevation, azimuth, spin, tilt.
pub(crate) const LAUNCH: usize = 5;
pub(crate) const SPIN: usize = 3;

/// Positions in the seven numbers of a delivery.
pub(crate) const SPEED: usize = 0;
pub(crate) const ATTACK: usize = 1;
pub(crate) const PATH: usize = 2;
pub(crate) const FACE: usize = 3;
pub(crate) const LOFT: usize = 4;
pub(crate) const TOE: usize = 5;
pub(crate) const UP: usize = 6;

/// The latest shots that a model rests on: habits change, and a few hundred shots tell of the head what there is to tell.
const MOST_SHOTS: usize = 400;
/// Older shots are left out: after a year the club may be another one [common practice, no source].
const OLDEST_DAYS: i32 = 366;

/// One shot as measured.
#[derive(Debug, Clone)]
pub(crate) struct Reading {
    /// Launch quantities with the inverse variance of device and model error together.
    pub launch: [Option<(f64, f64)>; LAUNCH],
    /// Numbers of the delivery with the inverse variance of the device's error.
    pub delivery: [Option<(f64, f64)>; DELIVERY_UNKNOWNS],
    /// The face azimuth at the strike point, where the device gives that one.
    pub face_at_strike: Option<(f64, f64)>,
    pub hand: Hand,
    /// Direction aimed at, in degrees.
    pub aim_deg: f64,
    /// Stock path and face about the aim, in degrees.
    pub stock_deg: [Option<f64>; 2],
    pub age_days: f64,
    /// Position of the session in the fit.
    pub session: usize,
}

impl Reading {
    fn of(shot: &LearningShot) -> Option<Reading> {
        let evidence = &shot.evidence;
        let hand = Hand::from_sign(evidence.get(Known::Hand).unwrap_or(1.0));
        let measured = |value, deviation| evidence.measured(value, deviation);
        let bay = evidence.get(Known::BayDirectionOffset).unwrap_or(0.0);
        let turned_back = |reading: Option<(f64, f64)>| reading.map(|(value, sd)| (value - bay, sd));
        let observed = [
            measured(Known::BallSpeed, Known::BallSpeedSd),
            measured(Known::LaunchElevation, Known::LaunchElevationSd),
            turned_back(measured(Known::LaunchAzimuth, Known::LaunchAzimuthSd)),
            measured(Known::Spin, Known::SpinSd),
            measured(Known::SpinTilt, Known::SpinTiltSd),
        ];
        let (ball_speed, _) = observed[0]?;
        observed[1]?;
        observed[2]?;
        if !(5.0..=110.0).contains(&ball_speed) {
            return None;
        }
        let launch = observed.map(with_inverse_variance);
        let strike = |value| measured(value, Known::StrikeSd);
        let face = turned_back(measured(Known::Face, Known::FaceSd));
        let centre_face = if evidence.face_at_strike_point { None } else { face };
        let delivery = [
            measured(Known::ClubSpeed, Known::ClubSpeedSd),
            measured(Known::Attack, Known::AttackSd),
            turned_back(measured(Known::Path, Known::PathSd)),
            centre_face,
            measured(Known::DeliveredLoft, Known::DeliveredLoftSd),
            strike(Known::StrikeToe),
            strike(Known::StrikeUp),
        ];
        Some(Reading {
            launch,
            delivery: delivery.map(with_inverse_variance),
            face_at_strike: with_inverse_variance(if evidence.face_at_strike_point { face } else { None }),
            hand,
            aim_deg: evidence.get(Known::Aim).unwrap_or(0.0),
            stock_deg: [evidence.get(Known::StockPath), evidence.get(Known::StockFace)],
            age_days: f64::from(shot.day.max(0)),
            session: 0,
        })
    }

    /// How many numbers were measured.
    pub fn observations(&self) -> usize {
        self.launch.iter().chain(&self.delivery).flatten().count() + usize::from(self.face_at_strike.is_some())
    }

    /// What one number of the delivery is counted from: path and face from the aim.
    pub fn origin(&self, position: usize) -> f64 {
        if position == PATH || position == FACE { self.aim_deg } else { 0.0 }
    }

    pub fn strike_measured(&self) -> bool {
        self.delivery[TOE].is_some() && self.delivery[UP].is_some()
    }

    pub fn face_measured(&self) -> bool {
        self.delivery[FACE].is_some() || self.face_at_strike.is_some()
    }

    /// Whether speed, attack, path, face and loft as well as the whole launch were measured.
    pub fn delivery_measured(&self) -> bool {
        [SPEED, ATTACK, PATH, LOFT].iter().all(|position| self.delivery[*position].is_some())
            && self.face_measured()
            && self.launch.iter().all(Option::is_some)
    }
}

fn with_inverse_variance(measured: Option<(f64, f64)>) -> Option<(f64, f64)> {
    // Nobody measures a swing to a millionth; a smaller deviation is a mistake and would only upset the arithmetic.
    measured.map(|(value, sd)| (value, sd.max(1e-3).powi(-2)))
}

/// Adds what the model may be off to what the device may be off. The model's deviation goes with speed and spin; it is taken at
/// the player's middle ones: taken at each shot's own reading it would trust readings that happen to be low more than those that
/// happen to be high, and so shift the head.
fn add_model_error(readings: &mut [Reading]) {
    let middle = |quantity: usize| {
        median(readings.iter().filter_map(|reading| reading.launch[quantity]).map(|(value, _)| value).collect())
    };
    let model_sd = model_error_sd(middle(0).unwrap_or(60.0), middle(SPIN).unwrap_or(3_000.0));
    for reading in readings {
        for quantity in 0..LAUNCH {
            if let Some((_, weight)) = &mut reading.launch[quantity] {
                *weight = 1.0 / (1.0 / *weight + model_sd[quantity].powi(2));
            }
        }
    }
}

/// The latest usable shots, sessions numbered from 0.
pub(crate) fn readings(shots: &[LearningShot]) -> Vec<Reading> {
    let mut chosen: Vec<(u32, Reading)> = shots
        .iter()
        .filter(|shot| shot.day <= OLDEST_DAYS)
        .filter_map(|shot| Some((shot.session, Reading::of(shot)?)))
        .collect();
    // Sums of floating numbers depend on the order of their terms; a fixed order makes the model independent of the caller's.
    chosen.sort_by(in_order);
    chosen.truncate(MOST_SHOTS);

    let mut sessions: Vec<u32> = chosen.iter().map(|(session, _)| *session).collect();
    sessions.sort_unstable();
    sessions.dedup();
    let mut readings = Vec::with_capacity(chosen.len());
    for (session, mut reading) in chosen {
        reading.session = sessions.binary_search(&session).unwrap_or(0);
        readings.push(reading);
    }
    add_model_error(&mut readings);
    readings
}

/// Youngest first; shots that agree in everything may stand either way.
fn in_order(one: &(u32, Reading), other: &(u32, Reading)) -> Ordering {
    let ages = one.1.age_days.total_cmp(&other.1.age_days).then(one.0.cmp(&other.0));
    numbers(&one.1).zip(numbers(&other.1)).fold(ages, |order, (mine, theirs)| order.then(mine.total_cmp(&theirs)))
}

fn numbers(reading: &Reading) -> impl Iterator<Item = f64> {
    let measured = reading.launch.into_iter().chain(reading.delivery).chain([reading.face_at_strike]);
    let pairs = measured.flat_map(|pair| pair.map_or([f64::NAN; 2], |(value, weight)| [value, weight]));
    pairs.chain([reading.hand.sign(), reading.aim_deg])
}
