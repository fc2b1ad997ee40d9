//! How many flights a second one core computes: single flights by `fly`, and batches of several sizes.
//!
//! `cargo bench -p flight --bench flights --profile dev` (the dev profile optimises this crate).

use std::hint::black_box;
use std::time::Instant;

use flight::{BallProfile, Conditions, Landing, Launch, ShotColumns, fly, fly_batch, fly_columns, fly_with_tolerance};

const SHOTS: usize = 20_160;
/// Shots timed at once.
const PIECE: usize = 504;
const ROUNDS: usize = 25;

/// Coordinate of the Halton sequence.
fn halton(index: u32, base: u32) -> f64 {
    let (mut rest, mut digit, mut value) = (index, 1.0, 0.0);
    while rest > 0 {
        digit /= f64::from(base);
        value += digit * f64::from(rest % base);
        rest /= base;
    }
    value
}

/// Launches as an academy sees them: 30 to 75 m/s, 8 to 30 degrees, 2000 to 9000 rpm.
fn launches() -> Vec<Launch> {
    (1..=SHOTS as u32)
        .map(|index| {
            let between = |base: u32, low: f64, high: f64| low + (high - low) * halton(index, base);
            Launch {
                ball_speed_mps: between(2, 30.0, 75.0),
                elevation_deg: between(3, 8.0, 30.0),
                azimuth_deg: between(5, -6.0, 6.0),
                spin_rpm: between(7, 2000.0, 9000.0),
                spin_tilt_deg: between(11, -15.0, 15.0),
            }
        })
        .collect()
}

/// Flights a second, from the fastest of several rounds of each piece: a piece takes about a millisecond, so that even on a
/// busy machine one of its rounds runs undisturbed.
fn rate(mut run: impl FnMut(std::ops::Range<usize>)) -> f64 {
    let mut seconds = 0.0;
    for piece in 0..SHOTS / PIECE {
        let range = piece * PIECE..(piece + 1) * PIECE;
        let mut fastest = f64::MAX;
        for _ in 0..ROUNDS {
            let start = Instant::now();
            run(range.clone());
            fastest = fastest.min(start.elapsed().as_secs_f64());
        }
        seconds += fastest;
    }
    SHOTS as f64 / seconds
}

fn main() {
    let launches = launches();
    let ball = BallProfile::default();
    let air = Conditions { wind_along_mps: -2.0, wind_across_mps: 1.0, ..Conditions::default() };
    let mut landings = vec![Landing::UNKNOWN; PIECE];

    let single = rate(|range| {
        for launch in &launches[range] {
            black_box(fly(&ball, black_box(launch), &air));
        }
    });
    let tell = |name: &str, rate: f64| println!("{name:<40} {rate:>10.0} flights/s {:>6.2} times fly", rate / single);
    tell("fly, one after the other", single);
    let tight = rate(|range| {
        for launch in &launches[range] {
            black_box(fly_with_tolerance(&ball, black_box(launch), &air, 2e-4));
        }
    });
    tell("second integrator at 2e-4", tight);
    for size in [9, 72, PIECE] {
        let batch = rate(|range| {
            for (some, their_landings) in launches[range].chunks(size).zip(landings.chunks_mut(size)) {
                fly_batch(&ball, black_box(some), &air, their_landings);
            }
            black_box(&landings);
        });
        tell(&format!("fly_batch, {size} launches at a time"), batch);
    }

    let column = |part: fn(&Launch) -> f64| -> Vec<f64> { launches.iter().map(part).collect() };
    let (speeds, elevations) = (column(|launch| launch.ball_speed_mps), column(|launch| launch.elevation_deg));
    let (azimuths, spins) = (column(|launch| launch.azimuth_deg), column(|launch| launch.spin_rpm));
    let tilts = column(|launch| launch.spin_tilt_deg);
    let (density, along, across) = (column(|_| 1.225), column(|_| -2.0), column(|_| 1.0));
    let columns = rate(|range| {
        let shots = ShotColumns {
            ball_speed_mps: &speeds[range.clone()],
            elevation_deg: &elevations[range.clone()],
            azimuth_deg: &azimuths[range.clone()],
            spin_rpm: &spins[range.clone()],
            spin_tilt_deg: &tilts[range.clone()],
            air_density: &density[range.clone()],
            wind_along_mps: &along[range.clone()],
            wind_across_mps: &across[range],
        };
        black_box(fly_columns(&ball, black_box(&shots)));
    });
    tell(&format!("fly_columns, {PIECE} shots at a time"), columns);
}
