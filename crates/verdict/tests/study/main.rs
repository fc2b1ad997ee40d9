//! The simulation study: whether the product finds out what it claims, in a world whose truth is known.

mod capability;
mod goals;
mod heads;
mod long;
mod run;
mod table;
mod tally;
mod world;
