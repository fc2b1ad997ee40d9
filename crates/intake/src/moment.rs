//! One instant on two clocks: what people call the time, and a clock that nobody can set.

use std::sync::LazyLock;
use std::time::Instant;

use chrono::{DateTime, TimeDelta, Utc};

/// An instant as intake is told it. Waits are measured on the steady clock, so that somebody who sets the time neither has a
/// growing file taken too early nor holds up one that is whole; the wall clock only stamps what happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moment {
    /// The time as people and other machines know it. It may jump.
    pub wall: DateTime<Utc>,
    /// Microseconds of a clock that only goes forward, at an even pace. It was set to the wall clock when it began.
    pub steady: i64,
}

/// Where the steady clock of this process began.
static ORIGIN: LazyLock<(Instant, DateTime<Utc>)> = LazyLock::new(|| (Instant::now(), Utc::now()));

impl Moment {
    /// This instant. All of one process lie on the same steady clock.
    pub fn now() -> Moment {
        let (began, wall_then) = *ORIGIN;
        let elapsed = i64::try_from(began.elapsed().as_micros()).unwrap_or(i64::MAX);
        Moment { wall: Utc::now(), steady: wall_then.timestamp_micros().saturating_add(elapsed) }
    }

    /// By how many microseconds the wall clock is ahead of the steady one: 0 as long as nobody set the time.
    pub fn ahead(&self) -> i64 {
        self.wall.timestamp_micros().saturating_sub(self.steady)
    }

    /// The same instant of the steady clock while the wall clock was set by so much; for tests and simulations.
    #[must_use]
    pub fn with_wall_set_by(self, shift: TimeDelta) -> Moment {
        Moment { wall: self.wall + shift, ..self }
    }
}

/// For a caller with one clock only, which then must not jump: tests, and commands that take one look.
impl From<DateTime<Utc>> for Moment {
    fn from(wall: DateTime<Utc>) -> Moment {
        Moment { wall, steady: wall.timestamp_micros() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_steady_clock_goes_forward_and_starts_at_the_wall_clock() {
        let one = Moment::now();
        let other = Moment::now();
        assert!(other.steady >= one.steady);
        assert!(one.ahead().abs() < 60_000_000, "{one:?}");
        let set = other.with_wall_set_by(TimeDelta::hours(-1));
        assert_eq!((set.steady, other.ahead() - set.ahead()), (other.steady, 3_600_000_000));
    }
}
