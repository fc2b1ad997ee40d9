//! The verdict against what must always hold, and against a world whose truth is known.

mod heads;
mod invariants;
mod population;
mod truth;
