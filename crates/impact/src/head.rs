//! What a club head is to the ball.

use serde::Deserialize;

use crate::scalar::Scalar;
use crate::vector::{Symmetric, adjugate};

/// Numbers of a head that are never known exactly and that an estimator lets vary.
pub const NUISANCES: usize = 8;

/// Names of the numbers of [`HeadProfile::nuisances`].
pub const NUISANCE_NAMES: [&str; NUISANCES] = [
    "restitution",
    "restitution_falloff_per_m2",
    "inertia_scale",
    "cg_normal_m",
    "cg_up_m",
    "cg_toe_m",
    "bulge_curvature_per_m",
    "friction",
];

/// Deviation of the curvature of a face that is meant to be flat: a radius of 100 m.
const FLAT_CURVATURE_SD: f64 = 0.01;

/// The family of a club, as the shot record names it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum HeadKind {
    /// `driver`
    Driver,
    /// `fairway-wood`
    FairwayWood,
    /// `hybrid`
    Hybrid,
    /// `iron`
    Iron,
    /// `wedge`
    Wedge,
}

impl HeadKind {
    /// The name that the shot record uses (`club_kind`).
    pub fn name(self) -> &'static str {
        match self {
            Self::Driver => "driver",
            Self::FairwayWood => "fairway-wood",
            Self::Hybrid => "hybrid",
            Self::Iron => "iron",
            Self::Wedge => "wedge",
        }
    }
}

/// A club head: body, face, what of it is uncertain, and how such a club is usually delivered.
///
/// Face axes {n outward normal at the face centre, u up the face, t toward the toe}.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct HeadProfile {
    /// Name by which rosters refer to the profile.
    pub name: String,
    /// The family of the club.
    pub kind: HeadKind,
    /// Mass in kg.
    pub mass_kg: f64,
    /// Centre of gravity from the face centre in m along [n, u, t]; behind the face is negative n.
    pub cg_m: [f64; 3],
    /// Inertia tensor about the centre of gravity in kg m^2 along [n, u, t].
    pub inertia_kg_m2: [[f64; 3]; 3],
    /// Coefficient of restitution e0 at the face centre.
    pub restitution: f64,
    /// Fall-off k of the restitution in 1/m^2: e = e0 (1 - k r^2), r the distance of the strike from the face centre.
    pub restitution_falloff_per_m2: f64,
    /// Static loft in degrees.
    pub loft_deg: f64,
    /// Radius of the face's horizontal curvature in m; absent = flat.
    pub bulge_radius_m: Option<f64>,
    /// Radius of the face's vertical curvature in m; absent = flat.
    pub roll_radius_m: Option<f64>,
    /// Coulomb friction between ball and face.
    pub friction: f64,
    /// Mass of the ball in kg.
    #[serde(default = "default_ball_mass_kg")]
    pub ball_mass_kg: f64,
    /// Radius of the ball in m.
    #[serde(default = "default_ball_radius_m")]
    pub ball_radius_m: f64,
    /// Moment of inertia of the ball divided by mass and squared radius.
    #[serde(default = "default_ball_inertia_factor")]
    pub ball_inertia_factor: f64,
    /// Deviation of `restitution`.
    pub restitution_sd: f64,
    /// Deviation of `restitution_falloff_per_m2`.
    pub restitution_falloff_sd: f64,
    /// Deviation of the scale of the whole inertia tensor about 1.
    pub inertia_scale_sd: f64,
    /// Deviation of `cg_m` along [n, u, t] in m.
    pub cg_sd_m: [f64; 3],
    /// Deviation of `bulge_radius_m` in m; of no effect on a flat face.
    pub bulge_sd_m: f64,
    /// Deviation of `friction`.
    #[serde(default = "default_friction_sd")]
    pub friction_sd: f64,
    /// Usual speed of the face centre in m/s, where nothing is known of the player.
    pub typical_club_speed_mps: f64,
    /// Usual attack in degrees, where nothing is known of the player.
    pub typical_attack_deg: f64,
    /// Usual delivered loft in degrees, where nothing is known of the player.
    pub typical_delivered_loft_deg: f64,
    /// Whether the launch tells where on the face the ball was struck: only with a centre of gravity deep behind the face.
    pub reveals_strike: bool,
}

fn default_ball_mass_kg() -> f64 {
    0.045_93
}

fn default_ball_radius_m() -> f64 {
    0.021_335
}

fn default_ball_inertia_factor() -> f64 {
    0.4
}

fn default_friction_sd() -> f64 {
    0.05
}

/// A head as the collision needs it; what can be perturbed is a [`Scalar`], the rest plain numbers.
#[derive(Debug, Clone, Copy)]
pub struct HeadParameters<S = f64> {
    /// Mass in kg.
    pub mass_kg: f64,
    /// Inverse of the inertia tensor in 1/(kg m^2): nn, uu, tt, nu, nt, ut.
    pub inverse_inertia: [f64; 6],
    /// Curvature of the face upward in 1/m; 0 = flat.
    pub roll_curvature: f64,
    /// Mass of the ball in kg.
    pub ball_mass_kg: f64,
    /// Radius of the ball in m.
    pub ball_radius_m: f64,
    /// Moment of inertia of the ball in kg m^2.
    pub ball_inertia_kg_m2: f64,
    /// Coefficient of restitution at the face centre.
    pub restitution: S,
    /// Fall-off of the restitution in 1/m^2.
    pub restitution_falloff_per_m2: S,
    /// Factor on the whole inertia tensor.
    pub inertia_scale: S,
    /// Centre of gravity from the face centre in m along [n, u, t].
    pub cg_m: [S; 3],
    /// Curvature of the face toward the toe in 1/m; 0 = flat.
    pub bulge_curvature: S,
    /// Coulomb friction between ball and face.
    pub friction: S,
}

impl HeadProfile {
    /// The uncertain numbers at the profile's own values, in the order of [`NUISANCE_NAMES`].
    pub fn nuisances(&self) -> [f64; NUISANCES] {
        let [normal, up, toe] = self.cg_m;
        [
            self.restitution,
            self.restitution_falloff_per_m2,
            1.0,
            normal,
            up,
            toe,
            curvature(self.bulge_radius_m),
            self.friction,
        ]
    }

    /// Standard deviations of [`HeadProfile::nuisances`]; all positive in a valid profile. The one of the bulge is that of the
    /// curvature, to first order.
    pub fn nuisance_deviations(&self) -> [f64; NUISANCES] {
        let [normal, up, toe] = self.cg_sd_m;
        let curvature_sd = match self.bulge_radius_m {
            Some(radius) => self.bulge_sd_m / (radius * radius),
            None => FLAT_CURVATURE_SD,
        };
        [
            self.restitution_sd,
            self.restitution_falloff_sd,
            self.inertia_scale_sd,
            normal,
            up,
            toe,
            curvature_sd,
            self.friction_sd,
        ]
    }

    /// The head with its uncertain numbers set to `nuisances` (order of [`NUISANCE_NAMES`]).
    pub fn parameters<S: Scalar>(&self, nuisances: &[S; NUISANCES]) -> HeadParameters<S> {
        let [restitution, restitution_falloff_per_m2, inertia_scale, normal, up, toe, bulge_curvature, friction] =
            *nuisances;
        let (cofactors, determinant) = adjugate(&self.symmetric_inertia());
        HeadParameters {
            mass_kg: self.mass_kg,
            inverse_inertia: cofactors.map(|entry| entry / determinant),
            roll_curvature: curvature(self.roll_radius_m),
            ball_mass_kg: self.ball_mass_kg,
            ball_radius_m: self.ball_radius_m,
            ball_inertia_kg_m2: self.ball_inertia_factor * self.ball_mass_kg * self.ball_radius_m * self.ball_radius_m,
            restitution,
            restitution_falloff_per_m2,
            inertia_scale,
            cg_m: [normal, up, toe],
            bulge_curvature,
            friction,
        }
    }

    /// Upper triangle of the inertia tensor; a valid profile is symmetric.
    pub(crate) fn symmetric_inertia(&self) -> Symmetric<f64> {
        let [normal, up, toe] = self.inertia_kg_m2;
        [normal[0], up[1], toe[2], normal[1], normal[2], up[2]]
    }
}

fn curvature(radius_m: Option<f64>) -> f64 {
    radius_m.map_or(0.0, |radius| 1.0 / radius)
}
