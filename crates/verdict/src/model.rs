//! The collision model as a function of the vector of unknowns.

use impact::{
    DELIVERY_UNKNOWNS, Delivery, Dual, Hand, HeadProfile, NUISANCES, Scalar, strike, strike_with_derivatives,
};

use crate::unknowns::{COUNT, Unknowns};
use crate::{Evidence, Known};

/// Launch quantities, in order: ball speed (m/s), elevation, azimuth (deg), spin (rpm), tilt (deg).
pub const LAUNCH: usize = 5;

/// Positions of the start direction in a launch.
pub const ELEVATION: usize = 1;
pub const AZIMUTH: usize = 2;

/// How far the collision model may be off for one and the same shot, at one standard deviation, for a ball speed in m/s and a
/// spin rate in rpm: ball speed (m/s), elevation, azimuth (deg), spin (rpm), tilt (deg).
///
/// Common practice, no source: a rigid head with one contact point and a clean ball describes an impact about this well.
pub fn model_error_sd(ball_speed_mps: f64, spin_rpm: f64) -> [f64; LAUNCH] {
    [0.005 * ball_speed_mps, 0.3, 0.3, (0.05 * spin_rpm).max(60.0), 1.0]
}

/// One head in one player's hands.
#[derive(Debug, Clone, Copy)]
pub struct Model<'a> {
    pub head: &'a HeadProfile,
    /// +1 right-handed, -1 left-handed.
    pub hand: f64,
    /// Constant offsets of this player, club and device, added to every modelled launch, degrees.
    elevation_offset: f64,
    azimuth_offset: f64,
}

impl<'a> Model<'a> {
    pub fn new(evidence: &Evidence, head: &'a HeadProfile) -> Model<'a> {
        Model {
            head,
            hand: evidence.get(Known::Hand).map_or(1.0, |hand| if hand < 0.0 { -1.0 } else { 1.0 }),
            elevation_offset: evidence.get(Known::LoftOffset).unwrap_or(0.0),
            azimuth_offset: evidence.get(Known::DirectionOffset).unwrap_or(0.0),
        }
    }

    /// The launch of one set of unknowns; `None` where head and ball do not meet.
    pub fn launch<S: Scalar>(&self, unknowns: &[S; COUNT]) -> Option<[S; LAUNCH]> {
        let delivery: [S; DELIVERY_UNKNOWNS] = std::array::from_fn(|position| unknowns[position]);
        let nuisances: [S; NUISANCES] = std::array::from_fn(|position| unknowns[DELIVERY_UNKNOWNS + position]);
        let hand = Hand::from_sign(self.hand);
        let mut launch = strike(&self.head.parameters(&nuisances), &Delivery::from_array(delivery), hand)?.to_array();
        launch[ELEVATION] = launch[ELEVATION] + self.elevation_offset;
        launch[AZIMUTH] = launch[AZIMUTH] + self.azimuth_offset;
        Some(launch)
    }

    /// The launch with its exact derivatives by every unknown.
    pub fn launch_with_slopes(&self, unknowns: &Unknowns) -> Option<[Dual<COUNT>; LAUNCH]> {
        let delivery = Delivery::from_array(std::array::from_fn(|position| unknowns[position]));
        let nuisances: [f64; NUISANCES] = std::array::from_fn(|position| unknowns[DELIVERY_UNKNOWNS + position]);
        let launch = strike_with_derivatives(self.head, &delivery, &nuisances, Hand::from_sign(self.hand))?;
        let mut sloped = launch.to_array().map(|told| {
            let mut slopes = [0.0; COUNT];
            slopes[..impact::UNKNOWNS].copy_from_slice(&told.slopes);
            Dual::moving(told.value, slopes)
        });
        sloped[ELEVATION] = sloped[ELEVATION] + self.elevation_offset;
        sloped[AZIMUTH] = sloped[AZIMUTH] + self.azimuth_offset;
        Some(sloped)
    }
}
