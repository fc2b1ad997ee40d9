//! The collision of club head and ball: what speed, direction and spin a delivery and a strike position give the ball.
//!
//! A free rigid head meets a ball that rolls on the face when they separate, or slides where friction does not suffice. The
//! head's full inertia, the place of its centre of gravity, bulge and roll are in it, so gear effect, speed loss and start
//! direction of a strike off the centre come out together. Everything is generic over [`Scalar`]: with plain numbers it
//! answers in well under a microsecond, with [`Dual`] numbers it also gives exact derivatives.
//!
//! Club speed, attack and path are those of the face centre; the head's own rotation before impact is neglected, and so are
//! the shaft and the hands. Fat and thin contact (ground before ball) lies outside the model.
//!
//! The crate is pure: no input or output, no clock, no state. Signs: azimuths (face, path, launch) are positive to the right,
//! elevations (attack, loft, launch) upward, a positive spin tilt curves right, all for both hands; strike positions are
//! positive toward the toe and toward the crown. A left-hander's strike is the mirror image of a right-hander's.

mod collision;
mod delivery;
mod dual;
mod head;
mod heads;
mod lane_functions;
mod lanes;
mod scalar;
mod strike;
mod vector;

pub use collision::{Collision, collide};
pub use delivery::{BallLaunch, Delivery, Hand};
pub use dual::Dual;
pub use head::{HeadKind, HeadParameters, HeadProfile, NUISANCE_NAMES, NUISANCES};
pub use heads::HeadBook;
pub use lanes::{LaneMask, Lanes};
pub use scalar::{Mask, Scalar};
pub use strike::{DELIVERY_UNKNOWNS, UNKNOWNS, launch, strike, strike_where, strike_with_derivatives};
