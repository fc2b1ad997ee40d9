//! The verdict against what must always hold, and against a world whose truth is known.

mod agreement;
mod heads;
mod invariants;
mod limits;
mod population;
mod settings;
mod subsets;
mod truth;
mod varied;
