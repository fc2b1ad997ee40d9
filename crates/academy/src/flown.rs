//! The flights of the demo.

use flight::{BallProfile, Conditions, Landing, Launch, fly_with_tolerance};

/// Step tolerance that the checked-in demo data were made with, in m.
const DEMO_TOLERANCE_M: f64 = 2e-4;

/// Flies a ball by the integrator that the checked-in demo data were made with. `flight::fly` differs from it by millimetres,
/// enough to turn a last printed digit here and there.
pub(crate) fn fly(ball: &BallProfile, launch: &Launch, conditions: &Conditions) -> Landing {
    fly_with_tolerance(ball, launch, conditions, DEMO_TOLERANCE_M).unwrap_or(Landing::UNKNOWN)
}
