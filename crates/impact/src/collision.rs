//! The collision itself, in the axes of the face.

use crate::head::HeadParameters;
use crate::scalar::Scalar;
use crate::vector::{Vector, adjugate, cross, dot, lever_response, scaled, times};

/// A collision in face axes {n outward normal at the face centre, u up the face, t toward the toe of a right-hander}.
#[derive(Debug, Clone, Copy)]
pub struct Collision<S = f64> {
    /// Outward unit normal at the strike point.
    pub normal: [S; 3],
    /// From the head's centre of gravity to the strike point in m.
    pub lever: [S; 3],
    /// Impulse on the ball in kg m/s; the head gets the opposite at the same point.
    pub impulse: [S; 3],
    /// Velocity of the ball afterwards in m/s.
    pub ball_velocity: [S; 3],
    /// Angular velocity of the ball afterwards in rad/s.
    pub ball_spin: [S; 3],
    /// Whether friction did not suffice to make the ball roll.
    pub slides: bool,
}

/// Strikes a ball at rest with a head that moves at `head_velocity` (m/s, face axes) without rotating, `toe_m` and `up_m` off
/// the face centre.
///
/// With rho from the centre of gravity to the contact, n' the local normal, m and M the masses of ball and head:
/// the contact's relative velocity u changes by K J, `K = (1/m + 1/M) 1 - [rho]x I^-1 [rho]x + (r^2 / Ib)(1 - n' n'^T)`. The
/// impulse J makes the ball leave with `-e u.n'` along the normal and rolling; where that needs more than the friction
/// allows, the ball slides with J = Jn (n' + mu Jt/|Jt|), Jn from the normal row alone.
///
/// Momentum and angular momentum are conserved exactly. Energy is never gained up to a restitution of 0.85 (tested); like
/// every rigid model with Newton's restitution it may gain a little where the restitution nears 1 and the centre of gravity
/// lies far off the normal.
///
/// `None` where head and ball do not meet: the strike lies beyond the curvature of the face, the face moves away from the
/// ball, or a number is not finite.
#[inline]
pub fn collide<S: Scalar>(head: &HeadParameters<S>, head_velocity: &[S; 3], toe_m: S, up_m: S) -> Option<Collision<S>> {
    let face = face_at(head, toe_m, up_m)?;
    let normal = face.normal;
    let lever = [face.contact[0] - head.cg_m[0], face.contact[1] - head.cg_m[1], face.contact[2] - head.cg_m[2]];

    let approach = dot(head_velocity, &normal);
    let is_met = approach.value() > 0.0 && head.inertia_scale.value() > 0.0;
    if !is_met {
        return None;
    }

    let inverse_masses = 1.0 / head.ball_mass_kg + 1.0 / head.mass_kg;
    let roll_response = head.ball_radius_m * head.ball_radius_m / head.ball_inertia_kg_m2;
    let inverse_scale = S::constant(1.0) / head.inertia_scale;
    let rotation = lever_response(&lever, &head.inverse_inertia).map(|entry| entry * inverse_scale);

    let [n, u, t] = normal;
    let diagonal = inverse_masses + roll_response;
    let response = [
        rotation[0] - n * n * roll_response + diagonal,
        rotation[1] - u * u * roll_response + diagonal,
        rotation[2] - t * t * roll_response + diagonal,
        rotation[3] - n * u * roll_response,
        rotation[4] - n * t * roll_response,
        rotation[5] - u * t * roll_response,
    ];

    let restitution = restitution_at(head, toe_m, up_m);
    let rebound = restitution * approach;
    // u* - u, with u = -head velocity.
    let change = [
        head_velocity[0] + normal[0] * rebound,
        head_velocity[1] + normal[1] * rebound,
        head_velocity[2] + normal[2] * rebound,
    ];
    let (cofactors, determinant) = adjugate(&response);
    let rolling = scaled(&times(&cofactors, &change), S::constant(1.0) / determinant);

    let push = dot(&rolling, &normal);
    let grip = [rolling[0] - normal[0] * push, rolling[1] - normal[1] * push, rolling[2] - normal[2] * push];
    let grip_square = dot(&grip, &grip);
    let limit = head.friction.value().max(0.0) * push.value();
    let slides = push.value() <= 0.0 || grip_square.value() > limit * limit;

    let impulse = if slides {
        let along = scaled(&grip, head.friction / grip_square.sqrt());
        let direction = [normal[0] + along[0], normal[1] + along[1], normal[2] + along[2]];
        let stiffness = dot(&normal, &times(&rotation, &direction)) + inverse_masses;
        let meets = stiffness.value() > 0.0;
        if !meets {
            return None;
        }
        scaled(&direction, (restitution + 1.0) * approach / stiffness)
    } else {
        rolling
    };

    let ball_velocity = impulse.map(|component| component * (1.0 / head.ball_mass_kg));
    let spin_factor = -head.ball_radius_m / head.ball_inertia_kg_m2;
    let ball_spin = cross(&normal, &impulse).map(|component| component * spin_factor);
    let is_finite = ball_velocity.iter().chain(&ball_spin).all(|component| component.value().is_finite());
    is_finite.then_some(Collision { normal, lever, impulse, ball_velocity, ball_spin, slides })
}

/// The face where the ball meets it.
struct FacePoint<S> {
    normal: Vector<S>,
    /// From the face centre in m.
    contact: Vector<S>,
}

/// With curvature k = 1/radius the angle is `asin(s k)`, and the sagitta `(1 - cos)/k` equals `s^2 k / (1 + cos)`, which holds
/// for a flat face (k = 0) too and keeps every derivative finite there.
#[inline]
fn face_at<S: Scalar>(head: &HeadParameters<S>, toe_m: S, up_m: S) -> Option<FacePoint<S>> {
    let sin_bulge = toe_m * head.bulge_curvature;
    let sin_roll = up_m * head.roll_curvature;
    let on_the_face = sin_bulge.value().abs() < 1.0 && sin_roll.value().abs() < 1.0;
    if !on_the_face {
        return None;
    }
    let cos_bulge = (-(sin_bulge * sin_bulge) + 1.0).sqrt();
    let cos_roll = (-(sin_roll * sin_roll) + 1.0).sqrt();
    let sagitta = toe_m * sin_bulge / (cos_bulge + 1.0) + up_m * sin_roll / (cos_roll + 1.0);
    Some(FacePoint {
        normal: [cos_roll * cos_bulge, sin_roll * cos_bulge, sin_bulge],
        contact: [-sagitta, up_m, toe_m],
    })
}

/// e = e0 (1 - k r^2) with r the distance from the face centre, never below 0.
#[inline]
fn restitution_at<S: Scalar>(head: &HeadParameters<S>, toe_m: S, up_m: S) -> S {
    let distance_square = toe_m * toe_m + up_m * up_m;
    let restitution = head.restitution * (-(head.restitution_falloff_per_m2 * distance_square) + 1.0);
    if restitution.value() > 0.0 { restitution } else { S::constant(0.0) }
}
