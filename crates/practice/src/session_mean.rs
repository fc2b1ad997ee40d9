//! The mean of a week.

use crate::Measurement;
use crate::answer::answer;
use crate::session_model::{SessionModel, Slope};
use crate::session_summary::{SessionValue, summarise};
use crate::wilson::NORMAL_95;

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

/// Below this many values of the week there is no interval.
const FEWEST_VALUES: f64 = 5.0;
/// From this many sessions on, what a session is to be expected to be can be told.
const FEWEST_SESSIONS: usize = 3;
/// Ends of a 90 % interval.
pub(crate) const LOW: f64 = 0.05;
pub(crate) const HIGH: f64 = 0.95;

/// The mean of the current week with its 90 % interval, and the total of the week's values with its own.
///
/// `shared_variance` is the share (0 to 1) of each value's error variance that all values have in common: one head, one
/// device. It never averages out, not over weeks either.
///
/// What is estimated by `mean` is the level of the sessions that the week had: what a shot of them was to be expected to
/// lose. `level` is the player's over all sessions. From the second week on, the mean is drawn toward the history by as much
/// as the sessions' own scatter says (model and prior: `session_model`).
pub fn mean_by_sessions(values: &[Measurement], shared_variance: f64) -> SessionMean {
    let shared = usable_share(shared_variance);
    let with_errors = with_own_error(values, shared);
    let sessions = summarise(&with_errors);
    let mut answer = SessionMean::default();
    let current: f64 = sessions.iter().filter(|session| session.marked).map(|session| session.count).sum();
    let current_sessions = sessions.iter().filter(|session| session.marked).count();
    answer.values = Some(current);
    answer.sessions = Some(current_sessions as f64);
    answer.sessions_known = Some(sessions.len() as f64);
    if current < 1.0 {
        answer.reason = Some("no value in this week".to_owned());
        return answer;
    }
    let mut weights = Vec::with_capacity(sessions.len());
    for session in &sessions {
        weights.push(if session.marked { session.count / current } else { 0.0 });
    }
    let plain_mean: f64 = weights.iter().zip(&sessions).map(|(weight, session)| weight * session.mean).sum();
    answer.plain_mean = Some(plain_mean);
    let (sum_of_deviations, sum_of_variances) = error_sums(values, &with_errors);
    let total_margin = NORMAL_95 * (shared * sum_of_deviations.powi(2) + (1.0 - shared) * sum_of_variances).sqrt();
    answer.total = Some(plain_mean * current);
    answer.total_low = Some(plain_mean * current - total_margin);
    answer.total_high = Some(plain_mean * current + total_margin);
    if current < FEWEST_VALUES {
        answer.reason =
            Some(format!("only {current} values in this week; a mean with an interval needs {FEWEST_VALUES}"));
        return answer;
    }
    let Some(model) = SessionModel::fit(&sessions, vec![[1.0, 0.0]; sessions.len()], Slope::Absent) else {
        answer.reason = Some("too few values for a model".to_owned());
        return answer;
    };
    let shared_error = shared * (sum_of_deviations / current).powi(2);
    let mean = model.level_of(&weights).widened(shared_error);
    answer.mean = Some(mean.mean());
    answer.mean_low = Some(mean.quantile(LOW));
    answer.mean_high = Some(mean.quantile(HIGH));
    answer.shot_deviation = Some(model.shot_deviation());
    answer.session_deviation = Some(model.session_deviation());
    answer.history_weight = Some(if current_sessions < sessions.len() { model.drawn(&weights) } else { 0.0 });
    if sessions.len() < FEWEST_SESSIONS {
        answer.reason = Some(format!("what a next session brings needs {FEWEST_SESSIONS} sessions to be told"));
        return answer;
    }
    let level = model.expectation([1.0, 0.0], false).widened(shared_error);
    answer.level = Some(level.mean());
    answer.level_low = Some(level.quantile(LOW));
    answer.level_high = Some(level.quantile(HIGH));
    let next = model.expectation([1.0, 0.0], true).widened(shared_error);
    answer.next_session_low = Some(next.quantile(LOW));
    answer.next_session_high = Some(next.quantile(HIGH));
    answer
}

/// The share of the error variance in common, 0 to 1.
pub(crate) fn usable_share(share: f64) -> f64 {
    if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.0 }
}

/// The values with the part of their error that is their own.
pub(crate) fn with_own_error(values: &[Measurement], shared: f64) -> Vec<SessionValue> {
    let mut own = Vec::with_capacity(values.len());
    for value in values {
        own.push(SessionValue {
            value: value.value,
            error_variance: (1.0 - shared) * value.deviation * value.deviation,
            session: value.session,
            day: value.day,
            marked: value.current,
        });
    }
    own
}

/// Sum of the deviations and of the variances of the week's usable values.
fn error_sums(values: &[Measurement], with_errors: &[SessionValue]) -> (f64, f64) {
    let mut deviations = Vec::new();
    for (value, with_error) in values.iter().zip(with_errors) {
        if value.current && with_error.usable() {
            deviations.push(value.deviation.abs());
        }
    }
    // Sorted, so that rounding does not depend on the order of the rows.
    deviations.sort_by(f64::total_cmp);
    (deviations.iter().sum(), deviations.iter().map(|deviation| deviation * deviation).sum())
}
