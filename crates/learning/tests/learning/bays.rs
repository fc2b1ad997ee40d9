//! Direction errors of bays.

use learning::{BayOffset, BayOffsets, BayShot, fit_bay_offsets};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

const SEED: u64 = 61;

fn shot(bay: u32, player: u32, session: u32, azimuth: f64) -> BayShot {
    BayShot { bay, player, session, launch_azimuth_deg: Some(azimuth), path_deg: None, face_deg: None }
}

fn of(offsets: &BayOffsets, bay: u32) -> BayOffset {
    *offsets.bays.iter().find(|offset| offset.bay == bay).expect("a bay")
}

/// Ten readings about a mean, all `distance` away from it.
fn ten(bay: u32, player: u32, session: u32, mean: f64, distance: f64) -> Vec<BayShot> {
    (0..10)
        .map(|number| shot(bay, player, session, mean + if number % 2 == 0 { distance } else { -distance }))
        .collect()
}

#[test]
fn one_player_in_two_bays_gives_the_closed_form() {
    // [derived] Two bays N(0, 1) each, one player's session with ten readings in each: of the difference of means D only the spread
    // s^2 (1/10 + 1/10) is chance, of the difference of offsets the prior variance is 2, so its posterior is D 2 / (2 + s^2 / 5).
    // All readings lie 0.6745 from the middle, so the robust spread s is 1. The common part is symmetric and stays 0.
    let mut shots = ten(1, 7, 1, 0.6, 0.6745);
    shots.extend(ten(2, 7, 1, -0.6, 0.6745));
    let offsets = fit_bay_offsets(&shots, None);
    let difference = of(&offsets, 1).direction_offset_deg - of(&offsets, 2).direction_offset_deg;
    assert!((difference - 1.2 * 2.0 / 2.2).abs() < 1e-9, "{difference}");
    assert!((of(&offsets, 1).direction_offset_deg + of(&offsets, 2).direction_offset_deg).abs() < 1e-9);
    // The half difference has the posterior variance 1 / (2 + 1 / (1/20)) ... of the difference: 1 / (1/2 + 5).
    let from_difference = 0.25 / (0.5 + 5.0);
    let variance = of(&offsets, 1).direction_offset_sd_deg.powi(2);
    // The common part keeps nearly its prior variance 1/2: the player's mean direction is hardly known (5 degrees).
    assert!(variance > from_difference + 0.47 && variance < from_difference + 0.5, "{variance}");
    assert!(of(&offsets, 1).identified && of(&offsets, 2).identified);
    assert_eq!((of(&offsets, 1).crossing_players, of(&offsets, 1).shots), (1, 10));
}

#[test]
fn a_reference_bay_gives_the_other_its_absolute_offset() {
    // [derived] With the reference at 0 the other bay's posterior is D / (1 + s^2 / 5).
    let mut shots = ten(1, 7, 1, 0.9, 0.6745);
    shots.extend(ten(2, 7, 1, -0.3, 0.6745));
    let offsets = fit_bay_offsets(&shots, Some(2));
    assert!(of(&offsets, 2).direction_offset_deg.abs() < 1e-4);
    let offset = of(&offsets, 1);
    assert!((offset.direction_offset_deg - 1.2 / 1.2).abs() < 0.01, "{}", offset.direction_offset_deg);
    assert!(
        (offset.direction_offset_sd_deg - (0.2_f64 / 1.2).sqrt()).abs() < 0.01,
        "{}",
        offset.direction_offset_sd_deg
    );
}

#[test]
fn bays_that_nobody_crosses_are_not_identified() {
    let mut shots = ten(1, 1, 1, 1.0, 0.5);
    shots.extend(ten(2, 2, 1, -1.0, 0.5));
    shots.extend(ten(3, 3, 1, 0.4, 0.5));
    shots.extend(ten(4, 3, 1, -0.4, 0.5));
    // Two readings are no crossing.
    shots.extend([shot(1, 3, 2, 0.0), shot(1, 3, 2, 0.1)]);
    let offsets = fit_bay_offsets(&shots, None);
    for bay in [1, 2] {
        let offset = of(&offsets, bay);
        assert!(!offset.identified);
        assert_eq!((offset.direction_offset_deg, offset.direction_offset_sd_deg), (0.0, 1.0));
    }
    assert!(of(&offsets, 3).identified && of(&offsets, 4).identified);
    assert_eq!(of(&offsets, 3).component, of(&offsets, 4).component);
    assert_ne!(of(&offsets, 1).component, of(&offsets, 3).component);
    assert_eq!(fit_bay_offsets(&[], Some(1)), BayOffsets::default());
}

/// Players who use several bays in several sessions, some readings grossly wrong.
fn academy(seed: u64, wrong_share: f64) -> (Vec<BayShot>, Vec<f64>) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = || -> f64 { rng.sample(StandardNormal) };
    // Bay 0 was checked: it is the reference.
    let truth: Vec<f64> = (0..5).map(|bay| if bay == 0 { 0.0 } else { normal() }).collect();
    let mut shots = Vec::new();
    for player in 0..12 {
        let usual = 2.0 * normal();
        for session in 0..6 {
            let form = 0.7 * normal();
            let bay = (player + session) % 5;
            for number in 0..15 {
                let wrong = f64::from(number) < 15.0 * wrong_share;
                let direction = usual + form + 1.8 * normal();
                let azimuth = truth[bay as usize] + if wrong { 25.0 } else { direction };
                let path = truth[bay as usize] + direction + 1.0 * normal();
                shots.push(BayShot { path_deg: Some(path), ..shot(bay, player, session, azimuth) });
            }
        }
    }
    (shots, truth)
}

#[test]
fn deviations_hold_the_truth() {
    let (mut inside, mut differences, mut all) = (0.0, 0.0, 0.0);
    for number in 0..40 {
        let (shots, truth) = academy(SEED + number, 0.0);
        let offsets = fit_bay_offsets(&shots, Some(0));
        for bay in 1..5u32 {
            let offset = of(&offsets, bay);
            let off = offset.direction_offset_deg - truth[bay as usize];
            all += 1.0;
            differences += off * off;
            inside += f64::from(off.abs() <= 1.644_854 * offset.direction_offset_sd_deg);
            assert!(offset.path_offset_deg.is_some() && offset.face_offset_deg.is_none());
        }
    }
    let (share, error) = (inside / all, f64::sqrt(differences / all));
    println!("{share:.3} of offsets inside, error {error:.3} deg");
    assert!((0.82..=0.97).contains(&share), "seed {SEED}: {share:.3}");
    assert!(error < 0.45, "seed {SEED}: {error:.3}");
}

#[test]
fn one_wrong_reading_in_ten_changes_little() {
    for number in 0..5 {
        let (clean, _) = academy(SEED + number, 0.0);
        let (dirty, _) = academy(SEED + number, 0.1);
        let (one, other) = (fit_bay_offsets(&clean, None), fit_bay_offsets(&dirty, None));
        for (here, there) in one.bays.iter().zip(&other.bays) {
            let moved = (here.direction_offset_deg - there.direction_offset_deg).abs();
            assert!(moved < 0.25, "seed {SEED} + {number}, bay {}: moved by {moved}", here.bay);
        }
    }
}

#[test]
fn order_does_not_matter_and_the_mirror_turns_the_sign() {
    let (mut shots, _) = academy(SEED, 0.0);
    let first = fit_bay_offsets(&shots, None);
    shots.reverse();
    assert_eq!(fit_bay_offsets(&shots, None), first);
    for shot in &mut shots {
        shot.launch_azimuth_deg = shot.launch_azimuth_deg.map(|azimuth| -azimuth);
    }
    let mirrored = fit_bay_offsets(&shots, None);
    for (one, other) in first.bays.iter().zip(&mirrored.bays) {
        assert!((one.direction_offset_deg + other.direction_offset_deg).abs() < 1e-6, "{one:?} {other:?}");
        assert!((one.direction_offset_sd_deg - other.direction_offset_sd_deg).abs() < 1e-6);
    }
}
