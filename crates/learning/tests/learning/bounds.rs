//! What must hold of every fit: wrong shots steer little, order and hand do not matter, nothing breaks it.

use academy::{DeviceKind, TrueHead};
use learning::{Learned, LearningShot, PlayerClubModel, Unlearned, fit_player_club};
use proptest::prelude::*;
use rand::seq::SliceRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use verdict::{Evidence, Known};

use crate::players::{head, season, sessions};

const SEED: u64 = 5;

fn told(model: &PlayerClubModel, learned: Learned) -> f64 {
    model.get(learned).unwrap_or_else(|| panic!("{learned:?} is not told"))
}

#[test]
fn one_wrong_shot_in_ten_changes_little() {
    for number in 0..6 {
        let season = season(&DeviceKind::strike_lines(), number, SEED, (8, 20), (0, 0));
        let clean = season.shots();
        let mut dirty = clean.clone();
        let mut rng = ChaCha8Rng::seed_from_u64(SEED + number as u64);
        for shot in dirty.iter_mut().step_by(10) {
            // Topped balls, another club's shots, readings of another ball.
            let kind = rng.random_range(0..3);
            let evidence = &mut shot.evidence;
            let scale = |evidence: &mut Evidence, known, factor: f64| {
                let value = evidence.get(known).map(|value| value * factor);
                evidence.set(known, value);
            };
            match kind {
                0 => {
                    scale(evidence, Known::BallSpeed, 0.5);
                    scale(evidence, Known::LaunchElevation, 0.2);
                }
                1 => {
                    scale(evidence, Known::BallSpeed, 0.75);
                    scale(evidence, Known::Spin, 2.5);
                    scale(evidence, Known::DeliveredLoft, 2.0);
                    scale(evidence, Known::ClubSpeed, 0.85);
                }
                _ => {
                    scale(evidence, Known::StrikeToe, -3.0);
                    evidence.set(Known::LaunchAzimuth, Some(25.0));
                    evidence.set(Known::SpinTilt, Some(40.0));
                }
            }
        }
        let one = fit_player_club(&clean, season.profile()).expect("clean shots");
        let other = fit_player_club(&dirty, season.profile()).expect("nine good shots in ten");
        assert!(
            told(&other, Learned::ShotsSetAside) >= 12.0,
            "player {number}: {:?}",
            other.get(Learned::ShotsSetAside)
        );
        for (learned, limit) in [
            (Learned::ReferenceClubSpeed, 0.6),
            (Learned::ReferenceAttack, 0.4),
            (Learned::ReferenceDeliveredLoft, 0.6),
            (Learned::HeadRestitution, 0.008),
            (Learned::HeadCgToe, 0.001),
            (Learned::HabitToe, 2.5),
        ] {
            let moved = told(&one, learned) - told(&other, learned);
            assert!(moved.abs() < limit, "seed {SEED}, player {number}: {learned:?} moved by {moved}");
        }
    }
}

#[test]
fn the_order_of_the_shots_does_not_matter() {
    let season = season(&DeviceKind::strike_lines(), 1, SEED, (4, 12), (0, 0));
    let mut shots = season.shots();
    let first = fit_player_club(&shots, season.profile());
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    for _ in 0..3 {
        shots.shuffle(&mut rng);
        assert_eq!(fit_player_club(&shots, season.profile()), first);
    }
}

#[test]
fn a_left_hander_is_learned_as_the_mirror_image() {
    let season = season(&DeviceKind::strike_lines(), 2, SEED, (6, 12), (0, 0));
    let shots = season.shots();
    let mut mirrored = shots.clone();
    for shot in &mut mirrored {
        for known in [
            Known::LaunchAzimuth,
            Known::SpinTilt,
            Known::Path,
            Known::Face,
            Known::Hand,
            Known::StockPath,
            Known::StockFace,
            Known::Aim,
        ] {
            let value = shot.evidence.get(known).map(|value| 0.0 - value);
            shot.evidence.set(known, value);
        }
    }
    let one = fit_player_club(&shots, season.profile()).expect("a model");
    let other = fit_player_club(&mirrored, season.profile()).expect("a model");
    for (position, (name, _, _)) in PlayerClubModel::NUMBERS.iter().enumerate() {
        let turns = ["habit_path_deg", "habit_face_deg", "direction_offset_deg"].contains(name);
        let side = if turns { -1.0 } else { 1.0 };
        let (Some(here), Some(there)) = (one.number_at(position), other.number_at(position)) else {
            assert_eq!(one.number_at(position), other.number_at(position), "{name}");
            continue;
        };
        assert!((here - side * there).abs() <= 1e-6 * (1.0 + here.abs()), "{name}: {here} and {there}");
    }
}

#[test]
fn the_same_shot_many_times_breaks_nothing() {
    let season = season(&DeviceKind::strike_lines(), 3, SEED, (1, 1), (0, 0));
    let shots = vec![season.shots()[0].clone(); 50];
    let model = fit_player_club(&shots, season.profile()).expect("a model");
    let speed = shots[0].evidence.get(Known::ClubSpeed).expect("measured");
    assert!((told(&model, Learned::ReferenceClubSpeed) - speed).abs() < 0.5);
}

#[test]
fn what_is_not_identified_is_not_told() {
    for device in [DeviceKind::hall_metric(), DeviceKind::ball_only(), DeviceKind::plain_imperial()] {
        let season = season(&device, 4, SEED, (6, 15), (0, 0));
        let model = fit_player_club(&season.shots(), season.profile()).expect("a model");
        assert!(!model.strike_identified && !model.direction_identified, "{}", device.name);
        for learned in [
            Learned::HabitToe,
            Learned::HabitUp,
            Learned::DirectionOffset,
            Learned::LoftOffset,
            Learned::HeadRestitution,
            Learned::HeadCgToe,
            Learned::GearGainLateral,
        ] {
            assert_eq!(model.get(learned), None, "{}: {learned:?}", device.name);
        }
        assert!(model.get(Learned::ReferenceClubSpeed).is_some(), "{}", device.name);
    }
}

#[test]
fn an_iron_tells_of_the_strike_only_where_it_was_measured() {
    let mut season = season(&DeviceKind::swing(), 5, SEED, (1, 1), (0, 0));
    let iron = head("iron-mid");
    assert!(!iron.reveals_strike);
    let club = &mut season.player.clubs[0];
    club.head = TrueHead::exactly(&iron);
    club.profile = iron.clone();
    club.habits.loft_deg.mean = iron.typical_delivered_loft_deg;
    club.habits.attack_deg.mean = iron.typical_attack_deg;
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    for (device, identified) in [(DeviceKind::swing(), false), (DeviceKind::strike_lines(), true)] {
        let hits = sessions(&season.player, &device, (6, 15), 50, &mut rng);
        let shots: Vec<LearningShot> = hits.into_iter().map(|hit| hit.shot).collect();
        let model = fit_player_club(&shots, &iron).expect("a model");
        assert_eq!(model.strike_identified, identified, "{}", device.name);
    }
}

#[test]
fn too_few_shots_teach_nothing() {
    let season = season(&DeviceKind::strike_lines(), 6, SEED, (1, 11), (0, 0));
    assert_eq!(
        fit_player_club(&season.shots(), season.profile()),
        Err(Unlearned::TooFewShots { usable: 11, needed: 12 })
    );
    assert_eq!(fit_player_club(&[], season.profile()), Err(Unlearned::TooFewShots { usable: 0, needed: 12 }));
}

#[test]
fn only_the_latest_four_hundred_shots_of_a_year_count() {
    let season = season(&DeviceKind::strike_lines(), 7, SEED, (1, 30), (0, 0));
    let mut shots = season.shots();
    for shot in &mut shots {
        shot.day = 10;
    }
    let young = fit_player_club(&shots, season.profile());
    let mut with_old = shots.clone();
    for shot in season.shots() {
        with_old.push(LearningShot { day: 400, session: 9, ..shot });
    }
    assert_eq!(fit_player_club(&with_old, season.profile()), young);
    let many: Vec<LearningShot> = shots.iter().cycle().take(900).cloned().collect();
    let model = fit_player_club(&many, season.profile()).expect("a model");
    assert!((told(&model, Learned::ShotsUsed) - 400.0).abs() < 1e-9);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]
    #[test]
    fn no_readings_break_a_fit(
        numbers in prop::collection::vec(prop::collection::vec(prop::option::of(-1e4f64..1e4), 39), 12..20),
        scale in prop::sample::select(vec![1e-6, 1e-3, 1.0, 1e6]),
    ) {
        let shots: Vec<LearningShot> = numbers
            .iter()
            .enumerate()
            .map(|(shot, numbers)| {
                let mut evidence = Evidence::default();
                for (position, value) in numbers.iter().enumerate() {
                    evidence.set_at(position, value.map(|value| value * scale));
                }
                // A ball speed that can be, so that the shot is looked at at all.
                evidence.set(Known::BallSpeed, Some(40.0 + shot as f64));
                for known in [Known::BallSpeedSd, Known::LaunchElevationSd, Known::LaunchAzimuthSd] {
                    evidence.set(known, Some(0.3));
                }
                let number = u32::try_from(shot).expect("a small number");
                LearningShot { evidence, session: number % 3, day: number.cast_signed() - 3 }
            })
            .collect();
        if let Ok(model) = fit_player_club(&shots, &head("modern-driver")) {
            for position in 0..PlayerClubModel::NUMBERS.len() {
                prop_assert!(model.number_at(position).is_none_or(f64::is_finite));
            }
        }
    }
}
