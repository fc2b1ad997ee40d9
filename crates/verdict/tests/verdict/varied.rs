//! Varied shots of invented players as every kind of device would report them, for comparisons of methods: what is true of
//! them does not matter here.

use academy::{DeviceKind, Form, ModelError, Observed, Player, Population, ShotPlan, draw_shot};
use flight::Conditions;
use impact::HeadProfile;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use shot::Quantity;
use verdict::{Evidence, Known};

/// What the product knows of one shot, and the profile of the head.
pub struct Varied {
    pub device: &'static str,
    pub evidence: Evidence,
    pub head: HeadProfile,
}

const OBSERVATIONS: [(Quantity, Known, Known); 12] = [
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
    (Quantity::CarryM, Known::Carry, Known::CarrySd),
    (Quantity::LateralM, Known::Lateral, Known::LateralSd),
];

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
    let habits = &player.clubs[0].habits;
    evidence.set(Known::Hand, Some(side));
    evidence.set(Known::StockPath, Some(side * habits.stock.path_deg));
    evidence.set(Known::StockFace, Some(side * habits.stock.face_deg));
    evidence.set(Known::ReferenceClubSpeed, Some(habits.club_speed_mps.mean));
    evidence.set(Known::ReferenceAttack, Some(habits.attack_deg.mean));
    evidence.set(Known::ReferenceDeliveredLoft, Some(habits.loft_deg.mean));
    evidence
}

/// `each` shots per kind of device, played with the given heads in still air of several densities and in wind.
pub fn varied_shots(heads: &[HeadProfile], each: usize, seed: u64) -> Vec<Varied> {
    let population = Population::new(heads.to_vec()).expect("heads");
    let mut shots = Vec::new();
    for (kind, device) in DeviceKind::all().into_iter().enumerate() {
        let mut rng = ChaCha8Rng::seed_from_u64(seed.wrapping_mul(977) + kind as u64);
        for number in 0..each {
            let player = population.draw(&mut rng);
            let club = &player.clubs[0];
            let form = Form::draw(&club.habits, &mut rng);
            let mut air = Conditions::default();
            if number % 3 == 1 {
                air.air_density = 1.1;
            } else if number % 3 == 2 {
                air.wind_along_mps = -3.0;
                air.wind_across_mps = 2.0;
            }
            let Ok(truth) =
                draw_shot(&player, club, &form, &ShotPlan::default(), &air, &ModelError::default(), &mut rng)
            else {
                continue;
            };
            let mut evidence = evidence_of(&device.observe(&truth, &mut rng), &player);
            evidence.set(Known::AirDensity, Some(air.air_density));
            evidence.set(Known::WindAlong, Some(air.wind_along_mps));
            evidence.set(Known::WindAcross, Some(air.wind_across_mps));
            shots.push(Varied { device: device.name, evidence, head: club.profile.clone() });
        }
    }
    shots
}
