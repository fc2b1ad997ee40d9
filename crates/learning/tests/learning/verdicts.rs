//! Verdicts with the head profile and with what was learned: they must become narrower, and stay calibrated.

use academy::{DeviceKind, MissRule, TrueCause};
use learning::fit_player_club;
use verdict::{Judge, Settings, ShotVerdict, Told};

use crate::players::{Season, on_every_core, put_model, season, with_median_references};

const CAUSES: [(Told, TrueCause); 5] = [
    (Told::ProbabilityStrike, TrueCause::Strike),
    (Told::ProbabilityDelivery, TrueCause::Delivery),
    (Told::ProbabilityEither, TrueCause::Either),
    (Told::ProbabilityBothNeeded, TrueCause::BothNeeded),
    (Told::ProbabilityNeither, TrueCause::Neither),
];
/// The two-sided 90 % quantile of the standard normal.
const NINETY: f64 = 1.644_854;
const SEED: u64 = 7;

#[derive(Debug, Default, Clone)]
struct Tally {
    shots: f64,
    covered: f64,
    errors: f64,
    squares: f64,
    deviations: f64,
    /// By told probability: cases, sum of the told, how often it happened.
    bins: [(f64, f64, f64); 10],
}

impl Tally {
    fn add(&mut self, season: &Season, number: usize, verdict: &ShotVerdict) {
        let truth = &season.later[number].truth;
        let (Some(lost), Some(sd)) = (verdict.get(Told::CarryLostToStrike), verdict.get(Told::CarryLostToStrikeSd))
        else {
            return;
        };
        let off = lost - truth.carry_lost_to_strike_m();
        self.shots += 1.0;
        self.covered += f64::from(off.abs() <= NINETY * sd);
        self.errors += off;
        self.squares += off * off;
        self.deviations += sd;
        if let Some(cause) = MissRule::default().cause(truth) {
            for (told, named) in CAUSES {
                let Some(probability) = verdict.get(told) else { continue };
                let bin = &mut self.bins[((probability * 10.0) as usize).min(9)];
                bin.0 += 1.0;
                bin.1 += probability;
                bin.2 += f64::from(cause == named);
            }
        }
    }

    fn merge(&mut self, other: &Tally) {
        self.shots += other.shots;
        self.covered += other.covered;
        self.errors += other.errors;
        self.squares += other.squares;
        self.deviations += other.deviations;
        for (bin, more) in self.bins.iter_mut().zip(other.bins) {
            bin.0 += more.0;
            bin.1 += more.1;
            bin.2 += more.2;
        }
    }

    fn coverage(&self) -> f64 {
        self.covered / self.shots
    }

    fn root_mean_square(&self) -> f64 {
        (self.squares / self.shots).sqrt()
    }

    fn worst_bin(&self) -> f64 {
        let full = self.bins.iter().filter(|bin| bin.0 >= 100.0);
        full.map(|bin| ((bin.1 - bin.2) / bin.0).abs()).fold(0.0, f64::max)
    }

    fn print(&self, name: &str) {
        println!(
            "{name:<30} {:>6} shots, 90 % intervals cover {:.3}, bias {:+.2} m, rms error {:.2} m, stated {:.2} m, worst bin {:.3}",
            self.shots,
            self.coverage(),
            self.errors / self.shots,
            self.root_mean_square(),
            self.deviations / self.shots,
            self.worst_bin(),
        );
    }
}

/// Verdicts of later shots before and after learning from eight earlier sessions of twenty.
fn before_and_after(device: &DeviceKind, players: usize) -> [Tally; 2] {
    let judge = Judge::new(Settings::default());
    let results = on_every_core(players, |number| {
        let season = season(device, number, SEED, (8, 20), (2, 10));
        let model = fit_player_club(&season.shots(), season.profile()).expect("160 shots are enough");
        let mut tallies = [Tally::default(), Tally::default()];
        for (shot, evidence) in with_median_references(&season.later).iter().enumerate() {
            tallies[0].add(&season, shot, &judge.judge(evidence, season.profile()));
            let mut learned = evidence.clone();
            put_model(&mut learned, &model);
            tallies[1].add(&season, shot, &judge.judge(&learned, season.profile()));
        }
        tallies
    });
    let mut sums = [Tally::default(), Tally::default()];
    for tallies in &results {
        sums[0].merge(&tallies[0]);
        sums[1].merge(&tallies[1]);
    }
    sums[0].print(&format!("{} before", device.name));
    sums[1].print(&format!("{} after", device.name));
    sums
}

fn check(device: &DeviceKind, narrower: f64) {
    let [before, after] = before_and_after(device, 60);
    assert!(before.shots >= 800.0, "{}: seed {SEED}", device.name);
    let coverage = after.coverage();
    assert!((0.85..=0.95).contains(&coverage), "{}: seed {SEED}, intervals cover {coverage:.3}", device.name);
    assert!(after.worst_bin() <= 0.07, "{}: seed {SEED}, causes off by {:.3}", device.name, after.worst_bin());
    assert!((after.errors / after.shots).abs() < 0.5, "{}: seed {SEED}, biased", device.name);
    assert!(after.deviations < narrower * before.deviations, "{}: seed {SEED}, hardly narrower", device.name);
    assert!(after.root_mean_square() < before.root_mean_square(), "{}: seed {SEED}, no nearer the truth", device.name);
}

#[test]
fn with_measured_strikes_verdicts_narrow_by_a_tenth_at_least_and_stay_calibrated() {
    check(&DeviceKind::strike_lines(), 0.9);
}

#[test]
fn with_measured_deliveries_verdicts_narrow_and_stay_calibrated() {
    check(&DeviceKind::swing(), 0.97);
}

#[test]
fn with_faces_at_the_strike_point_verdicts_narrow_and_stay_calibrated() {
    check(&DeviceKind::face_at_strike_point(), 0.97);
}
