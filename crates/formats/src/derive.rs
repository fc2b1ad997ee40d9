//! Quantities that a device gives only in parts: a small closed set of formulas, each from numbers of the same row.

use shot::Quantity;

use crate::source::NumberSource;

/// Device roundings can make a side spin a hair greater than the total rate; beyond this share it is a contradiction.
const ROUNDING: f64 = 1.01;

/// One or more quantities that follow from parts and perhaps one quantity that is read directly.
#[derive(Debug, Clone)]
pub(crate) struct Derivation {
    pub formula: Formula,
    /// In the order that the formula names.
    pub parts: Vec<NumberSource>,
}

/// The closed set. Spins in /min, angles in deg, speeds in m/s, distances in m; right, up and a curve to the right are positive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Formula {
    /// Parts: back spin, side spin.
    SpinOfBackAndSide,
    /// Parts: back spin, tilt.
    SpinOfBackAndTilt,
    /// Parts: total rate, side spin.
    SpinOfRateAndSide,
    /// Part: face to path. Needs the path.
    FaceOfPath,
    /// Part: face to path. Needs the face.
    PathOfFace,
    /// Part: ball speed over club speed. Needs the club speed.
    BallSpeedOfRatio,
    /// Part: ball speed over club speed. Needs the ball speed.
    ClubSpeedOfRatio,
    /// Part: spin loft. Needs the attack angle.
    LoftOfAttack,
    /// Part: distance of the landing point along the target line. Needs the distance across it.
    CarryOfLine,
    /// Part: direction of the landing point. Needs the carry.
    LateralOfCarry,
    /// Parts: velocity of the ball along the target line, across it, up.
    LaunchOfVelocity,
}

impl Formula {
    /// What follows, in the order of [`Formula::compute`].
    pub fn gives(self) -> &'static [Quantity] {
        match self {
            Formula::SpinOfBackAndSide | Formula::SpinOfBackAndTilt | Formula::SpinOfRateAndSide => {
                &[Quantity::SpinRpm, Quantity::SpinTiltDeg]
            }
            Formula::FaceOfPath => &[Quantity::FaceDeg],
            Formula::PathOfFace => &[Quantity::PathDeg],
            Formula::BallSpeedOfRatio => &[Quantity::BallSpeedMps],
            Formula::ClubSpeedOfRatio => &[Quantity::ClubSpeedMps],
            Formula::LoftOfAttack => &[Quantity::DeliveredLoftDeg],
            Formula::CarryOfLine => &[Quantity::CarryM],
            Formula::LateralOfCarry => &[Quantity::LateralM],
            Formula::LaunchOfVelocity => {
                &[Quantity::BallSpeedMps, Quantity::LaunchAzimuthDeg, Quantity::LaunchElevationDeg]
            }
        }
    }

    /// The quantity that must be read directly for this.
    pub fn needs(self) -> Option<Quantity> {
        match self {
            Formula::FaceOfPath => Some(Quantity::PathDeg),
            Formula::PathOfFace => Some(Quantity::FaceDeg),
            Formula::BallSpeedOfRatio => Some(Quantity::ClubSpeedMps),
            Formula::ClubSpeedOfRatio => Some(Quantity::BallSpeedMps),
            Formula::LoftOfAttack => Some(Quantity::AttackDeg),
            Formula::CarryOfLine => Some(Quantity::LateralM),
            Formula::LateralOfCarry => Some(Quantity::CarryM),
            _ => None,
        }
    }

    /// What follows from the parts and the needed quantity (0 where none is needed); the error says why nothing can.
    pub fn compute(self, parts: &[f64], needed: f64) -> Result<Vec<Option<f64>>, &'static str> {
        let one = |value: f64| Ok(vec![Some(value)]);
        match (self, parts) {
            (Formula::SpinOfBackAndSide, [back, side]) => {
                let rate = back.hypot(*side);
                // A spin without any rate has no axis, hence no tilt.
                Ok(vec![Some(rate), (rate > 0.0).then(|| side.atan2(*back).to_degrees())])
            }
            (Formula::SpinOfBackAndTilt, [back, tilt]) => {
                let share = tilt.to_radians().cos();
                if share <= 1e-6 {
                    return Err("a spin tilted by a quarter turn or more has no back spin to tell its rate from");
                }
                Ok(vec![Some(back / share), Some(*tilt)])
            }
            (Formula::SpinOfRateAndSide, [rate, side]) => {
                if side.abs() > rate * ROUNDING {
                    return Err("the side spin is more than the total spin");
                }
                let tilt = (rate > &0.0).then(|| (side / rate).clamp(-1.0, 1.0).asin().to_degrees());
                Ok(vec![Some(*rate), tilt])
            }
            (Formula::FaceOfPath | Formula::LoftOfAttack, [part]) => one(needed + part),
            (Formula::PathOfFace, [part]) => one(needed - part),
            (Formula::BallSpeedOfRatio | Formula::ClubSpeedOfRatio, [ratio]) if *ratio <= 0.0 => {
                Err("a ratio of ball speed to club speed is above zero")
            }
            (Formula::BallSpeedOfRatio, [ratio]) => one(needed * ratio),
            (Formula::ClubSpeedOfRatio, [ratio]) => one(needed / ratio),
            (Formula::CarryOfLine, [along]) => one(along.hypot(needed)),
            (Formula::LateralOfCarry, [azimuth]) => one(needed * azimuth.to_radians().sin()),
            (Formula::LaunchOfVelocity, [along, across, up]) => {
                let level = along.hypot(*across);
                let moves = level > 0.0;
                let azimuth = moves.then(|| across.atan2(*along).to_degrees());
                Ok(vec![Some(level.hypot(*up)), azimuth, moves.then(|| up.atan2(level).to_degrees())])
            }
            _ => Err("the pack gives another number of parts than the formula has"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(formula: Formula, parts: &[f64], needed: f64, expected: &[f64]) {
        let found = formula.compute(parts, needed).expect("a result");
        assert_eq!(found.len(), expected.len());
        for (found, expected) in found.into_iter().zip(expected) {
            let found = found.expect("a value");
            assert!((found - expected).abs() < 1e-9, "{formula:?}: {found} is not {expected}");
        }
    }

    #[test]
    fn formulas_agree_with_plain_geometry() {
        // [derived: 3-4-5 triangle; its angles are 36.869 897 645 844 02 and 53.130 102 354 155 98 deg]
        const SMALL: f64 = 36.869_897_645_844_02;
        check(Formula::SpinOfBackAndSide, &[4000.0, -3000.0], 0.0, &[5000.0, -SMALL]);
        check(Formula::SpinOfBackAndTilt, &[4000.0, -SMALL], 0.0, &[5000.0, -SMALL]);
        check(Formula::SpinOfRateAndSide, &[5000.0, 3000.0], 0.0, &[5000.0, SMALL]);
        check(Formula::CarryOfLine, &[120.0], -90.0, &[150.0]);
        check(Formula::LateralOfCarry, &[-SMALL], 150.0, &[-90.0]);
        // [derived: sin 30 deg = 1/2; cos 60 deg = 1/2]
        check(Formula::LateralOfCarry, &[30.0], 100.0, &[50.0]);
        check(Formula::SpinOfBackAndTilt, &[1500.0, 60.0], 0.0, &[3000.0, 60.0]);
        // [derived: 48, 36, 25 have the level part 60 and the length 65; atan(25/60) = 22.619 864 948 040 43 deg]
        check(Formula::LaunchOfVelocity, &[48.0, -36.0, 25.0], 0.0, &[65.0, -SMALL, 22.619_864_948_040_43]);
        check(Formula::FaceOfPath, &[1.5], -2.0, &[-0.5]);
        check(Formula::PathOfFace, &[1.5], -0.5, &[-2.0]);
        check(Formula::LoftOfAttack, &[15.5], -2.0, &[13.5]);
        check(Formula::BallSpeedOfRatio, &[1.5], 40.0, &[60.0]);
        check(Formula::ClubSpeedOfRatio, &[1.5], 60.0, &[40.0]);
    }

    #[test]
    fn what_cannot_be_says_so() {
        assert_eq!(Formula::SpinOfBackAndSide.compute(&[0.0, 0.0], 0.0), Ok(vec![Some(0.0), None]));
        assert_eq!(Formula::SpinOfRateAndSide.compute(&[0.0, 0.0], 0.0), Ok(vec![Some(0.0), None]));
        check(Formula::SpinOfRateAndSide, &[3000.0, -3001.0], 0.0, &[3000.0, -90.0]);
        assert!(Formula::SpinOfRateAndSide.compute(&[3000.0, 3100.0], 0.0).is_err());
        assert!(Formula::SpinOfBackAndTilt.compute(&[3000.0, 90.0], 0.0).is_err());
        assert!(Formula::ClubSpeedOfRatio.compute(&[0.0], 60.0).is_err());
        assert_eq!(Formula::LaunchOfVelocity.compute(&[0.0, 0.0, 0.0], 0.0), Ok(vec![Some(0.0), None, None]));
    }
}
