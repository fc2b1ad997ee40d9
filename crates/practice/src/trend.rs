//! Where a value is going.

use crate::Measurement;
use crate::answer::answer;

answer! {
    /// The trend of a value over sessions.
    pub struct Trend {
        numbers {
            sessions: "1", "sessions that could be used";
            days: "d", "days from the first to the last of them";
            per_week: "1", "change of the expected value per seven days, in the unit of the values";
            per_week_low: "1", "lower end of its 90 % interval";
            per_week_high: "1", "upper end";
            probability_falling: "1", "probability that the expected value falls";
        }
        texts {
            direction: "falling, rising, no clear trend, or not enough (fewer than three sessions on three days)";
        }
    }
}

/// The trend over all sessions given, current and earlier; `not enough` below three sessions on three days.
pub fn trend(values: &[Measurement], shared_variance: f64) -> Trend {
    let _ = (values, shared_variance);
    Trend::default()
}
