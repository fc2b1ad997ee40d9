//! How widely one player's shots and sessions spread: expectation-maximisation with a belief that weighs a few shots.

use impact::DELIVERY_UNKNOWNS;
use nalgebra::Cholesky;

use crate::beliefs::{Beliefs, CORRELATION_WEIGHT, SESSION_SPREAD_WEIGHT, SMALLEST_SPREAD_SHARE, SPREAD_WEIGHT};
use crate::joint_fit::SessionBlock;
use crate::reading::Reading;
use crate::shot_block::{DeliveryMatrix, DeliveryVector, SharedMatrix, ShotBlock};

type Habits = [f64; DELIVERY_UNKNOWNS];

/// How one shot spreads about its session, and one session about the player.
#[derive(Debug, Clone)]
pub(crate) struct Spreads {
    /// Covariance of one shot: faces follow paths, lofts follow attacks, strikes lie along slanted ellipses.
    pub covariance: DeliveryMatrix,
    /// Its inverse.
    pub precision: DeliveryMatrix,
    /// Inverse variances of one session.
    pub session_precision: Habits,
}

impl Spreads {
    pub fn believed(beliefs: &Beliefs) -> Spreads {
        let variances = DeliveryVector::from(beliefs.spread.map(|sd| sd * sd));
        Spreads {
            covariance: DeliveryMatrix::from_diagonal(&variances),
            precision: DeliveryMatrix::from_diagonal(&variances.map(|variance| 1.0 / variance)),
            session_precision: beliefs.session_spread.map(|sd| sd.powi(-2)),
        }
    }

    pub fn close_to(&self, other: &Spreads, share: f64) -> bool {
        let near = |one: f64, other: f64| (one / other - 1.0).abs() <= 4.0 * share;
        (0..DELIVERY_UNKNOWNS).all(|at| {
            near(self.covariance[(at, at)], other.covariance[(at, at)])
                && near(self.session_precision[at], other.session_precision[at])
        })
    }
}

/// Where a fit stands, as the spreads see it.
pub(crate) struct Standing<'a> {
    pub readings: &'a [Reading],
    pub blocks: &'a [Option<ShotBlock>],
    pub sessions: &'a [SessionBlock],
    pub weights: &'a [f64],
    pub deliveries: &'a [Habits],
    pub session_habits: &'a [Habits],
    pub habits: &'a Habits,
    /// Posterior covariance of what is shared.
    pub covariance: &'a SharedMatrix,
    /// Whether the shots tell of a number at all; the spread of one they do not tell of stays as it is believed.
    pub told: &'a [bool; DELIVERY_UNKNOWNS],
}

/// One step of expectation-maximisation (Dempster, Laird & Rubin 1977) of the variances. What is uncertain about each delivery
/// and each session's habits is added to what is seen, so spreads are not taken for smaller than they are.
pub(crate) fn update_spreads(at: &Standing<'_>, beliefs: &Beliefs) -> Option<Spreads> {
    let believed = Spreads::believed(beliefs);
    let covariance = shot_spread(at, beliefs, &believed);
    let precision = Cholesky::new(covariance)?.inverse();
    let session_precision = session_spread(at, beliefs);
    Some(Spreads { covariance, precision, session_precision })
}

fn shot_spread(at: &Standing<'_>, beliefs: &Beliefs, believed: &Spreads) -> DeliveryMatrix {
    let mut squares = believed.covariance * SPREAD_WEIGHT;
    let mut count = SPREAD_WEIGHT;
    for (number, reading) in at.readings.iter().enumerate() {
        let Some(block) = &at.blocks[number] else { continue };
        count += at.weights[number];
        let session = reading.session;
        let follows = block.response_to_habits() - DeliveryMatrix::identity();
        let uncertain = block.covariance + follows * at.sessions[session].covariance * follows.transpose();
        let off = DeliveryVector::from_fn(|position, _| {
            at.deliveries[number][position] - reading.origin(position) - at.session_habits[session][position]
        });
        squares += (off * off.transpose() + uncertain) * at.weights[number];
    }
    let mut covariance = squares / count;
    let kept = count / (count + CORRELATION_WEIGHT);
    for row in 0..DELIVERY_UNKNOWNS {
        for column in 0..DELIVERY_UNKNOWNS {
            if row != column {
                let both_told = at.told[row] && at.told[column];
                covariance[(row, column)] *= if both_told { kept } else { 0.0 };
            }
        }
    }
    for position in 0..DELIVERY_UNKNOWNS {
        let variance = &mut covariance[(position, position)];
        if at.told[position] {
            *variance = variance.max((SMALLEST_SPREAD_SHARE * beliefs.spread[position]).powi(2));
        } else {
            *variance = beliefs.spread[position].powi(2);
        }
    }
    covariance
}

fn session_spread(at: &Standing<'_>, beliefs: &Beliefs) -> Habits {
    let mut squares = beliefs.session_spread.map(|sd| SESSION_SPREAD_WEIGHT * sd * sd);
    let count = SESSION_SPREAD_WEIGHT + at.sessions.len() as f64;
    let habits_covariance: DeliveryMatrix =
        at.covariance.fixed_view::<DELIVERY_UNKNOWNS, DELIVERY_UNKNOWNS>(0, 0).into();
    for (session, block) in at.sessions.iter().enumerate() {
        let follows = block.response_to_habits() - DeliveryMatrix::identity();
        let uncertain = block.covariance + follows * habits_covariance * follows.transpose();
        for position in 0..DELIVERY_UNKNOWNS {
            let off = at.session_habits[session][position] - at.habits[position];
            squares[position] += (off * off + uncertain[(position, position)]) / block.ageing;
        }
    }
    std::array::from_fn(|position| {
        let believed = beliefs.session_spread[position];
        if !at.told[position] {
            return believed.powi(-2);
        }
        1.0 / (squares[position] / count).max((SMALLEST_SPREAD_SHARE * believed).powi(2))
    })
}
