//! The ball's flight through air: from a launch to where and how the ball comes down.
//!
//! [`fly`] takes one shot, [`fly_batch`] the neighbours of a shot, [`fly_columns`] many shots in their own air; all three run the
//! same kernel and agree to the last digit. The crate is pure: no input or output, no clock, no state; the same call gives
//! the same answer.
//!
//! Axes inside: x down the target line, y to the left, z up. In launches and landings azimuths and lateral distances are
//! positive to the right and a positive spin-axis tilt curves the ball to the right, for both hands.
//!
//! The model is drag, lift, weight and a fading spin about an axis that keeps its direction, in a steady wind over level ground.
//! Bounce, roll, gusts and the growth of wind with height are left out.
//!
//! Published lift coefficients differ by 20 to 30 %, which is about 5 % of carry, and thirteen real balls differed by 18 m
//! of carry (Lyu, Kensrud & Smith 2018, Proceedings (MDPI) 2(6), 238). Whoever shows an absolute modelled carry states
//! that band beside it; differences between two modelled flights of one ball with like spin are far better than that.
//!
//! Of the model's own equations the answers are within 1 cm and 0.01 s for launches from 10 to 95 m/s in winds to 15 m/s; README.md
//! of the crate tells how that was found and what the largest errors were.
//!
//! ```
//! use flight::{BallProfile, Conditions, Landing, Launch, fly, fly_batch};
//!
//! let launch =
//!     Launch { ball_speed_mps: 67.06, elevation_deg: 12.0, azimuth_deg: 0.0, spin_rpm: 2700.0, spin_tilt_deg: 0.0 };
//! let (ball, air) = (BallProfile::default(), Conditions::default());
//! let landing = fly(&ball, &launch, &air);
//! assert!((landing.carry_m - 221.7).abs() < 0.1);
//!
//! let faster = Launch { ball_speed_mps: 68.06, ..launch };
//! let mut landings = [Landing::UNKNOWN; 2];
//! fly_batch(&ball, &[launch, faster], &air, &mut landings);
//! assert_eq!(landings[0], landing);
//! assert!(landings[1].carry_m > landing.carry_m);
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
