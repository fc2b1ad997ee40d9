//! One shot with everything that really happened, and what would have happened otherwise.

use flight::{Conditions, Landing, Launch};
use rand::Rng;
use shot::{Hand, Quantity};

use crate::AcademyError;
use crate::device::FaceReference;
use crate::flown::fly;
use crate::habits::{Form, Swing, normal};
use crate::launch_error::{LaunchShift, ModelError};
use crate::player::{ClubInHand, Player};

/// What one shot is meant to be, where it is not simply another full shot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShotPlan {
    /// Share of the full club speed, 1 = a full swing.
    pub effort: f64,
    /// Where on the face (toe, up in mm) the ball is met on purpose, with its own small spread, as in a demonstration.
    pub strike_on_purpose_mm: Option<(f64, f64)>,
}

impl Default for ShotPlan {
    fn default() -> Self {
        ShotPlan { effort: 1.0, strike_on_purpose_mm: None }
    }
}

/// Spread of a strike that is put somewhere on purpose, in mm.
const ON_PURPOSE_SD_MM: f64 = 3.0;
/// Swings that the model of impact has no answer for are drawn again this many times.
const REDRAWS: usize = 64;

/// One shot as it really was. Angles and lateral distances of launches and landings are canonical (positive = right of the
/// target line for both hands); the swing stands in the player's own frame.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueShot {
    /// Hand of the player.
    pub hand: Hand,
    /// Direction aimed at against the target line, degrees, positive = right.
    pub aim_deg: f64,
    /// Air of the shot.
    pub conditions: Conditions,
    /// Swing and strike, in the player's frame about the aim.
    pub swing: Swing,
    /// What the true head gives the ball by the model of impact.
    pub modelled: Launch,
    /// What the model gets wrong.
    pub error: LaunchShift,
    /// The launch as it was: modelled plus error.
    pub launch: Launch,
    /// Where the true ball came down.
    pub landing: Landing,
    /// The same shot met at the face centre; the model error stays.
    pub centred: Landing,
    /// The strike and speed as they were, path, face, attack and loft as intended; the model error stays.
    pub intended: Landing,
    /// Centred and intended; speed as it was; the model error stays.
    pub both: Landing,
    /// Centred, intended, at the player's median speed and without the model error.
    pub reference: Landing,
    bulge_radius_m: Option<f64>,
    roll_radius_m: Option<f64>,
}

/// Draws one shot of a player with a club, in a session's form and air.
pub fn draw_shot<R: Rng + ?Sized>(
    player: &Player,
    club: &ClubInHand,
    form: &Form,
    plan: &ShotPlan,
    conditions: &Conditions,
    model_error: &ModelError,
    rng: &mut R,
) -> Result<TrueShot, AcademyError> {
    for _ in 0..REDRAWS {
        let mut swing = club.habits.swing(form, rng);
        swing.club_speed_mps *= plan.effort;
        if let Some((toe_mm, up_mm)) = plan.strike_on_purpose_mm {
            swing.toe_mm = toe_mm + ON_PURPOSE_SD_MM * normal(rng);
            swing.up_mm = up_mm + ON_PURPOSE_SD_MM * normal(rng);
        }
        if let Some(shot) = shot_of_swing(player, club, &swing, conditions, model_error, rng) {
            return Ok(shot);
        }
    }
    Err(AcademyError::NoShot { player: player.alias.clone(), club: club.club_id.clone() })
}

/// The shot that a given swing makes: for tests that set the swing themselves. `None` where the model of impact or of
/// flight has no answer for it.
pub fn shot_of_swing<R: Rng + ?Sized>(
    player: &Player,
    club: &ClubInHand,
    swing: &Swing,
    conditions: &Conditions,
    model_error: &ModelError,
    rng: &mut R,
) -> Option<TrueShot> {
    let intended_swing = club.habits.intended();
    let centred_swing = Swing { toe_mm: 0.0, up_mm: 0.0, ..*swing };
    let as_intended = Swing {
        attack_deg: intended_swing.attack_deg,
        path_deg: intended_swing.path_deg,
        face_deg: intended_swing.face_deg,
        loft_deg: intended_swing.loft_deg,
        ..*swing
    };
    let both_swing = Swing { toe_mm: 0.0, up_mm: 0.0, ..as_intended };

    let launch_of = |swing: &Swing| club.head.launch(swing, player.aim_deg, player.hand);
    let fly_true = |launch: &Launch| {
        let landing = fly(&player.ball.0, launch, conditions);
        landing.carry_m.is_finite().then_some(landing)
    };

    let modelled = launch_of(swing)?;
    let error = model_error.draw(&modelled, player.hand.sign() as f64, rng);
    let launch = error.applied_to(&modelled);
    Some(TrueShot {
        hand: player.hand,
        aim_deg: player.aim_deg,
        conditions: *conditions,
        swing: *swing,
        modelled,
        error,
        launch,
        landing: fly_true(&launch)?,
        centred: fly_true(&error.applied_to(&launch_of(&centred_swing)?))?,
        intended: fly_true(&error.applied_to(&launch_of(&as_intended)?))?,
        both: fly_true(&error.applied_to(&launch_of(&both_swing)?))?,
        reference: fly_true(&launch_of(&intended_swing)?)?,
        bulge_radius_m: club.head.profile().bulge_radius_m,
        roll_radius_m: club.head.profile().roll_radius_m,
    })
}

impl TrueShot {
    /// Carry of the centred shot minus carry as it was: positive = lost to the strike, in m.
    pub fn carry_lost_to_strike_m(&self) -> f64 {
        self.centred.carry_m - self.landing.carry_m
    }

    /// Path in degrees, positive = right.
    pub fn path_deg(&self) -> f64 {
        self.aim_deg + self.side() * self.swing.path_deg
    }

    /// Azimuth of the normal at the face centre in degrees, positive = right.
    pub fn face_deg(&self) -> f64 {
        self.aim_deg + self.side() * self.swing.face_deg
    }

    /// Azimuth of the normal at the strike point in degrees, positive = right: bulge turns it toward the toe's side.
    pub fn face_at_strike_deg(&self) -> f64 {
        let turn =
            |offset_mm: f64, radius_m: Option<f64>| radius_m.map_or(0.0, |radius| (offset_mm / 1000.0 / radius).asin());
        let along = turn(self.swing.toe_mm, self.bulge_radius_m);
        let up = turn(self.swing.up_mm, self.roll_radius_m);
        let elevation = self.swing.loft_deg.to_radians() + up;
        self.face_deg() + self.side() * along.sin().atan2(along.cos() * elevation.cos()).to_degrees()
    }

    /// The true value of a quantity, if this shot has it.
    pub fn truth(&self, quantity: Quantity, face_reference: FaceReference) -> Option<f64> {
        Some(match quantity {
            Quantity::BallSpeedMps => self.launch.ball_speed_mps,
            Quantity::LaunchElevationDeg => self.launch.elevation_deg,
            Quantity::LaunchAzimuthDeg => self.launch.azimuth_deg,
            Quantity::SpinRpm => self.launch.spin_rpm,
            Quantity::SpinTiltDeg => self.launch.spin_tilt_deg,
            Quantity::StrikeToeMm => self.swing.toe_mm,
            Quantity::StrikeUpMm => self.swing.up_mm,
            Quantity::AttackDeg => self.swing.attack_deg,
            Quantity::ClubSpeedMps => self.swing.club_speed_mps,
            Quantity::DeliveredLoftDeg => self.swing.loft_deg,
            Quantity::FaceDeg => match face_reference {
                FaceReference::Centre => self.face_deg(),
                FaceReference::StrikePoint => self.face_at_strike_deg(),
            },
            Quantity::PathDeg => self.path_deg(),
            Quantity::CarryM => self.landing.carry_m,
            Quantity::LateralM => self.landing.lateral_m,
            Quantity::PeakHeightM => self.landing.peak_height_m,
            Quantity::DescentDeg => self.landing.descent_deg,
            Quantity::FlightTimeS => self.landing.flight_time_s,
            Quantity::WindAlongMps => self.conditions.wind_along_mps,
            Quantity::WindAcrossMps => self.conditions.wind_across_mps,
            _ => return None,
        })
    }

    fn side(&self) -> f64 {
        self.hand.sign() as f64
    }
}
