//! Flights side by side, each with steps of its own; a lane whose ball is down takes the next flight.

use super::control::{SHORTEST_STEP_S, first_step, judge};
use super::forces::{Coefficients, Forces};
use super::lanes::Lanes;
use super::step::{Motion, Place, Step, dormand_prince_5};
use super::touchdown::{Quintic, cubic};

/// What one flight starts from, at height 0.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Start {
    pub(crate) velocity: [f64; 3],
    pub(crate) spin_rad_s: f64,
    pub(crate) spin_axis: [f64; 3],
    pub(crate) wind: [f64; 2],
    pub(crate) gravity: f64,
    pub(crate) drag_pressure: f64,
    pub(crate) lift_pressure: f64,
    pub(crate) decay: f64,
}

/// Where and how one flight ended.
#[derive(Debug, Clone, Copy)]
pub(crate) struct End {
    pub(crate) place: [f64; 2],
    pub(crate) velocity: [f64; 3],
    pub(crate) spin_rad_s: f64,
    pub(crate) time_s: f64,
    pub(crate) peak_height_m: f64,
}

/// Longest flight in s; nothing a golf ball does on Earth takes as long.
const LONGEST_FLIGHT_S: f64 = 600.0;
/// Most steps of one flight; ends a computation that cannot succeed.
const MOST_STEPS: u32 = 100_000;
/// Marks a lane without a flight.
const IDLE: usize = usize::MAX;

/// A flight that waits for its first step, or one that was over before it.
enum Opening {
    Rises { rates: [f64; 4], step: f64 },
    Over(End),
}

fn open<Law: Coefficients>(law: &Law, start: &Start) -> Opening {
    let forces = Forces::<1> {
        wind: start.wind.map(Lanes::all),
        spin_axis: start.spin_axis.map(Lanes::all),
        gravity: Lanes::all(start.gravity),
        drag_pressure: Lanes::all(start.drag_pressure),
        lift_pressure: Lanes::all(start.lift_pressure),
        decay: Lanes::all(start.decay),
    };
    let [along, left, up] = start.velocity;
    let rates = forces.rates(law, &[along, left, up, start.spin_rad_s].map(Lanes::all)).map(|part| part.0[0]);
    let grounded = End {
        place: [0.0; 2],
        velocity: start.velocity,
        spin_rad_s: start.spin_rad_s,
        time_s: 0.0,
        peak_height_m: 0.0,
    };
    let lifts_off = up > 0.0 || (up == 0.0 && rates[2] > 0.0);
    if !lifts_off {
        return Opening::Over(grounded);
    }
    let hop_s = if rates[2] < 0.0 { 2.0 * up / -rates[2] } else { f64::INFINITY };
    if hop_s < SHORTEST_STEP_S {
        // Too short for steps; a parabola is exact to the last digit here.
        return Opening::Over(End {
            place: [along * hop_s, left * hop_s],
            velocity: [along, left, -up],
            time_s: hop_s,
            peak_height_m: 0.25 * up * hop_s,
            ..grounded
        });
    }
    Opening::Rises { rates, step: first_step(&forces, start.velocity, rates, hop_s) }
}

/// The flights under way.
pub(crate) struct Flock<'law, const WIDTH: usize, Law> {
    law: &'law Law,
    forces: Forces<WIDTH>,
    motion: Motion<WIDTH>,
    place: Place<WIDTH>,
    rates: Motion<WIDTH>,
    step: Lanes<WIDTH>,
    time: Lanes<WIDTH>,
    peak: [f64; WIDTH],
    steps: [u32; WIDTH],
    /// Which flight a lane carries.
    flight: [usize; WIDTH],
    waiting: std::ops::Range<usize>,
}

impl<'law, const WIDTH: usize, Law: Coefficients> Flock<'law, WIDTH, Law> {
    fn empty(law: &'law Law, count: usize) -> Self {
        let zero = Lanes::all(0.0);
        Self {
            law,
            forces: Forces {
                wind: [zero; 2],
                spin_axis: [zero; 3],
                gravity: Lanes::all(1.0),
                drag_pressure: zero,
                lift_pressure: zero,
                decay: zero,
            },
            motion: [zero; 4],
            place: [zero; 3],
            rates: [zero; 4],
            step: zero,
            time: zero,
            peak: [0.0; WIDTH],
            steps: [0; WIDTH],
            flight: [IDLE; WIDTH],
            waiting: 0..count,
        }
    }

    /// Flies `count` flights. `start_of` gives the start of each, `None` for one that cannot be flown; `land` hears the end
    /// of each exactly once, `None` too where the ball is not down after 600 s or 100 000 steps.
    #[inline(always)]
    pub(crate) fn fly(
        law: &'law Law,
        tolerance_m: f64,
        count: usize,
        start_of: impl Fn(usize) -> Option<Start>,
        mut land: impl FnMut(usize, Option<End>),
    ) {
        let mut flock = Self::empty(law, count);
        let mut airborne = 0;
        for lane in 0..WIDTH {
            airborne += usize::from(flock.load(lane, &start_of, &mut land));
        }
        while airborne > 0 {
            let step = dormand_prince_5(law, &flock.forces, &flock.motion, &flock.place, &flock.rates, flock.step);
            let judgement = judge(&flock.forces, &step, flock.step, tolerance_m * Law::STRICTNESS);

            let mut eventful = false;
            let mut events = [false; WIDTH];
            for lane in 0..WIDTH {
                let turns = (flock.motion[2].0[lane] > 0.0) != (step.motion[2].0[lane] > 0.0);
                let below = step.place[2].0[lane] <= 0.0;
                events[lane] = judgement.taken.0[lane] > 0.0 && (turns || below);
                flock.steps[lane] += 1;
                let lasts_too_long = flock.steps[lane] > MOST_STEPS || flock.time.0[lane] > LONGEST_FLIGHT_S;
                eventful |= events[lane] || lasts_too_long;
            }
            let mut over = [false; WIDTH];
            if eventful {
                for lane in 0..WIDTH {
                    if flock.flight[lane] == IDLE {
                        continue;
                    }
                    let end = if events[lane] { flock.event(lane, &step) } else { None };
                    let lasts_too_long = flock.steps[lane] > MOST_STEPS || flock.time.0[lane] > LONGEST_FLIGHT_S;
                    if end.is_some() || lasts_too_long {
                        land(flock.flight[lane], end);
                        over[lane] = true;
                    }
                }
            }

            let taken = judgement.taken;
            flock.time = taken.choose(flock.time + flock.step, flock.time);
            for part in 0..4 {
                flock.motion[part] = taken.choose(step.motion[part], flock.motion[part]);
                flock.rates[part] = taken.choose(step.rates[part], flock.rates[part]);
            }
            for axis in 0..3 {
                flock.place[axis] = taken.choose(step.place[axis], flock.place[axis]);
            }
            flock.step = judgement.next;
            if eventful {
                for lane in 0..WIDTH {
                    if over[lane] && !flock.load(lane, &start_of, &mut land) {
                        airborne -= 1;
                    }
                }
            }
        }
    }

    /// Puts the next flight that leaves the ground into a lane; tells whether there was one.
    fn load(
        &mut self,
        lane: usize,
        start_of: &impl Fn(usize) -> Option<Start>,
        land: &mut impl FnMut(usize, Option<End>),
    ) -> bool {
        while let Some(flight) = self.waiting.next() {
            let Some(start) = start_of(flight) else {
                land(flight, None);
                continue;
            };
            match open(self.law, &start) {
                Opening::Over(end) => land(flight, Some(end)),
                Opening::Rises { rates, step } => {
                    self.put(lane, flight, &start, rates, step);
                    return true;
                }
            }
        }
        // A ball at rest without weight, so that the idle lane computes nothing slow.
        let nothing = Start {
            velocity: [0.0; 3],
            spin_rad_s: 0.0,
            spin_axis: [0.0; 3],
            wind: [0.0; 2],
            gravity: 1.0,
            drag_pressure: 0.0,
            lift_pressure: 0.0,
            decay: 0.0,
        };
        self.put(lane, IDLE, &nothing, [0.0; 4], 0.0);
        false
    }

    fn put(&mut self, lane: usize, flight: usize, start: &Start, rates: [f64; 4], step: f64) {
        for axis in 0..2 {
            self.forces.wind[axis].0[lane] = start.wind[axis];
        }
        for axis in 0..3 {
            self.forces.spin_axis[axis].0[lane] = start.spin_axis[axis];
            self.motion[axis].0[lane] = start.velocity[axis];
            self.place[axis].0[lane] = 0.0;
        }
        // A level start that lift carries off counts as rising.
        self.motion[2].0[lane] = start.velocity[2].max(f64::MIN_POSITIVE);
        self.motion[3].0[lane] = start.spin_rad_s;
        self.forces.gravity.0[lane] = start.gravity;
        self.forces.drag_pressure.0[lane] = start.drag_pressure;
        self.forces.lift_pressure.0[lane] = start.lift_pressure;
        self.forces.decay.0[lane] = start.decay;
        for part in 0..4 {
            self.rates[part].0[lane] = rates[part];
        }
        self.step.0[lane] = step;
        self.time.0[lane] = 0.0;
        self.peak[lane] = 0.0;
        self.steps[lane] = 0;
        self.flight[lane] = flight;
    }

    /// The ball of a lane turned between rising and falling in this step, or came down: notes the peak, gives the landing.
    fn event(&mut self, lane: usize, step: &Step<WIDTH>) -> Option<End> {
        let length = self.step.0[lane];
        let curve = |axis: usize| {
            Quintic::through(
                length,
                [self.place[axis].0[lane], self.motion[axis].0[lane], self.rates[axis].0[lane]],
                [step.place[axis].0[lane], step.motion[axis].0[lane], step.rates[axis].0[lane]],
            )
        };
        let height = curve(2);
        let rose = self.motion[2].0[lane] > 0.0;
        let rises = step.motion[2].0[lane] > 0.0;
        let (mut from, mut to) = (0.0, 1.0);
        if rose != rises {
            let turn = height.turn(rose);
            if rose {
                from = turn;
                self.peak[lane] = self.peak[lane].max(height.at(turn));
            } else {
                // Lift may catch a falling ball; it has landed only if it touched the ground.
                to = turn;
                if height.at(turn) > 0.0 {
                    return None;
                }
            }
        }
        if !rises && step.place[2].0[lane] > 0.0 {
            return None;
        }
        let share = height.fall(from, to);
        let (x, y) = (curve(0), curve(1));
        let (spin0, spin1) = (self.motion[3].0[lane], step.motion[3].0[lane]);
        let (decay0, decay1) = (self.rates[3].0[lane], step.rates[3].0[lane]);
        Some(End {
            place: [x.at(share), y.at(share)],
            velocity: [x.slope(share) / length, y.slope(share) / length, height.slope(share) / length],
            spin_rad_s: cubic(spin0, decay0 * length, spin1, decay1 * length, share),
            time_s: self.time.0[lane] + share * length,
            peak_height_m: self.peak[lane],
        })
    }
}
