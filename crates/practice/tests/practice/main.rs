//! Practice against the outside: published values, identities, and players whose truth is known.

mod components;
//coverage
mod longley;
//pattern
//plan
//players
//properties
mod regression;
//session_mean
mod shares;
