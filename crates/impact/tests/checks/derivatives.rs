//! Exact derivatives, three ways: by the differentiated equations, by dual numbers, and by differences of high order.

use impact::{
    Delivery, Dual, Hand, HeadProfile, NUISANCES, Scalar, UNKNOWNS, collide, launch, strike, strike_along,
    strike_with_derivatives,
};
use proptest::prelude::*;

use crate::common::{plain_head, published_driver, shipped};

/// Steps of the differences, in the units of the unknowns: speed, four angles, two positions, then the head's eight. Each is
/// about a thousandth of the range over which the launch bends.
const STEPS: [f64; UNKNOWNS] =
    [1e-2, 1e-2, 1e-2, 1e-2, 1e-2, 1e-2, 1e-2, 1e-4, 1e-1, 1e-4, 1e-5, 1e-5, 1e-5, 1e-3, 1e-4];

fn at(head: &HeadProfile, unknowns: &[f64; UNKNOWNS], hand: Hand) -> [f64; 5] {
    let delivery = Delivery::from_array(std::array::from_fn(|index| unknowns[index]));
    let nuisances: [f64; NUISANCES] = std::array::from_fn(|index| unknowns[7 + index]);
    strike(&head.parameters(&nuisances), &delivery, hand).unwrap().to_array()
}

fn unknowns_of(head: &HeadProfile, delivery: &Delivery) -> [f64; UNKNOWNS] {
    let mut unknowns = [0.0; UNKNOWNS];
    unknowns[..7].copy_from_slice(&delivery.to_array());
    unknowns[7..].copy_from_slice(&head.nuisances());
    unknowns
}

fn by_duals(head: &HeadProfile, unknowns: &[f64; UNKNOWNS], hand: Hand) -> [Dual<UNKNOWNS>; 5] {
    let inputs: [Dual<UNKNOWNS>; UNKNOWNS] = std::array::from_fn(|index| Dual::input(unknowns[index], index));
    let parameters: [Dual<UNKNOWNS>; NUISANCES] = std::array::from_fn(|index| inputs[7 + index]);
    let delivery = Delivery::from_array(std::array::from_fn(|index| inputs[index]));
    strike(&head.parameters(&parameters), &delivery, hand).unwrap().to_array()
}

#[track_caller]
fn derivatives_agree(head: &HeadProfile, delivery: &Delivery, hand: Hand) {
    let exact = strike_with_derivatives(head, delivery, &head.nuisances(), hand).unwrap().to_array();
    let plain = launch(head, delivery, hand).unwrap().to_array();
    let unknowns = unknowns_of(head, delivery);
    let duals = by_duals(head, &unknowns, hand);
    for input in 0..UNKNOWNS {
        let step = STEPS[input];
        let moved = |steps: f64| {
            let mut there = unknowns;
            there[input] += steps * step;
            at(head, &there, hand)
        };
        let [one, two, three] = [1.0, 2.0, 3.0].map(|steps| (moved(steps), moved(-steps)));
        for output in 0..5 {
            let found = exact[output].slopes[input];
            assert_eq!(exact[output].value.to_bits(), plain[output].to_bits());
            // The two exact ways differ by rounding only.
            let dual = duals[output].slopes[input];
            let scale = 1.0 + plain[output].abs() + dual.abs();
            assert!((found - dual).abs() < 1e-10 * scale, "output {output} by input {input}: {found} against {dual}");
            // With hardly any spin its rate and tilt bend so sharply that these steps are too long; the duals have to do there.
            if output >= 3 && plain[3] < 800.0 {
                continue;
            }
            // Sixth order: what is left out is step^6 / 140 of the seventh derivative, below 1e-9 of the slope's scale for these
            // steps; the rounding of six launches (some 50 units of the last place each) is divided by the step.
            let rise = |pair: &([f64; 5], [f64; 5])| {
                let change = pair.0[output] - pair.1[output];
                // A ball with top spin may tilt past 180 degrees, where the angle starts again at -180.
                if output == 4 { change - 360.0 * (change / 360.0).round() } else { change }
            };
            let difference = (45.0 * rise(&one) - 9.0 * rise(&two) + rise(&three)) / (60.0 * step);
            let bound = 1e-9 * scale + 100.0 * f64::EPSILON * (1.0 + plain[output].abs()) / step;
            let error = (found - difference).abs();
            assert!(error <= bound, "output {output} by input {input}: {found} against {difference}, bound {bound}");
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
fn under_the_ceiling_of_the_restitution() {
    // No club: so light to turn and so elastic that the ceiling acts (see restitution_ceiling.rs).
    let mut head = plain_head(0.04, 400e-7);
    head.restitution = 0.99;
    let strike = collide(&head.parameters(&head.nuisances()), &[40.0, 0.0, 0.0], 0.03, 0.004).unwrap();
    assert!(strike.restitution < 0.99);
    derivatives_agree(&head, &Delivery::from_array([40.0, 1.0, 2.0, 1.0, 8.0, 30.0, 4.0]), Hand::Left);
}

#[test]
fn a_strike_straight_up_or_backward_over_the_head() {
    // The club's path may point anywhere as long as face and ball meet; the hand-written derivatives hold there too.
    let head = published_driver();
    derivatives_agree(&head, &Delivery::from_array([30.0, 85.0, 3.0, 1.0, 60.0, 5.0, 2.0]), Hand::Right);
    derivatives_agree(&head, &Delivery::from_array([30.0, 120.0, 3.0, 1.0, 60.0, 5.0, 2.0]), Hand::Right);
    derivatives_agree(&head, &Delivery::from_array([-30.0, 10.0, 175.0, 1.0, 20.0, 5.0, 2.0]), Hand::Left);
}

#[test]
fn second_derivatives() {
    let head = published_driver();
    let delivery = Delivery::from_array([44.0, -1.0, 2.0, 0.5, 12.0, 14.0, -5.0]);
    let unknowns = unknowns_of(&head, &delivery);
    // Along one direction through all fifteen inputs at once, in proportion to the steps above.
    let direction = STEPS.map(|step| 100.0 * step);
    let along = strike_along(&head, &delivery, &head.nuisances(), &direction, Hand::Right).unwrap().to_array();
    let first = by_duals(&head, &unknowns, Hand::Right);
    let way = 1e-3;
    let there = |steps: f64| {
        let moved: [f64; UNKNOWNS] = std::array::from_fn(|index| unknowns[index] + steps * way * direction[index]);
        by_duals(&head, &moved, Hand::Right)
            .map(|number| number.slopes.iter().zip(direction).map(|(slope, part)| slope * part).sum::<f64>())
    };
    let pairs = [1.0, 2.0, 3.0].map(|steps| (there(steps), there(-steps)));
    for output in 0..5 {
        assert!((along[output].value.value - first[output].value).abs() < 1e-12 * (1.0 + first[output].value.abs()));
        let slope: f64 = first[output].slopes.iter().zip(direction).map(|(slope, part)| slope * part).sum();
        let scale = 1.0 + slope.abs() + first[output].value.abs();
        assert!((along[output].slopes[0].value - slope).abs() < 1e-11 * scale);
        assert!((along[output].value.slopes[0] - slope).abs() < 1e-11 * scale);
        // Sixth-order differences of exact first derivatives along the same direction.
        let rise = |pair: &([f64; 5], [f64; 5])| pair.0[output] - pair.1[output];
        let difference = (45.0 * rise(&pairs[0]) - 9.0 * rise(&pairs[1]) + rise(&pairs[2])) / (60.0 * way);
        let curvature = along[output].slopes[0].slopes[0];
        let bound = 1e-8 * scale + 1e-13 * scale / way;
        assert!((curvature - difference).abs() < bound, "output {output}: {curvature} against {difference}");
        assert!(curvature != 0.0);
    }
}

#[test]
fn a_hessian_from_duals_of_duals_is_symmetric() {
    // [derived]: mixed derivatives do not depend on their order; by toe and up here.
    let head = published_driver();
    let numbers = [44.0, -1.0, 2.0, 0.5, 12.0, 14.0, -5.0];
    let inputs = std::array::from_fn(|index| {
        let value = Dual::<2>::constant(numbers[index]);
        match index {
            5 | 6 => Dual::<2, Dual<2>>::input(Dual::input(numbers[index], index - 5), index - 5),
            _ => Dual::moving(value, [Dual::constant(0.0); 2]),
        }
    });
    let parameters = head.parameters(&head.nuisances().map(Dual::<2, Dual<2>>::constant));
    for number in strike(&parameters, &Delivery::from_array(inputs), Hand::Right).unwrap().to_array() {
        let [[toe_toe, toe_up], [up_toe, up_up]] = number.slopes.map(|slope| slope.slopes);
        assert!((toe_up - up_toe).abs() < 1e-10 * (1.0 + toe_up.abs()));
        assert!(toe_toe != 0.0 && up_up != 0.0);
    }
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
    assert!(((((-x) - 1.0) * 3.0 + 2.0).value + 2.8).abs() < 1e-12);
    // At the origin and at 0 the slopes count as 0.
    let origin = Dual::<2>::constant(0.0) * x;
    for slope in origin.atan2(origin).slopes.into_iter().chain(origin.sqrt().slopes) {
        assert!(slope.abs() < f64::MIN_POSITIVE);
    }
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
