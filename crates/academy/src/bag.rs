//! Habits with the other clubs of a bag: they follow from those with the driver.

use impact::{HeadKind, HeadProfile};
use rand::Rng;

use crate::habits::{Habits, Spread, normal};
use crate::player::Bias;
use crate::population::{Standard, driver_habits};

/// Driver speed of the middling player whose usual deliveries the head profiles state, m/s.
const MIDDLING_DRIVER_MPS: f64 = 42.0;
/// Spread of attack and of delivered loft between players about what is usual with a club, degrees [common practice, no source].
const BETWEEN_PLAYERS_DEG: (f64, f64) = (1.0, 1.2);
/// A shorter club is struck with so much of the driver's offset and spread [common practice, no source].
const SHARE_OF_STRIKE: f64 = 0.75;

/// Draws the habits of a player of a given bias and standard with a club of the given head.
pub fn habits_with<R: Rng + ?Sized>(head: &HeadProfile, bias: Bias, standard: Standard, rng: &mut R) -> Habits {
    let driver = driver_habits(bias, standard, rng);
    let (attack_off, loft_off) = (BETWEEN_PLAYERS_DEG.0 * normal(rng), BETWEEN_PLAYERS_DEG.1 * normal(rng));
    let Some(face_reach_mm) = reach_beside_the_driver(head.kind) else { return driver };
    let speed_share = head.typical_club_speed_mps / MIDDLING_DRIVER_MPS;
    let shorter = |spread: Spread, share: f64| Spread::new(spread.mean * share, spread.sd * share);
    let mut habits = driver;
    habits.club_speed_mps = shorter(driver.club_speed_mps, speed_share);
    habits.attack_deg.mean = head.typical_attack_deg + attack_off;
    habits.loft_deg.mean = head.typical_delivered_loft_deg + loft_off;
    habits.strike.toe_mm = shorter(driver.strike.toe_mm, SHARE_OF_STRIKE);
    habits.strike.up_mm = shorter(driver.strike.up_mm, SHARE_OF_STRIKE);
    habits.face_reach_mm = face_reach_mm;
    habits
}

/// Half the length and half the height of the face that still meets the ball cleanly, mm [common practice, no source]; none for
/// a driver, whose habits hold it already.
fn reach_beside_the_driver(kind: HeadKind) -> Option<(f64, f64)> {
    match kind {
        HeadKind::Driver => None,
        HeadKind::FairwayWood => Some((34.0, 14.0)),
        HeadKind::Hybrid => Some((30.0, 14.0)),
        HeadKind::Iron => Some((28.0, 15.0)),
        HeadKind::Wedge => Some((28.0, 18.0)),
    }
}
