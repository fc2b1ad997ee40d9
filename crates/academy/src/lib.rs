//! Invented players whose every shot is known to the last detail: the demo academy, and a sampler for tests that ask whether
//! the product finds out what really happened.
//!
//! [`Population::draw`] gives a [`Player`] with a true head and ball; [`draw_shot`] a [`TrueShot`] with its counterfactual
//! landings; [`DeviceKind::observe`] what a device makes of it. [`MissRule::cause`] is the true cause of a miss. [`demo`] makes
//! the files of the demo.
//!
//! Everything is drawn from the generator that the caller passes in; there is no clock and no global state. Nothing here knows
//! the product's verdict: the two only share the models of impact and flight, and [`ModelError`] keeps the former from being
//! exactly right.

mod bag;
mod cause;
pub mod demo;
mod device;
mod device_kinds;
mod equipment;
mod error;
mod flown;
mod habits;
mod launch_error;
mod player;
mod population;
mod true_shot;

pub use bag::habits_with;
pub use cause::{MissRule, TrueCause};
pub use device::{DeviceKind, FaceReference, Observed};
pub use equipment::{BALL_DRAWS, HEAD_DRAWS, TrueBall, TrueHead};
pub use error::AcademyError;
pub use habits::{Form, Habits, SessionSpread, Spread, StockShape, StrikePattern, Swing};
pub use launch_error::{LaunchShift, ModelError};
pub use player::{Bias, ClubInHand, Player};
pub use population::{DRIVER_REACH_MM, Population, Standard};
pub use true_shot::{ShotPlan, TrueShot, draw_shot, shot_of_swing};
