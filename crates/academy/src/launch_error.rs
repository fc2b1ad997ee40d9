//! What the model of impact gets wrong about a shot.

use flight::Launch;
use rand::Rng;

use crate::habits::normal;

/// Standard deviations of the model error: no product's impact model is ever exactly right.
///
/// The sizes are our choice [common practice, no source]; they are about what two careful devices disagree by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModelError {
    /// Of ball speed, as a share of it.
    pub speed_share: f64,
    /// Of launch elevation, in degrees.
    pub elevation_deg: f64,
    /// Of launch azimuth, in degrees.
    pub azimuth_deg: f64,
    /// Of spin rate, as a share of it.
    pub spin_share: f64,
    /// Of spin tilt, in degrees.
    pub tilt_deg: f64,
}

impl Default for ModelError {
    fn default() -> Self {
        ModelError { speed_share: 0.005, elevation_deg: 0.25, azimuth_deg: 0.25, spin_share: 0.04, tilt_deg: 0.8 }
    }
}

impl ModelError {
    /// No error at all: the model is the world.
    pub const NONE: ModelError =
        ModelError { speed_share: 0.0, elevation_deg: 0.0, azimuth_deg: 0.0, spin_share: 0.0, tilt_deg: 0.0 };

    /// Draws the error of one shot, in launch space. `side` is +1 for a right-hander and -1 for a left-hander: the error
    /// is drawn in the player's frame so that a mirrored player's shots are exact mirror images.
    pub fn draw<R: Rng + ?Sized>(&self, modelled: &Launch, side: f64, rng: &mut R) -> LaunchShift {
        LaunchShift {
            ball_speed_mps: modelled.ball_speed_mps * self.speed_share * normal(rng),
            elevation_deg: self.elevation_deg * normal(rng),
            azimuth_deg: side * self.azimuth_deg * normal(rng),
            spin_rpm: modelled.spin_rpm * self.spin_share * normal(rng),
            spin_tilt_deg: side * self.tilt_deg * normal(rng),
        }
    }
}

/// A difference between two launches, in the units of [`Launch`].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LaunchShift {
    /// Of ball speed, m/s.
    pub ball_speed_mps: f64,
    /// Of elevation, degrees.
    pub elevation_deg: f64,
    /// Of azimuth, degrees.
    pub azimuth_deg: f64,
    /// Of spin rate, rpm.
    pub spin_rpm: f64,
    /// Of spin tilt, degrees.
    pub spin_tilt_deg: f64,
}

impl LaunchShift {
    /// The launch with this shift added. Speed and spin do not fall below zero.
    pub fn applied_to(&self, launch: &Launch) -> Launch {
        Launch {
            ball_speed_mps: (launch.ball_speed_mps + self.ball_speed_mps).max(0.0),
            elevation_deg: launch.elevation_deg + self.elevation_deg,
            azimuth_deg: launch.azimuth_deg + self.azimuth_deg,
            spin_rpm: (launch.spin_rpm + self.spin_rpm).max(0.0),
            spin_tilt_deg: launch.spin_tilt_deg + self.spin_tilt_deg,
        }
    }
}
