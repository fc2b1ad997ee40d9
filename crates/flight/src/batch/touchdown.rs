//! Where within a step the ball turns or comes down.

/// The polynomial of degree 5 with given place, velocity and acceleration at both ends of a step, over the share of the
/// step (0 to 1). Its error is of the sixth power of the step's length, less than that of the step itself.
pub(crate) struct Quintic([f64; 6]);

impl Quintic {
    /// From place in m, velocity in m/s and acceleration in m/s^2 at the start and the end of `length` seconds.
    pub(crate) fn through(length: f64, start: [f64; 3], end: [f64; 3]) -> Self {
        let [place0, slope0, bend0] = [start[0], start[1] * length, start[2] * length * length];
        let [place1, slope1, bend1] = [end[0], end[1] * length, end[2] * length * length];
        let rise = place1 - place0 - slope0 - 0.5 * bend0;
        let turn = slope1 - slope0 - bend0;
        let twist = bend1 - bend0;
        Self([
            place0,
            slope0,
            0.5 * bend0,
            10.0 * rise - 4.0 * turn + 0.5 * twist,
            -15.0 * rise + 7.0 * turn - twist,
            6.0 * rise - 3.0 * turn + 0.5 * twist,
        ])
    }

    pub(crate) fn at(&self, share: f64) -> f64 {
        let [c0, c1, c2, c3, c4, c5] = self.0;
        c0 + share * (c1 + share * (c2 + share * (c3 + share * (c4 + share * c5))))
    }

    /// Change per whole step.
    pub(crate) fn slope(&self, share: f64) -> f64 {
        let [_, c1, c2, c3, c4, c5] = self.0;
        c1 + share * (2.0 * c2 + share * (3.0 * c3 + share * (4.0 * c4 + share * 5.0 * c5)))
    }

    fn bend(&self, share: f64) -> f64 {
        let [_, _, c2, c3, c4, c5] = self.0;
        2.0 * c2 + share * (6.0 * c3 + share * (12.0 * c4 + share * 20.0 * c5))
    }

    /// The share at which the height stops rising (or falling, if it did not `rise` at first).
    pub(crate) fn turn(&self, rises: bool) -> f64 {
        root(|share| self.slope(share), |share| self.bend(share), 0.0, 1.0, rises)
    }

    /// The share between `from` and `to` at which the height, positive at `from`, falls to zero.
    pub(crate) fn fall(&self, from: f64, to: f64) -> f64 {
        root(|share| self.at(share), |share| self.slope(share), from, to, true)
    }
}

/// Value of the cubic with given values and slopes (per whole step) at both ends.
pub(crate) fn cubic(value0: f64, slope0: f64, value1: f64, slope1: f64, share: f64) -> f64 {
    let square = 3.0 * (value1 - value0) - 2.0 * slope0 - slope1;
    let cube = 2.0 * (value0 - value1) + slope0 + slope1;
    value0 + share * (slope0 + share * (square + share * cube))
}

/// Where a function passes zero, by Newton steps that never leave the bracket; at most 60 of them.
fn root(value: impl Fn(f64) -> f64, slope: impl Fn(f64) -> f64, mut low: f64, mut high: f64, falls: bool) -> f64 {
    let mut share = f64::midpoint(low, high);
    for _ in 0..60 {
        let here = value(share);
        if (here <= 0.0) == falls {
            high = share;
        } else {
            low = share;
        }
        let newton = share - here / slope(share);
        let next = if newton > low && newton < high { newton } else { f64::midpoint(low, high) };
        let moved = (next - share).abs();
        share = next;
        if moved < 1e-10 {
            break;
        }
    }
    share
}
