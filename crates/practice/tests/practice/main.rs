//! Practice against the outside: published values, identities, and players whose truth is known.

mod components;
mod coverage;
mod longley;
mod pattern;
mod plan;
mod players;
mod properties;
mod regression;
mod session_mean;
mod shares;
