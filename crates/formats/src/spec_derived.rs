//! The `[derived]` tables of `format.toml` as written: a small closed set of what follows from other numbers.

use serde::Deserialize;
use toml::Spanned;

use crate::spec::{NumberSpec, Text};

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct DerivedSpec {
    #[cfg_attr(test, schemars(with = "Option<SpinSpec>"))]
    pub spin: Option<Spanned<SpinSpec>>,
    #[cfg_attr(test, schemars(with = "Option<FaceSpec>"))]
    pub face: Option<Spanned<FaceSpec>>,
    #[cfg_attr(test, schemars(with = "Option<PathSpec>"))]
    pub path: Option<Spanned<PathSpec>>,
    #[cfg_attr(test, schemars(with = "Option<SpeedSpec>"))]
    pub speed: Option<Spanned<SpeedSpec>>,
    #[cfg_attr(test, schemars(with = "Option<LoftSpec>"))]
    pub loft: Option<Spanned<LoftSpec>>,
    #[cfg_attr(test, schemars(with = "Option<CarrySpec>"))]
    pub carry: Option<Spanned<CarrySpec>>,
    #[cfg_attr(test, schemars(with = "Option<LateralSpec>"))]
    pub lateral: Option<Spanned<LateralSpec>>,
    #[cfg_attr(test, schemars(with = "Option<LaunchSpec>"))]
    pub launch: Option<Spanned<LaunchSpec>>,
}

/// Spin rate and tilt from two of its parts.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct SpinSpec {
    #[cfg_attr(test, schemars(with = "Option<NumberSpec>"))]
    pub back_spin: Option<Spanned<NumberSpec>>,
    #[cfg_attr(test, schemars(with = "Option<NumberSpec>"))]
    pub side_spin: Option<Spanned<NumberSpec>>,
    #[cfg_attr(test, schemars(with = "Option<NumberSpec>"))]
    pub spin_rate: Option<Spanned<NumberSpec>>,
    #[cfg_attr(test, schemars(with = "Option<NumberSpec>"))]
    pub spin_tilt: Option<Spanned<NumberSpec>>,
    /// True where the device measures it, false where it only computes it.
    pub measured: bool,
    /// Of the rate, in /min.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub standard_deviation: Option<Spanned<f64>>,
    /// In deg.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub tilt_standard_deviation: Option<Spanned<f64>>,
}

/// Face from path and the angle between them.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct FaceSpec {
    #[cfg_attr(test, schemars(with = "NumberSpec"))]
    pub face_to_path: Spanned<NumberSpec>,
    /// True where the device measures it, false where it only computes it.
    pub measured: bool,
    /// In deg.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub standard_deviation: Option<Spanned<f64>>,
    /// The point of the face that the angle belongs to.
    #[cfg_attr(test, schemars(with = "Option<crate::schema_words::FaceReference>"))]
    pub face_reference: Option<Text>,
}

/// Path from face and the angle between them.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct PathSpec {
    #[cfg_attr(test, schemars(with = "NumberSpec"))]
    pub face_to_path: Spanned<NumberSpec>,
    /// True where the device measures it, false where it only computes it.
    pub measured: bool,
    /// In deg.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub standard_deviation: Option<Spanned<f64>>,
}

/// One speed from the other and their ratio (ball over club).
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct SpeedSpec {
    #[cfg_attr(test, schemars(with = "NumberSpec"))]
    pub ratio: Spanned<NumberSpec>,
    /// `ball_speed_mps` or `club_speed_mps`.
    #[cfg_attr(test, schemars(with = "crate::schema_words::SpeedColumn"))]
    pub gives: Text,
    /// True where the device measures it, false where it only computes it.
    pub measured: bool,
    /// In m/s.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub standard_deviation: Option<Spanned<f64>>,
}

/// Delivered loft from the attack angle and the angle between face and motion.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct LoftSpec {
    #[cfg_attr(test, schemars(with = "NumberSpec"))]
    pub spin_loft: Spanned<NumberSpec>,
    /// True where the device measures it, false where it only computes it.
    pub measured: bool,
    /// In deg.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub standard_deviation: Option<Spanned<f64>>,
}

/// Carry from the distance along the target line and the distance across it.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct CarrySpec {
    #[cfg_attr(test, schemars(with = "NumberSpec"))]
    pub along_line: Spanned<NumberSpec>,
    /// True where the device measures it, false where it only computes it.
    pub measured: bool,
    /// In m.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub standard_deviation: Option<Spanned<f64>>,
}

/// Distance across the target line from carry and the direction of the landing point.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct LateralSpec {
    #[cfg_attr(test, schemars(with = "NumberSpec"))]
    pub landing_azimuth: Spanned<NumberSpec>,
    /// True where the device measures it, false where it only computes it.
    pub measured: bool,
    /// In m.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub standard_deviation: Option<Spanned<f64>>,
}

/// Ball speed and launch angles from the three parts of the ball's velocity.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct LaunchSpec {
    #[cfg_attr(test, schemars(with = "NumberSpec"))]
    pub along: Spanned<NumberSpec>,
    /// Positive = right.
    #[cfg_attr(test, schemars(with = "NumberSpec"))]
    pub across: Spanned<NumberSpec>,
    #[cfg_attr(test, schemars(with = "NumberSpec"))]
    pub up: Spanned<NumberSpec>,
    /// True where the device measures it, false where it only computes it.
    pub measured: bool,
    /// Of the speed, in m/s.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub standard_deviation: Option<Spanned<f64>>,
    /// Of both angles, in deg.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub angle_standard_deviation: Option<Spanned<f64>>,
}
