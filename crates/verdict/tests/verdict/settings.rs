//! What a site, a bay, a learned head and a known ball change, each against the same thing said in another way.

use flight::BallProfile;
use impact::{HeadKind, HeadProfile};
use verdict::{Evidence, Judge, Known, Settings, ShotVerdict, Told};

use crate::heads::head;
use crate::varied::varied_shots;

fn shots() -> Vec<(Evidence, HeadProfile)> {
    let heads = ["published-driver", "older-driver"].map(head);
    varied_shots(&heads, 4, 29).into_iter().map(|shot| (shot.evidence, shot.head)).collect()
}

/// All that the verdicts say is the same, numbers to a share of `within`.
fn assert_same(one: &ShotVerdict, other: &ShotVerdict, within: f64) {
    assert_eq!((&one.miss, &one.cause, &one.reason), (&other.miss, &other.cause, &other.reason));
    assert_eq!((&one.strike_zone, one.misread), (&other.strike_zone, other.misread));
    for (position, (name, ..)) in ShotVerdict::NUMBERS.iter().enumerate() {
        match (one.number_at(position), other.number_at(position)) {
            (None, None) => {}
            (Some(one), Some(other)) => {
                assert!((one - other).abs() <= within * (1.0 + one.abs()), "{name}: {one} against {other}");
            }
            told => panic!("{name}: {told:?}"),
        }
    }
}

/// A bay turned by two degrees reads every direction two degrees too far right, and what it reads of the landing as well.
#[test]
fn a_turned_bay_whose_offset_is_known_gives_the_verdict_of_the_straight_one() {
    let judge = Judge::new(Settings::default());
    let mut told_losses = 0;
    for (straight, head) in shots() {
        let mut turned = straight.clone();
        for direction in [Known::LaunchAzimuth, Known::Path, Known::Face] {
            turned.set(direction, straight.get(direction).map(|reading| reading + 2.0));
        }
        if let (Some(lateral), Some(carry)) = (straight.get(Known::Lateral), straight.get(Known::Carry)) {
            turned.set(Known::Lateral, Some(lateral + 2f64.to_radians().sin() * carry));
        } else {
            turned.set(Known::Lateral, None);
        }
        let mut straight = straight;
        straight.set(Known::Lateral, straight.get(Known::Lateral).filter(|_| straight.get(Known::Carry).is_some()));
        turned.set(Known::BayDirectionOffset, Some(2.0));
        let (one, other) = (judge.judge(&straight, &head), judge.judge(&turned, &head));
        assert_same(&one, &other, 1e-6);
        told_losses += usize::from(one.get(Told::CarryLostToStrike).is_some());
        // The same readings of a bay that stands straight mean another shot.
        turned.set(Known::BayDirectionOffset, None);
        assert_ne!(judge.judge(&turned, &head).get(Told::LikelyLaunchAzimuth), one.get(Told::LikelyLaunchAzimuth));
    }
    assert!(told_losses >= 10, "{told_losses}");
}

/// The less the bay's direction is known, the less is known of where the ball went.
#[test]
fn an_uncertain_bay_widens_what_is_told_of_the_direction() {
    let judge = Judge::new(Settings::default());
    for (mut evidence, head) in shots() {
        let sure = judge.judge(&evidence, &head);
        evidence.set(Known::BayDirectionOffset, Some(0.0));
        evidence.set(Known::BayDirectionOffsetSd, Some(0.8));
        let unsure = judge.judge(&evidence, &head);
        let sd = |verdict: &ShotVerdict| verdict.get(Told::LikelyLaunchAzimuthSd).expect("told");
        assert!(sd(&unsure) > 1.1 * sd(&sure), "{} against {}", sd(&unsure), sd(&sure));
    }
}

/// Every uncertain figure of a head with its deviation, as the evidence names them, in the order of the profile's own.
const LEARNED: [(Known, Known); impact::NUISANCES] = [
    (Known::HeadRestitution, Known::HeadRestitutionSd),
    (Known::HeadRestitutionFalloff, Known::HeadRestitutionFalloffSd),
    (Known::HeadInertiaScale, Known::HeadInertiaScaleSd),
    (Known::HeadCgNormal, Known::HeadCgNormalSd),
    (Known::HeadCgUp, Known::HeadCgUpSd),
    (Known::HeadCgToe, Known::HeadCgToeSd),
    (Known::HeadBulgeCurvature, Known::HeadBulgeCurvatureSd),
    (Known::HeadFriction, Known::HeadFrictionSd),
];

#[test]
fn a_learned_head_gives_the_verdict_of_a_profile_written_so() {
    let judge = Judge::new(Settings::default());
    let mut differ = 0;
    for (evidence, profile) in shots() {
        let mut written = profile.clone();
        written.restitution = 0.8;
        written.cg_m[1] -= 0.002;
        written.cg_m[2] += 0.003;
        let mut learned = evidence.clone();
        let (means, deviations) = (written.nuisances(), written.nuisance_deviations());
        for (position, (mean, deviation)) in LEARNED.into_iter().enumerate() {
            learned.set(mean, Some(means[position]));
            learned.set(deviation, Some(deviations[position]));
        }
        let by_evidence = judge.judge(&learned, &profile);
        assert_same(&judge.judge(&evidence, &written), &by_evidence, 1e-9);
        differ += usize::from(judge.judge(&evidence, &profile) != by_evidence);
    }
    assert!(differ > 10, "the head hardly matters: {differ}");
}

#[test]
fn scales_of_the_ball_give_the_verdict_of_a_ball_so_scaled() {
    let judge = Judge::new(Settings::default());
    for (evidence, head) in shots() {
        let mut scaled = evidence.clone();
        scaled.set(Known::BallDragScale, Some(0.95));
        scaled.set(Known::BallLiftScale, Some(1.04));
        // A scale says that the ball was fitted, so one is said of the other ball too.
        let mut unscaled = evidence.clone();
        unscaled.set(Known::BallDragScale, Some(1.0));
        let ball = BallProfile { drag_scale: 0.95, lift_scale: 1.04, ..BallProfile::default() };
        let by_scale = judge.judge(&scaled, &head);
        assert_same(&by_scale, &judge.judge_with(&unscaled, &head, &ball), 1e-9);
        if let (Some(scaled), Some(usual)) =
            (by_scale.get(Told::ReferenceCarry), judge.judge(&unscaled, &head).get(Told::ReferenceCarry))
        {
            assert!(scaled > usual, "less drag and more lift carry a ball farther: {scaled} against {usual}");
        }
    }
}

/// A device whose carries are all nine per cent below the model's does not make shots short.
#[test]
fn a_constant_ratio_of_carries_makes_no_shot_short() {
    let judge = Judge::new(Settings::default());
    let mut compared = 0;
    for (mut evidence, head) in shots() {
        evidence.set(Known::Carry, None);
        evidence.set(Known::Lateral, None);
        let modelled = judge.judge(&evidence, &head);
        let (Some(carry), Some(miss)) = (modelled.get(Told::Carry), modelled.miss.clone()) else { continue };
        evidence.set(Known::Carry, Some(0.91 * carry));
        evidence.set(Known::CarrySd, Some(1.0));
        evidence.set(Known::UsualCarryRatio, Some(0.91));
        evidence.set(Known::UsualCarryRatioSd, Some(0.002));
        let measured = judge.judge(&evidence, &head);
        let reference = |verdict: &ShotVerdict| verdict.get(Told::ReferenceCarry).expect("told");
        assert!((reference(&measured) / reference(&modelled) - 0.91).abs() < 0.005);
        assert_eq!(measured.miss.as_deref(), Some(miss.as_str()));
        compared += 1;
    }
    assert!(compared >= 20, "{compared}");
}

#[test]
fn the_corridor_of_a_kind_is_used_for_that_kind_alone() {
    let usual = Judge::new(Settings::default());
    let narrow = |kind| Judge::new(Settings { corridor_share_of_kind: vec![(kind, 0.001)], ..Settings::default() });
    let (drivers, wedges) = (narrow(HeadKind::Driver), narrow(HeadKind::Wedge));
    let mut mended = 0;
    for (evidence, head) in shots() {
        let verdict = usual.judge(&evidence, &head);
        assert_eq!(wedges.judge(&evidence, &head), verdict);
        if verdict.miss.as_deref() == Some("none") && verdict.get(Told::Lateral).is_some_and(|off| off.abs() > 3.0) {
            let miss = drivers.judge(&evidence, &head).miss;
            assert!(miss.as_deref() != Some("none"), "{miss:?}");
            mended += 1;
        }
    }
    assert!(mended >= 5, "{mended}");
}
