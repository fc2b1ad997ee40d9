//! What the flight model leaves of a measured landing, and how much of that belongs to the one shot.
//!
//! An absolute modelled carry is good to about 5 %, a constant of ball and device. Were a measured carry compared with a
//! modelled reference as it stands, such a constant would make every shot short, or hide every short one. So the ratio of
//! measured to modelled carry is taken apart: what is usual for ball and device scales every flight of the shot, the reference
//! too; only what is left belongs to the shot.

use crate::landing::Place;
use crate::{Evidence, Known};

/// Deviation of the ratio of measured to modelled carry where nothing is known of ball and device (PHYSICS: about 5 %).
const UNKNOWN_RATIO_SD: f64 = 0.05;
/// The same where a ball profile was fitted, or the usual ratio comes without its deviation.
const KNOWN_RATIO_SD: f64 = 0.01;
/// How much the ratio differs from shot to shot of one ball and device. Common practice, no source.
const SHOT_RATIO_SD: f64 = 0.015;

/// A factor on every flight of the shot, and a constant that belongs to this shot alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlightRest {
    /// Usual ratio of landings to modelled landings.
    pub ratio: f64,
    /// What is left of the measured landing, m.
    pub left: Place,
}

impl FlightRest {
    /// Landings as modelled.
    pub const NONE: FlightRest = FlightRest { ratio: 1.0, left: Place { carry: 0.0, lateral: 0.0 } };

    /// Takes a measured landing apart; without one only the usual ratio counts.
    pub fn of(evidence: &Evidence, flown: Place) -> FlightRest {
        let ball_is_fitted =
            evidence.get(Known::BallDragScale).is_some() || evidence.get(Known::BallLiftScale).is_some();
        let usual = evidence.get(Known::UsualCarryRatio).filter(|ratio| (0.5..=1.5).contains(ratio));
        let mut ratio = usual.unwrap_or(1.0);
        let known_sd = evidence.get(Known::UsualCarryRatioSd).filter(|sd| *sd >= 0.0).unwrap_or(KNOWN_RATIO_SD);
        let ratio_sd = if usual.is_some() {
            known_sd
        } else if ball_is_fitted {
            KNOWN_RATIO_SD
        } else {
            UNKNOWN_RATIO_SD
        };
        let measured = evidence.measured(Known::Carry, Known::CarrySd);
        if let Some((carry, sd)) = measured
            && flown.carry > 1.0
        {
            let noise = (sd / flown.carry).hypot(SHOT_RATIO_SD);
            let share = ratio_sd.powi(2) / (ratio_sd.powi(2) + noise.powi(2));
            ratio += share * (carry / flown.carry - ratio);
            ratio = ratio.clamp(0.5, 1.5);
        }
        let mut left = Place::default();
        if let Some((carry, _)) = measured {
            left.carry = carry - ratio * flown.carry;
        }
        if let Some((lateral, _)) = evidence.measured(Known::Lateral, Known::LateralSd) {
            // A bay that reads too far right does so at the landing as well.
            let turned = evidence.get(Known::BayDirectionOffset).unwrap_or(0.0).to_radians().sin();
            let carry = measured.map_or(ratio * flown.carry, |(carry, _)| carry);
            left.lateral = lateral - turned * carry - ratio * flown.lateral;
        }
        FlightRest { ratio, left }
    }

    /// A modelled landing as ball and device would have it, with or without what belongs to this shot.
    pub fn applied(&self, flown: Place, with_left: bool) -> Place {
        let mut place = Place { carry: self.ratio * flown.carry, lateral: self.ratio * flown.lateral };
        if with_left {
            place.carry += self.left.carry;
            place.lateral += self.left.lateral;
        }
        place
    }
}
