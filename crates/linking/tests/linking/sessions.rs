//! Linking against generated truth: sessions whose every link is known.
//!
//! The rhythm of practice (median gap 35 s, spread, pauses) is common practice, no source; the errors of clocks and of people
//! are the ones the product is meant for: offsets to 3 minutes, 5 % missing on both sides.

use linking::{LinkSettings, MarkFate, MarkMoment, ShotMoment, link};
use rand::Rng;
use rand_chacha::ChaCha12Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, LogNormal, Normal};

/// How a kind of session is played and noted.
#[derive(Clone, Copy)]
struct Kind {
    name: &'static str,
    /// Median gap of two shots, s, and its spread (standard deviation of the logarithm).
    gap_s: f64,
    spread: f64,
    /// Share of gaps that are pauses of one to four minutes.
    pauses: f64,
    players: u32,
    /// Standard deviation of a noted time, s, before it is rounded down to the resolution.
    jitter_s: f64,
    resolution_s: f64,
}

const ORDINARY: Kind =
    Kind { name: "ordinary", gap_s: 35.0, spread: 0.45, pauses: 0.06, players: 1, jitter_s: 1.5, resolution_s: 0.0 };
const KINDS: [Kind; 8] = [
    ORDINARY,
    Kind { name: "whole seconds", jitter_s: 1.0, resolution_s: 1.0, ..ORDINARY },
    Kind { name: "two players", players: 2, ..ORDINARY },
    Kind { name: "camera", jitter_s: 0.1, resolution_s: 0.0, ..ORDINARY },
    Kind { name: "whole minutes", jitter_s: 1.0, resolution_s: 60.0, ..ORDINARY },
    // Steady rhythms: an offset wrong by a whole shot fits nearly as well.
    Kind { name: "steady", gap_s: 30.0, spread: 0.10, pauses: 0.0, ..ORDINARY },
    Kind { name: "very steady", gap_s: 30.0, spread: 0.033, pauses: 0.0, ..ORDINARY },
    Kind { name: "metronome", gap_s: 30.0, spread: 0.01, pauses: 0.0, ..ORDINARY },
];

#[derive(Default)]
struct Count {
    /// Marks whose shot is recorded.
    existing: usize,
    right: usize,
    wrong: usize,
    ambiguous: usize,
    /// Sessions, those whose offset is identified, and those of them whose offset is off by over five deviations.
    sessions: usize,
    identified: usize,
    misled: usize,
    /// By told probability (tenths from 0.5): links told, links right.
    told: [(usize, usize); 10],
}

fn play(kind: Kind, seed: u64, count: &mut Count) {
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let offset = rng.random_range(-180.0..180.0);
    let gap = LogNormal::new(f64::ln(kind.gap_s), kind.spread).unwrap();
    let jitter = Normal::new(0.0, kind.jitter_s).unwrap();
    let (mut shots, mut marks, mut truth) = (Vec::new(), Vec::new(), Vec::new());
    let mut now = 36_000.0;
    let mut player = 0;
    for swing in 0..rng.random_range(30..=120) {
        now += if rng.random::<f64>() < kind.pauses { rng.random_range(60.0..240.0) } else { gap.sample(&mut rng) };
        if swing % 5 == 0 {
            player = (player + 1) % kind.players;
        }
        let (recorded, marked) = (rng.random::<f64>() >= 0.05, rng.random::<f64>() >= 0.05);
        if marked {
            let noted: f64 = now + offset + jitter.sample(&mut rng);
            let noted =
                if kind.resolution_s > 0.0 { (noted / kind.resolution_s).floor() * kind.resolution_s } else { noted };
            // A time rounded down is early by half a step in the mean, which the offset takes up.
            let seconds_sd = kind.jitter_s.hypot(kind.resolution_s / 12.0_f64.sqrt());
            marks.push(MarkMoment { seconds: noted, seconds_sd, player: Some(player), club: None });
            truth.push(recorded.then_some(shots.len()));
        }
        if recorded {
            shots.push(ShotMoment { seconds: now, player: Some(player), club: None });
        }
    }
    let linking = link(&shots, &marks, &LinkSettings::default());
    count.sessions += 1;
    if linking.offset_identified {
        count.identified += 1;
        let error = (linking.offset_s.unwrap() + kind.resolution_s / 2.0 - offset).abs();
        count.misled += usize::from(error > 5.0 * linking.offset_sd_s.unwrap());
    }
    for (fate, truth) in linking.fates.iter().zip(&truth) {
        count.existing += usize::from(truth.is_some());
        match fate {
            MarkFate::Linked { shot, probability } => {
                let right = *truth == Some(*shot);
                count.right += usize::from(right);
                count.wrong += usize::from(!right);
                let bin = &mut count.told[((probability * 10.0) as usize).min(9)];
                bin.0 += 1;
                bin.1 += usize::from(right);
            }
            MarkFate::Ambiguous { .. } => count.ambiguous += 1,
            MarkFate::Unmatched { .. } => {}
        }
    }
}

#[test]
fn links_of_generated_sessions_are_right() {
    println!("seeds 1..=60 each; shares of the marks whose shot is recorded");
    println!(
        "{:14} {:>6} {:>7} {:>7} {:>10} {:>11} {:>7}",
        "session", "marks", "right", "wrong", "ambiguous", "identified", "misled"
    );
    for kind in KINDS {
        let mut count = Count::default();
        for seed in 1..=60 {
            play(kind, seed, &mut count);
        }
        let share = |part: usize| part as f64 / count.existing as f64;
        println!(
            "{:14} {:6} {:6.2}% {:6.2}% {:9.2}% {:8}/{} {:7}",
            kind.name,
            count.existing,
            100.0 * share(count.right),
            100.0 * share(count.wrong),
            100.0 * share(count.ambiguous),
            count.identified,
            count.sessions,
            count.misled
        );
        assert!(share(count.wrong) < 0.005, "{}: {} wrong of {}", kind.name, count.wrong, count.existing);
        if !["whole minutes", "steady", "very steady", "metronome"].contains(&kind.name) {
            assert!(share(count.right) >= 0.98, "{}: {} right of {}", kind.name, count.right, count.existing);
        }
        assert_eq!(count.misled, 0, "{}: an offset was called identified and is another", kind.name);
    }
}
