//! Newton's restitution gains energy where the centre of gravity lies far off the normal; the ceiling ends that.

use impact::{HeadProfile, collide};

use crate::common::{close, plain_head, shipped};

type Vector = [f64; 3];

fn cross(a: Vector, b: Vector) -> Vector {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// A head that couples push and grip as strongly as no club does: light to turn, its centre of gravity 45 degrees off.
fn coupled_head(restitution: f64) -> HeadProfile {
    let mut head = plain_head(0.04, 400e-7);
    head.restitution = restitution;
    head
}

/// How the contact's relative velocity answers a unit impulse, from the equations of motion of the two bodies (the head's
/// tensor is round here, so its inverse is a division).
fn contact_answers(head: &HeadProfile, lever: Vector, normal: Vector, impulse: Vector) -> Vector {
    let inertia = head.inertia_kg_m2[0][0];
    let head_turn = cross(lever, impulse).map(|component| -component / inertia);
    let of_head = cross(head_turn, lever);
    let ball_arm = normal.map(|component| -head.ball_radius_m * component);
    let ball_inertia = 0.4 * head.ball_mass_kg * head.ball_radius_m.powi(2);
    let ball_turn = cross(ball_arm, impulse).map(|component| component / ball_inertia);
    let of_ball = cross(ball_turn, ball_arm);
    std::array::from_fn(|axis| {
        impulse[axis] / head.ball_mass_kg + of_ball[axis] + impulse[axis] / head.mass_kg - of_head[axis]
    })
}

#[test]
fn the_ceiling_is_where_the_worst_strike_keeps_all_energy() {
    // [derived]: of all velocities with one approach, V along K n loses least; with e = 1/sqrt(K_nn (K^-1)_nn) nothing.
    let head = coupled_head(1.0);
    let parameters = head.parameters(&head.nuisances());
    let (toe, up) = (0.04, 0.0);
    let any = collide(&parameters, &[40.0, 0.0, 0.0], toe, up).unwrap();
    assert!(any.restitution_ceiling < 0.95, "{}", any.restitution_ceiling);
    close(any.restitution, any.restitution_ceiling, 0.0);

    let worst = contact_answers(&head, any.lever, any.normal, any.normal);
    let collision = collide(&parameters, &worst, toe, up).unwrap();
    assert!(!collision.slides);
    // Energy gained = J.(u before + u after)/2, u after = e a n.
    let approach: f64 = worst.iter().zip(collision.normal).map(|(velocity, axis)| velocity * axis).sum();
    let gain: f64 = (0..3)
        .map(|axis| {
            let after = collision.restitution * approach * collision.normal[axis];
            0.5 * collision.impulse[axis] * (after - worst[axis])
        })
        .sum();
    let energy: f64 = 0.5 * head.mass_kg * worst.iter().map(|component| component * component).sum::<f64>();
    close(gain / energy, 0.0, 1e-14);

    // Without the ceiling the same strike would gain: its impulse for restitution 1 follows by scaling, since J is linear in e.
    let lower = HeadProfile { restitution: 0.5, ..head.clone() };
    let slower = collide(&lower.parameters(&lower.nuisances()), &worst, toe, up).unwrap();
    let share = (1.0 - 0.5) / (collision.restitution - 0.5);
    let uncapped: f64 = (0..3)
        .map(|axis| {
            let impulse = slower.impulse[axis] + (collision.impulse[axis] - slower.impulse[axis]) * share;
            0.5 * impulse * (approach * collision.normal[axis] - worst[axis])
        })
        .sum();
    assert!(uncapped > 1e-3 * energy, "{uncapped} of {energy}");
}

#[test]
fn the_ceiling_acts_on_no_shipped_head() {
    // [derived]: so every check value is that of plain Newton restitution.
    for head in shipped().heads {
        let parameters = head.parameters(&head.nuisances());
        let mut lowest = f64::INFINITY;
        for toe in -40..=40 {
            for up in -20..=20 {
                let strike =
                    collide(&parameters, &[40.0, -8.0, 2.0], f64::from(toe) * 1e-3, f64::from(up) * 1e-3).unwrap();
                lowest = lowest.min(strike.restitution_ceiling);
                assert!(strike.restitution < strike.restitution_ceiling);
            }
        }
        assert!(lowest > 0.99, "{}: {lowest}", head.name);
    }
}

#[test]
fn a_normal_through_the_centre_of_gravity_has_no_ceiling() {
    let head = HeadProfile { restitution: 1.0, ..plain_head(0.04, 4000e-7) };
    let collision = collide(&head.parameters(&head.nuisances()), &[40.0, 3.0, 1.0], 0.0, 0.0).unwrap();
    close(collision.restitution_ceiling, 1.0, 1e-14);
    close(collision.restitution, 1.0, 1e-14);
}
