//! What holds for every flight.

use crate::flight_values::launch;
use flight::{
    AirResistance, BallProfile, Conditions, ForceLaw, ShotColumns, fly, fly_columns, fly_with_tolerance, try_fly,
};
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

    #[test]
    fn more_drag_is_shorter(
        speed in 20.0..85.0_f64, elevation in 3.0..60.0_f64, low in 3.0..20.0_f64, spin in 500.0..4000.0_f64,
        more in 1.02..1.5_f64,
    ) {
        let lifeless = BallProfile { lift_scale: 0.0, ..BallProfile::default() };
        // With lift only for low launches: on a steep climb lift pulls backward, and drag, which ends the climb sooner, can
        // lengthen the carry.
        for (ball, elevation) in [(lifeless, elevation), (BallProfile::default(), low)] {
            let draggy = BallProfile { drag_scale: more, ..ball.clone() };
            let shot = launch(speed, elevation, 0.0, spin, 0.0);
            prop_assert!(fly(&draggy, &shot, &calm(1.225)).carry_m < fly(&ball, &shot, &calm(1.225)).carry_m);
        }
    }

    #[test]
    fn density_acts_only_together_with_area_over_mass(
        speed in 10.0..90.0_f64, elevation in 1.0..60.0_f64, spin in 0.0..9000.0_f64, tilt in -40.0..40.0_f64,
        factor in 0.7..1.4_f64,
    ) {
        // Air and mass enter the law as rho / m alone, so that scaling both changes nothing.
        let ball = BallProfile::default();
        let heavy = BallProfile { mass_kg: ball.mass_kg * factor, ..ball.clone() };
        let shot = launch(speed, elevation, 2.0, spin, tilt);
        let one = fly(&ball, &shot, &calm(1.1));
        let other = fly(&heavy, &shot, &calm(1.1 * factor));
        prop_assert!((one.carry_m - other.carry_m).abs() < 1e-6);
        prop_assert!((one.lateral_m - other.lateral_m).abs() < 1e-6);
        // The scales of drag and lift do what density does.
        let scaled = BallProfile { drag_scale: factor, lift_scale: factor, ..ball };
        let by_scale = fly(&scaled, &shot, &calm(1.1));
        let by_density = fly(&BallProfile::default(), &shot, &calm(1.1 * factor));
        // The spin decay is no force and stays.
        prop_assert!((by_scale.carry_m - by_density.carry_m).abs() < 1e-6);
    }

    #[test]
    fn a_wind_is_a_moving_floor(
        speed in 30.0..80.0_f64, elevation in 8.0..40.0_f64, spin in 1500.0..7000.0_f64, along in -8.0..8.0_f64,
    ) {
        // Seen from air that moves along, the flight is one in calm air with another launch [derived, Galilei]: back spin
        // about a level axis is at right angles to both launches.
        let (sin, cos) = elevation.to_radians().sin_cos();
        let (seen_along, up) = (speed * cos - along, speed * sin);
        prop_assume!(seen_along > 1.0);
        let windy = fly(
            &BallProfile::default(),
            &launch(speed, elevation, 0.0, spin, 0.0),
            &Conditions { wind_along_mps: along, ..calm(1.2) },
        );
        let seen = launch(seen_along.hypot(up), up.atan2(seen_along).to_degrees(), 0.0, spin, 0.0);
        let still = fly(&BallProfile::default(), &seen, &calm(1.2));
        prop_assert!((windy.flight_time_s - still.flight_time_s).abs() < 1e-3);
        prop_assert!((windy.carry_m - (still.carry_m + along * still.flight_time_s).abs()).abs() < 0.01);
        prop_assert!((windy.peak_height_m - still.peak_height_m).abs() < 0.01);
    }

    #[test]
    fn neighbours_tell_smooth_slopes(
        speed in 30.0..75.0_f64, elevation in 6.0..30.0_f64, spin in 1500.0..8000.0_f64, tilt in -15.0..15.0_f64,
    ) {
        // Whoever puts a quadratic through neighbouring flights relies on this: the steps of `fly` are not the same for two
        // neighbours, yet slopes by differences are those of a far tighter integrator.
        let ball = BallProfile::default();
        let air = calm(1.225);
        let shots = [launch(speed - 1.0, elevation, 0.0, spin, tilt), launch(speed + 1.0, elevation, 0.0, spin, tilt)];
        let quick = shots.map(|shot| fly(&ball, &shot, &air).carry_m);
        let tight = shots.map(|shot| fly_with_tolerance(&ball, &shot, &air, 1e-10).unwrap().carry_m);
        prop_assert!(((quick[1] - quick[0]) - (tight[1] - tight[0])).abs() < 2e-3);
    }

    #[test]
    fn whatever_numbers_come_in_every_shot_is_answered(
        numbers in prop::collection::vec(
            prop_oneof![
                5 => -200.0..200.0_f64,
                1 => Just(0.0), 1 => Just(-0.0), 1 => Just(f64::NAN), 1 => Just(f64::INFINITY), 1 => Just(f64::MIN_POSITIVE),
                1 => any::<f64>(),
            ],
            8 * 11,
        ),
    ) {
        let columns: Vec<&[f64]> = numbers.chunks(11).collect();
        let shots = ShotColumns {
            ball_speed_mps: columns[0], elevation_deg: columns[1], azimuth_deg: columns[2], spin_rpm: columns[3],
            spin_tilt_deg: columns[4], air_density: columns[5], wind_along_mps: columns[6],
            // A short column leaves the shots beyond its end unknown.
            wind_across_mps: &columns[7][..7],
        };
        let landings = fly_columns(&BallProfile::default(), &shots);
        prop_assert_eq!(landings.len(), 11);
        for (index, landing) in landings.iter().enumerate() {
            let known = [landing.carry_m, landing.flight_time_s, landing.landing_speed_mps].iter().all(|value| value.is_finite());
            prop_assert!(known || landing.carry_m.is_nan());
            prop_assert!(index < 7 || landing.carry_m.is_nan());
        }
    }

    #[test]
    fn a_spinning_ball_in_a_gale_comes_down(
        speed in 0.0..15.0_f64, elevation in 1.0..89.0_f64, spin in 0.0..12_000.0_f64, tilt in -180.0..180.0_f64,
        along in -15.0..15.0_f64, across in -15.0..15.0_f64,
    ) {
        let air = Conditions { wind_along_mps: along, wind_across_mps: across, ..calm(1.35) };
        let landing = fly(&BallProfile::default(), &launch(speed, elevation, 0.0, spin, tilt), &air);
        prop_assert!(landing.carry_m.is_finite() && landing.flight_time_s < 60.0);
    }
}
