//! Any number at all, and what the model owes to any strike that it does answer.

use impact::{
    Delivery, Hand, HeadProfile, Lanes, UNKNOWNS, launch, strike, strike_along, strike_where, strike_with_derivatives,
};
use proptest::prelude::*;

use crate::common::{plain_head, published_driver, shipped};

/// Numbers from the edges of what a double holds, and from the region where the model has answers.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -100.0..100.0_f64,
        2 => any::<f64>(),
        1 => prop::sample::select(vec![
            0.0, -0.0, f64::MIN_POSITIVE, 1e-310, f64::MAX, f64::MIN, f64::INFINITY, f64::NEG_INFINITY, f64::NAN, 1e154, 90.0, 180.0,
        ]),
    ]
}

fn any_profile() -> impl Strategy<Value = HeadProfile> {
    (0..8_usize, prop::collection::vec((0..14_usize, any_number()), 0..3)).prop_map(|(index, changes)| {
        let mut head = shipped().heads[index].clone();
        for (field, value) in changes {
            match field {
                0 => head.mass_kg = value,
                1 => head.restitution = value,
                2 => head.restitution_falloff_per_m2 = value,
                3 => head.bulge_radius_m = Some(value),
                4 => head.roll_radius_m = Some(value),
                5 => head.friction = value,
                6 => head.ball_mass_kg = value,
                7 => head.ball_radius_m = value,
                8 => head.ball_inertia_factor = value,
                9..12 => head.cg_m[field - 9] = value,
                _ => head.inertia_kg_m2[field - 12][field - 12] = value,
            }
        }
        head
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, ..ProptestConfig::default() })]
    #[test]
    fn no_input_panics_and_every_answer_is_finite(
        head in any_profile(), numbers in prop::array::uniform7(any_number()), left in any::<bool>(),
    ) {
        let hand = if left { Hand::Left } else { Hand::Right };
        let delivery = Delivery::from_array(numbers);
        let alone = launch(&head, &delivery, hand);
        if let Some(ball) = &alone {
            prop_assert!(ball.to_array().iter().all(|number| number.is_finite()), "{:?}", ball);
            prop_assert!(ball.ball_speed_mps >= 0.0 && ball.spin_rpm >= 0.0);
            prop_assert!(numbers.iter().all(|number| number.is_finite()), "an answer from {:?}", numbers);
        }
        // The other ways through the model know of the same answers.
        let nuisances = head.nuisances();
        let differentiated = strike_with_derivatives(&head, &delivery, &nuisances, hand);
        prop_assert_eq!(differentiated.is_some(), alone.is_some());
        let _ = strike_along(&head, &delivery, &nuisances, &[1.0; UNKNOWNS], hand);
        let parameters = head.parameters(&nuisances.map(|number| Lanes([number, 0.5])));
        let _ = strike_where(&parameters, &Delivery::from_array(numbers.map(|number| Lanes([number, 1.0]))), hand);
        // Nor does a check of the profile.
        let book = impact::HeadBook { heads: vec![head] };
        let _ = (book.faults(), book.warnings());
    }

    #[test]
    fn a_good_profile_answers_every_strike_on_its_face(
        index in 0..8_usize, speed in 0.01..100.0_f64, attack in -20.0..20.0_f64, path in -20.0..20.0_f64, face in -20.0..20.0_f64,
        loft in -5.0..60.0_f64, toe in -60.0..60.0_f64, up in -40.0..40.0_f64,
    ) {
        // The face must look at the ball: the angle between path and normal stays well below 90 degrees here, bulge included.
        let head = shipped().heads[index].clone();
        let delivery = Delivery::from_array([speed, attack, path, face, loft.min(60.0 + attack), toe, up]);
        if let Some(ball) = launch(&head, &delivery, Hand::Right) {
            // No ball leaves faster than (1 + e) times the club: the limit of a head without end of mass.
            prop_assert!(ball.ball_speed_mps <= 1.83 * speed);
        } else {
            let turned = (path - face).abs() + (loft - attack).abs() + 30.0;
            prop_assert!(turned > 90.0, "no answer to {:?}", delivery);
        }
    }

    #[test]
    fn a_larger_inertia_or_a_shallower_centre_of_gravity_gears_less(
        depth in 0.01..0.045_f64, inertia in 1500e-7..5500e-7_f64, toe in 3.0..35.0_f64, heel in any::<bool>(), more in 1.05..1.6_f64,
    ) {
        // [source: Iwatsubo et al. 2000, as to the direction]. A flat face, so that all side spin is gear effect. Side spin grows with
        // depth only up to the depth at which the head's turning takes as much as it gives: beyond every head here.
        let toe = if heel { -toe } else { toe };
        let side_spin = |head: &HeadProfile| {
            let ball = launch(head, &Delivery::from_array([44.0, 0.0, 0.0, 0.0, 10.0, toe, 0.0]), Hand::Right).unwrap();
            (ball.spin_rpm * ball.spin_tilt_deg.to_radians().sin()).abs()
        };
        let usual = side_spin(&plain_head(depth, inertia));
        prop_assert!(side_spin(&plain_head(depth, inertia * more)) < usual);
        prop_assert!(side_spin(&plain_head(depth / more, inertia)) < usual);
    }

    #[test]
    fn the_further_out_the_slower(
        direction in 0.0..std::f64::consts::TAU, near in 0.0..0.035_f64, further in 1e-4..0.01_f64, fall_off in 0.0..120.0_f64,
        depth in 0.005..0.045_f64,
    ) {
        // A flat face struck squarely by a head that is symmetric about its normal: nothing but rotation and fall-off acts.
        let mut head = plain_head(depth, 3000e-7);
        head.restitution_falloff_per_m2 = fall_off;
        let speed = |distance: f64| {
            let (up, toe) = direction.sin_cos();
            let numbers = [44.0, 0.0, 0.0, 0.0, 0.0, toe * distance * 1e3, up * distance * 1e3];
            launch(&head, &Delivery::from_array(numbers), Hand::Right).unwrap().ball_speed_mps
        };
        prop_assert!(speed(near + further) < speed(near));
    }
}

#[test]
fn restitution_never_falls_below_nothing() {
    // [derived]: with e = 0 and no rotation the ball goes with the face: V / (1 + m/M).
    let mut head = plain_head(0.0, 1e9);
    head.restitution_falloff_per_m2 = 5000.0;
    let ball = launch(&head, &Delivery::from_array([40.0, 0.0, 0.0, 0.0, 0.0, 30.0, 0.0]), Hand::Right).unwrap();
    assert!((ball.ball_speed_mps - 40.0 / (1.0 + 0.045_93 / 0.2)).abs() < 1e-6);
    let negative = HeadProfile { friction: -1.0, ..published_driver() };
    let none = HeadProfile { friction: 0.0, ..published_driver() };
    let delivery = Delivery::from_array([40.0, 0.0, 0.0, 0.0, 12.0, 10.0, 0.0]);
    let strike = |head: &HeadProfile| strike(&head.parameters(&head.nuisances()), &delivery, Hand::Right);
    assert_eq!(strike(&negative), strike(&none));
}
