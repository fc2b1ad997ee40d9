//! Invented players with shots whose truth is known, and the evidence that a product would have of them.

use academy::{DeviceKind, Form, ModelError, Observed, Player, Population, ShotPlan, TrueShot, draw_shot};
use flight::Conditions;
use impact::{HeadBook, HeadProfile, NUISANCES};
use learning::{LearningShot, PlayerClubModel};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use shot::Quantity;
use verdict::{Evidence, Known};

/// A profile of config/heads.toml.
pub fn head(name: &str) -> HeadProfile {
    let book: HeadBook = toml::from_str(include_str!("../../../../config/heads.toml")).expect("the shipped profiles");
    book.find(name).unwrap_or_else(|| panic!("no profile {name}")).clone()
}

/// One shot: its truth and what is known of it.
#[derive(Debug, Clone)]
pub struct Hit {
    pub truth: TrueShot,
    pub shot: LearningShot,
}

/// A player with shots to learn from, and later ones to be judged.
#[derive(Debug)]
pub struct Season {
    pub player: Player,
    pub earlier: Vec<Hit>,
    pub later: Vec<Hit>,
}

impl Season {
    pub fn profile(&self) -> &HeadProfile {
        &self.player.clubs[0].profile
    }

    pub fn shots(&self) -> Vec<LearningShot> {
        self.earlier.iter().map(|hit| hit.shot.clone()).collect()
    }
}

/// The true figures of a head in the order of a profile's nuisances.
pub fn true_figures(player: &Player) -> [f64; NUISANCES] {
    let club = &player.clubs[0];
    let truth = club.head.profile();
    let mut figures = truth.nuisances();
    figures[2] = truth.inertia_kg_m2[1][1] / club.profile.inertia_kg_m2[1][1];
    figures
}

const OBSERVATIONS: [(Quantity, Known, Known); 10] = [
    (Quantity::BallSpeedMps, Known::BallSpeed, Known::BallSpeedSd),
    (Quantity::LaunchElevationDeg, Known::LaunchElevation, Known::LaunchElevationSd),
    (Quantity::LaunchAzimuthDeg, Known::LaunchAzimuth, Known::LaunchAzimuthSd),
    (Quantity::SpinRpm, Known::Spin, Known::SpinSd),
    (Quantity::SpinTiltDeg, Known::SpinTilt, Known::SpinTiltSd),
    (Quantity::ClubSpeedMps, Known::ClubSpeed, Known::ClubSpeedSd),
    (Quantity::AttackDeg, Known::Attack, Known::AttackSd),
    (Quantity::PathDeg, Known::Path, Known::PathSd),
    (Quantity::FaceDeg, Known::Face, Known::FaceSd),
    (Quantity::DeliveredLoftDeg, Known::DeliveredLoft, Known::DeliveredLoftSd),
];

/// What the product knows of a shot as the device saw it.
pub fn evidence_of(observed: &Observed, player: &Player) -> Evidence {
    let mut evidence = Evidence::default();
    for (quantity, value, deviation) in OBSERVATIONS {
        evidence.set(value, observed.value(quantity));
        evidence.set(deviation, observed.sd(quantity));
    }
    evidence.set(Known::StrikeToe, observed.value(Quantity::StrikeToeMm));
    evidence.set(Known::StrikeUp, observed.value(Quantity::StrikeUpMm));
    evidence.set(Known::StrikeSd, observed.sd(Quantity::StrikeToeMm));
    evidence.face_at_strike_point = observed.face_at_strike_point;
    let side = player.hand.sign() as f64;
    let stock = player.clubs[0].habits.stock;
    evidence.set(Known::Hand, Some(side));
    evidence.set(Known::Aim, Some(player.aim_deg));
    evidence.set(Known::StockPath, Some(side * stock.path_deg));
    evidence.set(Known::StockFace, Some(side * stock.face_deg));
    evidence
}

/// Draws sessions of a player, a week apart; the first is `first_age` days old.
pub fn sessions(
    player: &Player,
    device: &DeviceKind,
    (sessions, shots_each): (u32, u32),
    first_age: i32,
    rng: &mut ChaCha8Rng,
) -> Vec<Hit> {
    let club = &player.clubs[0];
    let mut hits = Vec::new();
    for session in 0..sessions {
        let form = Form::draw(&club.habits, rng);
        for _ in 0..shots_each {
            let (plan, air, error) = (ShotPlan::default(), Conditions::default(), ModelError::default());
            let truth = draw_shot(player, club, &form, &plan, &air, &error, rng).expect("a shot");
            let evidence = evidence_of(&device.observe(&truth, rng), player);
            let day = first_age - 7 * session.cast_signed();
            hits.push(Hit { truth, shot: LearningShot { evidence, session, day } });
        }
    }
    hits
}

/// A drawn player with a season on one device.
pub fn season(device: &DeviceKind, number: usize, seed: u64, earlier: (u32, u32), later: (u32, u32)) -> Season {
    let drivers = vec![head("modern-driver"), head("older-driver"), head("published-driver")];
    let population = Population::new(drivers).expect("drivers");
    let mut rng = ChaCha8Rng::seed_from_u64(seed.wrapping_mul(1_000_003) + number as u64);
    let player = population.draw(&mut rng);
    let age = 7 * earlier.0.cast_signed();
    let before = sessions(&player, device, earlier, age, &mut rng);
    let after = sessions(&player, device, later, 0, &mut rng);
    Season { player, earlier: before, later: after }
}

/// The player's reference as it is formed without a model: medians of what the device measured.
pub fn with_median_references(hits: &[Hit]) -> Vec<Evidence> {
    let references = [
        (Known::ClubSpeed, Known::ClubSpeedSd, Known::ReferenceClubSpeed),
        (Known::BallSpeed, Known::BallSpeedSd, Known::ReferenceBallSpeed),
        (Known::LaunchElevation, Known::LaunchElevationSd, Known::ReferenceLaunchElevation),
        (Known::Attack, Known::AttackSd, Known::ReferenceAttack),
        (Known::DeliveredLoft, Known::DeliveredLoftSd, Known::ReferenceDeliveredLoft),
    ];
    let mut evidences: Vec<Evidence> = hits.iter().map(|hit| hit.shot.evidence.clone()).collect();
    for (value, deviation, reference) in references {
        let mut seen: Vec<f64> = evidences.iter().filter_map(|shot| Some(shot.measured(value, deviation)?.0)).collect();
        seen.sort_by(f64::total_cmp);
        let usual = seen.get(seen.len() / 2).copied();
        for evidence in &mut evidences {
            evidence.set(reference, usual);
        }
    }
    evidences
}

/// Puts what was learned into evidence, by name as the database does.
pub fn put_model(evidence: &mut Evidence, model: &PlayerClubModel) {
    for (position, (name, _, _)) in PlayerClubModel::NUMBERS.iter().enumerate() {
        let place = Evidence::NUMBERS.iter().position(|(other, _)| other == name);
        if let (Some(place), Some(value)) = (place, model.number_at(position)) {
            evidence.set_at(place, Some(value));
        }
    }
}

/// Runs a task for every number on every core, results in order.
pub fn on_every_core<T: Send>(count: usize, task: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let threads = std::thread::available_parallelism().map_or(2, usize::from);
    let mut found: Vec<(usize, T)> = std::thread::scope(|scope| {
        let running: Vec<_> = (0..threads)
            .map(|thread| {
                let task = &task;
                scope.spawn(move || (thread..count).step_by(threads).map(|number| (number, task(number))).collect())
            })
            .collect();
        running.into_iter().flat_map(|thread| -> Vec<(usize, T)> { thread.join().expect("a thread") }).collect()
    });
    found.sort_by_key(|(number, _)| *number);
    found.into_iter().map(|(_, result)| result).collect()
}
