//! Where a launch comes down: flown exactly, or by a quadratic that stands in for many flights of nearly the same launch.

use flight::{BallProfile, Conditions, Launch, MoistAir, air_density, fly};

use crate::model::LAUNCH;
use crate::{Evidence, Known};

/// Where a ball first lands.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Place {
    /// Straight horizontal distance from the tee, m.
    pub carry: f64,
    /// Across the target line, positive = right, m.
    pub lateral: f64,
}

/// The ball, scaled where a ball profile was fitted.
fn ball_of(evidence: &Evidence) -> BallProfile {
    let mut ball = BallProfile::default();
    // Scales outside these limits would not be a golf ball's; they would come from a broken fit.
    ball.drag_scale = evidence.get(Known::BallDragScale).unwrap_or(1.0).clamp(0.5, 2.0);
    ball.lift_scale = evidence.get(Known::BallLiftScale).unwrap_or(1.0).clamp(0.2, 3.0);
    ball
}

/// The air and ball of one shot.
#[derive(Debug, Clone)]
pub struct Air {
    ball: BallProfile,
    conditions: Conditions,
}

impl Air {
    /// Air and wind as recorded; the default ball.
    pub fn of(evidence: &Evidence) -> Air {
        let mut conditions = Conditions::default();
        if let Some(density) = evidence.get(Known::AirDensity) {
            conditions.air_density = density;
        }
        conditions.wind_along_mps = evidence.get(Known::WindAlong).unwrap_or(0.0);
        conditions.wind_across_mps = evidence.get(Known::WindAcross).unwrap_or(0.0);
        Air { ball: ball_of(evidence), conditions }
    }

    /// The same ball in standard air: 20 C, 1013.25 hPa, 50 % humidity, calm.
    pub fn standard(&self) -> Air {
        let still = MoistAir { temperature_c: 20.0, pressure_hpa: 1013.25, humidity_pct: 50.0 };
        let mut conditions = Conditions::default();
        conditions.air_density = air_density(&still).unwrap_or(conditions.air_density);
        Air { ball: self.ball.clone(), conditions }
    }

    /// Flies one launch [ball speed, elevation, azimuth, spin, tilt].
    pub fn fly(&self, launch: &[f64; LAUNCH]) -> Place {
        let launch = Launch {
            ball_speed_mps: launch[0].max(0.0),
            elevation_deg: launch[1],
            azimuth_deg: launch[2],
            spin_rpm: launch[3].max(0.0),
            spin_tilt_deg: launch[4],
        };
        let landing = fly(&self.ball, &launch, &self.conditions);
        Place { carry: landing.carry_m, lateral: landing.lateral_m }
    }
}

/// The four launch quantities that shape a flight once its start direction is taken out: speed, elevation, back and side spin.
const SHAPE: usize = 4;
const STEPS: [f64; SHAPE] = [1.0, 1.0, 250.0, 250.0];

/// A quadratic through nine flights around one launch. Turning the start direction turns the landing point about the tee,
/// which is exact in calm air; the four other quantities enter by slope and curvature.
#[derive(Debug, Clone)]
pub struct NearbyLandings {
    centre: [f64; SHAPE],
    azimuth: f64,
    along: Quadratic,
    across: Quadratic,
}

#[derive(Debug, Clone, Default)]
struct Quadratic {
    value: f64,
    slope: [f64; SHAPE],
    curvature: [f64; SHAPE],
}

impl Quadratic {
    fn at(&self, offset: &[f64; SHAPE]) -> f64 {
        let mut sum = self.value;
        for quantity in 0..SHAPE {
            sum += offset[quantity] * (self.slope[quantity] + 0.5 * self.curvature[quantity] * offset[quantity]);
        }
        sum
    }
}

fn shape_of(launch: &[f64; LAUNCH]) -> [f64; SHAPE] {
    let (side, back) = launch[4].to_radians().sin_cos();
    [launch[0], launch[1], launch[3] * back, launch[3] * side]
}

impl NearbyLandings {
    /// Flies the nine launches.
    pub fn around(air: &Air, launch: &[f64; LAUNCH]) -> NearbyLandings {
        let centre = shape_of(launch);
        let fly = |shape: &[f64; SHAPE]| {
            let spin = shape[2].hypot(shape[3]);
            let tilt = shape[3].atan2(shape[2]).to_degrees();
            let place = air.fly(&[shape[0], shape[1], launch[2], spin, tilt]);
            let along = (place.carry.powi(2) - place.lateral.powi(2)).max(0.0).sqrt();
            (along, place.lateral)
        };
        let middle = fly(&centre);
        let mut along = Quadratic { value: middle.0, ..Quadratic::default() };
        let mut across = Quadratic { value: middle.1, ..Quadratic::default() };
        for quantity in 0..SHAPE {
            let step = STEPS[quantity];
            let (mut above, mut below) = (centre, centre);
            above[quantity] += step;
            below[quantity] -= step;
            let (above, below) = (fly(&above), fly(&below));
            along.slope[quantity] = (above.0 - below.0) / (2.0 * step);
            across.slope[quantity] = (above.1 - below.1) / (2.0 * step);
            along.curvature[quantity] = (above.0 - 2.0 * middle.0 + below.0) / (step * step);
            across.curvature[quantity] = (above.1 - 2.0 * middle.1 + below.1) / (step * step);
        }
        NearbyLandings { centre, azimuth: launch[2], along, across }
    }

    /// Where a launch near the centre lands.
    pub fn at(&self, launch: &[f64; LAUNCH]) -> Place {
        let shape = shape_of(launch);
        let offset: [f64; SHAPE] = std::array::from_fn(|quantity| shape[quantity] - self.centre[quantity]);
        let (along, across) = (self.along.at(&offset), self.across.at(&offset));
        let (sine, cosine) = (launch[2] - self.azimuth).to_radians().sin_cos();
        let lateral = across * cosine + along * sine;
        let down_the_line = along * cosine - across * sine;
        Place { carry: lateral.hypot(down_the_line), lateral }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quadratic_follows_the_flights_nearby() {
        let air = Air::of(&Evidence::default());
        let centre = [65.0, 11.0, 1.5, 2_700.0, -6.0];
        let nearby = NearbyLandings::around(&air, &centre);
        let exact = air.fly(&centre);
        assert!((nearby.at(&centre).carry - exact.carry).abs() < 1e-6);
        let moved = [66.1, 11.9, -0.7, 2_950.0, -9.0];
        let (told, flown) = (nearby.at(&moved), air.fly(&moved));
        // A tenth of the corridor of such a shot is about 1.4 m; the stand-in stays well inside.
        assert!((told.carry - flown.carry).abs() < 0.4, "{told:?} against {flown:?}");
        assert!((told.lateral - flown.lateral).abs() < 0.4, "{told:?} against {flown:?}");
    }
}
