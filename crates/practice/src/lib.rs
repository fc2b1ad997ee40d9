//! A player's strikes over weeks: their pattern, their price, whether practice works, and what to practise next.
//!
//! Plain functions over slices of small rows; every answer lists its numbers and texts by name, unit and meaning
//! ([`Answer`]), so that SQL can name them. No I/O, no clock, no global state, and the order of the rows never matters.
//!
//! - [`mean_by_sessions`]: the mean of a week, [`trend`]: where it is going.
//! - [`strike_pattern`]: where on the face the ball is met.
//! - [`practice_effect`]: whether strike practice worked.
//! - [`practice_plan`]: what to practise next, and the gate for it.

mod advice;
mod answer;
mod cautions;
mod centre;
mod components;
mod gate;
mod hotelling;
mod least_squares;
mod measurement;
mod mixture;
mod pattern_model;
mod practice_effect;
mod practice_plan;
mod robust;
mod session_mean;
mod session_model;
mod session_summary;
mod shrinkage;
mod special;
mod strike;
mod strike_information;
mod strike_pattern;
mod trend;
mod wilson;

pub use answer::{Answer, NumberEntry, Row, TextEntry};
pub use cautions::CAUTIONS;
pub use centre::{CENTRE_TOE_MM, CENTRE_UP_MM};
pub use components::{Components, one_way, random_effects};
pub use gate::{
    CLEAN_TO_NARROW, CLEAN_TO_WIDEN, GateSet, LEAST_CLEARANCE_MM, MOST_CLEARANCE_MM, MOST_HEIGHT_MM, PASS_SHARE,
    SWINGS_OF_A_SET, next_clearance,
};
pub use hotelling::{chi_square_two, hotelling_factor, next_vector_factor};
pub use least_squares::{LeastSquares, least_squares, ridge};
pub use measurement::Measurement;
pub use practice_effect::{PracticeEffect, PracticeStrike, practice_effect};
pub use practice_plan::{PlanFacts, PlanSettings, PracticePlan, practice_plan};
pub use robust::{HuberFit, huber, huber_location};
pub use session_mean::{SessionMean, mean_by_sessions};
pub use shrinkage::{Shrunken, shrink_to_mean};
pub use strike::{Strike, StrikeSource};
pub use strike_pattern::{StrikePattern, strike_pattern};
pub use trend::{Trend, trend};
pub use wilson::{Interval, wilson};
