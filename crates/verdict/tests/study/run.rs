//! Judges every capability on the same shots, on every core.

use academy::MissRule;
use impact::HeadProfile;
use verdict::{Judge, Settings};

use crate::capability::{Capability, Reference};
use crate::tally::Tally;
use crate::world::{World, player, practice};

/// How much is simulated of each capability and club.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sample {
    /// Pairs of players with opposite equipment.
    pub pairs: usize,
    /// Judged shots of each player.
    pub shots: usize,
    pub seed: u64,
}

/// What came out for one capability and club.
pub struct Cell {
    pub capability: Capability,
    pub head: String,
    pub tally: Tally,
}

/// Simulates every capability with every head.
pub fn study(world: &World, heads: &[HeadProfile], capabilities: &[Capability], sample: Sample) -> Vec<Cell> {
    let judge = Judge::new(Settings::default());
    let threads = std::thread::available_parallelism().map_or(2, usize::from);
    let mut cells = Vec::new();
    for head in heads {
        let mut tallies = vec![Tally::default(); capabilities.len()];
        // Shares of work by thread are joined in their order, so the result does not depend on how they ran.
        let parts: Vec<Vec<Tally>> = std::thread::scope(|scope| {
            let mut running = Vec::new();
            for thread in 0..threads {
                let judge = &judge;
                running.push(scope.spawn(move || {
                    let mut tallies = vec![Tally::default(); capabilities.len()];
                    for (position, pair) in (thread..sample.pairs).step_by(threads).enumerate() {
                        for is_opposite in [false, true] {
                            judge_player(judge, world, head, capabilities, sample, (pair, position), is_opposite, &mut tallies);
                        }
                    }
                    tallies
                }));
            }
            running.into_iter().map(|thread| thread.join().expect("a thread of the study")).collect()
        });
        for part in parts {
            for (tally, other) in tallies.iter_mut().zip(&part) {
                tally.append(other);
            }
        }
        for (capability, tally) in capabilities.iter().zip(tallies) {
            cells.push(Cell { capability: *capability, head: head.name.clone(), tally });
        }
    }
    cells
}

#[allow(clippy::too_many_arguments, reason = "one place calls it")]
fn judge_player(
    judge: &Judge,
    world: &World,
    head: &HeadProfile,
    capabilities: &[Capability],
    sample: Sample,
    (pair, cluster): (usize, usize),
    is_opposite: bool,
    tallies: &mut [Tally],
) {
    let player = player(world, head, pair, is_opposite, sample.seed);
    let rule = MissRule::default();
    for outdoors in [false, true] {
        if capabilities.iter().all(|capability| capability.outdoors != outdoors) {
            continue;
        }
        let practice = practice(world, &player, pair, sample.shots, outdoors, sample.seed);
        for (capability, tally) in capabilities.iter().zip(tallies.iter_mut()) {
            if capability.outdoors != outdoors {
                continue;
            }
            let device = capability.device();
            let evidence_of = |shot: &crate::world::StudyShot| {
                capability.evidence(&device.observe(&shot.truth, &mut shot.noise()), &player, practice.air_density)
            };
            let history: Vec<_> = practice.history.iter().map(evidence_of).collect();
            let reference = Reference::of(&history);
            for shot in &practice.judged {
                let mut evidence = evidence_of(shot);
                reference.add_to(&mut evidence);
                let told = judge.judge(&evidence, head);
                tally.add(cluster, player.bias, &shot.truth, rule.cause(&shot.truth), &told);
            }
        }
    }
}
