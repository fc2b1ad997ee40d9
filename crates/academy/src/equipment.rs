//! Heads and balls as they really are: near their profiles, never equal to them.

use flight::{BallProfile, Launch};
use impact::{Delivery, HeadProfile};
use rand::Rng;
use shot::Hand;

use crate::habits::{Swing, normal};

/// Spread of head masses about the profile in kg [common practice, no source]; profiles give no deviation for it.
const MASS_SD_KG: f64 = 0.001_5;
/// Spread of a ball's drag and lift about the default law, as a share (PHYSICS: published models differ by far more).
const AIR_SCALE_SD: f64 = 0.025;

/// A head as it really is.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueHead(HeadProfile);

/// How many independent draws make a true head out of a profile.
pub const HEAD_DRAWS: usize = 9;
/// How many independent draws make a true ball.
pub const BALL_DRAWS: usize = 2;

impl TrueHead {
    /// Draws a head around its profile, with the deviations that the profile itself states, and a mass of its own.
    pub fn draw<R: Rng + ?Sized>(profile: &HeadProfile, rng: &mut R) -> TrueHead {
        TrueHead::off_profile(profile, &std::array::from_fn(|_| normal(rng)))
    }

    /// The head that lies the given numbers of standard deviations off its profile: restitution, its fall-off, inertia, centre
    /// of gravity along [n, u, t], bulge, friction, mass. Drawn values make a head by chance, their negatives its opposite.
    pub fn off_profile(profile: &HeadProfile, deviations: &[f64; HEAD_DRAWS]) -> TrueHead {
        let [restitution, falloff, inertia, normal, up, toe, bulge, friction, mass] = *deviations;
        let mut head = profile.clone();
        head.restitution = (head.restitution + head.restitution_sd * restitution).clamp(0.5, 0.9);
        head.restitution_falloff_per_m2 =
            (head.restitution_falloff_per_m2 + head.restitution_falloff_sd * falloff).max(0.0);
        let inertia_scale = (1.0 + head.inertia_scale_sd * inertia).clamp(0.6, 1.4);
        for entry in head.inertia_kg_m2.iter_mut().flatten() {
            *entry *= inertia_scale;
        }
        for (axis, deviation) in [normal, up, toe].into_iter().enumerate() {
            head.cg_m[axis] += head.cg_sd_m[axis] * deviation;
        }
        // Below 0.15 m a face would be a ball; no such head is made.
        head.bulge_radius_m = head.bulge_radius_m.map(|radius| (radius + head.bulge_sd_m * bulge).max(0.15));
        head.friction = (head.friction + head.friction_sd * friction).max(0.05);
        head.mass_kg += MASS_SD_KG * mass;
        TrueHead(head)
    }

    /// A head exactly like its profile, for tests that want no surprise.
    pub fn exactly(profile: &HeadProfile) -> TrueHead {
        TrueHead(profile.clone())
    }

    /// The true numbers of the head, in the form of a profile.
    pub fn profile(&self) -> &HeadProfile {
        &self.0
    }

    /// What this head gives the ball by the model of impact. `aim_deg` is positive to the right of the target line.
    pub fn launch(&self, swing: &Swing, aim_deg: f64, hand: Hand) -> Option<Launch> {
        let (side, hand) = match hand {
            Hand::Right => (1.0, impact::Hand::Right),
            Hand::Left => (-1.0, impact::Hand::Left),
        };
        let delivery = Delivery {
            club_speed_mps: swing.club_speed_mps,
            attack_deg: swing.attack_deg,
            path_deg: aim_deg + side * swing.path_deg,
            face_deg: aim_deg + side * swing.face_deg,
            delivered_loft_deg: swing.loft_deg,
            strike_toe_mm: swing.toe_mm,
            strike_up_mm: swing.up_mm,
        };
        let ball = impact::launch(&self.0, &delivery, hand)?;
        Some(Launch {
            ball_speed_mps: ball.ball_speed_mps,
            elevation_deg: ball.launch_elevation_deg,
            azimuth_deg: ball.launch_azimuth_deg,
            spin_rpm: ball.spin_rpm,
            spin_tilt_deg: ball.spin_tilt_deg,
        })
    }
}

/// A ball as it really flies.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueBall(pub BallProfile);

impl TrueBall {
    /// Draws a ball around the default one.
    pub fn draw<R: Rng + ?Sized>(rng: &mut R) -> TrueBall {
        TrueBall::off_default(&std::array::from_fn(|_| normal(rng)))
    }

    /// The ball whose drag and lift lie the given numbers of standard deviations off the default law.
    pub fn off_default(deviations: &[f64; BALL_DRAWS]) -> TrueBall {
        let [drag, lift] = *deviations;
        TrueBall(BallProfile {
            drag_scale: 1.0 + AIR_SCALE_SD * drag,
            lift_scale: 1.0 + AIR_SCALE_SD * lift,
            ..BallProfile::default()
        })
    }
}
