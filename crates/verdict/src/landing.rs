//! Where a launch comes down: flown exactly, or by a quadratic that stands in for many flights of nearly the same launch.

use flight::{BallProfile, Conditions, Landing, Launch, MoistAir, air_density, fly, fly_batch};

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
fn ball_of(evidence: &Evidence, ball: &BallProfile) -> BallProfile {
    let scale = |known, lowest, highest| evidence.get(known).unwrap_or(1.0).clamp(lowest, highest);
    // Scales outside these limits would not be a golf ball's; they would come from a broken fit.
    BallProfile {
        drag_scale: ball.drag_scale * scale(Known::BallDragScale, 0.5, 2.0),
        lift_scale: ball.lift_scale * scale(Known::BallLiftScale, 0.2, 3.0),
        ..ball.clone()
    }
}

/// The air and ball of one shot.
#[derive(Debug, Clone)]
pub struct Air {
    ball: BallProfile,
    conditions: Conditions,
}

impl Air {
    /// Air and wind as recorded; the ball scaled where that was learned.
    pub fn of(evidence: &Evidence, ball: &BallProfile) -> Air {
        let mut conditions = Conditions::default();
        if let Some(density) = evidence.get(Known::AirDensity) {
            conditions.air_density = density;
        }
        conditions.wind_along_mps = evidence.get(Known::WindAlong).unwrap_or(0.0);
        conditions.wind_across_mps = evidence.get(Known::WindAcross).unwrap_or(0.0);
        Air { ball: ball_of(evidence, ball), conditions }
    }

    /// The same ball in standard air: 20 C, 1013.25 hPa, 50 % humidity, calm.
    pub fn standard(&self) -> Air {
        let still = MoistAir { temperature_c: 20.0, pressure_hpa: 1013.25, humidity_pct: 50.0 };
        let mut conditions = Conditions::default();
        conditions.air_density = air_density(&still).unwrap_or(conditions.air_density);
        Air { ball: self.ball.clone(), conditions }
    }

    /// Whether there is no wind.
    pub fn is_calm(&self) -> bool {
        self.conditions.wind_along_mps == 0.0 && self.conditions.wind_across_mps == 0.0
    }

    /// Flies one launch [ball speed, elevation, azimuth, spin, tilt].
    pub fn fly(&self, launch: &[f64; LAUNCH]) -> Place {
        place_of(&fly(&self.ball, &launch_of(launch), &self.conditions))
    }

    /// Flies several launches, which costs less than one by one.
    pub fn fly_all(&self, launches: &[[f64; LAUNCH]], places: &mut [Place]) {
        for (launches, places) in launches.chunks(ABREAST).zip(places.chunks_mut(ABREAST)) {
            let mut prepared = [launch_of(&launches[0]); ABREAST];
            let mut landings = [Landing::UNKNOWN; ABREAST];
            for (one, launch) in prepared.iter_mut().zip(launches) {
                *one = launch_of(launch);
            }
            let count = launches.len();
            fly_batch(&self.ball, &prepared[..count], &self.conditions, &mut landings[..count]);
            for (place, landing) in places.iter_mut().zip(&landings) {
                *place = place_of(landing);
            }
        }
    }
}

/// As many launches as are prepared at once.
const ABREAST: usize = 64;

fn launch_of(launch: &[f64; LAUNCH]) -> Launch {
    Launch {
        ball_speed_mps: launch[0].max(0.0),
        elevation_deg: launch[1],
        azimuth_deg: launch[2],
        spin_rpm: launch[3].max(0.0),
        spin_tilt_deg: launch[4],
    }
}

fn place_of(landing: &Landing) -> Place {
    Place { carry: landing.carry_m, lateral: landing.lateral_m }
}
