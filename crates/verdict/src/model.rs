//! The collision model as a function of the vector of unknowns.

use impact::{DELIVERY_UNKNOWNS, Delivery, Hand, HeadProfile, NUISANCES, Scalar, strike};

use crate::unknowns::COUNT;

/// Launch quantities, in order: ball speed (m/s), elevation, azimuth (deg), spin (rpm), tilt (deg).
pub const LAUNCH: usize = 5;

/// The launch of one set of unknowns; `None` where head and ball do not meet.
pub fn launch_of<S: Scalar>(head: &HeadProfile, unknowns: &[S; COUNT], hand: f64) -> Option<[S; LAUNCH]> {
    let delivery: [S; DELIVERY_UNKNOWNS] = std::array::from_fn(|position| unknowns[position]);
    let nuisances: [S; NUISANCES] = std::array::from_fn(|position| unknowns[DELIVERY_UNKNOWNS + position]);
    let launch = strike(&head.parameters(&nuisances), &Delivery::from_array(delivery), Hand::from_sign(hand))?;
    Some(launch.to_array())
}
