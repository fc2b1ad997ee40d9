//! How widely one player's shots and sessions spread: expectation-maximisation with a belief that weighs a few shots.

use impact::DELIVERY_UNKNOWNS;

use crate::beliefs::{Beliefs, SESSION_SPREAD_WEIGHT, SMALLEST_SPREAD_SHARE, SPREAD_WEIGHT};
use crate::joint_fit::SessionBlock;
use crate::reading::Reading;
use crate::shot_block::{DeliveryMatrix, SharedMatrix, ShotBlock};

type Habits = [f64; DELIVERY_UNKNOWNS];

/// Inverse variances of one shot about its session and of one session about the player.
#[derive(Debug, Clone)]
pub(crate) struct Spreads {
    pub precision: Habits,
    pub session_precision: Habits,
}

impl Spreads {
    pub fn believed(beliefs: &Beliefs) -> Spreads {
        Spreads {
            precision: beliefs.spread.map(|sd| sd.powi(-2)),
            session_precision: beliefs.session_spread.map(|sd| sd.powi(-2)),
        }
    }

    pub fn close_to(&self, other: &Spreads, share: f64) -> bool {
        let mine = self.precision.iter().chain(&self.session_precision);
        let theirs = other.precision.iter().chain(&other.session_precision);
        mine.zip(theirs).all(|(one, other)| (one / other - 1.0).abs() <= 4.0 * share)
    }
}

/// One step of expectation-maximisation (Dempster, Laird & Rubin 1977) of the variances. What is uncertain about each delivery and each
/// session's habits is added to what is seen, so spreads are not taken for smaller than they are.
pub(crate) fn update_spreads(
    readings: &[Reading],
    blocks: &[Option<ShotBlock>],
    sessions: &[SessionBlock],
    weights: &[f64],
    (deliveries, session_habits, habits): (&[Habits], &[Habits], &Habits),
    covariance: &SharedMatrix,
    beliefs: &Beliefs,
) -> Spreads {
    let mut squares = beliefs.spread.map(|sd| SPREAD_WEIGHT * sd * sd);
    let mut count = SPREAD_WEIGHT;
    for (number, reading) in readings.iter().enumerate() {
        let Some(block) = &blocks[number] else { continue };
        count += weights[number];
        let follows: DeliveryMatrix = block.response_to_habits() - DeliveryMatrix::identity();
        let with_session = block.covariance + follows * sessions[reading.session].covariance * follows.transpose();
        for position in 0..DELIVERY_UNKNOWNS {
            let off =
                deliveries[number][position] - reading.origin(position) - session_habits[reading.session][position];
            squares[position] += weights[number] * (off * off + with_session[(position, position)]);
        }
    }

    let mut session_squares = beliefs.session_spread.map(|sd| SESSION_SPREAD_WEIGHT * sd * sd);
    let session_count = SESSION_SPREAD_WEIGHT + sessions.len() as f64;
    let habits_covariance: DeliveryMatrix = covariance.fixed_view::<DELIVERY_UNKNOWNS, DELIVERY_UNKNOWNS>(0, 0).into();
    for (session, block) in sessions.iter().enumerate() {
        let follows: DeliveryMatrix = block.response_to_habits() - DeliveryMatrix::identity();
        let uncertain = block.covariance + follows * habits_covariance * follows.transpose();
        for position in 0..DELIVERY_UNKNOWNS {
            let off = session_habits[session][position] - habits[position];
            session_squares[position] += (off * off + uncertain[(position, position)]) / block.ageing;
        }
    }
    let precision = |squares: f64, count: f64, believed: f64| {
        1.0 / (squares / count).max((SMALLEST_SPREAD_SHARE * believed).powi(2))
    };
    Spreads {
        precision: std::array::from_fn(|at| precision(squares[at], count, beliefs.spread[at])),
        session_precision: std::array::from_fn(|at| {
            precision(session_squares[at], session_count, beliefs.session_spread[at])
        }),
    }
}
