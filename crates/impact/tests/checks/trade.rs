//! What the trade says of off-centre strikes, and where the model says otherwise. Every fact here is [common practice, no source];
//! no constant is tuned to any of them.

use impact::{BallLaunch, Delivery, Hand, HeadKind, HeadProfile, launch};

use crate::common::{published_driver, shipped, square};
use crate::flown::{flown, fly_ball};

fn at(toe_mm: f64, up_mm: f64) -> BallLaunch {
    launch(&published_driver(), &square(9.8, toe_mm, up_mm), Hand::Right).unwrap()
}

fn woods() -> Vec<HeadProfile> {
    let is_wood = |head: &HeadProfile| matches!(head.kind, HeadKind::Driver | HeadKind::FairwayWood);
    shipped().heads.into_iter().filter(is_wood).collect()
}

fn usual(head: &HeadProfile, toe_mm: f64, up_mm: f64) -> BallLaunch {
    let numbers = [
        head.typical_club_speed_mps,
        head.typical_attack_deg,
        0.0,
        0.0,
        head.typical_delivered_loft_deg,
        toe_mm,
        up_mm,
    ];
    launch(head, &Delivery::from_array(numbers), Hand::Right).unwrap()
}

#[test]
fn a_toe_strike_starts_toward_the_toe_and_curves_back() {
    // [common practice, no source]; heel the reverse. Relative to the centred ball, which itself may curve a little.
    for head in woods() {
        let (heel, centre, toe) = (usual(&head, -20.0, 0.0), usual(&head, 0.0, 0.0), usual(&head, 20.0, 0.0));
        assert!(toe.launch_azimuth_deg > centre.launch_azimuth_deg + 1.0, "{}", head.name);
        assert!(heel.launch_azimuth_deg < centre.launch_azimuth_deg - 1.0, "{}", head.name);
        assert!(toe.spin_tilt_deg < centre.spin_tilt_deg - 3.0, "{}", head.name);
        assert!(heel.spin_tilt_deg > centre.spin_tilt_deg + 3.0, "{}", head.name);
    }
}

#[test]
fn high_launches_higher_with_less_spin_and_low_the_reverse() {
    // [common practice, no source].
    for head in woods() {
        let (low, centre, high) = (usual(&head, 0.0, -10.0), usual(&head, 0.0, 0.0), usual(&head, 0.0, 10.0));
        assert!(
            high.launch_elevation_deg > centre.launch_elevation_deg && high.spin_rpm < centre.spin_rpm,
            "{}",
            head.name
        );
        assert!(
            low.launch_elevation_deg < centre.launch_elevation_deg && low.spin_rpm > centre.spin_rpm,
            "{}",
            head.name
        );
    }
}

#[test]
fn toe_and_heel_cost_ball_speed() {
    // [common practice, no source].
    for head in shipped().heads {
        let speed = |toe: f64| usual(&head, toe, 0.0).ball_speed_mps;
        // Some heads are fastest a little off the centre of the face, toward their centre of gravity; 20 mm is beyond that.
        assert!(speed(20.0) < speed(0.0) && speed(-20.0) < speed(0.0), "{}", head.name);
    }
}

#[test]
fn toe_and_heel_fly_lower_and_shorter() {
    // [common practice, no source].
    for head in woods() {
        let landing = |toe: f64| fly_ball(&usual(&head, toe, 0.0));
        let centred = landing(0.0);
        for toe in [-30.0, -20.0, 20.0, 30.0] {
            let off = landing(toe);
            assert!(off.carry_m < centred.carry_m && off.peak_height_m < centred.peak_height_m, "{} {toe}", head.name);
        }
    }
}

#[test]
fn an_extreme_strike_costs_a_tenth_to_a_sixth_of_the_carry() {
    // [common practice, no source] for 35-40 mm off. MODEL AND TRADE DIFFER a little toward the heel: 18 % at 40 mm.
    let head = published_driver();
    let centred = flown(&head, 0.0);
    for (toe_mm, most) in [(-40.0, 0.19), (-35.0, 1.0 / 6.0), (35.0, 1.0 / 6.0), (40.0, 1.0 / 6.0)] {
        let lost = 1.0 - flown(&head, toe_mm).carry_m / centred.carry_m;
        assert!((0.1..most).contains(&lost), "{toe_mm} mm costs {lost}");
    }
}

#[test]
fn a_toe_strike_spins_less_and_so_does_a_heel_strike() {
    // The trade says that the toe spins less than the centre, which this head's model gives, and that the heel spins MORE than
    // the centre. MODEL AND TRADE DIFFER there: the free head gives 2437 rpm centred, 2316 at 20 mm heel, 2268 at 20 mm toe. What
    // the model does give is more spin from the heel than from the toe, by the products of inertia; with none the two are alike.
    assert!(at(20.0, 0.0).spin_rpm < at(0.0, 0.0).spin_rpm);
    assert!(at(-20.0, 0.0).spin_rpm < at(0.0, 0.0).spin_rpm);
    assert!(at(-20.0, 0.0).spin_rpm > at(20.0, 0.0).spin_rpm + 40.0);
    let mut symmetric = published_driver();
    symmetric.cg_m[2] = 0.0;
    for (row, column) in [(0, 1), (0, 2), (1, 2)] {
        symmetric.inertia_kg_m2[row][column] = 0.0;
        symmetric.inertia_kg_m2[column][row] = 0.0;
    }
    let spin = |toe: f64| launch(&symmetric, &square(9.8, toe, 0.0), Hand::Right).unwrap().spin_rpm;
    assert!((spin(-20.0) - spin(20.0)).abs() < 1e-6);
}

#[test]
fn a_toe_strike_launches_no_lower() {
    // The trade says that a toe strike launches lower. MODEL AND TRADE DIFFER: on this head the ball leaves a tenth of a degree
    // higher (7.99 against 7.91 deg); it flies lower all the same, for want of speed.
    let rise = at(20.0, 0.0).launch_elevation_deg - at(0.0, 0.0).launch_elevation_deg;
    assert!(rise > 0.0 && rise < 0.2, "{rise}");
}

#[test]
fn a_centred_strike_takes_most_of_its_direction_from_the_face() {
    // [common practice, no source]: "about four fifths" with a driver, less with loft.
    let share = |head: &HeadProfile| {
        let with_face = |face_deg: f64| {
            let numbers = [head.typical_club_speed_mps, 0.0, 0.0, face_deg, head.typical_delivered_loft_deg, 0.0, 0.0];
            launch(head, &Delivery::from_array(numbers), Hand::Right).unwrap().launch_azimuth_deg
        };
        // Over one degree.
        with_face(0.5) - with_face(-0.5)
    };
    for head in shipped().heads {
        let share = share(&head);
        assert!((0.6..0.95).contains(&share), "{}: {share}", head.name);
    }
}
