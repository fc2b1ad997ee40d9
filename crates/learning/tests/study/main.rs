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
