//! What many shots tell that one cannot: of the club in a player's hands and the player's habits, of the ball, of the bays.
//!
//! [`fit_player_club`] learns what all shots of one player with one club share; the next verdicts start from it instead of
//! from the head profile. [`fit_ball`] scales drag and lift to measured carries. [`fit_bay_offsets`] finds bays whose
//! direction readings are turned, from players who cross from bay to bay.
//!
//! Every estimate is a maximum a posteriori with a prior at the profile, weighs down what does not fit, and says its deviation and
//! whether the data identify it at all. The crate is pure: no input or output, no clock, no state, and the order of the shots does
//! not matter.

mod ball_model;
mod bay_offsets;
mod beliefs;
mod diagonal;
mod fit_ball;
mod fit_bays;
mod gains;
mod joint_fit;
mod learn;
mod learning_shot;
mod player_club_model;
mod reading;
mod shot_block;
mod spreads;
mod weights;

pub use ball_model::{BallModel, BallNumber, MeasuredFlight};
pub use bay_offsets::{BayOffset, BayOffsets, BayShot};
pub use fit_ball::fit_ball;
pub use fit_bays::fit_bay_offsets;
pub use learn::fit_player_club;
pub use learning_shot::{LearningShot, Unlearned};
pub use player_club_model::{Learned, PlayerClubModel};

/// Version of the method; it stands beside every model and rises when the same shots would teach otherwise.
pub const METHOD_VERSION: &str = "1";
