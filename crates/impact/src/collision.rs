//! The collision itself, in the axes of the face.

use crate::head::HeadParameters;
use crate::scalar::{Mask, Scalar};
use crate::vector::{Symmetric, Vector, adjugate, cross, dot, lever_response, scaled, times};

/// A collision in face axes {n outward normal at the face centre, u up the face, t toward the toe of a right-hander}.
#[derive(Debug, Clone, Copy)]
pub struct Collision<S: Scalar = f64> {
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
    /// Restitution at the strike point: the profile's with its fall-off, or the ceiling where that is lower.
    pub restitution: S,
    /// Highest restitution with which no strike at this point can gain energy.
    pub restitution_ceiling: S,
    /// Whether friction did not suffice to make the ball roll.
    pub slides: S::Mask,
}

/// Strikes a ball at rest with a head that moves at `head_velocity` (m/s, face axes) without rotating, `toe_m` and `up_m` off
/// the face centre.
///
/// With rho from the centre of gravity to the contact, n' the local normal, m and M the masses of ball and head:
/// the contact's relative velocity u changes by K J, `K = (1/m + 1/M) 1 - [rho]x I^-1 [rho]x + (r^2 / Ib)(1 - n' n'^T)`. The
/// impulse J makes the ball leave with `-e u.n'` along the normal and rolling; where that needs more than the friction
/// allows, the ball slides with J = Jn (n' + mu Jt/|Jt|), Jn from the normal row alone.
///
/// A ball that slides keeps that one direction of friction, though its slip may turn meanwhile. Against a contact worked through
/// in small steps with the friction of each moment, rolling and planar sliding agree to the step; where the slip turns, the
/// impulse of the shipped heads differs by 0.2 to 0.5 % of the push (tested at friction 0.08; dry clubs hardly ever slide).
///
/// # Conservation
/// Momentum and angular momentum are conserved exactly. Energy is never gained, whatever velocity and friction. Newton's
/// restitution alone does not give that; the ceiling `c = 1 / sqrt(K_nn (K^-1)_nn)` does, with K_nn = n'.K n':
///
/// - Rolling turns u = (-a, w) into (e a, 0). Twice the energy gained is `e^2 a^2 (K^-1)_nn - u.K^-1 u`, and over all w the
///   least u.K^-1 u is `a^2 / K_nn`. So nothing is gained for any w exactly where e <= c.
/// - Sliding along the unit vector d, with q = n'.K d and T = d.K d: the slip left over is never along d, so only a slip that
///   friction has turned round (q < -mu T) can have gained anything, and then twice the gain over Jn is at most
///   `a (1 + e) mu (-q - mu T) / (K_nn + mu q) - a (1 - e)`. Over all mu that is negative where q^2 / (T K_nn) <= 1 - e^2,
///   which e <= c implies, since c^2 is 1 less the greatest q^2 / (T K_nn).
///
/// The ceiling is 1 where the normal passes through the centre of gravity. On the shipped heads it stays above 0.99 up to
/// 40 mm off the centre (tested), so it acts on nothing like a club; a profile on which it would act is warned about.
///
/// `None` where head and ball do not meet: the strike lies beyond the curvature of the face, the face moves away from the
/// ball, or a number is not finite. With several lanes: where they do not meet in any one of them.
#[inline]
pub fn collide<S: Scalar>(head: &HeadParameters<S>, head_velocity: &[S; 3], toe_m: S, up_m: S) -> Option<Collision<S>> {
    let (collision, met) = collide_where(head, head_velocity, toe_m, up_m)?;
    met.all().then_some(collision)
}

/// The collision, and in which lanes head and ball meet; what stands in the others means nothing. `None` where they meet in
/// no lane.
#[inline]
pub(crate) fn collide_where<S: Scalar>(
    head: &HeadParameters<S>,
    head_velocity: &Vector<S>,
    toe_m: S,
    up_m: S,
) -> Option<(Collision<S>, S::Mask)> {
    let solution = solve(head, head_velocity, toe_m, up_m)?;
    Some((solution.collision, solution.met))
}

/// A collision with what its derivatives need of the way there.
pub(crate) struct Solution<S: Scalar> {
    pub collision: Collision<S>,
    /// Where head and ball meet.
    pub met: S::Mask,
    /// Speed of the face along the normal.
    pub approach: S,
    /// What the head's turning adds to K.
    pub rotation: Symmetric<S>,
    /// Adjugate and determinant of K.
    pub cofactors: Symmetric<S>,
    pub determinant: S,
    /// The impulse with which the ball would roll, and its part in the face.
    pub rolling: Vector<S>,
    pub grip: Vector<S>,
    /// Friction, never below 0.
    pub friction: S,
    /// The restitution with its fall-off, before the ceiling.
    pub own_restitution: S,
}

#[inline]
pub(crate) fn solve<S: Scalar>(
    head: &HeadParameters<S>,
    head_velocity: &Vector<S>,
    toe_m: S,
    up_m: S,
) -> Option<Solution<S>> {
    let zero = S::constant(0.0);
    let (face, on_the_face) = face_at(head, toe_m, up_m);
    let normal = face.normal;
    let lever = [face.contact[0] - head.cg_m[0], face.contact[1] - head.cg_m[1], face.contact[2] - head.cg_m[2]];

    let approach = dot(head_velocity, &normal);
    let mut met = on_the_face & zero.below(approach) & zero.below(head.inertia_scale);
    if !met.any() {
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
    let (cofactors, determinant) = adjugate(&response);

    // K_nn (K^-1)_nn, which is at least 1.
    let normal_response = dot(&normal, &times(&rotation, &normal)) + inverse_masses;
    let coupling = normal_response * dot(&normal, &times(&cofactors, &normal)) / determinant;
    let restitution_ceiling = S::constant(1.0) / coupling.sqrt();
    let own_restitution = restitution_at(head, toe_m, up_m);
    let is_capped = restitution_ceiling.below(own_restitution);
    let restitution = S::choose(is_capped, restitution_ceiling, own_restitution);

    let rebound = restitution * approach;
    // u* - u, with u = -head velocity.
    let change = [
        head_velocity[0] + normal[0] * rebound,
        head_velocity[1] + normal[1] * rebound,
        head_velocity[2] + normal[2] * rebound,
    ];
    let rolling = scaled(&times(&cofactors, &change), S::constant(1.0) / determinant);

    let push = dot(&rolling, &normal);
    let grip = [rolling[0] - normal[0] * push, rolling[1] - normal[1] * push, rolling[2] - normal[2] * push];
    let grip_square = dot(&grip, &grip);
    let friction = S::choose(head.friction.below(zero), zero, head.friction);
    let limit = friction * push;
    let slides = !zero.below(push) | (limit * limit).below(grip_square);

    let mut impulse = rolling;
    if slides.any() {
        let along = scaled(&grip, friction / grip_square.sqrt());
        let direction = [normal[0] + along[0], normal[1] + along[1], normal[2] + along[2]];
        let stiffness = dot(&normal, &times(&rotation, &direction)) + inverse_masses;
        let sliding = scaled(&direction, (restitution + 1.0) * approach / stiffness);
        met = met & (!slides | zero.below(stiffness));
        impulse = std::array::from_fn(|axis| S::choose(slides, sliding[axis], rolling[axis]));
    }

    let ball_velocity = impulse.map(|component| component * (1.0 / head.ball_mass_kg));
    let spin_factor = -head.ball_radius_m / head.ball_inertia_kg_m2;
    let ball_spin = cross(&normal, &impulse).map(|component| component * spin_factor);
    for component in ball_velocity.iter().chain(&ball_spin) {
        met = met & component.is_finite();
    }
    let collision =
        Collision { normal, lever, impulse, ball_velocity, ball_spin, restitution, restitution_ceiling, slides };
    met.any().then_some(Solution {
        collision,
        met,
        approach,
        rotation,
        cofactors,
        determinant,
        rolling,
        grip,
        friction,
        own_restitution,
    })
}

/// The face where the ball meets it.
struct FacePoint<S> {
    normal: Vector<S>,
    /// From the face centre in m.
    contact: Vector<S>,
}

/// With curvature k = 1/radius the angle is `asin(s k)`, and the sagitta `(1 - cos)/k` equals `s^2 k / (1 + cos)`, which holds
/// for a flat face (k = 0) too and keeps every derivative finite there. The mask tells where the face reaches that far.
#[inline]
fn face_at<S: Scalar>(head: &HeadParameters<S>, toe_m: S, up_m: S) -> (FacePoint<S>, S::Mask) {
    let zero = S::constant(0.0);
    let sin_bulge = toe_m * head.bulge_curvature;
    let sin_roll = up_m * head.roll_curvature;
    let cos_bulge_square = -(sin_bulge * sin_bulge) + 1.0;
    let cos_roll_square = -(sin_roll * sin_roll) + 1.0;
    let on_the_face = zero.below(cos_bulge_square) & zero.below(cos_roll_square);
    let cos_bulge = cos_bulge_square.sqrt();
    let cos_roll = cos_roll_square.sqrt();
    let sagitta = toe_m * sin_bulge / (cos_bulge + 1.0) + up_m * sin_roll / (cos_roll + 1.0);
    let face =
        FacePoint { normal: [cos_roll * cos_bulge, sin_roll * cos_bulge, sin_bulge], contact: [-sagitta, up_m, toe_m] };
    (face, on_the_face)
}

/// e = e0 (1 - k r^2) with r the distance from the face centre, never below 0.
#[inline]
fn restitution_at<S: Scalar>(head: &HeadParameters<S>, toe_m: S, up_m: S) -> S {
    let zero = S::constant(0.0);
    let distance_square = toe_m * toe_m + up_m * up_m;
    let restitution = head.restitution * (-(head.restitution_falloff_per_m2 * distance_square) + 1.0);
    S::choose(zero.below(restitution), restitution, zero)
}
