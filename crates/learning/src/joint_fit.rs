//! The joint fit: deliveries of all shots, habits of all sessions, habits of the player, head and offsets at once.
//!
//! The normal matrix is an arrow in an arrow: shots hang on sessions, sessions on what all share. Eliminating shot by shot and
//! session by session (Schur complements) leaves one small system, so the cost grows with the number of shots only.

use impact::{DELIVERY_UNKNOWNS, HeadProfile};
use nalgebra::{Cholesky, SMatrix};

use crate::beliefs::{Beliefs, GLOBALS, SHARED, ageing, first_habits};
use crate::reading::{Reading, SPEED, TOE};
use crate::shot_block::{
    Bends, DeliveryMatrix, DeliveryVector, SharedMatrix, SharedVector, ShotBlock, Surroundings, eliminate,
    keep_delivery_possible, keep_globals_possible, misfit,
};
use crate::spreads::{Spreads, Standing, update_spreads};
use crate::weights::{Cutoffs, weight_of};

type Habits = [f64; DELIVERY_UNKNOWNS];

/// Rounds after which a fit stops in any case.
const MOST_ROUNDS: usize = 40;
/// Second derivatives are computed anew until no shared number moves by more than this share of its deviation.
const BENDS_STAND_STILL: f64 = 0.02;
/// A fit stands when no shared number moves by more than this share of its deviation and no spread by more than this share.
const STANDS_STILL: f64 = 2e-3;

/// No delivery moves further in one round: mishits lie where a linear model tells little.
const LONGEST_STEP: Habits = [5.0, 4.0, 4.0, 4.0, 4.0, 12.0, 10.0];

/// Where a fit stands.
#[derive(Debug, Clone)]
struct State {
    deliveries: Vec<Habits>,
    sessions: Vec<Habits>,
    habits: Habits,
    globals: [f64; GLOBALS],
}

/// The outcome.
#[derive(Debug, Clone)]
pub(crate) struct JointFit {
    pub habits: Habits,
    pub globals: [f64; GLOBALS],
    /// Posterior covariance of habits and globals.
    pub covariance: SharedMatrix,
    pub spreads: Spreads,
    /// How much each shot counted, 0 to 1.
    pub weights: Vec<f64>,
}

/// What a session says once its shots and its own habits are eliminated.
pub(crate) struct SessionBlock {
    gradient: SharedVector,
    curvature: SharedMatrix,
    own_step: DeliveryVector,
    response: SMatrix<f64, DELIVERY_UNKNOWNS, SHARED>,
    /// Covariance of the session's habits given what all share.
    pub covariance: DeliveryMatrix,
    pub ageing: f64,
}

impl SessionBlock {
    /// Change of the session's habits by a change of the player's.
    pub fn response_to_habits(&self) -> DeliveryMatrix {
        self.response.fixed_columns::<DELIVERY_UNKNOWNS>(0).into()
    }
}

/// Fits; `None` where the arithmetic finds no answer.
pub(crate) fn fit(
    readings: &[Reading],
    head: &HeadProfile,
    beliefs: &Beliefs,
    told: [bool; DELIVERY_UNKNOWNS],
) -> Option<JointFit> {
    let sessions = readings.iter().map(|reading| reading.session + 1).max()?;
    let mut ages = vec![f64::INFINITY; sessions];
    for reading in readings {
        ages[reading.session] = ages[reading.session].min(reading.age_days);
    }
    let ageings: Vec<f64> = ages.into_iter().map(ageing).collect();
    let cutoffs = Cutoffs::new();
    let mut spreads = Spreads::believed(beliefs);
    let mut state = first_state(readings, sessions, beliefs);
    let mut weights = settle_alone(readings, &mut state, head, &spreads, &cutoffs);

    let mut bends = Vec::new();
    let mut largest = f64::INFINITY;
    let mut share: f64 = 1.0;
    let mut decrement = f64::INFINITY;
    for round in 0..MOST_ROUNDS {
        if largest >= BENDS_STAND_STILL {
            let each = readings.iter().zip(&state.deliveries);
            bends = each
                .map(|(reading, delivery)| {
                    Bends::of(reading, delivery, &around(&state, reading.session, head, &spreads))
                })
                .collect();
        }
        let blocks = blocks(readings, &state, head, &spreads, &bends);
        let session_blocks = eliminate_sessions(readings, &blocks, &weights, &state, &spreads, &ageings)?;
        let (gradient, curvature) = shared_system(&session_blocks, &state, beliefs);
        let covariance = Cholesky::new(curvature)?.inverse();
        let step = if told[TOE] || told[SPEED] {
            -(covariance * gradient)
        } else {
            // Nothing but the launch was measured: the head stays the profile's, and only its uncertainty counts.
            step_of_habits(&gradient, &curvature)?
        };
        largest = (0..SHARED).map(|at| step[at].abs() / covariance[(at, at)].sqrt()).fold(0.0, f64::max);
        // A step that leaves more to do than there was has gone too far.
        let left = -gradient.dot(&step);
        share = if left > decrement { (0.5 * share).max(0.1) } else { (1.5 * share).min(1.0) };
        decrement = left;

        advance(readings, &mut state, &blocks, &session_blocks, &(step * share), share);
        let before = spreads.clone();
        let standing = Standing {
            readings,
            blocks: &blocks,
            sessions: &session_blocks,
            weights: &weights,
            deliveries: &state.deliveries,
            session_habits: &state.sessions,
            habits: &state.habits,
            covariance: &covariance,
            told: &told,
        };
        spreads = update_spreads(&standing, beliefs)?;
        weights = all_weights(readings, &state, head, &spreads, &cutoffs);
        if round + 1 == MOST_ROUNDS || (largest < STANDS_STILL && spreads.close_to(&before, STANDS_STILL)) {
            return Some(JointFit { habits: state.habits, globals: state.globals, covariance, spreads, weights });
        }
    }
    None
}

fn step_of_habits(gradient: &SharedVector, curvature: &SharedMatrix) -> Option<SharedVector> {
    let block: DeliveryMatrix = curvature.fixed_view::<DELIVERY_UNKNOWNS, DELIVERY_UNKNOWNS>(0, 0).into();
    let of_habits: DeliveryVector = gradient.fixed_rows::<DELIVERY_UNKNOWNS>(0).into();
    let mut step = SharedVector::zeros();
    step.fixed_rows_mut::<DELIVERY_UNKNOWNS>(0).copy_from(&-Cholesky::new(block)?.solve(&of_habits));
    Some(step)
}

fn first_state(readings: &[Reading], sessions: usize, beliefs: &Beliefs) -> State {
    let habits = first_habits(readings, beliefs);
    let deliveries = readings
        .iter()
        .map(|reading| {
            let mut delivery: Habits = std::array::from_fn(|position| match reading.delivery[position] {
                Some((value, _)) => value,
                None => habits[position] + reading.origin(position),
            });
            keep_delivery_possible(&mut delivery);
            delivery
        })
        .collect();
    let mut globals = [0.0; GLOBALS];
    globals.copy_from_slice(&beliefs.mean[DELIVERY_UNKNOWNS..]);
    State { deliveries, sessions: vec![habits; sessions], habits, globals }
}

fn around<'a>(state: &'a State, session: usize, head: &'a HeadProfile, spreads: &'a Spreads) -> Surroundings<'a> {
    Surroundings { head, habits: &state.sessions[session], globals: &state.globals, precision: &spreads.precision }
}

/// Eliminates every shot; without bends the deliveries count as their single best guesses.
fn blocks(
    readings: &[Reading],
    state: &State,
    head: &HeadProfile,
    spreads: &Spreads,
    bends: &[Option<Bends>],
) -> Vec<Option<ShotBlock>> {
    let mut blocks = Vec::with_capacity(readings.len());
    for (number, reading) in readings.iter().enumerate() {
        let bend = bends.get(number).and_then(Option::as_ref);
        blocks.push(eliminate(
            reading,
            &state.deliveries[number],
            &around(state, reading.session, head, spreads),
            bend,
        ));
    }
    blocks
}

/// Lets every shot find its own delivery under the first beliefs, so that the first weights already know mishits.
fn settle_alone(
    readings: &[Reading],
    state: &mut State,
    head: &HeadProfile,
    spreads: &Spreads,
    cutoffs: &Cutoffs,
) -> Vec<f64> {
    const STEPS: usize = 2;
    for _ in 0..STEPS {
        let blocks = blocks(readings, state, head, spreads, &[]);
        let nothing = SharedVector::zeros();
        for (number, reading) in readings.iter().enumerate() {
            let Some(block) = &blocks[number] else { continue };
            let surroundings = around(state, reading.session, head, spreads);
            let better = best_delivery(reading, &state.deliveries[number], &block.step(&nothing, 1.0), &surroundings);
            state.deliveries[number] = better;
        }
    }
    all_weights(readings, state, head, spreads, cutoffs)
}

/// Goes along a step as far as lowers the shot's own misfit.
fn best_delivery(reading: &Reading, from: &Habits, step: &DeliveryVector, around: &Surroundings<'_>) -> Habits {
    let mut best = *from;
    let before = misfit(reading, from, around).unwrap_or(f64::INFINITY);
    for share in [1.0, 0.5, 0.2] {
        let mut candidate: Habits = std::array::from_fn(|position| from[position] + share * step[position]);
        keep_delivery_possible(&mut candidate);
        let Some(found) = misfit(reading, &candidate, around) else { continue };
        if found < before {
            best = candidate;
            // The full step is nearly always the best: shorter ones are only tried where it does not help.
            break;
        }
    }
    best
}

fn all_weights(
    readings: &[Reading],
    state: &State,
    head: &HeadProfile,
    spreads: &Spreads,
    cutoffs: &Cutoffs,
) -> Vec<f64> {
    let each = readings.iter().zip(&state.deliveries);
    each.map(|(reading, delivery)| {
        let found = misfit(reading, delivery, &around(state, reading.session, head, spreads));
        found.map_or(0.0, |square| weight_of(square, cutoffs.of(reading.observations())))
    })
    .collect()
}

/// Takes a step of what is shared, and with it a share of what sessions and shots have of their own.
fn advance(
    readings: &[Reading],
    state: &mut State,
    blocks: &[Option<ShotBlock>],
    session_blocks: &[SessionBlock],
    step: &SharedVector,
    share: f64,
) {
    for position in 0..DELIVERY_UNKNOWNS {
        state.habits[position] += step[position];
    }
    for position in 0..GLOBALS {
        state.globals[position] += step[DELIVERY_UNKNOWNS + position];
    }
    keep_globals_possible(&mut state.globals);
    let mut session_steps = Vec::with_capacity(session_blocks.len());
    for (number, block) in session_blocks.iter().enumerate() {
        let own = block.own_step * share + block.response * step;
        for position in 0..DELIVERY_UNKNOWNS {
            state.sessions[number][position] += own[position];
        }
        let mut with_globals = *step;
        with_globals.fixed_rows_mut::<DELIVERY_UNKNOWNS>(0).copy_from(&own);
        session_steps.push(with_globals);
    }
    for (number, reading) in readings.iter().enumerate() {
        let Some(block) = &blocks[number] else { continue };
        let own = block.step(&session_steps[reading.session], share);
        for position in 0..DELIVERY_UNKNOWNS {
            state.deliveries[number][position] += own[position].clamp(-LONGEST_STEP[position], LONGEST_STEP[position]);
        }
        keep_delivery_possible(&mut state.deliveries[number]);
    }
}

fn shared_number(state: &State, position: usize) -> f64 {
    match position.checked_sub(DELIVERY_UNKNOWNS) {
        None => state.habits[position],
        Some(global) => state.globals[global],
    }
}

fn eliminate_sessions(
    readings: &[Reading],
    blocks: &[Option<ShotBlock>],
    weights: &[f64],
    state: &State,
    spreads: &Spreads,
    ageings: &[f64],
) -> Option<Vec<SessionBlock>> {
    let mut gradients = vec![SharedVector::zeros(); ageings.len()];
    let mut curvatures = vec![SharedMatrix::zeros(); ageings.len()];
    for (number, reading) in readings.iter().enumerate() {
        if let Some(block) = &blocks[number] {
            gradients[reading.session] += block.gradient * weights[number];
            curvatures[reading.session] += block.curvature * weights[number];
        }
    }
    let mut session_blocks = Vec::with_capacity(ageings.len());
    for (session, ageing) in ageings.iter().enumerate() {
        let (gradient, curvature) = (&gradients[session], &curvatures[session]);
        let precision = DeliveryVector::from_fn(|position, _| spreads.session_precision[position] / ageing);
        let off = DeliveryVector::from_fn(|position, _| state.sessions[session][position] - state.habits[position]);
        let pull = precision.component_mul(&off);

        let mut own_curvature: DeliveryMatrix =
            curvature.fixed_view::<DELIVERY_UNKNOWNS, DELIVERY_UNKNOWNS>(0, 0).into();
        let own_gradient = gradient.fixed_rows::<DELIVERY_UNKNOWNS>(0) + pull;
        // In the shared system the first seven stand for the player's habits, to which the session is tied.
        let mut cross: SMatrix<f64, DELIVERY_UNKNOWNS, SHARED> = curvature.fixed_rows::<DELIVERY_UNKNOWNS>(0).into();
        let mut shared_curvature = *curvature;
        let mut shared_gradient = *gradient;
        cross.fixed_columns_mut::<DELIVERY_UNKNOWNS>(0).fill(0.0);
        shared_curvature.fixed_rows_mut::<DELIVERY_UNKNOWNS>(0).fill(0.0);
        shared_curvature.fixed_columns_mut::<DELIVERY_UNKNOWNS>(0).fill(0.0);
        for position in 0..DELIVERY_UNKNOWNS {
            own_curvature[(position, position)] += precision[position];
            cross[(position, position)] = -precision[position];
            shared_curvature[(position, position)] = precision[position];
            shared_gradient[position] = -pull[position];
        }
        let covariance = Cholesky::new(own_curvature)?.inverse();
        let response = -(covariance * cross);
        let own_step = -(covariance * own_gradient);
        session_blocks.push(SessionBlock {
            gradient: shared_gradient + cross.transpose() * own_step,
            curvature: shared_curvature + cross.transpose() * response,
            own_step,
            response,
            covariance,
            ageing: *ageing,
        });
    }
    Some(session_blocks)
}

fn shared_system(sessions: &[SessionBlock], state: &State, beliefs: &Beliefs) -> (SharedVector, SharedMatrix) {
    let mut gradient = SharedVector::zeros();
    let mut curvature = SharedMatrix::zeros();
    for session in sessions {
        gradient += session.gradient;
        curvature += session.curvature;
    }
    for position in 0..SHARED {
        let precision = beliefs.sd[position].powi(-2);
        gradient[position] += precision * (shared_number(state, position) - beliefs.mean[position]);
        curvature[(position, position)] += precision;
    }
    (gradient, curvature)
}
