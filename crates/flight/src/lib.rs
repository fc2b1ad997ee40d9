//! The ball's flight through air: from a launch to where and how the ball comes down.
//!
//! The crate is pure: no input or output, no clock, no state; the same call gives the same answer.
//!
//! Axes inside: x down the target line, y to the left, z up. In launches and landings azimuths and lateral distances are
//! positive to the right and a positive spin-axis tilt curves the ball to the right, for both hands.
//!
//! Published lift coefficients differ by 20 to 30 %, which is about 5 % of carry, and thirteen real balls differed by 18 m
//! of carry (Lyu, Kensrud & Smith 2018, Proceedings (MDPI) 2(6), 238). Whoever shows an absolute modelled carry states
//! that band beside it; differences between two modelled flights of one ball are far better than that.
//!
//! ```
//! use flight::{BallProfile, Conditions, Launch, fly};
//!
//! let launch =
//!     Launch { ball_speed_mps: 67.06, elevation_deg: 12.0, azimuth_deg: 0.0, spin_rpm: 2700.0, spin_tilt_deg: 0.0 };
//! let landing = fly(&BallProfile::default(), &launch, &Conditions::default());
//! assert!((landing.carry_m - 221.7).abs() < 0.1);
//! ```

mod air;
mod ball;
mod batch;
mod book;
mod integrate;
mod launch;
mod law;
mod table;

pub use air::{MoistAir, air_density, standard_air_density};
pub use ball::{Aerodynamics, BallProfile};
pub use batch::{ShotColumns, fly_batch, fly_columns};
pub use book::{BallBook, NamedBall};
pub use integrate::{Flight, State, integrate};
pub use launch::{Conditions, DEFAULT_TOLERANCE_M, Landing, Launch, fly, fly_with_tolerance, try_fly};
pub use law::{AirResistance, ForceLaw, Rates};
pub use table::{CoefficientTable, TableProblem};

/// Standard acceleration of gravity in m/s^2 (ISO 80000-3).
pub const STANDARD_GRAVITY: f64 = 9.806_65;
