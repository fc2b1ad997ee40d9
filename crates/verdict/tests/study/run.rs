//! Judges every capability on the same shots, on every core.

use academy::{MissRule, Player};
use impact::{HeadKind, HeadProfile};
use verdict::{Judge, Settings};

use crate::capability::{Capability, Earlier, Learner};
use crate::tally::Tally;
use crate::world::{StudyShot, World, player, practice};

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
    pub kind: HeadKind,
    pub tally: Tally,
}

/// Simulates every capability with every head.
pub fn study(
    world: &World,
    heads: &[HeadProfile],
    capabilities: &[Capability],
    sample: Sample,
    learn: Learner,
) -> Vec<Cell> {
    let judge = Judge::new(Settings::default());
    let threads = std::thread::available_parallelism().map_or(2, usize::from);
    let mut cells = Vec::new();
    for head in heads {
        // Other players for each head, so that heads of a kind can be looked at together.
        let sample = Sample { seed: seed_of(&head.name, sample.seed), ..sample };
        let study = Study { judge: &judge, world, head, capabilities, sample, learn };
        // Shares of work by thread are joined in their order, so the result does not depend on how they ran.
        let parts: Vec<Vec<Tally>> = std::thread::scope(|scope| {
            let mut running = Vec::new();
            for thread in 0..threads {
                let study = &study;
                running.push(scope.spawn(move || {
                    let mut tallies = vec![Tally::default(); study.capabilities.len()];
                    for (cluster, pair) in (thread..study.sample.pairs).step_by(threads).enumerate() {
                        study.judge_pair(pair, cluster, &mut tallies);
                    }
                    tallies
                }));
            }
            running.into_iter().map(|thread| thread.join().expect("a thread of the study")).collect()
        });
        let mut tallies = vec![Tally::default(); capabilities.len()];
        for part in parts {
            for (tally, other) in tallies.iter_mut().zip(&part) {
                tally.append(other);
            }
        }
        for (capability, tally) in capabilities.iter().zip(tallies) {
            cells.push(Cell { capability: *capability, kind: head.kind, tally });
        }
    }
    cells
}

/// A seed for one head: FNV-1a of its name, started from the study's seed.
fn seed_of(name: &str, seed: u64) -> u64 {
    name.bytes()
        .fold(seed ^ 0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

/// What every player of one study has in common.
struct Study<'a> {
    judge: &'a Judge,
    world: &'a World,
    head: &'a HeadProfile,
    capabilities: &'a [Capability],
    sample: Sample,
    learn: Learner,
}

impl Study<'_> {
    /// Adds both players of a pair to the tallies, one a capability.
    fn judge_pair(&self, pair: usize, cluster: usize, tallies: &mut [Tally]) {
        for is_opposite in [false, true] {
            let player = player(self.world, self.head, pair, is_opposite, self.sample.seed);
            for outdoors in [false, true] {
                self.judge_player(&player, pair, cluster, outdoors, tallies);
            }
        }
    }

    fn judge_player(&self, player: &Player, pair: usize, cluster: usize, outdoors: bool, tallies: &mut [Tally]) {
        if self.capabilities.iter().all(|capability| capability.outdoors != outdoors) {
            return;
        }
        let rule = MissRule::default();
        let practice = practice(self.world, player, pair, self.sample.shots, outdoors, self.sample.seed);
        for (capability, tally) in self.capabilities.iter().zip(tallies.iter_mut()) {
            if capability.outdoors != outdoors {
                continue;
            }
            let device = capability.device();
            let evidence_of = |shot: &StudyShot| {
                capability.evidence(&device.observe(&shot.truth, &mut shot.noise()), player, practice.air_density)
            };
            let remember = |shot: &StudyShot| Earlier { evidence: evidence_of(shot), session: shot.session };
            let earlier: Vec<Earlier> = practice.history.iter().map(remember).collect();
            let known = (self.learn)(&earlier, self.head);
            for shot in &practice.judged {
                let mut evidence = evidence_of(shot);
                for (position, number) in &known {
                    evidence.set_at(*position, *number);
                }
                let told = self.judge.judge(&evidence, self.head);
                tally.add(cluster, player.bias, &shot.truth, rule.cause(&shot.truth), &told);
            }
        }
    }
}
