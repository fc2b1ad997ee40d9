//! Launches that leave no flight, and numbers that make no launch.

use crate::flight_values::launch;
use flight::{Aerodynamics, BallProfile, CoefficientTable, Conditions, TableProblem, fly, fly_with_tolerance, try_fly};

#[test]
fn a_grounded_ball_carries_nothing() {
    for elevation in [-90.0, -12.0, -1e-9, 0.0] {
        let landing = fly(&BallProfile::default(), &launch(40.0, elevation, 3.0, 0.0, 0.0), &Conditions::default());
        assert_eq!((landing.carry_m, landing.lateral_m, landing.flight_time_s), (0.0, 0.0, 0.0));
        assert!(landing.peak_height_m.abs() < 1e-12);
        assert!((landing.landing_speed_mps - 40.0).abs() < 1e-12);
    }
    let still = fly(&BallProfile::default(), &launch(0.0, 30.0, 0.0, 2000.0, 0.0), &Conditions::default());
    assert_eq!((still.carry_m, still.landing_speed_mps), (0.0, 0.0));
}

#[test]
fn a_topped_ball_keeps_speed_spin_and_angle() {
    // What a grounded launch answers: no carry, and the launch itself as landing.
    let landing = fly(&BallProfile::default(), &launch(40.0, -5.0, 3.0, 3000.0, 180.0), &Conditions::default());
    assert!((landing.descent_deg - 5.0).abs() < 1e-9, "{landing:?}");
    assert!((landing.landing_spin_rpm - 3000.0).abs() < 1e-9, "{landing:?}");
    assert_eq!((landing.carry_m, landing.peak_height_m, landing.flight_time_s), (0.0, 0.0, 0.0));
    // Top spin that presses a low ball down: it lands soon after the tee.
    let pressed = fly(&BallProfile::default(), &launch(40.0, 2.0, 0.0, 6000.0, 180.0), &Conditions::default());
    assert!(pressed.carry_m > 0.0 && pressed.carry_m < 1600.0 * f64::to_radians(4.0).sin() / 9.806_65, "{pressed:?}");
}

#[test]
fn a_head_wind_stronger_than_the_ball_blows_it_back() {
    let storm = Conditions { wind_along_mps: -25.0, ..Conditions::default() };
    let ball = BallProfile::default();
    let landing = fly(&ball, &launch(10.0, 60.0, 0.0, 0.0, 0.0), &storm);
    // Carry is a distance from the tee, so it is positive behind the tee too.
    let end = fly_with_tolerance(&ball, &launch(10.0, 60.0, 0.0, 0.0, 0.0), &storm, 1e-10).unwrap();
    assert!((landing.carry_m - end.carry_m).abs() < 0.003, "{landing:?} {end:?}");
    // Without air it would carry 8.8 m.
    assert!(landing.carry_m < 8.8, "{landing:?}");
    // A ball as fast as the wind that carries it starts in air at rest: no force but weight at first.
    let drifting = Conditions { wind_along_mps: 10.0 * f64::to_radians(30.0).cos(), ..Conditions::default() };
    let carried = fly(&ball, &launch(10.0, 30.0, 0.0, 5000.0, 0.0), &drifting);
    assert!(carried.carry_m > 5.0 && carried.carry_m < 15.0, "{carried:?}");
}

#[test]
fn a_level_launch_with_as_much_lift_as_weight_ends() {
    // Searches the spin at which lift just carries a level ball, where the first moments decide between 0 and a flight.
    let ball = BallProfile::default();
    let (mut low, mut high) = (0.0, 6000.0);
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        let landing = fly(&ball, &launch(40.0, 0.0, 0.0, middle, 0.0), &Conditions::default());
        assert!(landing.carry_m.is_finite() && landing.carry_m < 200.0);
        if landing.carry_m > 0.0 { high = middle } else { low = middle }
    }
    assert!(high > 500.0 && high < 6000.0, "{high}");
}

#[test]
fn the_smallest_hop_ends() {
    for elevation in [1e-300, 1e-12, 1e-6, 1e-3] {
        let landing = fly(&BallProfile::default(), &launch(30.0, elevation, 0.0, 0.0, 0.0), &Conditions::default());
        // On flat ground a hop carries about v^2 sin(2 elevation) / g.
        let parabola = 900.0 * (2.0 * f64::to_radians(elevation)).sin() / 9.806_65;
        assert!(landing.carry_m <= parabola + 1e-3 && landing.carry_m >= 0.0, "{elevation}: {landing:?}");
    }
}

#[test]
fn a_level_launch_flies_when_lift_exceeds_weight() {
    let landing = fly(&BallProfile::default(), &launch(67.0, 0.0, 0.0, 4000.0, 0.0), &Conditions::default());
    assert!(landing.carry_m > 100.0);
    let top_spin = fly(&BallProfile::default(), &launch(67.0, 0.0, 0.0, 4000.0, 180.0), &Conditions::default());
    assert!(top_spin.carry_m.abs() < 1e-12);
}

#[test]
fn numbers_that_make_no_launch_are_refused() {
    let ball = BallProfile::default();
    let usual = Conditions::default();
    let good = launch(60.0, 12.0, 0.0, 2500.0, 0.0);
    for bad in [
        launch(f64::NAN, 12.0, 0.0, 2500.0, 0.0),
        launch(-1.0, 12.0, 0.0, 2500.0, 0.0),
        launch(900.0, 12.0, 0.0, 2500.0, 0.0),
        launch(60.0, f64::INFINITY, 0.0, 2500.0, 0.0),
        launch(60.0, 95.0, 0.0, 2500.0, 0.0),
        launch(60.0, 12.0, f64::NAN, 2500.0, 0.0),
        launch(60.0, 12.0, 0.0, -5.0, 0.0),
        launch(60.0, 12.0, 0.0, 2500.0, f64::NEG_INFINITY),
    ] {
        assert_eq!(try_fly(&ball, &bad, &usual), None, "{bad:?}");
        assert!(fly(&ball, &bad, &usual).carry_m.is_nan());
    }
    for bad in [
        Conditions { air_density: f64::NAN, ..usual },
        Conditions { air_density: -1.0, ..usual },
        Conditions { wind_along_mps: 1e9, ..usual },
        Conditions { wind_across_mps: f64::NAN, ..usual },
        Conditions { gravity: 0.0, ..usual },
    ] {
        assert_eq!(try_fly(&ball, &good, &bad), None, "{bad:?}");
    }
    for bad in [
        BallProfile { mass_kg: 0.0, ..ball.clone() },
        BallProfile { radius_m: f64::NAN, ..ball.clone() },
        BallProfile { drag_scale: -1.0, ..ball.clone() },
        BallProfile { spin_decay: f64::INFINITY, ..ball.clone() },
        BallProfile {
            aerodynamics: Aerodynamics::SpinRatio {
                drag_base: f64::NAN,
                drag_slope: 0.0,
                lift_factor: 0.0,
                lift_exponent: 0.4,
            },
            ..ball.clone()
        },
    ] {
        assert_eq!(try_fly(&bad, &good, &usual), None, "{bad:?}");
    }
    assert_eq!(fly_with_tolerance(&ball, &good, &usual, f64::NAN), None);
}

#[test]
fn a_malformed_table_is_refused() {
    let axis = vec![10.0, 20.0];
    let build = |speeds: &[f64], drag: &[f64]| CoefficientTable::new(speeds.to_vec(), axis.clone(), drag, &[0.1; 4]);
    assert_eq!(build(&[20.0, 10.0], &[0.2; 4]), Err(TableProblem::Axis));
    assert_eq!(build(&[10.0, 20.0], &[0.2; 3]), Err(TableProblem::Shape));
    assert_eq!(build(&[10.0, 20.0], &[0.2, 0.2, 0.2, -0.2]), Err(TableProblem::Coefficient));
    let table = build(&[10.0, 20.0], &[0.2, 0.4, 0.6, 0.8]).unwrap();
    // Between the corners linear, beyond them constant.
    assert!((table.coefficients(15.0, 15.0).0 - 0.5).abs() < 1e-12);
    assert!((table.coefficients(0.0, 0.0).0 - 0.2).abs() < 1e-12);
    assert!((table.coefficients(99.0, 99.0).0 - 0.8).abs() < 1e-12);
}
