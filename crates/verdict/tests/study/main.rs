//! The simulation study: whether the product finds out what it claims, in a world whose truth is known.

mod capability;
mod goals;
mod heads;
mod long;
mod method;
mod run;
mod table;
mod tally;
mod world;

/// What is known of a player here: the reference alone, as without any model of player and club.
const LEARNER: capability::Learner = capability::medians;
/// How the tables call that.
const KNOWN: &str = "reference only";

/// What the bounded run judges.
const BOUNDED: run::Sample = run::Sample { pairs: 12, shots: 6, seed: 20_261_201 };
const BOUNDED_CAPABILITIES: &[capability::Capability] = &capability::Capability::ALL;
/// With fewer goals the sample would check nothing to speak of.
const FEWEST_GOALS: usize = 110;

fn bounded_heads() -> Vec<impact::HeadProfile> {
    heads::all()
}
