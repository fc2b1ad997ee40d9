//! From the shots of a player with a club to what may be told of them.

use impact::{DELIVERY_UNKNOWNS, HeadProfile, NUISANCES};
use nalgebra::{DMatrix, DVector};

use crate::beliefs::Beliefs;
use crate::diagonal::covering_variances;
use crate::gains::gear_gains;
use crate::joint_fit::{JointFit, fit};
use crate::learning_shot::{LearningShot, Unlearned};
use crate::player_club_model::{Learned, PlayerClubModel};
use crate::reading::{ATTACK, FACE, LOFT, PATH, Reading, SPEED, TOE, UP, readings};

/// Below this number nothing is learned [common practice, no source].
const FEWEST_SHOTS: usize = 12;
/// So many shots must have measured a quantity before the habit in it is told.
const FEWEST_MEASURED: f64 = 8.0;
/// So many shots must tell of the strike before anything is told that rests on it.
const FEWEST_STRIKES: f64 = 12.0;
/// A mean counts as identified when the data have brought its variance below this share of the belief's.
const IDENTIFIED_VARIANCE_SHARE: f64 = 0.5;
/// With less than this share of the shots' weight left, most shots contradict the rest.
const LEAST_WEIGHT_SHARE: f64 = 0.5;

/// Where the head's figures, the offsets and the habits start among the numbers of a model.
const HEAD_AT: usize = Learned::HeadRestitution as usize;

/// Learns what all shots of one player with one club share: uncertain figures of the head, constant offsets of the launch, the
/// player's habits. `Err` says why nothing can be learned.
///
/// Every shot has its own delivery and strike about the habits of its session, every session its own habits about the player's; all are
/// estimated together with head and offsets (maximum a posteriori, damped Gauss-Newton with exact derivatives; spreads by
/// expectation-maximisation). Shots that fit badly count less. Older sessions tell less of today's habits, but as much of the head.
pub fn fit_player_club(shots: &[LearningShot], head: &HeadProfile) -> Result<PlayerClubModel, Unlearned> {
    let readings = readings(shots);
    if readings.len() < FEWEST_SHOTS {
        return Err(Unlearned::TooFewShots { usable: readings.len(), needed: FEWEST_SHOTS });
    }
    let beliefs = Beliefs::new(&readings, head);
    let told = told_of(&readings, head);
    let found = fit(&readings, head, &beliefs, told).ok_or(Unlearned::NoSolution)?;
    if found.weights.iter().sum::<f64>() < LEAST_WEIGHT_SHARE * readings.len() as f64 {
        return Err(Unlearned::ShotsContradict);
    }
    let mut model = PlayerClubModel::empty();
    tell_counts(&mut model, &readings, &found);
    tell_references(&mut model, &found, &beliefs);
    tell_habits(&mut model, &readings, &found, head, &beliefs);
    if model.strike_identified {
        tell_head(&mut model, &found, head, &beliefs);
        tell_offsets(&mut model, &readings, &found, &beliefs);
    }
    Ok(model)
}

/// Whether a shot tells of the strike by more than what its own launch suggests.
fn tells_strike(reading: &Reading, head: &HeadProfile) -> bool {
    reading.strike_measured() || (head.reveals_strike && reading.delivery_measured())
}

/// Which numbers of a delivery enough shots tell of.
fn told_of(readings: &[Reading], head: &HeadProfile) -> [bool; DELIVERY_UNKNOWNS] {
    let count = |holds: &dyn Fn(&Reading) -> bool| readings.iter().filter(|reading| holds(reading)).count() as f64;
    std::array::from_fn(|position| match position {
        TOE | UP => count(&|reading| tells_strike(reading, head)) >= FEWEST_STRIKES,
        FACE => count(&Reading::face_measured) >= FEWEST_MEASURED,
        _ => count(&|reading| reading.delivery[position].is_some()) >= FEWEST_MEASURED,
    })
}

/// Weight of the shots for which a condition holds.
fn weight_where(readings: &[Reading], found: &JointFit, holds: impl Fn(&Reading) -> bool) -> f64 {
    readings.iter().zip(&found.weights).filter(|(reading, _)| holds(reading)).map(|(_, weight)| weight).sum()
}

fn tell_counts(model: &mut PlayerClubModel, readings: &[Reading], found: &JointFit) {
    model.set(Learned::ShotsUsed, readings.len() as f64);
    let sessions = readings.iter().map(|reading| reading.session + 1).max().unwrap_or(0);
    model.set(Learned::SessionsUsed, sessions as f64);
    let aside = found.weights.iter().filter(|weight| **weight < 0.5).count();
    model.set(Learned::ShotsSetAside, aside as f64);
}

fn tell_references(model: &mut PlayerClubModel, found: &JointFit, beliefs: &Beliefs) {
    let references = [
        (SPEED, Learned::ReferenceClubSpeed),
        (ATTACK, Learned::ReferenceAttack),
        (LOFT, Learned::ReferenceDeliveredLoft),
    ];
    for (position, reference) in references {
        // A figure that the shots hardly tell of is better left to the profile.
        let variance = found.covariance[(position, position)];
        if variance <= IDENTIFIED_VARIANCE_SHARE * beliefs.sd[position].powi(2) {
            model.set_at(reference as usize, found.habits[position]);
            model.set_at(reference as usize + 1, variance.sqrt());
        }
    }
}

fn tell_habits(
    model: &mut PlayerClubModel,
    readings: &[Reading],
    found: &JointFit,
    head: &HeadProfile,
    beliefs: &Beliefs,
) {
    let narrowed = |position: usize| {
        found.covariance[(position, position)] <= IDENTIFIED_VARIANCE_SHARE * beliefs.sd[position].powi(2)
    };
    model.strike_identified = weight_where(readings, found, |reading| tells_strike(reading, head)) >= FEWEST_STRIKES
        && narrowed(TOE)
        && narrowed(UP);
    let habits = [
        (TOE, Learned::HabitToe),
        (UP, Learned::HabitUp),
        (PATH, Learned::HabitPath),
        (FACE, Learned::HabitFace),
        (ATTACK, Learned::HabitAttack),
        (LOFT, Learned::HabitLoft),
        (SPEED, Learned::HabitClubSpeed),
    ];
    for (position, habit) in habits {
        let told = match position {
            TOE | UP => model.strike_identified,
            FACE => weight_where(readings, found, Reading::face_measured) >= FEWEST_MEASURED,
            _ => weight_where(readings, found, |reading| reading.delivery[position].is_some()) >= FEWEST_MEASURED,
        };
        if told {
            let variance = found.covariance[(position, position)]
                + found.spreads.covariance[(position, position)]
                + 1.0 / found.spreads.session_precision[position];
            model.set_at(habit as usize, found.habits[position]);
            model.set_at(habit as usize + 1, variance.sqrt());
        }
    }
}

fn tell_head(model: &mut PlayerClubModel, found: &JointFit, head: &HeadProfile, beliefs: &Beliefs) {
    let covariance =
        |row: usize, column: usize| found.covariance[(DELIVERY_UNKNOWNS + row, DELIVERY_UNKNOWNS + column)];
    let matrix = DMatrix::from_fn(NUISANCES, NUISANCES, covariance);
    let prior_sd: [f64; NUISANCES] = std::array::from_fn(|figure| beliefs.sd[DELIVERY_UNKNOWNS + figure]);
    let scale = DVector::from_fn(NUISANCES, |figure, _| prior_sd[figure].powi(2));
    let learned: [f64; NUISANCES] = std::array::from_fn(|figure| found.globals[figure]);
    if let Some(variances) = covering_variances(&matrix, &scale) {
        for figure in 0..NUISANCES {
            model.set_at(HEAD_AT + 2 * figure, learned[figure]);
            model.set_at(HEAD_AT + 2 * figure + 1, variances[figure].sqrt());
        }
    }

    let gains = gear_gains(head, &found.habits, &learned, &prior_sd, covariance);
    for (gain, told) in gains.into_iter().zip([Learned::GearGainLateral, Learned::GearGainVertical]) {
        if let Some((ratio, deviation)) = gain {
            model.set_at(told as usize, ratio);
            model.set_at(told as usize + 1, deviation);
        }
    }
    let of_profile = head.nuisances()[0];
    model.set(Learned::RestitutionScale, learned[0] / of_profile);
    model.set(Learned::RestitutionScaleSd, covariance(0, 0).sqrt() / of_profile);
}

fn tell_offsets(model: &mut PlayerClubModel, readings: &[Reading], found: &JointFit, beliefs: &Beliefs) {
    let with_strike = |reading: &Reading| reading.strike_measured() || reading.delivery_measured();
    let face = weight_where(readings, found, |reading| with_strike(reading) && reading.face_measured());
    let loft = weight_where(readings, found, |reading| with_strike(reading) && reading.delivery[LOFT].is_some());
    let mut tell = |number: usize, measured: f64, told: Learned| -> bool {
        let position = DELIVERY_UNKNOWNS + NUISANCES + number;
        let variance = found.covariance[(position, position)];
        let identified =
            measured >= FEWEST_STRIKES && variance <= IDENTIFIED_VARIANCE_SHARE * beliefs.sd[position].powi(2);
        if identified {
            model.set_at(told as usize, found.globals[NUISANCES + number]);
            model.set_at(told as usize + 1, variance.sqrt());
        }
        identified
    };
    tell(0, loft, Learned::LoftOffset);
    model.direction_identified = tell(1, face, Learned::DirectionOffset);
}
