//! What must hold for any input, and a second, slow implementation for small ones.

use linking::{LinkSettings, MarkFate, MarkMoment, ShotMoment, link};
use proptest::prelude::*;

fn shot(seconds: f64) -> ShotMoment {
    ShotMoment { seconds, player: None, club: None }
}

fn mark(seconds: f64) -> MarkMoment {
    MarkMoment { seconds, seconds_sd: 1.5, player: None, club: None }
}

/// Every alignment that does not cross, enumerated: for each pair the probability given the offset 0.
fn by_enumeration(shots: &[f64], marks: &[f64], settings: &LinkSettings) -> Vec<Vec<f64>> {
    fn density(error: f64, deviation: f64) -> f64 {
        (-0.5 * (error / deviation).powi(2)).exp() / (deviation * (std::f64::consts::TAU).sqrt())
    }
    fn walk(state: &mut State<'_>, mark: usize, first_shot: usize, weight: f64, chosen: &mut Vec<(usize, usize)>) {
        if mark == state.marks.len() {
            state.total += weight;
            for (mark, shot) in chosen.iter() {
                state.sums[*mark][*shot] += weight;
            }
            return;
        }
        walk(state, mark + 1, first_shot, weight, chosen);
        for shot in first_shot..state.shots.len() {
            let error = state.shots[shot] - state.marks[mark];
            let careless = state.settings.careless_share;
            let density = (1.0 - careless) * density(error, 1.5)
                + careless * density(error, state.settings.careless_sd_s.hypot(1.5));
            let (no_shot, no_mark) = (state.settings.missing_shot_share, state.settings.missing_mark_share);
            let pair = density * (1.0 - no_shot) * (1.0 - no_mark) / (no_shot * no_mark * state.rate);
            chosen.push((mark, shot));
            walk(state, mark + 1, shot + 1, weight * pair, chosen);
            chosen.pop();
        }
    }
    struct State<'a> {
        shots: &'a [f64],
        marks: &'a [f64],
        settings: &'a LinkSettings,
        rate: f64,
        total: f64,
        sums: Vec<Vec<f64>>,
    }
    let mut gaps: Vec<f64> = shots.windows(2).map(|pair| pair[1] - pair[0]).collect();
    gaps.sort_by(f64::total_cmp);
    let rate = 1.0 / gaps.get(gaps.len() / 2).copied().unwrap_or(40.0).clamp(2.0, 600.0);
    let sums = vec![vec![0.0; shots.len()]; marks.len()];
    let mut state = State { shots, marks, settings, rate, total: 0.0, sums };
    walk(&mut state, 0, 0, 1.0, &mut Vec::new());
    let total = state.total;
    state.sums.iter().map(|row| row.iter().map(|sum| sum / total).collect()).collect()
}

/// `[derived, two implementations]`: prefix sums over chains against the enumeration of all alignments.
#[test]
fn probabilities_are_those_of_all_alignments_together() {
    let cases: [(&[f64], &[f64]); 4] = [
        (&[0.0, 4.0, 9.0], &[0.5, 5.0, 8.0]),
        (&[0.0, 3.0, 6.0, 9.0, 12.0], &[1.5, 4.5, 7.5]),
        (&[0.0, 20.0, 21.0, 22.0], &[0.0, 21.4, 21.6, 23.0]),
        (&[5.0], &[4.0, 5.0, 6.0]),
    ];
    // A known offset leaves one point of the grid, and a threshold above one makes every fate a list of candidates.
    let settings =
        LinkSettings { largest_offset_s: 0.0, certain_enough: 2.0, worth_naming: 0.0, ..LinkSettings::default() };
    let mut compared = 0;
    for (shots, marks) in cases {
        let expected = by_enumeration(shots, marks, &settings);
        let shot_moments: Vec<ShotMoment> = shots.iter().copied().map(shot).collect();
        let mark_moments: Vec<MarkMoment> = marks.iter().copied().map(mark).collect();
        let linking = link(&shot_moments, &mark_moments, &settings);
        for (fate, row) in linking.fates.iter().zip(&expected) {
            match fate {
                MarkFate::Ambiguous { candidates } => {
                    for (shot, probability) in candidates {
                        assert!((probability - row[*shot]).abs() < 1e-9, "{probability} and {}", row[*shot]);
                        compared += 1;
                    }
                }
                MarkFate::Unmatched { probability } => {
                    assert!((probability - (1.0 - row.iter().sum::<f64>())).abs() < 1e-9);
                    compared += 1;
                }
                MarkFate::Linked { .. } => panic!("nothing is more certain than two"),
            }
        }
    }
    assert!(compared > 20, "{compared} probabilities compared");
}

#[test]
fn players_and_clubs_that_differ_do_not_fit() {
    let shots = [ShotMoment { seconds: 0.0, player: Some(1), club: None }, shot(50.0)];
    let marks = [MarkMoment { player: Some(2), ..mark(0.0) }, MarkMoment { club: Some(3), ..mark(50.0) }];
    let linking = link(&shots, &marks, &LinkSettings { largest_offset_s: 5.0, ..LinkSettings::default() });
    assert!(!matches!(linking.fates[0], MarkFate::Linked { .. }), "{:?}", linking.fates);
    let club_differs = [ShotMoment { club: Some(4), ..shots[1] }];
    let fates = link(&club_differs, &marks[1..], &LinkSettings::default()).fates;
    assert!(matches!(fates[0], MarkFate::Unmatched { .. }), "{fates:?}");
}

#[test]
fn a_known_offset_resolves_a_regular_rhythm() {
    let shots: Vec<ShotMoment> = (0..40).map(|number| shot(f64::from(number) * 30.0)).collect();
    let marks: Vec<MarkMoment> = (3..37).map(|number| mark(f64::from(number) * 30.0 + 61.0)).collect();
    let blind = link(&shots, &marks, &LinkSettings::default());
    assert!(!blind.offset_identified && !blind.fates.iter().any(|fate| matches!(fate, MarkFate::Linked { .. })));
    let told = link(&shots, &marks, &LinkSettings { offset_prior: Some((60.0, 3.0)), ..LinkSettings::default() });
    assert!(told.offset_identified);
    for (position, fate) in told.fates.iter().enumerate() {
        assert!(matches!(fate, MarkFate::Linked { shot, .. } if *shot == position + 3), "{position}: {fate:?}");
    }
}

#[test]
fn nothing_links_to_nothing() {
    let settings = LinkSettings::default();
    assert!(link(&[shot(1.0)], &[], &settings).fates.is_empty());
    assert_eq!(link(&[], &[mark(1.0)], &settings).fates, [MarkFate::Unmatched { probability: 1.0 }]);
    let strange = [mark(f64::NAN), mark(f64::INFINITY), mark(1e300)];
    for fate in link(&[shot(0.0), shot(f64::NAN)], &strange, &settings).fates {
        assert!(matches!(fate, MarkFate::Unmatched { .. }), "{fate:?}");
    }
}

/// Moments on a lattice of sixteenths, so that shifting all of them is exact.
fn moments(most: usize) -> impl Strategy<Value = Vec<f64>> {
    proptest::collection::vec((0_i32..16_000).prop_map(|number| f64::from(number) / 16.0), 0..most)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn links_are_one_to_one_and_never_cross(shots in moments(25), marks in moments(25)) {
        let shots: Vec<ShotMoment> = shots.into_iter().map(shot).collect();
        let marks: Vec<MarkMoment> = marks.into_iter().map(mark).collect();
        let linking = link(&shots, &marks, &LinkSettings::default());
        prop_assert_eq!(linking.fates.len(), marks.len());
        let mut pairs = Vec::new();
        for (fate, mark) in linking.fates.iter().zip(&marks) {
            if let MarkFate::Linked { shot, probability } = fate {
                prop_assert!(*probability <= 1.0);
                pairs.push((mark.seconds, shots[*shot].seconds, *shot));
            }
        }
        pairs.sort_by(|one, other| one.0.total_cmp(&other.0));
        prop_assert!(pairs.windows(2).all(|two| two[0].1 <= two[1].1 && two[0].2 != two[1].2), "{:?}", pairs);
    }

    #[test]
    fn neither_the_origin_nor_the_order_of_entries_matters(shots in moments(20), marks in moments(20), shift in -50_i32..50) {
        let settings = LinkSettings::default();
        let shift = f64::from(shift) * 64.0;
        let plain = link(
            &shots.iter().copied().map(shot).collect::<Vec<_>>(),
            &marks.iter().copied().map(mark).collect::<Vec<_>>(),
            &settings,
        );
        let moved = link(
            &shots.iter().rev().map(|time| shot(time + shift)).collect::<Vec<_>>(),
            &marks.iter().rev().map(|time| mark(time + shift)).collect::<Vec<_>>(),
            &settings,
        );
        for (position, fate) in plain.fates.iter().enumerate() {
            let other = &moved.fates[marks.len() - 1 - position];
            if let (MarkFate::Linked { shot: one, .. }, MarkFate::Linked { shot: two, .. }) = (fate, other) {
                // Entries at equal times may stand for each other.
                prop_assert!((shots[*one] - shots[shots.len() - 1 - two]).abs() < 1e-9);
            }
            let equal_times = marks.iter().filter(|time| (*time - marks[position]).abs() < 1e-9).count() > 1;
            prop_assert!(equal_times || std::mem::discriminant(fate) == std::mem::discriminant(other));
        }
    }
}
