//! Heads so simple that a closed form exists.

use impact::{Delivery, Hand, collide, launch};

use crate::common::{close, plain_head, square, unturning_head};

#[test]
fn central_collision() {
    // [derived; formula: Daish, The Physics of Ball Games; Cochran & Stobbs]: v = V (1 + e) / (1 + m/M).
    let head = unturning_head();
    let ball = launch(&head, &square(0.0, 0.0, 0.0), Hand::Right).unwrap();
    close(ball.ball_speed_mps, 66.529_761, 5e-7);
    close(ball.spin_rpm, 0.0, 1e-9);

    let collision = collide(&head.parameters(&head.nuisances()), &[44.704, 0.0, 0.0], 0.0, 0.0).unwrap();
    let head_after = 44.704 - collision.impulse[0] / head.mass_kg;
    close(head_after, 29.425_441, 5e-7);
    let energy = |head_speed: f64, ball_speed: f64| 0.1 * head_speed.powi(2) + 0.045_93 / 2.0 * ball_speed.powi(2);
    close(energy(44.704, 0.0) - energy(head_after, ball.ball_speed_mps), 11.611_216, 5e-7);
}

#[test]
fn oblique_collision_without_head_rotation() {
    // [derived]: v_n = (1 + e) V cos l / (1 + m/M), v_t = V sin l / (7/2 + m/M), omega = 5 v_t / (2 r).
    for (loft, speed, elevation, spin) in
        [(10.0, 65.552_075, 8.180_476, 2328.988), (14.0, 64.618_636, 11.428_040, 3244.683)]
    {
        let ball = launch(&unturning_head(), &square(loft, 0.0, 0.0), Hand::Right).unwrap();
        close(ball.ball_speed_mps, speed, 5e-7);
        close(ball.launch_elevation_deg, elevation, 5e-7);
        close(ball.spin_rpm, spin, 5e-4);
        close(ball.spin_tilt_deg, 0.0, 1e-9);
        close(ball.launch_azimuth_deg, 0.0, 1e-12);
    }
}

#[test]
fn share_of_the_start_direction_set_by_the_face() {
    // [derived]: 1 - (1 + m/M) / ((1 + e)(7/2 + m/M)) for small angles; measured over club types 61-83 % (Wood, Henrikson &
    // Broadie 2018, Proceedings (MDPI) 2(6), 249).
    let open = Delivery { face_deg: 1e-3, ..square(0.0, 0.0, 0.0) };
    let ball = launch(&unturning_head(), &open, Hand::Right).unwrap();
    let share = ball.launch_azimuth_deg / 1e-3;
    close(share, 0.819_84, 5e-6);
    assert!((0.61..=0.83).contains(&share));
}

#[test]
fn planar_collision_off_the_centre() {
    // [derived from the planar closed form Jn (1/m + 1/M + rt^2/I) - Jt rn rt / I = (1 + e) V cos b,
    // -Jn rn rt / I + Jt (7/(2m) + 1/M + rn^2/I) = -V sin b]: I 4500 g cm^2, depth 35 mm.
    let flat = plain_head(0.035, 4500e-7);
    let mut bulged = flat.clone();
    bulged.bulge_radius_m = Some(0.3048);
    for (head, toe_mm, speed, toward_toe, side_spin, side) in [
        // The flat face's ball curves back to the heel side (left), the bulged one's less so.
        (&flat, 20.0, 64.470_09, 1.061_86, 1336.89, -90.0),
        (&bulged, 20.0, 64.720_15, 4.043_92, 355.99, -90.0),
        (&bulged, 10.0, 66.068_69, 2.022_08, 183.172, -90.0),
    ] {
        let ball = launch(head, &square(0.0, toe_mm, 0.0), Hand::Right).unwrap();
        close(ball.ball_speed_mps, speed, 5e-6);
        close(ball.launch_azimuth_deg, toward_toe, 5e-6);
        close(ball.spin_rpm, side_spin, 5e-3);
        close(ball.spin_tilt_deg, side, 1e-6);
    }
}

#[test]
fn bulge_that_leaves_no_side_spin() {
    // [derived, first order]: R0 = d + I / (d (1 + e) / (1/m + 1/M)) = 223.1 mm for that head; literature optimum 215 mm
    // (Penner 2001, Am. J. Phys. 69, 1073, as quoted in university course notes).
    let spin_toward_toe = |radius_m: f64| {
        let mut head = plain_head(0.035, 4500e-7);
        head.bulge_radius_m = Some(radius_m);
        let ball = launch(&head, &square(0.0, 0.01, 0.0), Hand::Right).unwrap();
        ball.spin_rpm * ball.spin_tilt_deg.to_radians().sin()
    };
    let (mut tight, mut wide) = (0.15, 0.35);
    assert!(spin_toward_toe(tight) > 0.0 && spin_toward_toe(wide) < 0.0);
    for _ in 0..60 {
        let middle = f64::midpoint(tight, wide);
        if spin_toward_toe(middle) > 0.0 { tight = middle } else { wide = middle }
    }
    close(tight, 0.2231, 5e-5);
    close(tight, 0.215, 0.01);
}

#[test]
fn a_shallower_centre_of_gravity_or_a_larger_inertia_gears_less() {
    // [source: Iwatsubo et al. 2000, as to the direction].
    let gear = |depth_m: f64, inertia: f64| {
        launch(&plain_head(depth_m, inertia), &square(0.0, 15.0, 0.0), Hand::Right).unwrap().spin_rpm
    };
    assert!(gear(0.025, 4500e-7) < gear(0.035, 4500e-7));
    assert!(gear(0.035, 5500e-7) < gear(0.035, 4500e-7));
}

#[test]
fn a_slippery_face_slides_with_exactly_its_friction() {
    // [derived]: Jn = (1 + e) V cos l / (1/m + 1/M) whatever the friction, Jt = mu Jn, omega = r Jt / Ib = 5 mu v_n / (2 r).
    let mut head = unturning_head();
    head.friction = 0.05;
    let ball = launch(&head, &square(45.0, 0.0, 0.0), Hand::Right).unwrap();
    let normal_speed = 1.83 * 44.704 * 45.0_f64.to_radians().cos() / (1.0 + 0.045_93 / 0.2);
    close(ball.ball_speed_mps, normal_speed * 1.0_f64.hypot(0.05), 1e-6);
    close(ball.launch_elevation_deg, 45.0 - 0.05_f64.atan().to_degrees(), 1e-6);
    close(ball.spin_rpm, 2.5 * 0.05 * normal_speed / 0.021_335 * 60.0 / std::f64::consts::TAU, 1e-3);
    // Without friction no spin at all.
    head.friction = 0.0;
    close(launch(&head, &square(45.0, 0.0, 0.0), Hand::Right).unwrap().spin_rpm, 0.0, 1e-9);
}

#[test]
fn restitution_falls_off_from_the_centre() {
    // [derived]: with e = e0 (1 - k r^2) and no rotation, the speed is proportional to 1 + e.
    let mut head = unturning_head();
    head.restitution_falloff_per_m2 = 60.0;
    let speed = |toe: f64, up: f64| launch(&head, &square(0.0, toe, up), Hand::Right).unwrap().ball_speed_mps;
    let expected = 44.704 * (1.0 + 0.83 * (1.0 - 60.0 * 0.02 * 0.02)) / (1.0 + 0.045_93 / 0.2);
    close(speed(20.0, 0.0), expected, 1e-6);
    close(speed(0.0, -20.0), expected, 1e-6);
    close(speed(12.0, 16.0), expected, 1e-6);
}

#[test]
fn head_and_ball_that_do_not_meet_have_no_launch() {
    let mut head = plain_head(0.035, 4500e-7);
    head.bulge_radius_m = Some(0.305);
    let usual = square(10.0, 0.0, 0.0);
    for bad in [
        Delivery { club_speed_mps: 0.0, ..usual },
        Delivery { club_speed_mps: -44.0, ..usual },
        Delivery { club_speed_mps: f64::NAN, ..usual },
        Delivery { club_speed_mps: f64::INFINITY, ..usual },
        Delivery { path_deg: 180.0, ..usual },
        Delivery { face_deg: f64::NEG_INFINITY, ..usual },
        Delivery { delivered_loft_deg: 90.0, attack_deg: -1.0, ..usual },
        Delivery { strike_toe_mm: 305.0, ..usual },
        Delivery { strike_toe_mm: -1e300, ..usual },
        Delivery { strike_up_mm: f64::NAN, ..usual },
    ] {
        assert_eq!(launch(&head, &bad, Hand::Right), None, "{bad:?}");
    }
}
