//! Knowledge of a player with a club from a fitted model.

use impact::HeadProfile;
use learning::{LearningShot, PlayerClubModel, fit_player_club};
use verdict::Evidence;

use crate::capability::{Earlier, Knowledge, medians};

/// Sessions lie this many days apart.
const DAYS_BETWEEN: i32 = 7;

/// The medians, and beside or instead of them what the model tells under the names that evidence has too.
pub fn learned(earlier: &[Earlier], head: &HeadProfile) -> Knowledge {
    let mut known = medians(earlier, head);
    let sessions = earlier.iter().map(|shot| shot.session + 1).max().unwrap_or(0);
    let shots: Vec<LearningShot> = earlier
        .iter()
        .map(|shot| LearningShot {
            evidence: shot.evidence.clone(),
            session: u32::try_from(shot.session).expect("few sessions"),
            day: i32::try_from(sessions - shot.session).expect("few sessions") * DAYS_BETWEEN,
        })
        .collect();
    let Ok(model) = fit_player_club(&shots, head) else { return known };
    for (position, (name, ..)) in PlayerClubModel::NUMBERS.iter().enumerate() {
        let named = Evidence::NUMBERS.iter().position(|(of, _)| of == name);
        if let (Some(number), Some(of)) = (model.number_at(position), named) {
            known.retain(|(other, _)| *other != of);
            known.push((of, Some(number)));
        }
    }
    known
}
