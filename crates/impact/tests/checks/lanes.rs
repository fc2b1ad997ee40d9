//! Several strikes at once against one at a time.

use impact::{Delivery, Hand, Lanes, Mask, NUISANCES, Scalar, strike, strike_where};
use proptest::prelude::*;

use crate::common::shipped;

const LANES: usize = 4;

fn several(deliveries: &[[f64; 7]; LANES]) -> Delivery<Lanes<LANES>> {
    Delivery::from_array(std::array::from_fn(|number| Lanes(std::array::from_fn(|lane| deliveries[lane][number]))))
}

#[test]
fn sine_cosine_and_arc_tangent() {
    // [source: the standard library's functions]: within 2 units of the last place of 1 (of pi for the arc tangent).
    let mut worst = [0.0_f64; 3];
    for index in -200_000..200_000 {
        let angle = f64::from(index) * 1.618e-4 + 1e-7;
        let (sine, cosine) = Lanes([angle, angle * 1000.0]).sin_cos();
        worst[0] = worst[0].max((sine.0[0] - angle.sin()).abs()).max((sine.0[1] - (angle * 1000.0).sin()).abs());
        worst[1] = worst[1].max((cosine.0[0] - angle.cos()).abs()).max((cosine.0[1] - (angle * 1000.0).cos()).abs());
        let (y, x) = (angle.sin() * (1.0 + angle.abs()), angle.cos());
        let arc = Lanes([y, y * 1e-9]).atan2(Lanes([x, x]));
        worst[2] = worst[2].max((arc.0[0] - y.atan2(x)).abs()).max((arc.0[1] - (y * 1e-9).atan2(x)).abs());
    }
    assert!(worst[0] <= 2.0 * f64::EPSILON && worst[1] <= 2.0 * f64::EPSILON, "{worst:?}");
    assert!(worst[2] <= 4.0 * f64::EPSILON, "{worst:?}");
}

#[test]
fn corners_of_the_functions() {
    let (sine, cosine) = Lanes([0.0, 1e300, f64::INFINITY, f64::NAN]).sin_cos();
    assert_eq!((sine.0[0], cosine.0[0]), (0.0, 1.0));
    assert_eq!((sine.0[1], cosine.0[1]), 1e300_f64.sin_cos());
    assert!(sine.0[2].is_nan() && cosine.0[3].is_nan());
    let arc = Lanes([0.0, -1.0, 0.0, 1.0]).atan2(Lanes([0.0, 0.0, -2.0, 1e-320]));
    assert!(arc.0[0].abs() < f64::MIN_POSITIVE);
    assert!((arc.0[1] + std::f64::consts::FRAC_PI_2).abs() < 1e-15);
    assert!((arc.0[2] - std::f64::consts::PI).abs() < 1e-15);
    assert!((arc.0[3] - std::f64::consts::FRAC_PI_2).abs() < 1e-15);
    assert!(Lanes([f64::NAN]).atan2(Lanes([1.0])).0[0].is_nan());
}

#[test]
fn a_lane_that_misses_leaves_the_others() {
    let head = shipped().heads[0].clone();
    let parameters = head.parameters(&head.nuisances().map(Lanes::constant));
    let usual = [42.0, 0.0, 0.0, 0.0, 12.0, 5.0, 3.0];
    let backward = [-42.0, 0.0, 0.0, 0.0, 12.0, 5.0, 3.0];
    let beyond = [42.0, 0.0, 0.0, 0.0, 12.0, 500.0, 3.0];
    let unknown = [42.0, f64::NAN, 0.0, 0.0, 12.0, 5.0, 3.0];
    let together = several(&[usual, backward, beyond, unknown]);
    assert!(strike(&parameters, &together, Hand::Right).is_none());
    let (launch, met) = strike_where(&parameters, &together, Hand::Right).unwrap();
    assert_eq!([met.at(0), met.at(1), met.at(2), met.at(3)], [true, false, false, false]);
    assert!(met.any() && !met.all());
    let alone = impact::launch(&head, &Delivery::from_array(usual), Hand::Right).unwrap();
    assert!((launch.spin_rpm.0[0] - alone.spin_rpm).abs() < 1e-9);
    assert!(strike_where(&parameters, &several(&[backward; LANES]), Hand::Right).is_none());
}

proptest! {
    #[test]
    fn every_lane_is_the_strike_alone(
        profile in 0..8_usize, left in any::<bool>(), friction in 0.01..0.5_f64,
        deliveries in [
            [10.0..60.0_f64, -8.0..8.0, -12.0..12.0, -10.0..10.0, 2.0..60.0, -45.0..45.0, -25.0..25.0],
            [10.0..60.0_f64, -8.0..8.0, -12.0..12.0, -10.0..10.0, 2.0..60.0, -45.0..45.0, -25.0..25.0],
            [10.0..60.0_f64, -8.0..8.0, -12.0..12.0, -10.0..10.0, 2.0..60.0, -45.0..45.0, -25.0..25.0],
            [10.0..60.0_f64, -8.0..8.0, -12.0..12.0, -10.0..10.0, 2.0..60.0, -45.0..45.0, -25.0..25.0],
        ],
    ) {
        let head = shipped().heads[profile].clone();
        let hand = if left { Hand::Left } else { Hand::Right };
        let mut nuisances: [[f64; NUISANCES]; LANES] = [head.nuisances(); LANES];
        for lane in 0..LANES {
            // Lanes that roll beside lanes that slide, each with a head of its own.
            nuisances[lane][7] = friction * (1.0 + lane as f64);
            nuisances[lane][2] = 0.8 + 0.1 * lane as f64;
        }
        let parameters = std::array::from_fn(|number| Lanes(std::array::from_fn(|lane| nuisances[lane][number])));
        let (together, met) = strike_where(&head.parameters(&parameters), &several(&deliveries), hand).unwrap();
        for lane in 0..LANES {
            let alone = strike(&head.parameters(&nuisances[lane]), &Delivery::from_array(deliveries[lane]), hand);
            prop_assert_eq!(alone.is_some(), met.at(lane));
            let Some(alone) = alone else { continue };
            for (number, lanes) in alone.to_array().into_iter().zip(together.to_array()) {
                let tolerance = 1e-11 * (1.0 + number.abs());
                prop_assert!((number - lanes.0[lane]).abs() < tolerance, "{} against {}", number, lanes.0[lane]);
            }
        }
    }
}
