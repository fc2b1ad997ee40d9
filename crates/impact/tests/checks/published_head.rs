//! The one head whose full inertia tensor is published.
//!
//! [source of the head: "Adjusting a momentum-based golf clubhead-ball impact model to improve accuracy", Proceedings (MDPI)
//! 49(1), 47, 2020, Table 1]; which axis is which is inferred from its text (n normal, u up, t toe). The launches are
//! [derived, two implementations]: V 44.704 m/s, ball 45.9 g and 21.3 mm, roll 305 mm, friction 0.2.

use impact::{BallLaunch, Delivery, Hand, launch};

use crate::common::{close, published_driver, square};

#[track_caller]
fn agrees(ball: &BallLaunch, expected: [f64; 5]) {
    // Half a unit of the last printed digit: m/s, deg, deg at four decimals, rpm at three, deg at four.
    for (value, (expected, tolerance)) in
        ball.to_array().into_iter().zip(expected.into_iter().zip([5.1e-5, 5.1e-5, 5.1e-5, 5.1e-4, 5.1e-5]))
    {
        close(value, expected, tolerance);
    }
}

#[test]
fn right_handed_strikes() {
    let head = published_driver();
    for (toe, up, expected) in [
        (-20.0, 0.0, [64.2175, 7.9612, -4.1317, 2316.282, 9.7345]),
        (0.0, 0.0, [65.8117, 7.9074, -0.0585, 2437.242, 1.7464]),
        (20.0, 0.0, [64.5299, 7.9927, 4.0134, 2267.658, -6.2371]),
        (40.0, 0.0, [60.6617, 8.1917, 8.0855, 1878.809, -15.8702]),
        (0.0, 10.0, [65.1811, 10.0581, -0.0545, 2067.443, 1.8857]),
        (0.0, -10.0, [65.4843, 5.7301, -0.1182, 2809.957, 3.0583]),
    ] {
        agrees(&launch(&head, &square(9.8, toe, up), Hand::Right).unwrap(), expected);
    }
}

#[test]
fn left_handed_strike() {
    let delivery = Delivery {
        club_speed_mps: 44.704,
        attack_deg: -1.0,
        path_deg: 3.0,
        face_deg: 1.0,
        delivered_loft_deg: 11.0,
        strike_toe_mm: 12.0,
        strike_up_mm: -6.0,
    };
    let ball = launch(&published_driver(), &delivery, Hand::Left).unwrap();
    agrees(&ball, [64.7798, 7.4390, -1.0237, 3091.232, -6.1436]);
}

#[test]
fn without_roll() {
    let mut head = published_driver();
    head.roll_radius_m = None;
    let ball = launch(&head, &square(9.8, 20.0, 2.9), Hand::Right).unwrap();
    close(ball.ball_speed_mps, 64.5285, 5.1e-5);
    close(ball.launch_elevation_deg, 8.2200, 5.1e-5);
    close(ball.launch_azimuth_deg, 4.0059, 5.1e-5);
    let (sin, cos) = ball.spin_tilt_deg.to_radians().sin_cos();
    close(ball.spin_rpm * cos, 1967.366, 5.1e-4);
    close(ball.spin_rpm * sin, -237.069, 5.1e-4);
}
