//! Many flights at once: the kernel behind [`fly`](crate::fly) and [`fly_batch`].
//!
//! Eight flights go through each step side by side, in the widest vector instructions that the processor at hand has. A
//! flight's answer does not depend on its neighbours, on the width or on the processor: to the last digit it is the one
//! that [`fly`](crate::fly) gives.

// The vector code comes out right only where everything is compiled into the function that enables the instructions.
#![allow(clippy::inline_always)]

mod control;
mod flock;
mod forces;
mod lanes;
mod power;
mod step;
mod touchdown;

use fearless_simd::{Level, dispatch};

use crate::ball::BallProfile;
use crate::launch::{Conditions, DEFAULT_TOLERANCE_M, Landing, Launch};
use flock::{End, Flock, Start};
use forces::{Coefficients, PreparedLaw};

/// Flights side by side: one AVX-512, two AVX2 or four SSE2 registers. Narrower and wider were slower.
const WIDTH: usize = 8;

/// Launches and air of many shots, one column for each quantity; all columns are as long as `ball_speed_mps`, and a shot
/// beyond the end of another column is unknown. Units and signs are those of [`Launch`] and [`Conditions`].
#[derive(Debug, Clone, Copy)]
pub struct ShotColumns<'columns> {
    /// Ball speed in m/s.
    pub ball_speed_mps: &'columns [f64],
    /// Vertical start direction in degrees.
    pub elevation_deg: &'columns [f64],
    /// Horizontal start direction in degrees, positive = right.
    pub azimuth_deg: &'columns [f64],
    /// Total spin rate in revolutions per minute.
    pub spin_rpm: &'columns [f64],
    /// Tilt of the spin axis in degrees, positive = curves right.
    pub spin_tilt_deg: &'columns [f64],
    /// Air density in kg/m^3.
    pub air_density: &'columns [f64],
    /// Wind in m/s, positive = tail wind.
    pub wind_along_mps: &'columns [f64],
    /// Wind in m/s, positive = blows toward the right.
    pub wind_across_mps: &'columns [f64],
}

impl ShotColumns<'_> {
    fn shot(&self, index: usize) -> Option<(Launch, Conditions)> {
        let launch = Launch {
            ball_speed_mps: *self.ball_speed_mps.get(index)?,
            elevation_deg: *self.elevation_deg.get(index)?,
            azimuth_deg: *self.azimuth_deg.get(index)?,
            spin_rpm: *self.spin_rpm.get(index)?,
            spin_tilt_deg: *self.spin_tilt_deg.get(index)?,
        };
        let conditions = Conditions {
            air_density: *self.air_density.get(index)?,
            wind_along_mps: *self.wind_along_mps.get(index)?,
            wind_across_mps: *self.wind_across_mps.get(index)?,
            ..Conditions::default()
        };
        Some((launch, conditions))
    }
}

/// Flies many shots of one ball, each in its own air. Every shot has an answer at its own index: what
/// [`fly`](crate::fly) would say of it, to the last digit, [`Landing::UNKNOWN`] included.
pub fn fly_columns(ball: &BallProfile, shots: &ShotColumns<'_>) -> Vec<Landing> {
    let mut landings = vec![Landing::UNKNOWN; shots.ball_speed_mps.len()];
    fly_many(ball, |index| shots.shot(index), &mut landings);
    landings
}

/// Flies several launches of one ball in the same air, such as the neighbours of one shot, into `landings`, without
/// allocating; the same answers as [`fly`](crate::fly). Where the two slices differ in length, the rest of `landings` is
/// [`Landing::UNKNOWN`] and the rest of `launches` is left out. Multiples of eight use the processor best.
pub fn fly_batch(ball: &BallProfile, launches: &[Launch], conditions: &Conditions, landings: &mut [Landing]) {
    fly_many(ball, |index| launches.get(index).map(|launch| (*launch, *conditions)), landings);
}

fn fly_many(ball: &BallProfile, shot_of: impl Fn(usize) -> Option<(Launch, Conditions)>, landings: &mut [Landing]) {
    landings.fill(Landing::UNKNOWN);
    if !ball.is_usable() {
        return;
    }
    let body = Body::of(ball);
    let count = landings.len();
    let start_of = |index: usize| shot_of(index).and_then(|(launch, conditions)| body.start(&launch, &conditions));
    let land = |index: usize, end: Option<End>| landings[index] = landing_of(end).unwrap_or(Landing::UNKNOWN);
    match &PreparedLaw::new(ball) {
        PreparedLaw::SpinRatio(law) => fly_wide(law, count, start_of, land),
        PreparedLaw::Table(table) => fly_wide(table, count, start_of, land),
    }
}

fn fly_wide<Law: Coefficients>(
    law: &Law,
    count: usize,
    start_of: impl Fn(usize) -> Option<Start>,
    land: impl FnMut(usize, Option<End>),
) {
    dispatch!(Level::new(), _level => Flock::<WIDTH, Law>::fly(law, DEFAULT_TOLERANCE_M, count, start_of, land));
}

/// One flight alone, by the same arithmetic.
pub(crate) fn fly_one(ball: &BallProfile, launch: &Launch, conditions: &Conditions) -> Option<Landing> {
    if !ball.is_usable() {
        return None;
    }
    let start = Body::of(ball).start(launch, conditions)?;
    let mut landing = None;
    let land = |_: usize, end: Option<End>| landing = landing_of(end);
    match &PreparedLaw::new(ball) {
        PreparedLaw::SpinRatio(law) => Flock::<1, _>::fly(law, DEFAULT_TOLERANCE_M, 1, |_| Some(start), land),
        PreparedLaw::Table(table) => Flock::<1, _>::fly(table, DEFAULT_TOLERANCE_M, 1, |_| Some(start), land),
    }
    landing
}

/// What of a ball every start needs.
struct Body {
    /// A / (2 m) times the scales of drag and lift, m^2/kg.
    drag_area: f64,
    lift_area: f64,
    decay: f64,
}

impl Body {
    fn of(ball: &BallProfile) -> Self {
        let area_per_mass = std::f64::consts::PI * ball.radius_m * ball.radius_m / (2.0 * ball.mass_kg);
        Self {
            drag_area: area_per_mass * ball.drag_scale,
            lift_area: area_per_mass * ball.lift_scale,
            decay: ball.spin_decay / ball.radius_m,
        }
    }

    fn start(&self, launch: &Launch, conditions: &Conditions) -> Option<Start> {
        if !launch.is_usable() || !conditions.is_usable() {
            return None;
        }
        let (state, spin_axis) = launch.start();
        Some(Start {
            velocity: state.velocity,
            spin_rad_s: state.spin_rad_s,
            spin_axis,
            wind: [conditions.wind_along_mps, -conditions.wind_across_mps],
            gravity: conditions.gravity,
            drag_pressure: conditions.air_density * self.drag_area,
            lift_pressure: conditions.air_density * self.lift_area,
            decay: self.decay,
        })
    }
}

fn landing_of(end: Option<End>) -> Option<Landing> {
    let end = end?;
    Landing::of(end.place, end.velocity, end.spin_rad_s, end.time_s, end.peak_height_m)
}
