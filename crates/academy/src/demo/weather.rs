//! The air of a session: still in a heated hall, moving in the open.

use flight::{Conditions, MoistAir, air_density};
use rand_chacha::ChaCha12Rng;

use super::bay::Bay;
use super::export::rounded;
use crate::device::{HPA_PER_INCH_OF_MERCURY, celsius};
use crate::habits::normal;

/// Spread of the wind from one shot to the next, m/s in each direction [common practice, no source].
const GUST_SD_MPS: f64 = 0.6;

/// The air during one session.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weather {
    /// Temperature, pressure, humidity.
    pub air: MoistAir,
    /// Mean wind along and across in m/s, tail wind and wind to the right positive; `None` under a roof.
    pub mean_wind_mps: Option<(f64, f64)>,
}

impl Weather {
    /// Draws the weather of a session.
    pub fn draw(bay: Bay, rng: &mut ChaCha12Rng) -> Weather {
        if bay.is_outdoor() { Weather::in_the_open(rng) } else { Weather { air: in_a_hall(rng), mean_wind_mps: None } }
    }

    /// Autumn by the sea. The values are rounded as the tee's device prints them, so that print and truth agree.
    fn in_the_open(rng: &mut ChaCha12Rng) -> Weather {
        let fahrenheit = rounded(52.0 + 4.5 * normal(rng), 1);
        let inches = rounded((29.8 + 0.25 * normal(rng)).clamp(28.9, 30.6), 2);
        let share = rounded((0.8 + 0.07 * normal(rng)).clamp(0.5, 0.98), 2);
        let air = MoistAir {
            temperature_c: celsius(fahrenheit),
            pressure_hpa: inches * HPA_PER_INCH_OF_MERCURY,
            humidity_pct: share * 100.0,
        };
        Weather { air, mean_wind_mps: Some((-0.8 + 2.0 * normal(rng), 1.6 * normal(rng))) }
    }

    /// The air of one shot; in the open the wind is never the same twice.
    pub fn at_the_shot(&self, rng: &mut ChaCha12Rng) -> Conditions {
        let mut conditions = Conditions { air_density: air_density(&self.air).unwrap_or(1.2), ..Conditions::default() };
        if let Some((along, across)) = self.mean_wind_mps {
            conditions.wind_along_mps = along + GUST_SD_MPS * normal(rng);
            conditions.wind_across_mps = across + GUST_SD_MPS * normal(rng);
        }
        conditions
    }
}

/// Heated halls by the sea: the values are rounded as the devices print them, so that print and truth agree.
fn in_a_hall(rng: &mut ChaCha12Rng) -> MoistAir {
    MoistAir {
        temperature_c: ((19.5 + 1.4 * normal(rng)) * 10.0).round() / 10.0,
        pressure_hpa: (1010.0 + 9.0 * normal(rng)).clamp(975.0, 1040.0).round(),
        humidity_pct: (50.0 + 7.0 * normal(rng)).clamp(25.0, 80.0).round(),
    }
}
