//! Whether strike practice worked.

use crate::answer::{answer, day, finite, flag, whole};
use crate::{NumberEntry, Row, StrikeSource, TextEntry};

/// One strike of a player with a club, before or after practice began.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PracticeStrike {
    /// Position along the face, mm, positive = toe.
    pub toe_mm: f64,
    /// Position up the face, mm, positive = crown.
    pub up_mm: f64,
    /// Standard deviation of `toe_mm`, mm.
    pub toe_sd_mm: f64,
    /// Standard deviation of `up_mm`, mm.
    pub up_sd_mm: f64,
    /// Where the position comes from.
    pub source: StrikeSource,
    /// Carry lost to strike, m, positive = lost; unknown where it could not be judged.
    pub carry_lost_m: Option<f64>,
    /// Session of the strike.
    pub session: u32,
    /// Day of the session, counted from any fixed day.
    pub day: i32,
    /// Whether the shot was one of a drill; a drill guides the strike, so that it tells nothing of the free swing.
    pub drill: bool,
}

impl Row for PracticeStrike {
    const NUMBERS: &'static [NumberEntry] = &[
        ("toe_mm", "mm", "position along the face, positive = toe"),
        ("up_mm", "mm", "position up the face, positive = crown"),
        ("toe_sd_mm", "mm", "standard deviation of toe_mm; missing = 0"),
        ("up_sd_mm", "mm", "standard deviation of up_mm; missing = 0"),
        ("carry_lost_m", "m", "carry lost to strike; missing where it could not be judged"),
        ("session", "1", "number of the session"),
        ("day", "d", "day of the session, counted from any fixed day"),
        ("drill", "1", "1 where the shot was one of a drill, else 0"),
    ];
    const TEXTS: &'static [TextEntry] = &[("source", "measured, linked or inferred")];

    fn from_fields(numbers: &[Option<f64>], texts: &[Option<&str>]) -> Option<Self> {
        Some(Self {
            toe_mm: finite(numbers, 0)?,
            up_mm: finite(numbers, 1)?,
            toe_sd_mm: finite(numbers, 2).unwrap_or(0.0),
            up_sd_mm: finite(numbers, 3).unwrap_or(0.0),
            carry_lost_m: finite(numbers, 4),
            session: whole(numbers, 5)?,
            day: day(numbers, 6)?,
            drill: flag(numbers, 7),
            source: StrikeSource::from_name(texts.first().copied().flatten()?)?,
        })
    }
}

answer! {
    /// What strike practice did. Gains are positive where things got better.
    pub struct PracticeEffect {
        numbers {
            sessions_before: "1", "sessions before the first drill session that count";
            sessions_after: "1", "sessions after it that count";
            strikes_before: "1", "strikes of the sessions before";
            strikes_after: "1", "strikes of the sessions after";
            days_since_start: "d", "days from the first drill session to the last session";
            distance_before_mm: "mm", "mean distance from the face centre before, as the model has it";
            distance_gain_mm: "mm", "how much nearer to the face centre the strikes are after, positive = nearer";
            distance_gain_low_mm: "mm", "lower end of its 90 % interval";
            distance_gain_high_mm: "mm", "upper end";
            probability_nearer: "1", "probability that the strikes are nearer than before";
            probability_nearer_lately: "1", "the same for the later half of the sessions after alone";
            probability_worthwhile: "1", "probability that the distance fell by at least a tenth";
            carry_gain_m: "m", "carry per shot that is no longer lost, positive = won";
            carry_gain_low_m: "m", "lower end of its 90 % interval";
            carry_gain_high_m: "m", "upper end";
        }
        texts {
            effect: "too early, early sign, holds or no change; null without any drill session";
            why: "why, in one sentence";
        }
    }
}

/// What strike practice did: free swings after the first drill session against those before.
pub fn practice_effect(strikes: &[PracticeStrike]) -> PracticeEffect {
    let _ = strikes;
    PracticeEffect::default()
}
