//! Laws that no collision may break.

use impact::{HeadProfile, collide};
use proptest::prelude::*;

use crate::common::{plain_head, shipped};

type Vector = [f64; 3];

fn cross(a: Vector, b: Vector) -> Vector {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn dot(a: Vector, b: Vector) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn times(matrix: [[f64; 3]; 3], a: Vector) -> Vector {
    matrix.map(|row| dot(row, a))
}

/// Solves `matrix x = right` by Cramer's rule, independent of the crate's own inverse.
fn solve(matrix: [[f64; 3]; 3], right: Vector) -> Vector {
    let determinant = |m: [[f64; 3]; 3]| dot(m[0], cross(m[1], m[2]));
    std::array::from_fn(|column| {
        let mut replaced = matrix;
        for (row, value) in replaced.iter_mut().zip(right) {
            row[column] = value;
        }
        determinant(replaced) / determinant(matrix)
    })
}

/// A head with any positive definite tensor (a diagonal one plus products too small to spoil it), any restitution and any
/// friction, far beyond what clubs have: energy must hold everywhere, not only near them.
fn any_head() -> impl Strategy<Value = HeadProfile> {
    (
        (0.15..0.35_f64, [0.0..0.06_f64, -0.03..0.03, -0.03..0.03]),
        (
            [1100e-7..6000e-7_f64, 1100e-7..6000e-7, 1100e-7..6000e-7],
            [-500e-7..500e-7_f64, -500e-7..500e-7, -500e-7..500e-7],
        ),
        (0.0..1.0_f64, 0.0..3.0_f64, prop::option::of(0.2..0.4_f64), prop::option::of(0.2..0.4_f64)),
    )
        .prop_map(|((mass, cg), (moments, products), (restitution, friction, bulge, roll))| {
            let mut head = plain_head(0.0, 1.0);
            head.mass_kg = mass;
            head.cg_m = [-cg[0], cg[1], cg[2]];
            let [nu, nt, ut] = products;
            head.inertia_kg_m2 = [[moments[0], nu, nt], [nu, moments[1], ut], [nt, ut, moments[2]]];
            head.restitution = restitution;
            head.friction = friction;
            head.bulge_radius_m = bulge;
            head.roll_radius_m = roll;
            head
        })
}

proptest! {
    #[test]
    fn momentum_angular_momentum_and_energy(
        head in any_head(), toe in -0.04..0.04_f64, up in -0.02..0.02_f64, ahead in 10.0..60.0_f64,
        upward in -60.0..60.0_f64, across in -60.0..60.0_f64,
    ) {
        let before = [ahead, upward, across];
        // A glancing head may move away from the turned normal.
        let Some(collision) = collide(&head.parameters(&head.nuisances()), &before, toe, up) else { return Ok(()) };
        let (ball_mass, ball_radius) = (head.ball_mass_kg, head.ball_radius_m);
        let ball_inertia = 0.4 * ball_mass * ball_radius * ball_radius;

        // The head, from the opposite impulse at the contact, by its own equations of motion.
        let head_velocity: Vector = std::array::from_fn(|axis| before[axis] - collision.impulse[axis] / head.mass_kg);
        let turn = cross(collision.lever, collision.impulse).map(|component| -component);
        let head_rotation = solve(head.inertia_kg_m2, turn);

        // Momentum.
        for axis in 0..3 {
            let total = head.mass_kg * head_velocity[axis] + ball_mass * collision.ball_velocity[axis];
            prop_assert!((total - head.mass_kg * before[axis]).abs() < 1e-9);
        }
        // Angular momentum about the head's centre of gravity: 0 before.
        let to_ball: Vector = std::array::from_fn(|axis| collision.lever[axis] + ball_radius * collision.normal[axis]);
        let orbital = cross(to_ball, collision.ball_velocity);
        let head_spin = times(head.inertia_kg_m2, head_rotation);
        for axis in 0..3 {
            let total = ball_mass * orbital[axis] + ball_inertia * collision.ball_spin[axis] + head_spin[axis];
            prop_assert!(total.abs() < 1e-9, "{total}");
        }
        // Energy is never gained.
        let energy_before = 0.5 * head.mass_kg * dot(before, before);
        let energy_after = 0.5 * head.mass_kg * dot(head_velocity, head_velocity)
            + 0.5 * dot(head_rotation, head_spin)
            + 0.5 * ball_mass * dot(collision.ball_velocity, collision.ball_velocity)
            + 0.5 * ball_inertia * dot(collision.ball_spin, collision.ball_spin);
        prop_assert!(energy_after <= energy_before * (1.0 + 1e-12), "{energy_after} from {energy_before}");

        // The contact afterwards: it separates with e times the approach, and a ball that did not slide rolls.
        let at_ball = cross(collision.ball_spin, collision.normal.map(|component| -ball_radius * component));
        let at_head = cross(head_rotation, collision.lever);
        let relative: Vector = std::array::from_fn(|axis| {
            collision.ball_velocity[axis] + at_ball[axis] - head_velocity[axis] - at_head[axis]
        });
        let separation = dot(relative, collision.normal);
        prop_assert!((separation - collision.restitution * dot(before, collision.normal)).abs() < 1e-8);
        let slip = (0..3).map(|axis| (relative[axis] - separation * collision.normal[axis]).powi(2)).sum::<f64>().sqrt();
        prop_assert!(collision.restitution <= head.restitution && collision.restitution_ceiling <= 1.0 + 1e-12);
        let push = dot(collision.impulse, collision.normal);
        let grip = (dot(collision.impulse, collision.impulse) - push * push).max(0.0).sqrt();
        prop_assert!(push > 0.0);
        if collision.slides {
            prop_assert!((grip - head.friction * push).abs() < 1e-6);
        } else {
            prop_assert!(slip < 1e-6, "slip {slip}");
            prop_assert!(grip <= head.friction * push + 1e-6);
        }
    }
}

#[test]
fn shipped_heads_give_plausible_ball_speeds() {
    // [source: R&A/USGA Equipment Rules]: no ball leaves faster than 1.52 times the club; a full strike
    // with any of these heads gives at least the club's own speed [common practice, no source], wedges excepted.
    for head in shipped().heads {
        let delivery = impact::Delivery {
            club_speed_mps: head.typical_club_speed_mps,
            attack_deg: head.typical_attack_deg,
            path_deg: 0.0,
            face_deg: 0.0,
            delivered_loft_deg: head.typical_delivered_loft_deg,
            strike_toe_mm: 0.0,
            strike_up_mm: 0.0,
        };
        let ball = impact::launch(&head, &delivery, impact::Hand::Right).unwrap();
        let ratio = ball.ball_speed_mps / head.typical_club_speed_mps;
        assert!(ratio < 1.52, "{}: {ratio}", head.name);
        assert!(ratio > if head.kind == impact::HeadKind::Wedge { 0.8 } else { 1.0 }, "{}: {ratio}", head.name);
        assert!((5.0..45.0).contains(&ball.launch_elevation_deg), "{}: {ball:?}", head.name);
        assert!((1500.0..12_000.0).contains(&ball.spin_rpm), "{}: {ball:?}", head.name);
    }
}
