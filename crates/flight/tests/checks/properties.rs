//! What holds for every flight.

use crate::flight_values::launch;
use flight::{AirResistance, BallProfile, Conditions, ForceLaw, fly, try_fly};
use proptest::prelude::*;

fn calm(air_density: f64) -> Conditions {
    Conditions { air_density, ..Conditions::default() }
}

proptest! {
    #[test]
    fn mirror_images_land_at_mirror_images(
        speed in 5.0..85.0_f64, elevation in 1.0..60.0_f64, azimuth in -20.0..20.0_f64, spin in 0.0..9000.0_f64,
        tilt in -60.0..60.0_f64, across in -8.0..8.0_f64,
    ) {
        let ball = BallProfile::default();
        let air = Conditions { wind_across_mps: across, ..calm(1.2) };
        let mirrored_air = Conditions { wind_across_mps: -across, ..air };
        let one = fly(&ball, &launch(speed, elevation, azimuth, spin, tilt), &air);
        let other = fly(&ball, &launch(speed, elevation, -azimuth, spin, -tilt), &mirrored_air);
        prop_assert!((one.carry_m - other.carry_m).abs() < 1e-9);
        prop_assert!((one.lateral_m + other.lateral_m).abs() < 1e-9);
        prop_assert!((one.flight_time_s - other.flight_time_s).abs() < 1e-9);
    }

    #[test]
    fn turning_the_launch_turns_the_landing(
        speed in 20.0..80.0_f64, elevation in 3.0..40.0_f64, azimuth in -30.0..30.0_f64, tilt in -40.0..40.0_f64,
    ) {
        let ball = BallProfile::default();
        let straight = fly(&ball, &launch(speed, elevation, 0.0, 3000.0, tilt), &calm(1.2));
        let turned = fly(&ball, &launch(speed, elevation, azimuth, 3000.0, tilt), &calm(1.2));
        let bearing = (straight.lateral_m / straight.carry_m).asin() + azimuth.to_radians();
        prop_assert!((turned.carry_m - straight.carry_m).abs() < 0.02);
        prop_assert!((turned.lateral_m - straight.carry_m * bearing.sin()).abs() < 0.02);
    }

    #[test]
    fn a_faster_ball_carries_farther(speed in 20.0..75.0_f64, elevation in 5.0..30.0_f64, spin in 1000.0..6000.0_f64) {
        let ball = BallProfile::default();
        let slower = fly(&ball, &launch(speed, elevation, 0.0, spin, 0.0), &calm(1.225));
        let faster = fly(&ball, &launch(speed + 1.0, elevation, 0.0, spin, 0.0), &calm(1.225));
        prop_assert!(faster.carry_m > slower.carry_m);
    }

    #[test]
    fn without_lift_denser_air_shortens(speed in 10.0..80.0_f64, elevation in 5.0..60.0_f64, density in 0.8..1.3_f64) {
        let ball = BallProfile { lift_scale: 0.0, ..BallProfile::default() };
        let thin = fly(&ball, &launch(speed, elevation, 0.0, 2500.0, 0.0), &calm(density));
        let thick = fly(&ball, &launch(speed, elevation, 0.0, 2500.0, 0.0), &calm(density + 0.05));
        prop_assert!(thick.carry_m < thin.carry_m);
        prop_assert!(thick.landing_speed_mps < thin.landing_speed_mps);
    }

    #[test]
    fn denser_air_drags_more(
        along in 1.0..80.0_f64, left in -20.0..20.0_f64, up in -40.0..40.0_f64, spin in 0.0..900.0_f64,
    ) {
        let ball = BallProfile { lift_scale: 0.0, ..BallProfile::default() };
        let velocity = [along, left, up];
        let slowing = |density: f64| {
            let [x, y, z] = AirResistance::new(&ball, [0.0, -1.0, 0.0], &calm(density)).rates(velocity, spin).acceleration;
            x * along + y * left + (z + 9.806_65) * up
        };
        prop_assert!(slowing(1.2) < slowing(1.0));
        prop_assert!(slowing(1.0) < 0.0);
    }

    #[test]
    fn still_air_never_adds_energy(
        along in -80.0..80.0_f64, left in -20.0..20.0_f64, up in -40.0..40.0_f64, spin in 0.0..900.0_f64,
        tilt in -90.0..90.0_f64,
    ) {
        // Power of all forces but weight; lift is at right angles to the path and must not show up.
        let ball = BallProfile::default();
        let (sin, cos) = tilt.to_radians().sin_cos();
        let rates = AirResistance::new(&ball, [0.0, -cos, -sin], &calm(1.225)).rates([along, left, up], spin);
        let [x, y, z] = rates.acceleration;
        let power = x * along + y * left + (z + 9.806_65) * up;
        prop_assert!(power <= 1e-9 * (along * along + left * left + up * up));
        prop_assert!(rates.spin <= 0.0);
    }

    #[test]
    fn a_landing_is_slower_than_its_launch(speed in 5.0..85.0_f64, elevation in 1.0..80.0_f64, spin in 0.0..9000.0_f64) {
        let landing = fly(&BallProfile::default(), &launch(speed, elevation, 0.0, spin, 0.0), &calm(1.225));
        prop_assert!(landing.landing_speed_mps < speed);
        prop_assert!(landing.landing_spin_rpm <= spin);
        prop_assert!(landing.peak_height_m > 0.0 && landing.descent_deg > 0.0);
    }

    #[test]
    fn wind_helps_from_behind_and_pushes_sideways(speed in 58.0..75.0_f64, wind in 1.0..8.0_f64) {
        let ball = BallProfile::default();
        let shot = launch(speed, 14.0, 0.0, 3000.0, 0.0);
        let windy = |along: f64, across: f64| {
            fly(&ball, &shot, &Conditions { wind_along_mps: along, wind_across_mps: across, ..calm(1.225) })
        };
        prop_assert!(windy(wind, 0.0).carry_m > windy(0.0, 0.0).carry_m);
        prop_assert!(windy(-wind, 0.0).carry_m < windy(0.0, 0.0).carry_m);
        prop_assert!(windy(0.0, wind).lateral_m > 0.5);
    }

    #[test]
    fn any_launch_within_the_limits_ends(
        speed in 0.0..150.0_f64, elevation in -90.0..90.0_f64, azimuth in -360.0..360.0_f64, spin in 0.0..30_000.0_f64,
        tilt in -360.0..360.0_f64, density in 0.0..1.5_f64, along in -40.0..40.0_f64, across in -40.0..40.0_f64,
    ) {
        let air = Conditions { wind_along_mps: along, wind_across_mps: across, ..calm(density) };
        let landing = try_fly(&BallProfile::default(), &launch(speed, elevation, azimuth, spin, tilt), &air);
        prop_assert!(landing.is_some());
    }
}
