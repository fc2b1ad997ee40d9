//! Players of every kind with shots whose truth is known, and the evidence that a product would have of them.

use academy::{
    DeviceKind, Form, MissRule, ModelError, Observed, Player, Population, ShotPlan, TrueCause, TrueShot, draw_shot,
};
use flight::Conditions;
use impact::HeadProfile;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use shot::Quantity;
use verdict::{Evidence, Judge, Known, Settings, ShotVerdict};

use crate::heads::head;

/// One judged shot beside its truth.
pub struct Judged {
    pub player: usize,
    pub truth: TrueShot,
    pub true_cause: Option<TrueCause>,
    pub verdict: ShotVerdict,
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

/// What the product knows of a shot as the device saw it; the reference is filled in by `add_reference`.
fn evidence_of(observed: &Observed, player: &Player) -> Evidence {
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
    evidence.set(Known::StockPath, Some(side * stock.path_deg));
    evidence.set(Known::StockFace, Some(side * stock.face_deg));
    evidence
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => None,
        count if count % 2 == 1 => Some(values[middle]),
        _ => Some(0.5 * (values[middle - 1] + values[middle])),
    }
}

/// The player's reference as the product forms it: medians of what the device measured.
fn add_reference(shots: &mut [Evidence]) {
    let references = [
        (Known::ClubSpeed, Known::ClubSpeedSd, Known::ReferenceClubSpeed),
        (Known::BallSpeed, Known::BallSpeedSd, Known::ReferenceBallSpeed),
        (Known::LaunchElevation, Known::LaunchElevationSd, Known::ReferenceLaunchElevation),
        (Known::Attack, Known::AttackSd, Known::ReferenceAttack),
        (Known::DeliveredLoft, Known::DeliveredLoftSd, Known::ReferenceDeliveredLoft),
    ];
    for (value, deviation, reference) in references {
        let usual =
            median(shots.iter().filter_map(|shot| shot.measured(value, deviation)).map(|(value, _)| value).collect());
        for shot in shots.iter_mut() {
            shot.set(reference, usual);
        }
    }
}

/// Draws players with their shots and judges them, on every core.
pub fn judge_population(device: &DeviceKind, players: usize, shots_each: usize, seed: u64) -> Vec<Judged> {
    let drivers: Vec<HeadProfile> = vec![head("modern-driver"), head("older-driver"), head("published-driver")];
    let population = Population::new(drivers).expect("drivers");
    let judge = Judge::new(Settings::default());
    let threads = std::thread::available_parallelism().map_or(2, usize::from);
    let mut judged: Vec<Judged> = std::thread::scope(|scope| {
        let mut running = Vec::new();
        for thread in 0..threads {
            let (population, judge) = (&population, &judge);
            running.push(scope.spawn(move || {
                let mut found = Vec::new();
                for player in (thread..players).step_by(threads) {
                    found.extend(judge_player(population, judge, device, player, shots_each, seed));
                }
                found
            }));
        }
        running.into_iter().flat_map(|thread| thread.join().expect("a judging thread")).collect()
    });
    judged.sort_by_key(|shot| shot.player);
    judged
}

fn judge_player(
    population: &Population,
    judge: &Judge,
    device: &DeviceKind,
    player_number: usize,
    shots_each: usize,
    seed: u64,
) -> Vec<Judged> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed.wrapping_mul(1_000_003) + player_number as u64);
    let player = population.draw(&mut rng);
    let club = &player.clubs[0];
    let mut shots = Vec::new();
    let mut evidence = Vec::new();
    for session in 0..4 {
        let form = Form::draw(&club.habits, &mut rng);
        for _ in 0..shots_each / 4 {
            let plan = ShotPlan::default();
            let air = Conditions::default();
            let truth = draw_shot(&player, club, &form, &plan, &air, &ModelError::default(), &mut rng)
                .unwrap_or_else(|error| panic!("session {session}: {error}"));
            evidence.push(evidence_of(&device.observe(&truth, &mut rng), &player));
            shots.push(truth);
        }
    }
    add_reference(&mut evidence);
    let rule = MissRule::default();
    shots
        .into_iter()
        .zip(evidence)
        .map(|(truth, evidence)| Judged {
            player: player_number,
            true_cause: rule.cause(&truth),
            verdict: judge.judge(&evidence, &club.profile),
            truth,
        })
        .collect()
}
