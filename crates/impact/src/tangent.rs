//! How the terms of the collision and its impulse move along each direction.

use crate::collision::Solution;
use crate::delivery::{Delivery, Hand};
use crate::head::HeadParameters;
use crate::lanes::Lanes;
use crate::scalar::Scalar;
use crate::strike::{RADIAN_PER_DEGREE, Swing};
use crate::vector::{Vector, cross, dot, times};

/// The directions that are followed; each is a lane.
const DIRECTIONS: usize = 12;
pub(crate) const ATTACK: usize = 0;
pub(crate) const ACROSS: usize = 1;
pub(crate) const LOFT: usize = 2;
pub(crate) const TOE: usize = 3;
pub(crate) const UP: usize = 4;
pub(crate) const RESTITUTION: usize = 5;
pub(crate) const INERTIA: usize = 6;
pub(crate) const CG: usize = 7;
pub(crate) const BULGE: usize = 10;
pub(crate) const FRICTION: usize = 11;

/// How a number moves along each direction.
pub(crate) type Tangent = Lanes<DIRECTIONS>;

/// How the terms of the collision's equations move along each direction.
pub(crate) struct Motion {
    pub velocity: Vector<Tangent>,
    pub normal: Vector<Tangent>,
    pub lever: Vector<Tangent>,
    pub restitution: Tangent,
    /// Relative change of the inverse inertia.
    pub turning: Tangent,
    pub friction: Tangent,
    pub loft: Tangent,
}

pub(crate) fn motion(head: &HeadParameters, swing: &Swing<f64>, delivery: &Delivery, hand: Hand) -> Motion {
    let none = Tangent::constant(0.0);
    let mut motion = Motion {
        velocity: [none; 3],
        normal: [none; 3],
        lever: [none; 3],
        restitution: none,
        turning: none,
        friction: none,
        loft: none,
    };
    let (sin_loft, cos_loft) = (swing.sin_loft, swing.cos_loft);
    let forward = -swing.climb * swing.cos_across;
    motion.velocity[0].0[ATTACK] = (forward * cos_loft + swing.level_speed * sin_loft) * RADIAN_PER_DEGREE;
    motion.velocity[1].0[ATTACK] = (swing.level_speed * cos_loft - forward * sin_loft) * RADIAN_PER_DEGREE;
    motion.velocity[2].0[ATTACK] = -swing.climb * swing.sin_across * RADIAN_PER_DEGREE;
    let mirror = hand.sign() * RADIAN_PER_DEGREE;
    let forward = -swing.level_speed * swing.sin_across;
    motion.velocity[0].0[ACROSS] = forward * cos_loft * mirror;
    motion.velocity[1].0[ACROSS] = -forward * sin_loft * mirror;
    motion.velocity[2].0[ACROSS] = swing.level_speed * swing.cos_across * mirror;
    let [velocity_normal, velocity_up, _] = swing.head_velocity;
    motion.velocity[0].0[LOFT] = velocity_up * RADIAN_PER_DEGREE;
    motion.velocity[1].0[LOFT] = -velocity_normal * RADIAN_PER_DEGREE;
    motion.loft.0[LOFT] = RADIAN_PER_DEGREE;

    let (toe_m, up_m) = (delivery.strike_toe_mm * 1e-3, delivery.strike_up_mm * 1e-3);
    let (sin_bulge, sin_roll) = (toe_m * head.bulge_curvature, up_m * head.roll_curvature);
    let cos_bulge = (1.0 - sin_bulge * sin_bulge).sqrt();
    let cos_roll = (1.0 - sin_roll * sin_roll).sqrt();
    for (direction, sine_change, depth_change) in [
        (TOE, head.bulge_curvature * 1e-3, -sin_bulge / cos_bulge * 1e-3),
        (BULGE, toe_m, -toe_m * toe_m / (cos_bulge * (1.0 + cos_bulge))),
    ] {
        let cosine_change = -sin_bulge / cos_bulge * sine_change;
        motion.normal[0].0[direction] = cos_roll * cosine_change;
        motion.normal[1].0[direction] = sin_roll * cosine_change;
        motion.normal[2].0[direction] = sine_change;
        motion.lever[0].0[direction] = depth_change;
    }
    motion.lever[2].0[TOE] = 1e-3;
    motion.normal[0].0[UP] = -sin_roll / cos_roll * head.roll_curvature * cos_bulge * 1e-3;
    motion.normal[1].0[UP] = head.roll_curvature * cos_bulge * 1e-3;
    motion.lever[0].0[UP] = -sin_roll / cos_roll * 1e-3;
    motion.lever[1].0[UP] = 1e-3;
    for axis in 0..3 {
        motion.lever[axis].0[CG + axis] = -1.0;
    }

    let remaining = 1.0 - head.restitution_falloff_per_m2 * (toe_m * toe_m + up_m * up_m);
    if head.restitution * remaining > 0.0 {
        let by_square = -head.restitution * head.restitution_falloff_per_m2;
        motion.restitution.0[RESTITUTION] = 1.0;
        motion.restitution.0[TOE] = by_square * 2.0 * toe_m * 1e-3;
        motion.restitution.0[UP] = by_square * 2.0 * up_m * 1e-3;
    }
    motion.turning.0[INERTIA] = -1.0 / head.inertia_scale;
    motion.friction.0[FRICTION] = if head.friction < 0.0 { 0.0 } else { 1.0 };
    motion
}

/// How the impulse moves.
pub(crate) fn impulse_moves(
    head: &HeadParameters,
    swing: &Swing<f64>,
    solution: &Solution<f64>,
    motion: &Motion,
) -> Vector<Tangent> {
    let Solution { collision, approach, rolling, grip, friction, .. } = solution;
    let (normal, lever, restitution) = (&collision.normal, &collision.lever, collision.restitution);
    let inverse_inertia = head.inverse_inertia.map(|entry| entry / head.inertia_scale);
    let roll_response = head.ball_radius_m * head.ball_radius_m / head.ball_inertia_kg_m2;
    let approach_moves = along(&motion.velocity, normal) + along(&motion.normal, &swing.head_velocity);

    // b = V + n e a and K J = (...) J - rho x (P (rho x J)) - r^2/Ib n (n.J).
    let turn = times(&inverse_inertia, &cross(lever, rolling));
    let moment = cross(lever, &turn);
    let push = dot(rolling, normal);
    let rebound = motion.restitution * *approach + approach_moves * restitution;
    let push_by_normal = along(&motion.normal, rolling);
    let lever_turn = moving_cross(&motion.lever, &turn);
    let turn_moves = inverse_times(&inverse_inertia, &moving_cross(&motion.lever, rolling));
    let moment_moves = fixed_cross(lever, &turn_moves);
    let right: Vector<Tangent> = std::array::from_fn(|axis| {
        let rolling_part = motion.normal[axis] * push + push_by_normal * normal[axis];
        motion.velocity[axis]
            + motion.normal[axis] * (restitution * approach)
            + rebound * normal[axis]
            + lever_turn[axis]
            + moment_moves[axis]
            + motion.turning * moment[axis]
            + rolling_part * roll_response
    });
    let inverse = solution.cofactors.map(|entry| entry / solution.determinant);
    let rolling_moves = inverse_times(&inverse, &right);
    if !collision.slides {
        return rolling_moves;
    }

    // J = s D with D = n + mu d, d along the grip, s = (1 + e) a / (n.R D + 1/m + 1/M).
    let length = dot(grip, grip).sqrt();
    let direction = grip.map(|component| component / length);
    let total: Vector<f64> = std::array::from_fn(|axis| normal[axis] + friction * direction[axis]);
    let push_moves = push_by_normal + along(&rolling_moves, normal);
    let grip_moves: Vector<Tangent> =
        std::array::from_fn(|axis| rolling_moves[axis] - motion.normal[axis] * push - push_moves * normal[axis]);
    let longer = along(&grip_moves, &direction);
    let total_moves: Vector<Tangent> = std::array::from_fn(|axis| {
        let direction_moves = (grip_moves[axis] - longer * direction[axis]) * (1.0 / length);
        motion.normal[axis] + motion.friction * direction[axis] + direction_moves * *friction
    });
    let response = times(&solution.rotation, &total);
    let turning_stiffness = dot(normal, &response);
    let stiffness = turning_stiffness + 1.0 / head.ball_mass_kg + 1.0 / head.mass_kg;
    let total_turn = times(&inverse_inertia, &cross(lever, &total));
    let normal_turn = times(&inverse_inertia, &cross(lever, normal));
    let stiffness_moves = along(&motion.normal, &response)
        + along(&total_moves, &times(&solution.rotation, normal))
        + along(&moving_cross(&motion.lever, normal), &total_turn)
        + along(&moving_cross(&motion.lever, &total), &normal_turn)
        + motion.turning * turning_stiffness;
    let strength = (1.0 + restitution) * approach / stiffness;
    let strength_moves = (motion.restitution * *approach + approach_moves * (1.0 + restitution)
        - stiffness_moves * strength)
        * (1.0 / stiffness);
    std::array::from_fn(|axis| strength_moves * total[axis] + total_moves[axis] * strength)
}

/// a . b for a moving a.
#[inline]
fn along(a: &Vector<Tangent>, b: &Vector<f64>) -> Tangent {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// a x b for a moving a.
#[inline]
pub(crate) fn moving_cross(a: &Vector<Tangent>, b: &Vector<f64>) -> Vector<Tangent> {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// a x b for a moving b.
#[inline]
pub(crate) fn fixed_cross(a: &Vector<f64>, b: &Vector<Tangent>) -> Vector<Tangent> {
    [b[2] * a[1] - b[1] * a[2], b[0] * a[2] - b[2] * a[0], b[1] * a[0] - b[0] * a[1]]
}

#[inline]
fn inverse_times(matrix: &[f64; 6], a: &Vector<Tangent>) -> Vector<Tangent> {
    let [nn, uu, tt, nu, nt, ut] = *matrix;
    [a[0] * nn + a[1] * nu + a[2] * nt, a[0] * nu + a[1] * uu + a[2] * ut, a[0] * nt + a[1] * ut + a[2] * tt]
}
