//! The simulation study: whether the product finds out what it claims, in a world whose truth is known.

mod capability;
mod goals;
mod heads;
mod long;
mod run;
mod table;
mod tally;
mod world;

/// What is known of a player here: the reference alone, as without any model of player and club.
const LEARNER: capability::Learner = capability::medians;
/// How the tables call that.
const KNOWN: &str = "reference only";
