//! The launch with its derivatives, by differentiating the collision's equations by hand.
//!
//! Dual numbers give the same (the tests compare the two) but carry every slope through every intermediate. Here the collision
//! is solved once with plain numbers; its solution J of K J = b then moves by `dJ = K^-1 (db - dK J)` along each of twelve
//! directions at once. The remaining three inputs follow from these: every launch scales with the club's speed, only the
//! difference of path and face reaches the collision, and both numbers of the restitution act through its value at the strike.

use crate::collision::{Solution, solve};
use crate::delivery::{BallLaunch, Delivery, Hand};
use crate::dual::Dual;
use crate::head::{HeadParameters, HeadProfile, NUISANCES};
use crate::lanes::Lanes;
use crate::strike::{
    DEGREE_PER_RADIAN, DELIVERY_UNKNOWNS, RPM_PER_RADIAN_PER_SECOND, Swing, UNKNOWNS, leave, strike, swing,
};
use crate::tangent::{
    ACROSS, ATTACK, BULGE, CG, FRICTION, INERTIA, LOFT, Motion, RESTITUTION, TOE, Tangent, UP, fixed_cross,
    impulse_moves, motion, moving_cross,
};
use crate::vector::Vector;

/// The launch and its derivatives by the seven numbers of the delivery ([`Delivery::to_array`]), then by the eight of the head
/// ([`HeadProfile::nuisances`]), all in the units of these numbers. Angles are by degrees, the strike position by millimetres.
///
/// Where the ball begins to slide, and where the restitution meets its ceiling or 0, the launch has a kink; the derivative is
/// that of the branch which the launch itself was computed on. `None` as for [`strike`].
pub fn strike_with_derivatives(
    head: &HeadProfile,
    delivery: &Delivery,
    nuisances: &[f64; NUISANCES],
    hand: Hand,
) -> Option<BallLaunch<Dual<UNKNOWNS>>> {
    let parameters = head.parameters(nuisances);
    let swing = swing(delivery, hand);
    let (toe_m, up_m) = (delivery.strike_toe_mm * 1e-3, delivery.strike_up_mm * 1e-3);
    let solution = solve(&parameters, &swing.head_velocity, toe_m, up_m)?;
    let collision = &solution.collision;
    if !solution.met {
        return None;
    }
    if collision.restitution < solution.own_restitution {
        // The ceiling moves with everything else; so far from any club, dual numbers are fast enough.
        return strike_with_duals(head, delivery, nuisances, hand);
    }
    let launch = leave(&collision.ball_velocity, &collision.ball_spin, &swing, delivery.face_deg, hand);
    if !launch.to_array().iter().all(|number| number.is_finite()) {
        return None;
    }
    let motion = motion(&parameters, &swing, delivery, hand);
    let impulse = impulse_moves(&parameters, &swing, &solution, &motion);
    let moved = launch_moves(&parameters, &swing, &solution, &motion, &impulse, hand);
    Some(expand(&launch, &moved, delivery, &parameters, &solution))
}

/// The launch with its first and second derivative along one direction of the fifteen inputs: the numbers move by `direction`
/// for each unit of way. `value.value` is the launch, `slopes[0].value` the first derivative, `slopes[0].slopes[0]` the second.
///
/// For second derivatives by several inputs at once, [`strike`] takes `Dual<N, Dual<N>>` numbers just as well.
pub fn strike_along(
    head: &HeadProfile,
    delivery: &Delivery,
    nuisances: &[f64; NUISANCES],
    direction: &[f64; UNKNOWNS],
    hand: Hand,
) -> Option<BallLaunch<Dual<1, Dual<1>>>> {
    let moving = |value: f64, index: usize| {
        let slope = direction[index];
        Dual::moving(Dual::moving(value, [slope]), [Dual::moving(slope, [0.0])])
    };
    let numbers = delivery.to_array();
    let inputs = std::array::from_fn(|index| moving(numbers[index], index));
    let parameters = std::array::from_fn(|index| moving(nuisances[index], DELIVERY_UNKNOWNS + index));
    strike(&head.parameters(&parameters), &Delivery::from_array(inputs), hand)
}

/// The first derivatives by dual numbers.
fn strike_with_duals(
    head: &HeadProfile,
    delivery: &Delivery,
    nuisances: &[f64; NUISANCES],
    hand: Hand,
) -> Option<BallLaunch<Dual<UNKNOWNS>>> {
    let numbers = delivery.to_array();
    let inputs = std::array::from_fn(|index| Dual::input(numbers[index], index));
    let parameters = std::array::from_fn(|index| Dual::input(nuisances[index], DELIVERY_UNKNOWNS + index));
    strike(&head.parameters(&parameters), &Delivery::from_array(inputs), hand)
}

/// How the five numbers of the launch move.
fn launch_moves(
    head: &HeadParameters,
    swing: &Swing<f64>,
    solution: &Solution<f64>,
    motion: &Motion,
    impulse: &Vector<Tangent>,
    hand: Hand,
) -> [Tangent; 5] {
    let collision = &solution.collision;
    let spin_factor = -head.ball_radius_m / head.ball_inertia_kg_m2;
    let by_normal = moving_cross(&motion.normal, &collision.impulse);
    let by_impulse = fixed_cross(&collision.normal, impulse);
    let ([forward, up, right], moved) = to_world(
        swing,
        &collision.ball_velocity,
        &impulse.map(|component| component * (1.0 / head.ball_mass_kg)),
        motion.loft,
    );
    let ([spin_forward, spin_up, spin_right], spin_moved) = to_world(
        swing,
        &collision.ball_spin,
        &std::array::from_fn(|axis| (by_normal[axis] + by_impulse[axis]) * spin_factor),
        motion.loft,
    );

    let level_square = forward * forward + right * right;
    let level = level_square.sqrt();
    let speed_square = level_square + up * up;
    let speed = speed_square.sqrt();
    let spin_square = spin_forward * spin_forward + spin_right * spin_right + spin_up * spin_up;
    let spin = spin_square.sqrt();
    let side = -(spin_up * speed);
    let back = forward * spin_right - right * spin_forward;

    let level_moves = (moved[0] * forward + moved[2] * right) * inverse_or_zero(level);
    let speed_moves = (level_moves * level + moved[1] * up) * inverse_or_zero(speed);
    let elevation_moves = (moved[1] * level - level_moves * up) * inverse_or_zero(speed_square);
    let azimuth_moves = (moved[2] * forward - moved[0] * right) * inverse_or_zero(level_square);
    let spin_moves =
        (spin_moved[0] * spin_forward + spin_moved[1] * spin_up + spin_moved[2] * spin_right) * inverse_or_zero(spin);
    let side_moves = -(spin_moved[1] * speed + speed_moves * spin_up);
    let back_moves = moved[0] * spin_right + spin_moved[2] * forward - moved[2] * spin_forward - spin_moved[0] * right;
    let tilt_moves = (side_moves * back - back_moves * side) * inverse_or_zero(side * side + back * back);

    let mirrored = hand.sign() * DEGREE_PER_RADIAN;
    [
        speed_moves,
        elevation_moves * DEGREE_PER_RADIAN,
        azimuth_moves * mirrored,
        spin_moves * RPM_PER_RADIAN_PER_SECOND,
        tilt_moves * mirrored,
    ]
}

/// A vector {n, u, t} as forward, up, right, and how it moves.
fn to_world(
    swing: &Swing<f64>,
    vector: &Vector<f64>,
    moves: &Vector<Tangent>,
    loft_moves: Tangent,
) -> (Vector<f64>, Vector<Tangent>) {
    let (sin, cos) = (swing.sin_loft, swing.cos_loft);
    let forward = vector[0] * cos - vector[1] * sin;
    let up = vector[0] * sin + vector[1] * cos;
    let forward_moves = moves[0] * cos - moves[1] * sin - loft_moves * up;
    let up_moves = moves[0] * sin + moves[1] * cos + loft_moves * forward;
    ([forward, up, vector[2]], [forward_moves, up_moves, moves[2]])
}

/// From the twelve directions to the fifteen inputs.
fn expand(
    launch: &BallLaunch,
    moved: &[Tangent; 5],
    delivery: &Delivery,
    head: &HeadParameters,
    solution: &Solution<f64>,
) -> BallLaunch<Dual<UNKNOWNS>> {
    let (toe_m, up_m) = (delivery.strike_toe_mm * 1e-3, delivery.strike_up_mm * 1e-3);
    let distance_square = toe_m * toe_m + up_m * up_m;
    let is_elastic = solution.own_restitution > 0.0;
    let by_falloff = if is_elastic { -head.restitution * distance_square } else { 0.0 };
    let by_restitution = if is_elastic { 1.0 - head.restitution_falloff_per_m2 * distance_square } else { 0.0 };
    let values = launch.to_array();
    let scales_with_speed = [true, false, false, true, false];
    let turns_with_face = [0.0, 0.0, 1.0, 0.0, 0.0];
    let number = |output: usize| {
        let Lanes(by) = moved[output];
        let by_speed = if scales_with_speed[output] { values[output] / delivery.club_speed_mps } else { 0.0 };
        let slopes = [
            by_speed,
            by[ATTACK],
            by[ACROSS],
            turns_with_face[output] - by[ACROSS],
            by[LOFT],
            by[TOE],
            by[UP],
            by[RESTITUTION] * by_restitution,
            by[RESTITUTION] * by_falloff,
            by[INERTIA],
            by[CG],
            by[CG + 1],
            by[CG + 2],
            by[BULGE],
            by[FRICTION],
        ];
        Dual::moving(values[output], slopes)
    };
    BallLaunch {
        ball_speed_mps: number(0),
        launch_elevation_deg: number(1),
        launch_azimuth_deg: number(2),
        spin_rpm: number(3),
        spin_tilt_deg: number(4),
    }
}

/// Derivatives at a kink count as 0, as those of dual numbers do.
fn inverse_or_zero(number: f64) -> f64 {
    if number > 0.0 { 1.0 / number } else { 0.0 }
}
