//! Quantities that a device gives only in parts: spin as back and side spin, face as an angle to the path, one speed as a ratio.

use shot::Quantity;

use crate::source::NumberSource;

/// How one or two quantities follow from others of the same row.
#[derive(Debug, Clone)]
pub(crate) enum Derivation {
    /// `spin_rpm` and `spin_tilt_deg` from back and side spin, both /min, side spin positive = curves right.
    Spin(Box<SpinParts>),
    /// `face_deg` = `path_deg` + face to path.
    Face { face_to_path: NumberSource },
    /// The missing speed from the other one and ball speed / club speed.
    Speed { ratio: NumberSource, gives: Quantity },
}

/// The two parts of a spin.
#[derive(Debug, Clone)]
pub(crate) struct SpinParts {
    pub back: NumberSource,
    pub side: NumberSource,
}

/// Rate and tilt of a spin from its parts: the axis is tilted by the angle whose tangent is side over back.
/// A spin without any rate has no axis, hence no tilt.
pub(crate) fn spin_of(back: f64, side: f64) -> (f64, Option<f64>) {
    let rate = back.hypot(side);
    (rate, (rate > 0.0).then(|| side.atan2(back).to_degrees()))
}

/// The speed that a ratio gives; nothing where the ratio is no ratio.
pub(crate) fn speed_of(gives: Quantity, other: f64, ratio: f64) -> Option<f64> {
    if ratio <= 0.0 {
        return None;
    }
    Some(if gives == Quantity::BallSpeedMps { other * ratio } else { other / ratio })
}

/// The quantity that a ratio needs besides itself.
pub(crate) fn other_speed(gives: Quantity) -> Quantity {
    if gives == Quantity::BallSpeedMps { Quantity::ClubSpeedMps } else { Quantity::BallSpeedMps }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spin_parts_make_a_right_triangle() {
        // [derived: 3-4-5 triangle; its smaller angle is 36.869 897 645 844 02 deg]
        let (rate, tilt) = spin_of(4000.0, -3000.0);
        assert!((rate - 5000.0).abs() < 1e-9);
        assert!((tilt.expect("an axis") + 36.869_897_645_844_02).abs() < 1e-12);
        assert_eq!(spin_of(0.0, 0.0), (0.0, None));
    }

    #[test]
    fn a_ratio_gives_either_speed() {
        assert_eq!(speed_of(Quantity::BallSpeedMps, 40.0, 1.5), Some(60.0));
        assert_eq!(speed_of(Quantity::ClubSpeedMps, 60.0, 1.5), Some(40.0));
        assert_eq!(speed_of(Quantity::ClubSpeedMps, 60.0, 0.0), None);
    }
}
