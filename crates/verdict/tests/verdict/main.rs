//! The verdict against what must always hold, and against a world whose truth is known.

mod agreement;
mod heads;
mod invariants;
mod limits;
mod population;
mod subsets;
mod truth;
mod varied;
