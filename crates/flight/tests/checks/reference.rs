//! A second flight model to check the first against: another Runge-Kutta method (order 8 against 5), another way to find the
//! landing, and the force law written once more from its formula.

use crate::dop853::{FIFTH_ORDER_ERROR, STAGES, THIRD_ORDER_ERROR};
use flight::{Aerodynamics, BallProfile, Conditions, Launch};

/// Place, velocity and spin rate.
pub type State = [f64; 7];

/// Where the reference says that the ball lands.
#[derive(Debug, Clone, Copy)]
pub struct ReferenceLanding {
    pub place: [f64; 2],
    pub velocity: [f64; 3],
    pub spin_rad_s: f64,
    pub time_s: f64,
    pub peak_height_m: f64,
}

impl ReferenceLanding {
    pub fn carry_m(&self) -> f64 {
        (self.place[0] * self.place[0] + self.place[1] * self.place[1]).sqrt()
    }
}

/// One step of order 8: where it leads, and the authors' estimate of its error.
pub fn step_of_order_8(rates: &dyn Fn(&State) -> State, from: &State, length: f64) -> (State, f64) {
    let mut slopes: Vec<State> = Vec::with_capacity(12);
    let reach = |weights: &[f64], slopes: &[State]| -> State {
        std::array::from_fn(|part| {
            let sum: f64 = weights.iter().zip(slopes).map(|(weight, slope)| weight * slope[part]).sum();
            from[part] + length * sum
        })
    };
    for stage in 0..12 {
        let at = reach(STAGES[stage], &slopes);
        slopes.push(rates(&at));
    }
    let end = reach(STAGES[12], &slopes);
    let norm = |weights: &[f64; 12]| -> f64 {
        let squares = (0..7).map(|part| {
            let sum: f64 = weights.iter().zip(&slopes).map(|(weight, slope)| weight * slope[part]).sum();
            // The spin counts as surface speed of a ball.
            (if part == 6 { sum * 0.02 } else { sum }).powi(2)
        });
        squares.sum::<f64>().sqrt()
    };
    let (fifth, third) = (norm(&FIFTH_ORDER_ERROR), norm(&THIRD_ORDER_ERROR));
    let error = if fifth == 0.0 { 0.0 } else { length * fifth * fifth / (fifth * fifth + 0.01 * third * third).sqrt() };
    (end, error)
}

/// Follows a state (at height 0) until it is back at height 0, each step's error held below `tolerance` in m and m/s.
pub fn follow(rates: &dyn Fn(&State) -> State, start: &State, tolerance: f64) -> ReferenceLanding {
    let mut here = *start;
    let mut time_s = 0.0;
    let mut peak_height_m = 0.0_f64;
    let climbs = start[5] > 0.0 || (start[5] == 0.0 && rates(start)[5] > 0.0);
    let mut length = 1e-3;
    for _ in 0..1_000_000 {
        if !climbs {
            break;
        }
        let (end, error) = step_of_order_8(rates, &here, length);
        let growth = (0.9 * (tolerance / error.max(1e-300)).powf(1.0 / 8.0)).clamp(0.2, 3.0);
        if error > tolerance && length > 1e-9 {
            length *= growth;
            continue;
        }
        if end[5] <= 0.0 && end[2] <= 0.0 {
            let (fall, landed) = shorten(rates, &here, length, 2);
            // A ball that also turned in this step has its peak here.
            if here[5] > 0.0 {
                peak_height_m = peak_height_m.max(shorten(rates, &here, length, 5).1[2]);
            }
            return landing(&landed, time_s + fall, peak_height_m);
        }
        if here[5] > 0.0 && end[5] <= 0.0 {
            peak_height_m = peak_height_m.max(shorten(rates, &here, length, 5).1[2]);
        }
        here = end;
        time_s += length;
        // Short steps, so that no rise and fall hides within one.
        length = (length * growth).min(0.1);
    }
    assert!(!climbs, "the reference did not land: {start:?}");
    landing(start, 0.0, 0.0)
}

/// The part of a step after which one component, positive at first and negative at its end, is zero; by regula falsi and
/// halving, with a full step of the method for every trial.
fn shorten(rates: &dyn Fn(&State) -> State, from: &State, length: f64, component: usize) -> (f64, State) {
    let (mut low, mut high) = (0.0, length);
    // A start at height 0 must not count as the landing: halve until the ball is above the ground.
    let mut value_low = if from[component] > 0.0 { from[component] } else { f64::NAN };
    let mut value_high = step_of_order_8(rates, from, length).0[component];
    for round in 0..200 {
        let secant = low + (high - low) * value_low / (value_low - value_high);
        let middle = if round % 3 == 2 || !(secant > low && secant < high) { f64::midpoint(low, high) } else { secant };
        let value = step_of_order_8(rates, from, middle).0[component];
        if value > 0.0 {
            (low, value_low) = (middle, value);
        } else {
            (high, value_high) = (middle, value);
        }
        if high - low < 1e-14 * (1.0 + length) || value == 0.0 {
            break;
        }
    }
    (high, step_of_order_8(rates, from, high).0)
}

fn landing(state: &State, time_s: f64, peak_height_m: f64) -> ReferenceLanding {
    ReferenceLanding {
        place: [state[0], state[1]],
        velocity: [state[3], state[4], state[5]],
        spin_rad_s: state[6],
        time_s,
        peak_height_m,
    }
}

/// The reference's answer for a shot, at a step tolerance of 1e-11.
pub fn reference_flight(ball: &BallProfile, launch: &Launch, conditions: &Conditions) -> ReferenceLanding {
    let (elevation, azimuth) = (launch.elevation_deg.to_radians(), launch.azimuth_deg.to_radians());
    let tilt = launch.spin_tilt_deg.to_radians();
    let forward = [elevation.cos() * azimuth.cos(), -elevation.cos() * azimuth.sin(), elevation.sin()];
    // Right of the start direction, level; and what completes the two upward.
    let right = [-azimuth.sin(), -azimuth.cos(), 0.0];
    let upward = cross(right, forward);
    let axis: [f64; 3] = std::array::from_fn(|part| tilt.cos() * right[part] - tilt.sin() * upward[part]);
    let spin_rad_s = launch.spin_rpm / 60.0 * 2.0 * std::f64::consts::PI;
    let speed = launch.ball_speed_mps;
    let start = [0.0, 0.0, 0.0, speed * forward[0], speed * forward[1], speed * forward[2], spin_rad_s];

    let rates = |state: &State| -> State {
        let air_velocity = [state[3] - conditions.wind_along_mps, state[4] + conditions.wind_across_mps, state[5]];
        let speed = length_of(air_velocity);
        if speed < 1e-12 {
            return [state[3], state[4], state[5], 0.0, 0.0, -conditions.gravity, 0.0];
        }
        let (drag, lift) = coefficients(ball, speed, state[6]);
        let force_at_unit_coefficient =
            0.5 * conditions.air_density * speed * speed * std::f64::consts::PI * ball.radius_m.powi(2);
        let sideways = cross(axis, air_velocity);
        let sine = length_of(sideways);
        let acceleration: [f64; 3] = std::array::from_fn(|part| {
            let lift_direction = if sine < 1e-12 { 0.0 } else { sideways[part] / sine };
            force_at_unit_coefficient * (lift * lift_direction - drag * air_velocity[part] / speed) / ball.mass_kg
        });
        let decay = -ball.spin_decay * state[6] * speed / ball.radius_m;
        [state[3], state[4], state[5], acceleration[0], acceleration[1], acceleration[2] - conditions.gravity, decay]
    };
    follow(&rates, &start, 1e-11)
}

fn coefficients(ball: &BallProfile, speed: f64, spin_rad_s: f64) -> (f64, f64) {
    let (drag, lift) = match &ball.aerodynamics {
        Aerodynamics::SpinRatio { drag_base, drag_slope, lift_factor, lift_exponent } => {
            let ratio = ball.radius_m * spin_rad_s / speed;
            (drag_base + drag_slope * ratio, lift_factor * ratio.powf(*lift_exponent))
        }
        Aerodynamics::Table(table) => table.coefficients(speed, spin_rad_s * 30.0 / std::f64::consts::PI),
    };
    (ball.drag_scale * drag, ball.lift_scale * lift)
}

fn cross(one: [f64; 3], two: [f64; 3]) -> [f64; 3] {
    [one[1] * two[2] - one[2] * two[1], one[2] * two[0] - one[0] * two[2], one[0] * two[1] - one[1] * two[0]]
}

fn length_of(vector: [f64; 3]) -> f64 {
    vector.iter().map(|part| part * part).sum::<f64>().sqrt()
}
