//! The fit of drag and lift to measured carries.

use std::cmp::Ordering;

use flight::{BallProfile, Launch, try_fly};
use nalgebra::{Cholesky, Matrix2, Vector2};

use crate::ball_model::{BallModel, BallNumber, MeasuredFlight};
use crate::learning_shot::Unlearned;
use crate::weights::{Cutoffs, weight_of};

const FEWEST_FLIGHTS: usize = 20;
const FEWEST_DAYS: usize = 3;
/// The latest flights that a model rests on.
const MOST_FLIGHTS: usize = 2_000;
/// A shorter carry tells more of bounces and mishits than of air.
const SHORTEST_CARRY_M: f64 = 30.0;
/// Published lift coefficients differ by 20 to 30 %, models of flight by about 5 % in carry (PHYSICS); drag of the same share makes
/// about that carry.
const SCALE_SD: [f64; 2] = [0.05, 0.15];
/// How much a carry differs from shot to shot beside what was measured, as a share of it. Common practice, no source; the verdict's figure.
const SHOT_SHARE_SD: f64 = 0.015;
/// How much all carries of one day are off together, as a share: air and wind are measured in one place and at one height. Common
/// practice, no source.
const DAY_SHARE_SD: f64 = 0.01;
const ROUNDS: usize = 12;
/// Half a step of the differences by the scales, and by the five launch quantities.
const SCALE_STEP: f64 = 0.01;
const LAUNCH_STEP: [f64; 5] = [0.2, 0.2, 0.2, 50.0, 0.5];
/// A scale counts as identified when the data have brought its variance below this share of the prior's.
const IDENTIFIED_VARIANCE_SHARE: f64 = 0.5;

/// One flight with the variances of its two readings.
struct Flight {
    measured: MeasuredFlight,
    carry_variance: f64,
    lateral_variance: f64,
    day: usize,
}

/// Fits the scales of drag and lift of one kind of ball to carries that were measured outdoors: maximum a posteriori about 1, with what
/// launch, wind and air leave uncertain in every carry. `Err` says why nothing can be learned.
///
/// Carries of one kind of shot only tell the balance of drag and lift; see `scale_correlation` and the `identified` flags. `ball` is
/// the profile that the scales apply to; scales that it has already are multiplied by the learned ones.
pub fn fit_ball(flights: &[MeasuredFlight], ball: &BallProfile) -> Result<BallModel, Unlearned> {
    let mut usable: Vec<MeasuredFlight> = flights.iter().copied().filter(is_usable).collect();
    usable.sort_by(in_order);
    usable.truncate(MOST_FLIGHTS);
    let mut days: Vec<i32> = usable.iter().map(|flight| flight.day).collect();
    days.sort_unstable();
    days.dedup();
    let flights: Vec<Flight> = usable.iter().filter_map(|flight| with_variances(flight, ball, &days)).collect();
    if flights.len() < FEWEST_FLIGHTS {
        return Err(Unlearned::TooFewShots { usable: flights.len(), needed: FEWEST_FLIGHTS });
    }
    if days.len() < FEWEST_DAYS {
        return Err(Unlearned::TooFewDays { usable: days.len(), needed: FEWEST_DAYS });
    }

    let cutoffs = Cutoffs::new();
    let mut scales = [1.0, 1.0];
    let mut weights = vec![1.0; flights.len()];
    let mut found = None;
    for _ in 0..ROUNDS {
        let (gradient, curvature) = system(&flights, &weights, ball, &scales, days.len());
        let covariance = Cholesky::new(curvature).ok_or(Unlearned::NoSolution)?.inverse();
        let step = covariance * gradient;
        for scale in 0..2 {
            scales[scale] = (scales[scale] - step[scale].clamp(-0.1, 0.1)).clamp(0.5, 2.0);
        }
        weights = flights.iter().map(|flight| weight(flight, ball, &scales, &cutoffs)).collect();
        found = Some(covariance);
    }
    let covariance = found.ok_or(Unlearned::NoSolution)?;
    let total: f64 = weights.iter().sum();
    if total < 0.5 * flights.len() as f64 {
        return Err(Unlearned::ShotsContradict);
    }
    Ok(told(&flights, &weights, days.len(), &scales, &covariance, ball))
}

fn told(
    flights: &[Flight],
    weights: &[f64],
    days: usize,
    scales: &[f64; 2],
    covariance: &Matrix2<f64>,
    ball: &BallProfile,
) -> BallModel {
    let mut model = BallModel::empty();
    let variance = [covariance[(0, 0)], covariance[(1, 1)]];
    model.drag_identified = variance[0] <= IDENTIFIED_VARIANCE_SHARE * SCALE_SD[0].powi(2);
    model.lift_identified = variance[1] <= IDENTIFIED_VARIANCE_SHARE * SCALE_SD[1].powi(2);
    let mut offset = 0.0;
    let mut counted = 0.0;
    for (flight, weight) in flights.iter().zip(weights) {
        if let Some((carry, _)) = fly(ball, &[1.0, 1.0], &flight.measured.launch, &flight.measured) {
            offset += weight * (flight.measured.carry_m - carry);
            counted += weight;
        }
    }
    model.set(BallNumber::FlightsUsed, flights.len() as f64);
    model.set(BallNumber::DaysUsed, days as f64);
    model.set(BallNumber::FlightsSetAside, weights.iter().filter(|weight| **weight < 0.5).count() as f64);
    model.set(BallNumber::DragScale, scales[0]);
    model.set(BallNumber::DragScaleSd, variance[0].sqrt());
    model.set(BallNumber::LiftScale, scales[1]);
    model.set(BallNumber::LiftScaleSd, variance[1].sqrt());
    model.set(BallNumber::ScaleCorrelation, covariance[(0, 1)] / (variance[0] * variance[1]).sqrt());
    model.set(BallNumber::CarryOffsetAtProfile, offset / counted);
    model
}

fn is_usable(flight: &MeasuredFlight) -> bool {
    let positive = |value: f64| value.is_finite() && value > 0.0;
    flight.carry_m.is_finite()
        && flight.carry_m >= SHORTEST_CARRY_M
        && positive(flight.carry_sd_m)
        && flight.launch_sd.iter().all(|sd| positive(*sd))
        && flight.lateral_m.is_none_or(|(lateral, sd)| lateral.is_finite() && positive(sd))
}

fn in_order(one: &MeasuredFlight, other: &MeasuredFlight) -> Ordering {
    let numbers = |flight: &MeasuredFlight| {
        let launch = &flight.launch;
        [flight.carry_m, launch.ball_speed_mps, launch.elevation_deg, launch.azimuth_deg, launch.spin_rpm]
    };
    let later_first = other.day.cmp(&one.day);
    let pairs = numbers(one).into_iter().zip(numbers(other));
    pairs.fold(later_first, |order, (mine, theirs)| order.then(mine.total_cmp(&theirs)))
}

/// Carry and lateral of a launch under scales of drag and lift.
fn fly(ball: &BallProfile, scales: &[f64; 2], launch: &Launch, flight: &MeasuredFlight) -> Option<(f64, f64)> {
    let mut scaled = ball.clone();
    scaled.drag_scale *= scales[0];
    scaled.lift_scale *= scales[1];
    let landing = try_fly(&scaled, launch, &flight.conditions)?;
    (landing.carry_m > 1.0).then_some((landing.carry_m, landing.lateral_m))
}

fn shifted(launch: &Launch, quantity: usize, by: f64) -> Launch {
    let mut shifted = *launch;
    match quantity {
        0 => shifted.ball_speed_mps += by,
        1 => shifted.elevation_deg += by,
        2 => shifted.azimuth_deg += by,
        3 => shifted.spin_rpm = (shifted.spin_rpm + by).max(0.0),
        _ => shifted.spin_tilt_deg += by,
    }
    shifted
}

/// What the launch's deviations make of carry and lateral is added to the readings' own.
fn with_variances(measured: &MeasuredFlight, ball: &BallProfile, days: &[i32]) -> Option<Flight> {
    let (carry, _) = fly(ball, &[1.0, 1.0], &measured.launch, measured)?;
    let shot = (SHOT_SHARE_SD * carry).powi(2);
    let mut carry_variance = measured.carry_sd_m.powi(2) + shot;
    let mut lateral_variance = measured.lateral_m.map_or(1.0, |(_, sd)| sd * sd) + shot;
    for quantity in 0..LAUNCH_STEP.len() {
        let step = LAUNCH_STEP[quantity];
        let above = fly(ball, &[1.0, 1.0], &shifted(&measured.launch, quantity, step), measured)?;
        let below = fly(ball, &[1.0, 1.0], &shifted(&measured.launch, quantity, -step), measured)?;
        let share = measured.launch_sd[quantity] / (2.0 * step);
        carry_variance += ((above.0 - below.0) * share).powi(2);
        lateral_variance += ((above.1 - below.1) * share).powi(2);
    }
    let day = days.binary_search(&measured.day).ok()?;
    Some(Flight { measured: *measured, carry_variance, lateral_variance, day })
}

fn weight(flight: &Flight, ball: &BallProfile, scales: &[f64; 2], cutoffs: &Cutoffs) -> f64 {
    let Some((carry, lateral)) = fly(ball, scales, &flight.measured.launch, &flight.measured) else { return 0.0 };
    let day = (DAY_SHARE_SD * carry).powi(2);
    let mut square = (flight.measured.carry_m - carry).powi(2) / (flight.carry_variance + day);
    let mut observations = 1;
    if let Some((measured, _)) = flight.measured.lateral_m {
        square += (measured - lateral).powi(2) / flight.lateral_variance;
        observations += 1;
    }
    weight_of(square, cutoffs.of(observations))
}

/// Half gradient and half curvature of the weighted misfit, day effects eliminated, plus the priors.
fn system(
    flights: &[Flight],
    weights: &[f64],
    ball: &BallProfile,
    scales: &[f64; 2],
    days: usize,
) -> (Vector2<f64>, Matrix2<f64>) {
    let mut gradient = Vector2::zeros();
    let mut curvature = Matrix2::zeros();
    // Of each day: curvature of its effect, its gradient, its cross terms with the scales.
    let mut effects = vec![(DAY_SHARE_SD.powi(-2), 0.0, Vector2::zeros()); days];
    for (flight, weight) in flights.iter().zip(weights) {
        let Some((here, slopes)) = with_slopes(flight, ball, scales) else { continue };
        let off = here.0 - flight.measured.carry_m;
        let precision = weight / flight.carry_variance;
        let slope = Vector2::new(slopes[0].0, slopes[1].0);
        gradient += slope * (precision * off);
        curvature += slope * slope.transpose() * precision;
        let effect = &mut effects[flight.day];
        effect.0 += precision * here.0 * here.0;
        effect.1 += precision * here.0 * off;
        effect.2 += slope * (precision * here.0);
        if let Some((lateral, _)) = flight.measured.lateral_m {
            let precision = weight / flight.lateral_variance;
            let slope = Vector2::new(slopes[0].1, slopes[1].1);
            gradient += slope * (precision * (here.1 - lateral));
            curvature += slope * slope.transpose() * precision;
        }
    }
    for (own, pull, cross) in effects {
        gradient -= cross * (pull / own);
        curvature -= cross * cross.transpose() / own;
    }
    for scale in 0..2 {
        let precision = SCALE_SD[scale].powi(-2);
        gradient[scale] += precision * (scales[scale] - 1.0);
        curvature[(scale, scale)] += precision;
    }
    (gradient, curvature)
}

type Landing = (f64, f64);

fn with_slopes(flight: &Flight, ball: &BallProfile, scales: &[f64; 2]) -> Option<(Landing, [Landing; 2])> {
    let launch = &flight.measured.launch;
    let here = fly(ball, scales, launch, &flight.measured)?;
    let mut slopes = [(0.0, 0.0); 2];
    for scale in 0..2 {
        let (mut above, mut below) = (*scales, *scales);
        above[scale] += SCALE_STEP;
        below[scale] -= SCALE_STEP;
        let above = fly(ball, &above, launch, &flight.measured)?;
        let below = fly(ball, &below, launch, &flight.measured)?;
        slopes[scale] = ((above.0 - below.0) / (2.0 * SCALE_STEP), (above.1 - below.1) / (2.0 * SCALE_STEP));
    }
    Some((here, slopes))
}
