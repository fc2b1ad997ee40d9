//! The simulation study of the verdict once more, for players of whom something was learned: the model of player and club is fitted
//! to earlier sessions, later ones are judged with it.

#[path = "../../../verdict/tests/study/capability.rs"]
mod capability;
#[path = "../../../verdict/tests/study/goals.rs"]
mod goals;
#[path = "../../../verdict/tests/study/heads.rs"]
mod heads;
mod learned;
#[path = "../../../verdict/tests/study/long.rs"]
mod long;
#[path = "../../../verdict/tests/study/run.rs"]
mod run;
#[path = "../../../verdict/tests/study/table.rs"]
mod table;
#[path = "../../../verdict/tests/study/tally.rs"]
mod tally;
#[path = "../../../verdict/tests/study/world.rs"]
mod world;

/// What is known of a player here: a model fitted to six earlier sessions of eight shots.
const LEARNER: capability::Learner = learned::learned;
/// How the tables call that.
const KNOWN: &str = "learned from 48 shots";

/// What the bounded run judges: fits cost more than verdicts, so fewer sets and heads than without them.
const BOUNDED: run::Sample = run::Sample { pairs: 16, shots: 6, seed: 20_261_201 };
const BOUNDED_CAPABILITIES: &[capability::Capability] =
    &[capability::FACE_AT_STRIKE, capability::FULL, capability::FULL_LINKED, capability::FULL_MEASURED];
/// With fewer goals the sample would check nothing to speak of.
const FEWEST_GOALS: usize = 30;

fn bounded_heads() -> Vec<impact::HeadProfile> {
    let names = ["modern-driver", "fairway-wood", "iron-mid"];
    heads::all().into_iter().filter(|head| names.contains(&head.name.as_str())).collect()
}
