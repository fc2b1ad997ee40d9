//! Known heads and habits are found again, within the deviations that are stated.

use academy::DeviceKind;
use impact::{NUISANCE_NAMES, NUISANCES};
use learning::{Learned, PlayerClubModel, fit_player_club};

use crate::players::{Season, on_every_core, season, true_figures};

const NINETY: f64 = 1.644_854;
const SEED: u64 = 23;
const PLAYERS: usize = 60;

/// One learned number beside its truth.
struct Found {
    error: f64,
    deviation: f64,
}

fn drawn(device: &DeviceKind) -> Vec<(Season, PlayerClubModel)> {
    on_every_core(PLAYERS, |number| {
        let season = season(device, number, SEED, (8, 20), (0, 0));
        let model = fit_player_club(&season.shots(), season.profile()).expect("160 shots are enough");
        (season, model)
    })
}

fn found(drawn: &[(Season, PlayerClubModel)], number: Learned, truth: impl Fn(&Season) -> f64) -> Vec<Found> {
    let mut all = Vec::new();
    for (season, model) in drawn {
        let (value, deviation) = (model.number_at(number as usize), model.number_at(number as usize + 1));
        if let (Some(value), Some(deviation)) = (value, deviation) {
            all.push(Found { error: value - truth(season), deviation });
        }
    }
    all
}

fn coverage(all: &[Found]) -> f64 {
    all.iter().filter(|one| one.error.abs() <= NINETY * one.deviation).count() as f64 / all.len() as f64
}

fn root_mean_square(all: &[Found]) -> f64 {
    (all.iter().map(|one| one.error * one.error).sum::<f64>() / all.len() as f64).sqrt()
}

/// With 60 players a true coverage of 0.9 shows as 0.78 or more in all but 3 of 1000 draws (binomial).
const LEAST_COVERAGE: f64 = 0.78;

fn check_head(device: &DeviceKind, nearer: &[(usize, f64)]) {
    let drawn = drawn(device);
    assert!(drawn.iter().all(|(_, model)| model.strike_identified));
    for figure in 0..NUISANCES {
        let number = Learned::HeadRestitution as usize + 2 * figure;
        let mut all = Vec::new();
        for (season, model) in &drawn {
            let (Some(value), Some(deviation)) = (model.number_at(number), model.number_at(number + 1)) else {
                continue;
            };
            let believed = season.profile().nuisance_deviations()[figure];
            all.push(Found {
                error: (value - true_figures(&season.player)[figure]) / believed,
                deviation: deviation / believed,
            });
        }
        let (covered, error) = (coverage(&all), root_mean_square(&all));
        println!(
            "{:<18} {:<28} covers {covered:.2}, error {error:.2} of the prior",
            device.name, NUISANCE_NAMES[figure]
        );
        assert_eq!(all.len(), PLAYERS);
        assert!(
            covered >= LEAST_COVERAGE,
            "{}, seed {SEED}: {} covers {covered:.2}",
            device.name,
            NUISANCE_NAMES[figure]
        );
        if let Some((_, limit)) = nearer.iter().find(|(position, _)| *position == figure) {
            assert!(error < *limit, "{}, seed {SEED}: {} off by {error:.2}", device.name, NUISANCE_NAMES[figure]);
        }
    }
}

#[test]
fn heads_are_recovered_from_measured_strikes() {
    // Restitution, both centres of gravity across the face, bulge, inertia: errors as shares of the prior deviation.
    check_head(&DeviceKind::strike_lines(), &[(0, 0.4), (4, 0.5), (5, 0.4), (6, 0.7), (2, 0.85)]);
}

#[test]
fn heads_are_recovered_from_measured_deliveries() {
    check_head(&DeviceKind::swing(), &[(0, 0.5), (4, 0.7), (5, 0.5), (6, 0.95), (2, 0.95)]);
}

#[test]
fn references_are_found_within_their_deviations() {
    for device in [DeviceKind::strike_lines(), DeviceKind::plain_imperial()] {
        let drawn = drawn(&device);
        let habits = |season: &Season| season.player.clubs[0].habits;
        let all = [
            (
                "club speed",
                0.4,
                found(&drawn, Learned::ReferenceClubSpeed, |season| habits(season).club_speed_mps.mean),
            ),
            ("attack", 0.4, found(&drawn, Learned::ReferenceAttack, |season| habits(season).attack_deg.mean)),
            ("loft", 0.9, found(&drawn, Learned::ReferenceDeliveredLoft, |season| habits(season).loft_deg.mean)),
        ];
        for (name, limit, all) in all {
            let (covered, error) = (coverage(&all), root_mean_square(&all));
            println!("{:<18} {name:<12} covers {covered:.2}, error {error:.2}", device.name);
            assert!(all.len() >= PLAYERS / 2);
            assert!(covered >= LEAST_COVERAGE, "{}, seed {SEED}: {name} covers {covered:.2}", device.name);
            assert!(error < limit, "{}, seed {SEED}: {name} off by {error:.2}", device.name);
        }
    }
}

#[test]
fn habits_foretell_the_next_strike() {
    let drawn = on_every_core(PLAYERS, |number| {
        let season = season(&DeviceKind::strike_lines(), number, SEED, (8, 20), (5, 4));
        let model = fit_player_club(&season.shots(), season.profile()).expect("160 shots are enough");
        (season, model)
    });
    for (number, toe) in [(Learned::HabitToe, true), (Learned::HabitUp, false)] {
        let (mut inside, mut shots) = (0.0, 0.0);
        for (season, model) in &drawn {
            let (Some(usual), Some(deviation)) = (model.get(number), model.number_at(number as usize + 1)) else {
                continue;
            };
            for hit in &season.later {
                let strike = if toe { hit.truth.swing.toe_mm } else { hit.truth.swing.up_mm };
                shots += 1.0;
                inside += f64::from((strike - usual).abs() <= NINETY * deviation);
            }
        }
        let share = inside / shots;
        println!("{} of {shots} next strikes inside: {share:.3}", if toe { "toe" } else { "up" });
        assert!(shots >= 1_000.0);
        assert!((0.86..=0.94).contains(&share), "seed {SEED}: {share:.3}");
    }
}

#[test]
fn gains_lie_near_those_of_the_true_head() {
    // [derived] The ratio of the true head's tilt per mm to the profile's, by differences of two launches.
    let drawn = drawn(&DeviceKind::strike_lines());
    let tilt_per_mm = |season: &Season, figures: &[f64; NUISANCES]| {
        let habits = season.player.clubs[0].habits;
        let tilt = |toe_mm: f64| {
            let delivery = impact::Delivery {
                club_speed_mps: habits.club_speed_mps.mean,
                attack_deg: habits.attack_deg.mean,
                path_deg: 0.0,
                face_deg: 0.0,
                delivered_loft_deg: habits.loft_deg.mean,
                strike_toe_mm: toe_mm,
                strike_up_mm: 0.0,
            };
            let parameters = season.profile().parameters(figures);
            impact::strike(&parameters, &delivery, impact::Hand::Right).expect("a launch").spin_tilt_deg
        };
        (tilt(0.5) - tilt(-0.5)) / 1.0
    };
    let all = found(&drawn, Learned::GearGainLateral, |season| {
        tilt_per_mm(season, &true_figures(&season.player)) / tilt_per_mm(season, &season.profile().nuisances())
    });
    let (covered, error) = (coverage(&all), root_mean_square(&all));
    println!("gain of tilt: covers {covered:.2}, error {error:.3}");
    assert_eq!(all.len(), PLAYERS);
    assert!(covered >= LEAST_COVERAGE, "seed {SEED}: {covered:.2}");
    assert!(error < 0.08, "seed {SEED}: {error:.3}");
}
