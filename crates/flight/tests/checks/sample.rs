//! Shots spread evenly over the box of launches that the accuracy promise covers.

use flight::{Conditions, Launch};

/// Coordinate of the Halton sequence [source: Halton 1960, Numerische Mathematik 2, 84]: `index` written in a prime base,
/// mirrored at the point.
fn halton(index: u32, base: u32) -> f64 {
    let (mut rest, mut digit, mut value) = (index, 1.0, 0.0);
    while rest > 0 {
        digit /= f64::from(base);
        value += digit * f64::from(rest % base);
        rest /= base;
    }
    value
}

/// The `index`-th (from 1) shot of the sample.
pub fn spread(index: u32) -> (Launch, Conditions) {
    let between = |base: u32, low: f64, high: f64| low + (high - low) * halton(index, base);
    let wind = between(17, 0.0, 15.0);
    let (across, along) = between(19, 0.0, std::f64::consts::TAU).sin_cos();
    let launch = Launch {
        ball_speed_mps: between(2, 10.0, 95.0),
        elevation_deg: between(3, -5.0, 60.0),
        azimuth_deg: between(5, -30.0, 30.0),
        spin_rpm: between(7, 0.0, 12_000.0),
        spin_tilt_deg: between(11, -60.0, 60.0),
    };
    let conditions = Conditions {
        air_density: between(13, 0.85, 1.35),
        wind_along_mps: wind * along,
        wind_across_mps: wind * across,
        ..Conditions::default()
    };
    (launch, conditions)
}

/// The corners of the box, and some edges where golf is played or arithmetic is delicate.
pub fn corners() -> Vec<(Launch, Conditions)> {
    let mut shots = Vec::new();
    for ball_speed_mps in [10.0, 95.0] {
        for elevation_deg in [-5.0, 0.0, 0.5, 12.0, 60.0] {
            for azimuth_deg in [-30.0, 30.0] {
                for spin_rpm in [0.0, 1.0, 12_000.0] {
                    for spin_tilt_deg in [-60.0, 0.0, 60.0] {
                        for air_density in [0.85, 1.35] {
                            for (wind_along_mps, wind_across_mps) in
                                [(0.0, 0.0), (15.0, 0.0), (-15.0, 0.0), (0.0, 15.0), (0.0, -15.0)]
                            {
                                let launch =
                                    Launch { ball_speed_mps, elevation_deg, azimuth_deg, spin_rpm, spin_tilt_deg };
                                let conditions = Conditions {
                                    air_density,
                                    wind_along_mps,
                                    wind_across_mps,
                                    ..Conditions::default()
                                };
                                shots.push((launch, conditions));
                            }
                        }
                    }
                }
            }
        }
    }
    shots
}
