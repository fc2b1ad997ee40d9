//! Mirror images, and what a symmetric head owes to its symmetry.

use impact::{Delivery, Hand, launch};
use proptest::prelude::*;

use crate::common::{plain_head, published_driver};

proptest! {
    #[test]
    fn a_left_handers_strike_is_the_mirror_image(
        speed in 20.0..60.0_f64, attack in -6.0..6.0_f64, path in -8.0..8.0_f64, face in -6.0..6.0_f64,
        loft in 5.0..40.0_f64, toe in -40.0..40.0_f64, up in -20.0..20.0_f64,
    ) {
        let head = published_driver();
        let right = launch(&head, &Delivery::from_array([speed, attack, path, face, loft, toe, up]), Hand::Right).unwrap();
        let left = launch(&head, &Delivery::from_array([speed, attack, -path, -face, loft, toe, up]), Hand::Left).unwrap();
        prop_assert!((right.ball_speed_mps - left.ball_speed_mps).abs() < 1e-9);
        prop_assert!((right.launch_elevation_deg - left.launch_elevation_deg).abs() < 1e-9);
        prop_assert!((right.launch_azimuth_deg + left.launch_azimuth_deg).abs() < 1e-9);
        prop_assert!((right.spin_rpm - left.spin_rpm).abs() < 1e-6);
        prop_assert!((right.spin_tilt_deg + left.spin_tilt_deg).abs() < 1e-9);
    }

    #[test]
    fn on_a_symmetric_head_speed_is_even_and_side_spin_odd_in_the_offset(
        loft in 5.0..25.0_f64, toe in 0.5..40.0_f64, up in -15.0..15.0_f64, depth in 0.01..0.05_f64, bulge in 0.2..0.4_f64,
    ) {
        let mut head = plain_head(depth, 4000e-7);
        head.bulge_radius_m = Some(bulge);
        head.roll_radius_m = Some(0.28);
        let at = |toe: f64| launch(&head, &Delivery::from_array([44.0, 1.0, 0.0, 0.0, loft, toe, up]), Hand::Right).unwrap();
        let (toward_toe, toward_heel) = (at(toe), at(-toe));
        prop_assert!((toward_toe.ball_speed_mps - toward_heel.ball_speed_mps).abs() < 1e-9);
        prop_assert!((toward_toe.launch_elevation_deg - toward_heel.launch_elevation_deg).abs() < 1e-9);
        prop_assert!((toward_toe.launch_azimuth_deg + toward_heel.launch_azimuth_deg).abs() < 1e-9);
        prop_assert!((toward_toe.spin_rpm - toward_heel.spin_rpm).abs() < 1e-6);
        prop_assert!((toward_toe.spin_tilt_deg + toward_heel.spin_tilt_deg).abs() < 1e-9);
        prop_assert!(toward_toe.ball_speed_mps < at(0.0).ball_speed_mps);
    }

    #[test]
    fn turning_path_and_face_together_turns_the_launch(
        turn in -30.0..30.0_f64, path in -5.0..5.0_f64, face in -5.0..5.0_f64, toe in -20.0..20.0_f64,
    ) {
        let head = published_driver();
        let at = |turn: f64| {
            launch(&head, &Delivery::from_array([44.0, -1.0, path + turn, face + turn, 11.0, toe, 0.0]), Hand::Right).unwrap()
        };
        let (straight, turned) = (at(0.0), at(turn));
        prop_assert!((turned.launch_azimuth_deg - straight.launch_azimuth_deg - turn).abs() < 1e-9);
        prop_assert!((turned.spin_tilt_deg - straight.spin_tilt_deg).abs() < 1e-9);
    }

    #[test]
    fn launch_scales_with_speed(factor in 0.5..2.0_f64, toe in -20.0..20.0_f64) {
        let head = published_driver();
        let at = |speed: f64| launch(&head, &Delivery::from_array([speed, -1.0, 2.0, 1.0, 11.0, toe, 0.0]), Hand::Right).unwrap();
        let (slow, fast) = (at(30.0), at(30.0 * factor));
        prop_assert!((fast.ball_speed_mps - factor * slow.ball_speed_mps).abs() < 1e-9);
        prop_assert!((fast.spin_rpm - factor * slow.spin_rpm).abs() < 1e-6);
        prop_assert!((fast.launch_azimuth_deg - slow.launch_azimuth_deg).abs() < 1e-9);
    }
}
