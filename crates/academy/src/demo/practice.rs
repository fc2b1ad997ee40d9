//! What is hit in a session: blocks of shots with one club and one purpose.

use rand::Rng;
use shot::Intent;

use super::cast::Member;
use crate::true_shot::ShotPlan;

/// Some shots in a row with one club and one purpose.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Position of the player in the session's list.
    pub player: usize,
    /// Club id.
    pub club_id: &'static str,
    /// What the shots are hit for.
    pub intent: Intent,
    /// How each is hit.
    pub plans: Vec<ShotPlan>,
}

/// Strikes shown in a demonstration: (toe, up) in mm, and how many of each.
const SHOWN: [((f64, f64), usize); 5] =
    [((0.0, 0.0), 5), ((24.0, 0.0), 8), ((-24.0, 0.0), 8), ((0.0, 13.0), 4), ((0.0, -13.0), 4)];

/// The blocks of one player's ordinary session, with a drill block where `drill` says so.
pub fn ordinary<R: Rng + ?Sized>(player: usize, member: &Member, drill: bool, rng: &mut R) -> Vec<Block> {
    let full = |count: usize| vec![ShotPlan::default(); count];
    let eased = |count: usize, effort: f64| vec![ShotPlan { effort, strike_on_purpose_mm: None }; count];
    let block = |club_id, intent, plans| Block { player, club_id, intent, plans };

    let warm_up_club = member.other_clubs.last().copied().unwrap_or("driver");
    let mut blocks = vec![block(warm_up_club, Intent::WarmUp, eased(rng.random_range(3..6), 0.88))];
    if rng.random::<f64>() < 0.35 {
        blocks.push(block(warm_up_club, Intent::Partial, eased(3, 0.6)));
    }
    for club_id in member.other_clubs {
        let count = if *club_id == "7-iron" { rng.random_range(4..7) } else { rng.random_range(2..5) };
        blocks.push(block(club_id, Intent::Play, full(count)));
    }
    if drill {
        blocks.push(block("driver", Intent::Drill, full(12)));
    }
    blocks.push(block("driver", Intent::Play, full(rng.random_range(16..22))));
    blocks
}

/// A visitor's session: the driver and nothing else.
pub fn visit<R: Rng + ?Sized>(player: usize, rng: &mut R) -> Vec<Block> {
    let plans = vec![ShotPlan::default(); rng.random_range(14..19)];
    vec![Block { player, club_id: "driver", intent: Intent::Play, plans }]
}

/// A coach shows what centred, toe, heel, high and low strikes do.
pub fn demonstration(player: usize) -> Vec<Block> {
    let mut blocks = Vec::new();
    for (strike, count) in SHOWN {
        let plans = vec![ShotPlan { effort: 1.0, strike_on_purpose_mm: Some(strike) }; count];
        blocks.push(Block { player, club_id: "driver", intent: Intent::Demonstration, plans });
    }
    blocks
}

/// Players who share a bay take turns of a few shots.
pub fn taking_turns(per_player: Vec<Vec<Block>>) -> Vec<Block> {
    const SHOTS_A_TURN: usize = 5;
    let mut waiting: Vec<std::collections::VecDeque<Block>> = Vec::new();
    for blocks in per_player {
        let mut pieces = std::collections::VecDeque::new();
        for block in blocks {
            for plans in block.plans.chunks(SHOTS_A_TURN) {
                pieces.push_back(Block { plans: plans.to_vec(), ..block.clone() });
            }
        }
        waiting.push(pieces);
    }
    let mut order = Vec::new();
    while waiting.iter().any(|pieces| !pieces.is_empty()) {
        for pieces in &mut waiting {
            order.extend(pieces.pop_front());
        }
    }
    order
}
