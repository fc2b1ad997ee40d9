//! The collision of club head and ball: what speed, direction and spin a delivery and a strike position give the ball.
//!
//! A free rigid head meets a ball that rolls on the face when they separate, or slides where friction does not suffice. The
//! head's full inertia, the place of its centre of gravity, bulge and roll are in it, so gear effect, speed loss and start
//! direction of a strike off the centre come out together.
//!
//! Ways to ask, each giving the same launch:
//! - [`launch`]: one strike.
//! - [`strike_where`] with [`Lanes`]: several strikes at once, each with a head of its own, at about half the time for each
//!   (a third where the build may use wider vector instructions than every x86-64 processor has).
//! - [`strike_with_derivatives`]: all fifteen first derivatives for two to three times the time of one strike.
//! - [`strike_along`]: first and second derivative along one direction.
//! - [`strike`] with any other [`Scalar`]: `Dual<N>` for N first derivatives, `Dual<N, Dual<N>>` for all second ones of N
//!   inputs, duals of lanes.
//!
//! `cargo bench -p impact --bench strikes --profile dev` measures each.
//!
//! Club speed, attack and path are those of the face centre; the head's own rotation before impact is neglected, and so are
//! the shaft and the hands. Fat and thin contact (ground before ball) lies outside the model.
//!
//! The crate is pure: no input or output, no clock, no state. Signs: azimuths (face, path, launch) are positive to the right,
//! elevations (attack, loft, launch) upward, a positive spin tilt curves right, all for both hands; strike positions are
//! positive toward the toe and toward the crown. A left-hander's strike is the mirror image of a right-hander's.

mod collision;
mod delivery;
mod derivatives;
mod dual;
mod equipment_rules;
mod head;
mod heads;
mod lane_functions;
mod lanes;
mod plausibility;
mod scalar;
#[cfg(test)]
mod schema;
mod strike;
mod tangent;
mod vector;

pub use collision::{Collision, collide};
pub use delivery::{BallLaunch, Delivery, Hand};
pub use derivatives::{strike_along, strike_with_derivatives};
pub use dual::Dual;
pub use head::{HeadKind, HeadParameters, HeadProfile, NUISANCE_NAMES, NUISANCES};
pub use heads::HeadBook;
pub use lanes::{LaneMask, Lanes};
pub use plausibility::HeadFault;
pub use scalar::{Mask, Scalar};
pub use strike::{DELIVERY_UNKNOWNS, UNKNOWNS, launch, strike, strike_where};
