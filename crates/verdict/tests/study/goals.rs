//! What the product promises, checked on a bounded sample: each goal holds within three standard errors of the sample's own
//! estimate (pairs of players as clusters; for shares at least the binomial error of a share on the edge of the goal).

use impact::HeadKind;

use crate::capability::{Capability, FULL, FULL_AT_STRIKE, medians};
use crate::run::{Cell, Sample, study};
use crate::table::{ENOUGH_FOR_A_BIN, GROUPS, pooled, table};
use crate::tally::Estimate;
use crate::world::World;

/// Width of the band about a goal, in standard errors of the estimate.
const BAND: f64 = 3.0;

/// One goal, and what the sample says of it.
pub struct Goal {
    pub what: &'static str,
    pub of: String,
    pub lowest: f64,
    pub highest: f64,
    pub found: Estimate,
    pub is_share: bool,
}

impl Goal {
    pub fn holds(&self) -> bool {
        let band = |edge: f64| BAND * self.found.error.max(if self.is_share { self.binomial_error(edge) } else { 0.0 });
        self.found.value >= self.lowest - band(self.lowest) && self.found.value <= self.highest + band(self.highest)
    }

    /// Of a share that is just on the edge of the goal: what such a sample differs by from chance alone.
    fn binomial_error(&self, edge: f64) -> f64 {
        (edge * (1.0 - edge) / self.found.cases).sqrt()
    }

    fn line(&self) -> String {
        format!(
            "{:<8} {:<24} {:<58} {:>8.3} +- {:.3} of {:>5} cases, goal {} to {}",
            if self.holds() { "holds" } else { "MISSED" },
            self.what,
            self.of,
            self.found.value,
            self.found.error,
            self.found.cases,
            self.lowest,
            self.highest
        )
    }
}

const LOSS_COVERED: &str = "90 % of carry lost";

/// Fewer shots than this with an answer say nothing of a share.
const ENOUGH_SHOTS: f64 = 60.0;

/// Every goal, for every capability and group of clubs that gives enough answers.
fn goals(cells: &[Cell]) -> Vec<Goal> {
    let mut goals = Vec::new();
    for capability in &Capability::ALL {
        for (group, kind) in GROUPS {
            let tally = pooled(cells, capability, kind);
            let of = format!("{}: {group}", capability.name);
            add(&mut goals, LOSS_COVERED, &of, tally.loss_covered.share(), (0.85, 0.95));
            // Where little tells of the strike its interval is the prior's, wide on purpose: it must not be too narrow.
            let widest = if capability.strike.is_some() || capability.measures_full_delivery() { 0.95 } else { 1.0 };
            add(&mut goals, "90 % of toe", &of, tally.toe_covered.share(), (0.85, widest));
            add(&mut goals, "90 % of up", &of, tally.up_covered.share(), (0.85, widest));
            if let Some(limit) = limit_of_bias(capability) {
                add(&mut goals, "bias of carry lost, m", &of, tally.loss_error.mean(), (-limit, limit));
            }
            add(&mut goals, "false strike", &of, tally.false_strike.share(), (0.0, 0.05));
            add(&mut goals, "worst probability bin", &of, tally.worst_bin(ENOUGH_FOR_A_BIN), (-0.07, 0.07));
        }
    }
    goals
}

fn limit_of_bias(capability: &Capability) -> Option<f64> {
    if capability.measures_strike() {
        Some(0.5)
    } else if capability.measures_full_delivery() {
        Some(1.5)
    } else {
        None
    }
}

fn add(goals: &mut Vec<Goal>, what: &'static str, of: &str, found: Option<Estimate>, (lowest, highest): (f64, f64)) {
    if let Some(found) = found.filter(|found| found.cases >= ENOUGH_SHOTS) {
        let is_share = lowest >= 0.0;
        goals.push(Goal { what, of: of.to_owned(), lowest, highest, found, is_share });
    }
}

#[test]
fn the_goals_hold_in_a_bounded_sample() {
    let sample = crate::BOUNDED;
    let cells = study(&World::AS_STATED, &crate::bounded_heads(), crate::BOUNDED_CAPABILITIES, sample, crate::LEARNER);
    println!("{sample:?}, players known by {}\n\n{}", crate::KNOWN, table(&cells));
    let goals = goals(&cells);
    for goal in &goals {
        println!("{}", goal.line());
    }
    assert!(goals.len() >= crate::FEWEST_GOALS, "only {} goals had enough cases", goals.len());
    let missed: Vec<String> = goals.iter().filter(|goal| !goal.holds()).map(Goal::line).collect();
    assert!(missed.is_empty(), "{} goals missed:\n{}", missed.len(), missed.join("\n"));
}

/// The study itself must be able to fail: where heads lie twice as far off as the product says, its intervals are too narrow, and a
/// sample of the bounded size has to notice.
#[test]
fn the_goals_notice_a_world_that_is_farther_off_than_stated() {
    let heads: Vec<_> = crate::heads::all().into_iter().filter(|head| head.kind == HeadKind::Driver).collect();
    let sample = Sample { pairs: 32, ..crate::BOUNDED };
    let cells = study(&World::STRESS, &heads, &[FULL, FULL_AT_STRIKE], sample, medians);
    let goals = goals(&cells);
    let missed: Vec<&Goal> = goals.iter().filter(|goal| !goal.holds()).collect();
    println!("{sample:?}, world {}: {} of {} goals missed", World::STRESS.name, missed.len(), goals.len());
    assert!(missed.iter().any(|goal| goal.what == LOSS_COVERED), "{}", table(&cells));
}
