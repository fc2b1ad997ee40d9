//! One value of a week or of the weeks before.

use crate::answer::{day, finite, flag, whole};
use crate::{NumberEntry, Row, TextEntry};

/// One value, for example the carry that one shot lost to strike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measurement {
    /// The value, in any unit; answers come in the same unit.
    pub value: f64,
    /// Standard deviation of the value's own error, in the unit of the value; 0 where it is exact.
    pub deviation: f64,
    /// Session that the value belongs to; any number that differs between sessions.
    pub session: u32,
    /// Day of the session, counted from any fixed day.
    pub day: i32,
    /// Whether the value belongs to the week that is asked about.
    pub current: bool,
}

impl Row for Measurement {
    const NUMBERS: &'static [NumberEntry] = &[
        ("value", "1", "the value; answers come in its unit"),
        ("deviation", "1", "standard deviation of the value's own error, in its unit; missing = exact"),
        ("session", "1", "number of the session"),
        ("day", "d", "day of the session, counted from any fixed day; missing = 0"),
        ("current", "1", "1 where the value belongs to the week that is asked about, else 0"),
    ];
    const TEXTS: &'static [TextEntry] = &[];

    fn from_fields(numbers: &[Option<f64>], _texts: &[Option<&str>]) -> Option<Self> {
        Some(Self {
            value: finite(numbers, 0)?,
            deviation: finite(numbers, 1).unwrap_or(0.0),
            session: whole(numbers, 2)?,
            day: day(numbers, 3).unwrap_or(0),
            current: flag(numbers, 4),
        })
    }
}
