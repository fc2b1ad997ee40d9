//! The `[derived]` tables of `format.toml` as written: a small closed set of what follows from other numbers.

use serde::Deserialize;
use toml::Spanned;

use crate::spec::{NumberSpec, Text};

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct DerivedSpec {
    pub spin: Option<Spanned<SpinSpec>>,
    pub face: Option<Spanned<FaceSpec>>,
    pub path: Option<Spanned<PathSpec>>,
    pub speed: Option<Spanned<SpeedSpec>>,
    pub loft: Option<Spanned<LoftSpec>>,
    pub carry: Option<Spanned<CarrySpec>>,
    pub lateral: Option<Spanned<LateralSpec>>,
    pub launch: Option<Spanned<LaunchSpec>>,
}

/// Spin rate and tilt from two of its parts.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct SpinSpec {
    pub back_spin: Option<Spanned<NumberSpec>>,
    pub side_spin: Option<Spanned<NumberSpec>>,
    pub spin_rate: Option<Spanned<NumberSpec>>,
    pub spin_tilt: Option<Spanned<NumberSpec>>,
    pub measured: bool,
    /// Of the rate, in /min.
    pub standard_deviation: Option<Spanned<f64>>,
    /// In deg.
    pub tilt_standard_deviation: Option<Spanned<f64>>,
}

/// Face from path and the angle between them.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct FaceSpec {
    pub face_to_path: Spanned<NumberSpec>,
    pub measured: bool,
    /// In deg.
    pub standard_deviation: Option<Spanned<f64>>,
    pub face_reference: Option<Text>,
}

/// Path from face and the angle between them.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct PathSpec {
    pub face_to_path: Spanned<NumberSpec>,
    pub measured: bool,
    /// In deg.
    pub standard_deviation: Option<Spanned<f64>>,
}

/// One speed from the other and their ratio (ball over club).
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct SpeedSpec {
    pub ratio: Spanned<NumberSpec>,
    /// `ball_speed_mps` or `club_speed_mps`.
    pub gives: Text,
    pub measured: bool,
    /// In m/s.
    pub standard_deviation: Option<Spanned<f64>>,
}

/// Delivered loft from the attack angle and the angle between face and motion.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct LoftSpec {
    pub spin_loft: Spanned<NumberSpec>,
    pub measured: bool,
    /// In deg.
    pub standard_deviation: Option<Spanned<f64>>,
}

/// Carry from the distance along the target line and the distance across it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct CarrySpec {
    pub along_line: Spanned<NumberSpec>,
    pub measured: bool,
    /// In m.
    pub standard_deviation: Option<Spanned<f64>>,
}

/// Distance across the target line from carry and the direction of the landing point.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct LateralSpec {
    pub landing_azimuth: Spanned<NumberSpec>,
    pub measured: bool,
    /// In m.
    pub standard_deviation: Option<Spanned<f64>>,
}

/// Ball speed and launch angles from the three parts of the ball's velocity.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct LaunchSpec {
    pub along: Spanned<NumberSpec>,
    /// Positive = right.
    pub across: Spanned<NumberSpec>,
    pub up: Spanned<NumberSpec>,
    pub measured: bool,
    /// Of the speed, in m/s.
    pub standard_deviation: Option<Spanned<f64>>,
    /// Of both angles, in deg.
    pub angle_standard_deviation: Option<Spanned<f64>>,
}
