//! Strike or swing: what the strike did to a shot, what the delivery did, and how sure that is.
//!
//! [`Judge::judge`] takes the [`Evidence`] of one shot and the profile of its club head, reconstructs the most probable
//! delivery and strike behind the launch ([`ShotVerdict`] says how sure), asks where the ball would have gone with a centred
//! strike or with the intended delivery, and names what would have mended a miss. It does no I/O, reads no clock and holds no
//! global state: the same evidence gives the same verdict.

mod case;
mod curve;
mod decide;
mod evidence;
mod expand;
mod judge;
mod known;
mod landing;
pub mod limits;
mod mixture;
mod model;
mod moments;
mod normals;
mod outcome;
mod posterior;
mod prior;
mod readings;
mod ready;
mod rest;
mod search;
mod settings;
mod sobol;
mod split;
mod strikes;
mod surface;
mod tell;
mod thorough;
mod unknowns;
mod untold;
mod weigh;

pub use decide::{Bounds, Cause, strike_zone};
pub use evidence::Evidence;
pub use judge::Judge;
pub use known::Known;
pub use landing::Place;
pub use model::model_error_sd;
pub use outcome::{ShotVerdict, Told};
pub use settings::Settings;

/// Version of the method; it stands beside every verdict and rises when the same evidence would be judged otherwise.
pub const METHOD_VERSION: &str = "2";
