//! Verdicts before and after learning.

use academy::{DeviceKind, MissRule, TrueCause};
use learning::{Learned, PlayerClubModel, fit_player_club};
use verdict::{Evidence, Judge, Settings, ShotVerdict, Told};

use crate::players::{Season, on_every_core, put_model, season, true_figures, with_median_references};

const CAUSES: [(Told, TrueCause); 5] = [
    (Told::ProbabilityStrike, TrueCause::Strike),
    (Told::ProbabilityDelivery, TrueCause::Delivery),
    (Told::ProbabilityEither, TrueCause::Either),
    (Told::ProbabilityBothNeeded, TrueCause::BothNeeded),
    (Told::ProbabilityNeither, TrueCause::Neither),
];

#[derive(Debug, Default, Clone)]
struct Tally {
    shots: f64,
    covered: f64,
    bias: f64,
    width: f64,
    square: f64,
    bins: [(f64, f64, f64); 10],
    toe_covered: f64,
    toe_error: f64,
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
        self.covered += f64::from(off.abs() <= 1.644_854 * sd);
        self.bias += off;
        self.square += off * off;
        self.width += sd;
        if let (Some(toe), Some(sd)) = (verdict.get(Told::StrikeToe), verdict.get(Told::StrikeToeSd)) {
            self.toe_covered += f64::from((toe - truth.swing.toe_mm).abs() <= 1.644_854 * sd);
            self.toe_error += (toe - truth.swing.toe_mm).powi(2);
        }
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
        self.bias += other.bias;
        self.square += other.square;
        self.width += other.width;
        self.toe_covered += other.toe_covered;
        self.toe_error += other.toe_error;
        for (bin, more) in self.bins.iter_mut().zip(other.bins) {
            bin.0 += more.0;
            bin.1 += more.1;
            bin.2 += more.2;
        }
    }

    fn row(&self, name: &str) -> String {
        let worst = self
            .bins
            .iter()
            .filter(|bin| bin.0 >= 100.0)
            .map(|bin| (bin.1 - bin.2) / bin.0)
            .fold(0.0, |worst: f64, off| if off.abs() > worst.abs() { off } else { worst });
        format!(
            "{name:<28} shots {:>6} cover {:.3} bias {:+.2} rmse {:.2} sd {:.2} toe cover {:.3} rmse {:.2} worst bin {worst:+.3}",
            self.shots,
            self.covered / self.shots,
            self.bias / self.shots,
            (self.square / self.shots).sqrt(),
            self.width / self.shots,
            self.toe_covered / self.shots,
            (self.toe_error / self.shots).sqrt(),
        )
    }
}

fn study(device: &DeviceKind, players: usize, sessions: usize) {
    let judge = Judge::new(Settings::default());
    let results = on_every_core(players, |number| {
        let season = season(device, number, 7, (sessions, 20), (2, 10));
        let started = std::time::Instant::now();
        let model = fit_player_club(&season.shots(), season.profile());
        let spent = started.elapsed().as_secs_f64();
        let mut tallies = [Tally::default(), Tally::default()];
        let plain = with_median_references(&season.later);
        for (shot, evidence) in plain.iter().enumerate() {
            tallies[0].add(&season, shot, &judge.judge(evidence, season.profile()));
            let mut evidence: Evidence = evidence.clone();
            if let Ok(model) = &model {
                put_model(&mut evidence, model);
            }
            tallies[1].add(&season, shot, &judge.judge(&evidence, season.profile()));
        }
        (season.player, model, tallies, spent)
    });
    let mut sums = [Tally::default(), Tally::default()];
    let mut spent = 0.0;
    let mut errors = Vec::new();
    let mut identified = 0;
    let mut figures = vec![(0.0, 0.0, 0.0, 0.0f64); 8 + 12];
    for (player, model, tallies, time) in &results {
        sums[0].merge(&tallies[0]);
        sums[1].merge(&tallies[1]);
        spent += time;
        match model {
            Err(error) => errors.push(*error),
            Ok(model) => {
                identified += usize::from(model.strike_identified);
                let truth = true_figures(player);
                let club = &player.clubs[0];
                let (profile, deviations) = (club.profile.nuisances(), club.profile.nuisance_deviations());
                let mut add = |row: usize, at: usize, truth: f64, prior: f64, prior_sd: f64| {
                    let (Some(value), Some(sd)) = (model.number_at(at), model.number_at(at + 1)) else { return };
                    let z = (value - truth) / sd;
                    figures[row].0 += 1.0;
                    figures[row].1 += f64::from(z.abs() <= 1.644_854);
                    figures[row].2 += ((value - truth) / prior_sd).powi(2);
                    figures[row].3 += sd / prior_sd;
                    let _ = prior;
                };
                for figure in 0..8 {
                    let at = Learned::HeadRestitution as usize + 2 * figure;
                    add(figure, at, truth[figure], profile[figure], deviations[figure]);
                }
                let side = player.hand.sign() as f64;
                let h = &club.habits;
                add(8, Learned::ReferenceClubSpeed as usize, h.club_speed_mps.mean, 0.0, 1.0);
                add(9, Learned::ReferenceAttack as usize, h.attack_deg.mean, 0.0, 1.0);
                add(10, Learned::ReferenceDeliveredLoft as usize, h.loft_deg.mean, 0.0, 1.0);
                add(11, Learned::HabitToe as usize, h.strike.toe_mm.mean, 0.0, 1.0);
                add(12, Learned::HabitUp as usize, h.strike.up_mm.mean, 0.0, 1.0);
                add(13, Learned::HabitPath as usize, side * h.path_deg.mean, 0.0, 1.0);
                add(14, Learned::HabitFace as usize, side * h.face_deg.mean, 0.0, 1.0);
                add(15, Learned::LoftOffset as usize, 0.0, 0.0, 0.5);
                add(16, Learned::DirectionOffset as usize, 0.0, 0.0, 0.5);
            }
        }
    }
    println!(
        "== {} sessions {sessions}: identified {identified} errors {errors:?} {:.1} ms a fit",
        device.name,
        1e3 * spent / players as f64
    );
    println!("{}", sums[0].row("before"));
    println!("{}", sums[1].row("after"));
    let names = [
        "e",
        "falloff",
        "inertia",
        "cgn",
        "cgu",
        "cgt",
        "bulge",
        "mu",
        "refspeed",
        "refattack",
        "refloft",
        "htoe",
        "hup",
        "hpath",
        "hface",
        "lofs",
        "dofs",
    ];
    for (name, row) in names.iter().zip(&figures) {
        if row.0 > 0.0 {
            println!(
                "   {name:<10} n {:>4} cover {:.2} rmse/prior {:.2} sd/prior {:.2}",
                row.0,
                row.1 / row.0,
                (row.2 / row.0).sqrt(),
                row.3 / row.0
            );
        }
    }
    let _ = PlayerClubModel::NUMBERS;
}

#[test]
fn explore() {
    let players = std::env::var("PLAYERS").map_or(60, |text| text.parse().unwrap());
    let sessions = std::env::var("SESSIONS").map_or(8, |text| text.parse().unwrap());
    for device in [
        DeviceKind::strike_lines(),
        DeviceKind::swing(),
        DeviceKind::face_at_strike_point(),
        DeviceKind::plain_imperial(),
        DeviceKind::hall_metric(),
        DeviceKind::ball_only(),
    ] {
        study(&device, players, sessions);
    }
}
