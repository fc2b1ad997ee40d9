//! How long the next step may be.

use super::forces::Forces;
use super::lanes::Lanes;
use super::power::{exp2, log2};
use super::step::Step;

/// Shortest step tried; it is taken whatever its error, so that every flight moves on.
pub(crate) const SHORTEST_STEP_S: f64 = 1e-7;
/// Longest step.
const LONGEST_STEP_S: f64 = 2.0;
/// First step of a flight, where neither a short hop nor the lift asks for a shorter one.
const FIRST_STEP_S: f64 = 0.4;
/// Share of the time in which lift could turn around that one step may last.
const TURN_SHARE: f64 = 0.5;
/// Below this length the turning lift no longer shortens a step: what it does meanwhile is far below a millimetre.
const SHORTEST_TURN_S: f64 = 1e-4;

/// What is decided about a step that was tried.
pub(crate) struct Judgement<const WIDTH: usize> {
    /// Above zero where the step is taken.
    pub(crate) taken: Lanes<WIDTH>,
    /// Length of the next step in s.
    pub(crate) next: Lanes<WIDTH>,
}

/// Judges steps of the given lengths in s against an error of `tolerance_m` at the landing.
#[inline(always)]
pub(crate) fn judge<const WIDTH: usize>(
    forces: &Forces<WIDTH>,
    step: &Step<WIDTH>,
    length: Lanes<WIDTH>,
    tolerance_m: f64,
) -> Judgement<WIDTH> {
    let one = Lanes::all(1.0);
    let error = error_at_landing(forces, step, length) * (1.0 / tolerance_m);
    // An error that is not a number counts as a large one: `at_most` gives its argument then.
    let error = error.at_most(Lanes::all(1e10)).at_least(Lanes::all(1e-10));
    let growth = (exp2(log2(error) * -0.2) * 0.9).at_most(Lanes::all(5.0)).at_least(Lanes::all(0.2));
    let turning = turning_time(forces, [step.motion[0], step.motion[1], step.motion[2]], &step.rates);
    let next = (length * growth).at_most(turning).at_most(Lanes::all(LONGEST_STEP_S));
    let too_short_to_refuse = length - Lanes::all(1.000_001 * SHORTEST_STEP_S);
    Judgement { taken: too_short_to_refuse.choose(one - error, one), next: next.at_least(Lanes::all(SHORTEST_STEP_S)) }
}

/// What the estimated error of a step, taken as an error in velocity, will have grown to at the landing, in m.
///
/// It lasts as long as a ball without air would still fly, and an error in height shows in the carry multiplied by the
/// cotangent of the descent: a grazing ball needs far more care than one that drops. The error of the step's own place,
/// about a third of the step later, counts where the ball comes down within it.
#[inline(always)]
fn error_at_landing<const WIDTH: usize>(
    forces: &Forces<WIDTH>,
    step: &Step<WIDTH>,
    length: Lanes<WIDTH>,
) -> Lanes<WIDTH> {
    let [along, left, up, _] = step.motion;
    let height = step.place[2].at_least(Lanes::all(0.0));
    let ground_speed = (along * along + left * left).root();
    let sink_speed = (up * up + forces.gravity * height * 2.0).root();
    let remaining = (up + sink_speed) * forces.gravity.reciprocal();
    let cotangent = ground_speed * (sink_speed + Lanes::all(1e-3)).reciprocal();
    step.error * (remaining + length * 0.3) * (Lanes::all(1.0) + cotangent)
}

/// The longest step that cannot leap over a turn of the lift.
///
/// Lift stands at right angles to the spin axis and the air's motion. Where the ball comes to fly along its own axis, the
/// two become parallel and the lift swings round within a moment, which an error estimate over a long step can miss.
#[inline(always)]
fn turning_time<const WIDTH: usize>(
    forces: &Forces<WIDTH>,
    velocity: [Lanes<WIDTH>; 3],
    rates: &[Lanes<WIDTH>; 4],
) -> Lanes<WIDTH> {
    let air_velocity = [velocity[0] - forces.wind[0], velocity[1] - forces.wind[1], velocity[2]];
    let across = forces.across_axis_squared(air_velocity);
    let change = forces.across_axis_squared([rates[0], rates[1], rates[2]]);
    let time = (across * (change + Lanes::all(1e-9)).reciprocal()).root() * TURN_SHARE;
    time.at_least(Lanes::all(SHORTEST_TURN_S))
}

/// Length in s of the first step of a flight that starts with these velocities and rates; `hop_s` is how long the ball
/// would be off the ground if its acceleration stayed what it is.
pub(crate) fn first_step(forces: &Forces<1>, velocity: [f64; 3], rates: [f64; 4], hop_s: f64) -> f64 {
    let turning = turning_time(forces, velocity.map(Lanes::all), &rates.map(Lanes::all)).0[0];
    // A little more than the hop, so that a short one lands in its first step.
    FIRST_STEP_S.min(1.1 * hop_s).min(turning).max(SHORTEST_STEP_S)
}
