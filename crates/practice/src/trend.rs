//! Where a value is going.

use crate::Measurement;
use crate::answer::answer;
use crate::session_mean::{HIGH, LOW, usable_share, with_own_error};
use crate::session_model::{SessionModel, Slope};
use crate::session_summary::summarise;

/// A line through two sessions says nothing of their scatter.
const FEWEST_DAYS: usize = 3;

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
///
/// A line through the sessions' levels; sessions scatter about it. A direction is named where the 90 % interval leaves
/// zero out. An error that all values share moves the line, not its slope, so that only the values' own errors count.
pub fn trend(values: &[Measurement], shared_variance: f64) -> Trend {
    let mut unmarked = with_own_error(values, usable_share(shared_variance));
    for value in &mut unmarked {
        value.marked = false;
    }
    let sessions = summarise(&unmarked);
    let mut days: Vec<i64> = sessions.iter().map(|session| session.day as i64).collect();
    days.dedup();
    let mut answer = Trend { sessions: Some(sessions.len() as f64), ..Trend::default() };
    let (Some(first), Some(last)) = (days.first(), days.last()) else {
        answer.direction = Some("not enough".to_owned());
        return answer;
    };
    answer.days = Some((last - first) as f64);
    if days.len() < FEWEST_DAYS {
        answer.direction = Some("not enough".to_owned());
        return answer;
    }
    let middle = 0.5 * (*first + *last) as f64;
    let design = sessions.iter().map(|session| [1.0, (session.day - middle) / 7.0]).collect();
    let Some(model) = SessionModel::fit(&sessions, design, Slope::Free) else {
        answer.direction = Some("not enough".to_owned());
        return answer;
    };
    let slope = model.expectation([0.0, 1.0], false);
    let falling = slope.below(0.0);
    answer.per_week = Some(slope.mean());
    answer.per_week_low = Some(slope.quantile(LOW));
    answer.per_week_high = Some(slope.quantile(HIGH));
    answer.probability_falling = Some(falling);
    let direction = match falling {
        probability if probability >= HIGH => "falling",
        probability if probability <= LOW => "rising",
        _ => "no clear trend",
    };
    answer.direction = Some(direction.to_owned());
    answer
}
