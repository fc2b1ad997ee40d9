//! The mean of a week.

use crate::Measurement;
use crate::answer::answer;

answer! {
    /// The mean of the current week, in the unit of the values.
    pub struct SessionMean {
        numbers {
            values: "1", "values of the week that could be used";
            sessions: "1", "sessions of the week";
            sessions_known: "1", "sessions of the week and of the history together";
            plain_mean: "1", "plain mean of the week's values";
            mean: "1", "what a value of the week's sessions was to be expected to be, shrunk toward the player's history";
            mean_low: "1", "lower end of its 90 % interval";
            mean_high: "1", "upper end";
            level: "1", "what a value is to be expected to be over all sessions known; from three sessions on";
            level_low: "1", "lower end of its 90 % interval";
            level_high: "1", "upper end";
            next_session_low: "1", "lower end of the 90 % interval for the expected value of a next session; from three sessions on";
            next_session_high: "1", "upper end";
            shot_deviation: "1", "standard deviation of a true value within a session (posterior mean)";
            session_deviation: "1", "standard deviation of the sessions' own levels (posterior mean)";
            history_weight: "1", "how far the mean is drawn from the plain mean toward the history: 0 not at all, 1 wholly";
            total: "1", "sum of the week's values";
            total_low: "1", "lower end of its 90 % interval for the values as they were: only their own errors count";
            total_high: "1", "upper end";
        }
        texts {
            reason: "why something cannot be told; null where everything is";
        }
    }
}

/// The mean of the current week with its 90 % interval, and the total of the week's values with its own.
///
/// `shared_variance` is the share (0 to 1) of each value's error variance that all values have in common: one head, one
/// device. It never averages out.
pub fn mean_by_sessions(values: &[Measurement], shared_variance: f64) -> SessionMean {
    let _ = (values, shared_variance);
    SessionMean::default()
}
