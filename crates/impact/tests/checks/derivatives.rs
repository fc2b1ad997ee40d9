//! Exact derivatives against central differences.

use impact::{Delivery, Dual, Hand, HeadProfile, NUISANCES, Scalar, UNKNOWNS, launch, strike, strike_with_derivatives};
use proptest::prelude::*;

use crate::common::{published_driver, shipped};

/// Steps for the differences, in the units of the unknowns: speed, five angles and positions, then the head's eight.
const STEPS: [f64; UNKNOWNS] =
    [1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-5, 1e-2, 1e-5, 1e-6, 1e-6, 1e-6, 1e-4, 1e-5];

fn at(head: &HeadProfile, unknowns: &[f64; UNKNOWNS], hand: Hand) -> [f64; 5] {
    let delivery = Delivery::from_array(std::array::from_fn(|index| unknowns[index]));
    let nuisances: [f64; NUISANCES] = std::array::from_fn(|index| unknowns[7 + index]);
    strike(&head.parameters(&nuisances), &delivery, hand).unwrap().to_array()
}

#[track_caller]
fn derivatives_agree(head: &HeadProfile, delivery: &Delivery, hand: Hand) {
    let nuisances = head.nuisances();
    let exact = strike_with_derivatives(head, delivery, &nuisances, hand).unwrap().to_array();
    let plain = launch(head, delivery, hand).unwrap().to_array();
    let mut unknowns = [0.0; UNKNOWNS];
    unknowns[..7].copy_from_slice(&delivery.to_array());
    unknowns[7..].copy_from_slice(&nuisances);
    for (output, dual) in exact.iter().enumerate() {
        assert!((dual.value - plain[output]).abs() < 1e-9 * (1.0 + plain[output].abs()));
        for input in 0..UNKNOWNS {
            let (mut below, mut above) = (unknowns, unknowns);
            below[input] -= STEPS[input];
            above[input] += STEPS[input];
            let rise = at(head, &above, hand)[output] - at(head, &below, hand)[output];
            let difference = rise / (2.0 * STEPS[input]);
            // Differences lose digits to rounding in proportion to the output over the step.
            let tolerance = 2e-5 * difference.abs() + 1e-10 * (1.0 + plain[output].abs()) / STEPS[input];
            let error = (dual.slopes[input] - difference).abs();
            assert!(
                error <= tolerance,
                "output {output} by input {input}: {} against {difference}",
                dual.slopes[input]
            );
        }
    }
}

#[test]
fn every_shipped_head_on_its_usual_delivery() {
    for head in shipped().heads {
        for hand in [Hand::Right, Hand::Left] {
            let delivery = Delivery {
                club_speed_mps: head.typical_club_speed_mps,
                attack_deg: head.typical_attack_deg,
                path_deg: 2.5,
                face_deg: -1.0,
                delivered_loft_deg: head.typical_delivered_loft_deg,
                strike_toe_mm: 9.0,
                strike_up_mm: -4.0,
            };
            derivatives_agree(&head, &delivery, hand);
        }
    }
}

#[test]
fn the_sliding_branch() {
    let mut head = published_driver();
    head.friction = 0.03;
    let delivery = Delivery::from_array([44.0, -1.0, 2.0, 0.5, 14.0, 8.0, 3.0]);
    let gripping = launch(&published_driver(), &delivery, Hand::Right).unwrap();
    assert!(
        launch(&head, &delivery, Hand::Right).unwrap().spin_rpm < 0.9 * gripping.spin_rpm,
        "the ball must slide here"
    );
    derivatives_agree(&head, &delivery, Hand::Right);
}

#[test]
fn derivatives_are_finite_at_a_centred_strike_with_a_flat_face() {
    let mut head = published_driver();
    head.bulge_radius_m = None;
    head.roll_radius_m = None;
    let delivery = Delivery::from_array([44.0, 0.0, 0.0, 0.0, 10.0, 0.0, 0.0]);
    derivatives_agree(&head, &delivery, Hand::Right);
    // No spin at all: the rate has a kink there, and its derivatives count as 0 instead of NaN.
    head.cg_m = [0.0; 3];
    let straight = Delivery::from_array([44.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
    let ball = strike_with_derivatives(&head, &straight, &head.nuisances(), Hand::Right).unwrap();
    assert!(ball.to_array().iter().flat_map(|dual| dual.slopes).all(f64::is_finite));
}

#[test]
fn dual_functions() {
    // [derived: textbook derivatives].
    let (x, y) = (Dual::<2>::input(0.6, 0), Dual::<2>::input(-1.7, 1));
    let product = (x * y / (x + y)).slopes;
    // d/dx xy/(x+y) = y^2/(x+y)^2, d/dy = x^2/(x+y)^2.
    assert!((product[0] - 2.89 / 1.21).abs() < 1e-12 && (product[1] - 0.36 / 1.21).abs() < 1e-12);
    assert!((x.asin().slopes[0] - 1.25).abs() < 1e-12);
    assert!((x.sin().slopes[0] - 0.6_f64.cos()).abs() < 1e-12 && (x.cos().slopes[0] + 0.6_f64.sin()).abs() < 1e-12);
    assert!((x.sqrt().slopes[0] - 0.5 / 0.6_f64.sqrt()).abs() < 1e-12);
    let angle = y.atan2(x);
    assert!((angle.value - (-1.7_f64).atan2(0.6)).abs() < 1e-12);
    // d atan2(y, x) / dx = -y / (x^2 + y^2), / dy = x / (x^2 + y^2).
    assert!((angle.slopes[0] - 1.7 / 3.25).abs() < 1e-12 && (angle.slopes[1] - 0.6 / 3.25).abs() < 1e-12);
    assert!((((-x) - 1.0) * 3.0 + 2.0).value + 2.8 < 1e-12);
}

proptest! {
    #[test]
    fn anywhere_on_the_face(
        speed in 25.0..60.0_f64, attack in -6.0..6.0_f64, path in -8.0..8.0_f64, face in -6.0..6.0_f64, loft in 6.0..25.0_f64,
        toe in -35.0..35.0_f64, up in -15.0..15.0_f64, left in any::<bool>(),
    ) {
        let delivery = Delivery::from_array([speed, attack, path, face, loft, toe, up]);
        let hand = if left { Hand::Left } else { Hand::Right };
        let mut head = published_driver();
        // Far from the limit between rolling and sliding, where the derivative jumps.
        head.friction = 5.0;
        derivatives_agree(&head, &delivery, hand);
    }
}
