//! Steps through one flight until the ball is down, for any force law and to any tolerance; the batch kernel serves where speed
//! counts.
//!
//! Dormand & Prince 5(4) (J. Comput. Appl. Math. 6, 1980, 19) with local extrapolation and step control. A step in which the
//! ball turns from rising to falling is shortened to end at the turn, so every step is monotone in height: the peak is
//! then exact and the landing can be neither missed nor taken for the launch.

use crate::law::ForceLaw;

/// Place, velocity and spin of the ball.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// x (down the line), y (left), z (up) in m from the tee.
    pub position: [f64; 3],
    /// Velocity in m/s on the same axes.
    pub velocity: [f64; 3],
    /// Spin rate in rad/s.
    pub spin_rad_s: f64,
}

/// A finished flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flight {
    /// The state at the first return to the start's height 0.
    pub end: State,
    /// Time of flight in s.
    pub time_s: f64,
    /// Greatest height in m.
    pub peak_height_m: f64,
    /// Steps tried, for those who tune the tolerance.
    pub steps: usize,
}

/// More steps than any sensible tolerance needs; ends a computation that cannot succeed.
const MAXIMUM_STEPS: usize = 100_000;
/// Longest flight in s; nothing a golf ball does on Earth takes as long.
const MAXIMUM_TIME_S: f64 = 600.0;
const FIRST_STEP_S: f64 = 0.1;
const SHORTEST_STEP_S: f64 = 1e-7;
const LONGEST_STEP_S: f64 = 2.0;

const SIZE: usize = 7;
const HEIGHT: usize = 2;
const CLIMB: usize = 5;
type Vector = [f64; SIZE];

/// Follows the ball from `start` (at height 0) until it is back at height 0.
///
/// `tolerance_m` bounds the error of each step: metres for the place, m/s for the velocity and for the surface speed of the
/// spin divided by 0.02 m. A start that does not leave the ground ends where it begins, after no time. `None` where the
/// force law gives numbers that are not finite, or where the ball is not down after 600 s or 100 000 steps.
pub fn integrate<Law: ForceLaw>(law: &Law, start: &State, tolerance_m: f64) -> Option<Flight> {
    let mut here = pack(start);
    let mut slope = derivative(law, &here);
    let mut rising = here[CLIMB] > 0.0 || (here[CLIMB] == 0.0 && slope[CLIMB] > 0.0);
    let mut flight = Flight { end: *start, time_s: 0.0, peak_height_m: 0.0, steps: 0 };
    if !rising {
        return Some(flight);
    }

    let mut step = FIRST_STEP_S;
    while flight.steps < MAXIMUM_STEPS && flight.time_s < MAXIMUM_TIME_S {
        flight.steps += 1;
        let tried = try_step(law, &here, &slope, step);
        let error = tried.error / tolerance_m;
        if !error.is_finite() && step <= SHORTEST_STEP_S {
            return None;
        }
        let next_step = (step * growth(error)).clamp(SHORTEST_STEP_S, LONGEST_STEP_S);
        // A NaN error must count as refused, hence the comparison this way round.
        let accepted = error <= 1.0 || step <= SHORTEST_STEP_S;
        if !accepted {
            step = next_step;
            continue;
        }

        let turns = if rising { tried.end[CLIMB] <= 0.0 } else { tried.end[CLIMB] > 0.0 };
        let (taken, reached) =
            if turns { locate(law, &here, &slope, step, &tried, CLIMB, tolerance_m) } else { (step, tried) };

        if !rising && reached.end[HEIGHT] <= 0.0 {
            let (taken, landed) = locate(law, &here, &slope, taken, &reached, HEIGHT, tolerance_m);
            flight.time_s += taken;
            flight.end = unpack(&landed.end);
            return Some(flight);
        }
        flight.time_s += taken;
        here = reached.end;
        slope = reached.slope;
        if turns {
            rising = !rising;
            flight.peak_height_m = flight.peak_height_m.max(here[HEIGHT]);
            // A hop too low for the arithmetic: it peaks and lands in one moment.
            if here[HEIGHT] <= 0.0 {
                flight.end = unpack(&here);
                return Some(flight);
            }
        }
        step = next_step;
    }
    None
}

/// Where a step led, how fast things change there, and the estimated error of the step in the units of the tolerance.
#[derive(Clone, Copy)]
struct Step {
    end: Vector,
    slope: Vector,
    error: f64,
}

#[inline]
fn derivative<Law: ForceLaw>(law: &Law, state: &Vector) -> Vector {
    let rates = law.rates([state[3], state[4], state[5]], state[6]);
    let [x, y, z] = rates.acceleration;
    [state[3], state[4], state[5], x, y, z, rates.spin]
}

/// `from + step * sum of weight * slope`.
#[inline]
fn advance<const STAGES: usize>(from: &Vector, step: f64, weights: [f64; STAGES], slopes: [&Vector; STAGES]) -> Vector {
    let mut to = *from;
    for (index, value) in to.iter_mut().enumerate() {
        let mut sum = 0.0;
        for stage in 0..STAGES {
            sum += weights[stage] * slopes[stage][index];
        }
        *value += step * sum;
    }
    to
}

#[inline]
fn try_step<Law: ForceLaw>(law: &Law, from: &Vector, k1: &Vector, step: f64) -> Step {
    let k2 = derivative(law, &advance(from, step, [1.0 / 5.0], [k1]));
    let k3 = derivative(law, &advance(from, step, [3.0 / 40.0, 9.0 / 40.0], [k1, &k2]));
    let k4 = derivative(law, &advance(from, step, [44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0], [k1, &k2, &k3]));
    let k5 = derivative(
        law,
        &advance(
            from,
            step,
            [19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0],
            [k1, &k2, &k3, &k4],
        ),
    );
    let k6 = derivative(
        law,
        &advance(
            from,
            step,
            [9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0],
            [k1, &k2, &k3, &k4, &k5],
        ),
    );
    let end = advance(
        from,
        step,
        [35.0 / 384.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0],
        [k1, &k3, &k4, &k5, &k6],
    );
    let slope = derivative(law, &end);

    // The fifth minus the embedded fourth order result.
    let difference = advance(
        &[0.0; SIZE],
        step,
        [71.0 / 57600.0, -71.0 / 16695.0, 71.0 / 1920.0, -17253.0 / 339_200.0, 22.0 / 525.0, -1.0 / 40.0],
        [k1, &k3, &k4, &k5, &k6, &slope],
    );
    let mut error = 0.0;
    for (index, value) in difference.iter().enumerate() {
        // The spin as surface speed of a ball, so that one tolerance fits all.
        let weighed = if index == SIZE - 1 { value.abs() * 0.02 } else { value.abs() };
        // `f64::max` would drop a NaN.
        if weighed > error || weighed.is_nan() {
            error = weighed;
        }
    }
    Step { end, slope, error }
}

/// Factor for the next step from the ratio of the error to the tolerance.
fn growth(error: f64) -> f64 {
    if error.is_finite() { (0.9 * error.max(1e-10).powf(-0.2)).clamp(0.2, 5.0) } else { 0.2 }
}

/// The partial step that ends where component `which` (height or climb) is zero, given that the full step `long` passes it.
///
/// The cubic through both ends gives the first guess; Newton steps with true partial steps settle it.
fn locate<Law: ForceLaw>(
    law: &Law,
    from: &Vector,
    slope: &Vector,
    step: f64,
    long: &Step,
    which: usize,
    tolerance_m: f64,
) -> (f64, Step) {
    // A time in s; at golf's speeds the place is then within a tenth of the tolerance.
    let close_enough = (tolerance_m * 1e-3).max(f64::EPSILON * step);
    let (mut low, mut high) = (0.0, step);
    let falling = long.end[which] <= 0.0;
    let mut time = step * cubic_root(from[which], slope[which] * step, long.end[which], long.slope[which] * step);
    let mut partial = *long;
    for _ in 0..40 {
        partial = try_step(law, from, slope, time);
        let value = partial.end[which];
        let correction = value / partial.slope[which];
        if correction.abs() <= close_enough || high - low <= f64::EPSILON * step {
            break;
        }
        if (value <= 0.0) == falling {
            high = time;
        } else {
            low = time;
        }
        let newton = time - correction;
        time = if newton > low && newton < high { newton } else { f64::midpoint(low, high) };
    }
    (time, partial)
}

/// Root in 0..1 of the cubic with the given values and slopes at 0 and 1, whose values differ in sign, by bisection and
/// Newton steps.
fn cubic_root(value0: f64, slope0: f64, value1: f64, slope1: f64) -> f64 {
    let square = 3.0 * (value1 - value0) - 2.0 * slope0 - slope1;
    let cube = 2.0 * (value0 - value1) + slope0 + slope1;
    let falling = value1 <= 0.0;
    let (mut low, mut high, mut share) = (0.0, 1.0, 0.5);
    for _ in 0..12 {
        let value = value0 + share * (slope0 + share * (square + share * cube));
        if (value <= 0.0) == falling {
            high = share;
        } else {
            low = share;
        }
        let slope = slope0 + share * (2.0 * square + share * 3.0 * cube);
        let newton = share - value / slope;
        let next = if newton > low && newton < high { newton } else { f64::midpoint(low, high) };
        let moved = (next - share).abs();
        share = next;
        if moved < 1e-6 {
            break;
        }
    }
    share
}

fn pack(state: &State) -> Vector {
    let [x, y, z] = state.position;
    let [along, left, up] = state.velocity;
    [x, y, z, along, left, up, state.spin_rad_s]
}

fn unpack(vector: &Vector) -> State {
    let [x, y, z, along, left, up, spin_rad_s] = *vector;
    State { position: [x, y, z], velocity: [along, left, up], spin_rad_s }
}
