//! Every combination of measured and missing: all subsets of the groups of quantities that devices measure, for a wood and an iron.

use impact::{Delivery, Hand, HeadProfile};
use verdict::{Evidence, Judge, Known, Settings, ShotVerdict, Told};

use crate::heads::head;

/// Groups of quantities: the launch piece by piece, the delivery piece by piece, each axis of the strike.
const GROUPS: usize = 11;
const QUANTITIES: [(Known, Known, f64); GROUPS] = [
    (Known::BallSpeed, Known::BallSpeedSd, 0.3),
    (Known::LaunchElevation, Known::LaunchElevationSd, 0.2),
    (Known::LaunchAzimuth, Known::LaunchAzimuthSd, 0.2),
    (Known::Spin, Known::SpinSd, 80.0),
    (Known::SpinTilt, Known::SpinTiltSd, 1.2),
    (Known::ClubSpeed, Known::ClubSpeedSd, 0.4),
    (Known::Attack, Known::AttackSd, 0.6),
    (Known::Path, Known::PathSd, 0.6),
    (Known::Face, Known::FaceSd, 0.6),
    (Known::DeliveredLoft, Known::DeliveredLoftSd, 0.8),
    (Known::StrikeToe, Known::StrikeSd, 1.5),
];
const BALL_SPEED: usize = 1;
const CLUB_SPEED: usize = 1 << 5;
const TILT: usize = 1 << 4;
const STRIKE: usize = 1 << 10;

/// A shot that the model makes, a little off in everything, as a device that measures the groups of `mask` reports it.
fn evidence(head: &HeadProfile, mask: usize) -> (Evidence, [f64; 5]) {
    let delivery = Delivery {
        club_speed_mps: head.typical_club_speed_mps + 0.5,
        attack_deg: head.typical_attack_deg - 0.5,
        path_deg: 2.0,
        face_deg: 1.0,
        delivered_loft_deg: head.typical_delivered_loft_deg + 0.5,
        strike_toe_mm: 14.0,
        strike_up_mm: -4.0,
    };
    let launch = impact::launch(head, &delivery, Hand::Right).expect("a usual delivery").to_array();
    let [speed, attack, path, face, loft, toe, up] = delivery.to_array();
    let [ball_speed, elevation, azimuth, spin, tilt] = launch;
    let numbers = [ball_speed, elevation, azimuth, spin, tilt, speed, attack, path, face, loft, toe];
    let mut evidence = Evidence::default();
    for (group, ((value, deviation, sd), number)) in QUANTITIES.into_iter().zip(numbers).enumerate() {
        if mask & (1 << group) != 0 {
            evidence.set(value, Some(number));
            evidence.set(deviation, Some(sd));
        }
    }
    evidence.set(Known::StrikeUp, (mask & STRIKE != 0).then_some(up));
    evidence.set(Known::ReferenceClubSpeed, Some(head.typical_club_speed_mps));
    evidence.set(Known::ReferenceAttack, Some(head.typical_attack_deg));
    evidence.set(Known::ReferenceDeliveredLoft, Some(head.typical_delivered_loft_deg));
    (evidence, launch)
}

fn judged(name: &str) -> Vec<(usize, ShotVerdict, [f64; 5])> {
    let (judge, head) = (Judge::new(Settings::default()), head(name));
    (0..1 << GROUPS)
        .map(|mask| {
            let (evidence, launch) = evidence(&head, mask);
            (mask, judge.judge(&evidence, &head), launch)
        })
        .collect()
}

const LIKELY: [(Told, Told); 5] = [
    (Told::LikelyBallSpeed, Told::LikelyBallSpeedSd),
    (Told::LikelyLaunchElevation, Told::LikelyLaunchElevationSd),
    (Told::LikelyLaunchAzimuth, Told::LikelyLaunchAzimuthSd),
    (Told::LikelySpin, Told::LikelySpinSd),
    (Told::LikelySpinTilt, Told::LikelySpinTiltSd),
];

#[test]
fn every_subset_tells_what_can_be_told_and_says_why_the_rest_cannot() {
    for (name, reveals) in [("modern-driver", true), ("iron-mid", false)] {
        let (mut told_losses, mut predicted) = (0, 0);
        for (mask, told, launch) in judged(name) {
            let loss = told.get(Told::CarryLostToStrike);
            assert!(loss.is_some() || told.reason.is_some(), "{name} {mask:b}: {told:?}");
            assert!(told.miss.is_some() || told.reason.is_some(), "{name} {mask:b}: {told:?}");
            assert!(told.get(Told::Carry).is_some() == told.get(Told::CarrySd).is_some(), "{name} {mask:b}");
            if mask & (BALL_SPEED | CLUB_SPEED) == 0 {
                assert_eq!(told.reason.as_deref(), Some("neither ball speed nor club speed was measured"));
                assert_eq!(told.get(Told::Carry), None);
                continue;
            }
            // The device made no error and the head is the profile, but the strike lies more than a deviation off the middle.
            for (quantity, (value, deviation)) in LIKELY.into_iter().enumerate() {
                let (value, sd) = (told.get(value).expect("predicted"), told.get(deviation).expect("stated"));
                assert!((value - launch[quantity]).abs() <= 3.0 * sd, "{name} {mask:b} {quantity}: {value} +- {sd}");
            }
            predicted += 1;
            let strike_measured = mask & STRIKE != 0;
            if !reveals && !strike_measured {
                assert_eq!(loss, None, "{name} {mask:b}");
                assert!(told.reason.as_deref().is_some_and(|why| why.contains("hardly reveals")), "{told:?}");
            }
            if reveals && !strike_measured && mask & TILT == 0 {
                assert_eq!(loss, None, "{name} {mask:b}");
            }
            assert_eq!(told.strike_source.as_deref(), Some(if strike_measured { "measured" } else { "inferred" }));
            told_losses += usize::from(loss.is_some());
        }
        println!("{name}: {predicted} subsets with a launch, {told_losses} with the carry lost");
        assert!(predicted == 3 << (GROUPS - 2));
        // Half of the subsets have the strike measured; an iron tells no others, a wood some of them.
        let with_strike = 3 << (GROUPS - 3);
        assert!(told_losses * 10 >= with_strike * 9, "{name}: only {told_losses}");
        assert_eq!(told_losses > with_strike, reveals, "{name}: {told_losses}");
    }
}

/// What is measured in place of the launch: path and face for the start direction, club speed for the ball's, loft for the elevation.
#[test]
fn a_delivery_with_measured_strike_alone_predicts_the_flight() {
    let launch_groups = 0b11111;
    let (_, told, launch) = judged("modern-driver").swap_remove(((1 << GROUPS) - 1) & !launch_groups);
    assert!(told.get(Told::LikelyBallSpeedSd).expect("stated") < 0.025 * launch[0]);
    assert!(told.get(Told::LikelyLaunchAzimuthSd).expect("stated") < 1.5);
    assert!(told.get(Told::Carry).is_some() && told.get(Told::CarryLostToStrike).is_some(), "{told:?}");
}

/// Each axis of the strike stands for itself.
#[test]
fn one_measured_axis_of_the_strike_is_used_and_named() {
    let (judge, driver) = (Judge::new(Settings::default()), head("modern-driver"));
    let everything = (1 << GROUPS) - 1;
    let (both, _) = evidence(&driver, everything);
    let both = judge.judge(&both, &driver);
    for (missing, left, gone, word) in [
        (Known::StrikeUp, Told::StrikeToeSd, Told::StrikeUpSd, "toe only"),
        (Known::StrikeToe, Told::StrikeUpSd, Told::StrikeToeSd, "height only"),
    ] {
        let (mut one, _) = evidence(&driver, everything);
        one.set(missing, None);
        let told = judge.judge(&one, &driver);
        assert_eq!(told.strike_source.as_deref(), Some(word));
        let sd = |verdict: &ShotVerdict, what| verdict.get(what).expect("told");
        assert!((sd(&told, left) - sd(&both, left)).abs() < 0.2, "{word}");
        assert!(sd(&told, gone) > 1.3 * sd(&both, gone), "{word}");
        assert!(told.get(Told::CarryLostToStrike).is_some(), "{word}: {told:?}");
        let iron = head("iron-mid");
        let (mut one, _) = evidence(&iron, everything);
        one.set(missing, None);
        assert_eq!(judge.judge(&one, &iron).get(Told::CarryLostToStrike), None, "{word}");
    }
}
