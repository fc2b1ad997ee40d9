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
