//! Where on the face the ball is met.

use statrs::function::gamma::digamma;

use crate::answer::answer;
use crate::centre::{in_centre, probability_in_centre};
use crate::hotelling::next_vector_factor;
use crate::pattern_model::{PatternModel, Period, PeriodFit, fit};
use crate::special::{student_quantile, trigamma};
use crate::strike_information::{information_of, inverse};
use crate::wilson::{NORMAL_95, wilson};
use crate::{Strike, StrikeSource};

answer! {
    /// The strike pattern of the current week, and its change against the weeks before.
    pub struct StrikePattern {
        numbers {
            strikes: "1", "strikes of the week that could be used";
            strikes_measured: "1", "of these, measured";
            strikes_linked: "1", "of these, linked";
            strikes_inferred: "1", "of these, inferred";
            strikes_identified: "1", "of these, fit to tell a mean: measured, linked, or inferred from a fully measured delivery";
            sessions: "1", "sessions of the week";
            mean_toe_mm: "mm", "mean position along the face, positive = toe";
            mean_toe_low_mm: "mm", "lower end of its 90 % interval";
            mean_toe_high_mm: "mm", "upper end";
            mean_up_mm: "mm", "mean position up the face, positive = crown";
            mean_up_low_mm: "mm", "lower end of its 90 % interval";
            mean_up_high_mm: "mm", "upper end";
            spread_toe_mm: "mm", "standard deviation along the face within a session, errors of reading taken out";
            spread_up_mm: "mm", "the same up the face";
            spread_correlation: "1", "correlation of the two within a session";
            session_spread_toe_mm: "mm", "standard deviation of the sessions' means along the face";
            session_spread_up_mm: "mm", "the same up the face";
            next_toe_mm: "mm", "where the next strike is expected along the face";
            next_toe_sd_mm: "mm", "scale of the Student distribution of the next strike along the face";
            next_up_mm: "mm", "where the next strike is expected up the face";
            next_up_sd_mm: "mm", "scale of the Student distribution of the next strike up the face";
            next_degrees: "1", "degrees of freedom of both distributions";
            ellipse_long_mm: "mm", "longer half axis of the ellipse that holds the next strike with 95 % probability; null where it would reach beyond any face (100 mm)";
            ellipse_short_mm: "mm", "shorter half axis";
            ellipse_tilt_deg: "deg", "tilt of the longer axis from the toe direction toward the crown, -90 to 90";
            centre_share: "1", "share of the strikes within 10 mm toe or heel and 8 mm high or low";
            centre_share_low: "1", "lower end of its 90 % Wilson interval";
            centre_share_high: "1", "upper end";
            strikes_before: "1", "strikes of the weeks before that could be used";
            shift_toe_mm: "mm", "mean along the face minus that of the weeks before";
            shift_toe_low_mm: "mm", "lower end of its 90 % interval";
            shift_toe_high_mm: "mm", "upper end";
            shift_up_mm: "mm", "the same up the face";
            shift_up_low_mm: "mm", "lower end of its 90 % interval";
            shift_up_high_mm: "mm", "upper end";
            spread_ratio: "1", "spread within a session against the weeks before (geometric mean of the axes), below 1 = tighter";
            spread_ratio_low: "1", "lower end of its 90 % interval";
            spread_ratio_high: "1", "upper end";
        }
        texts {
            identification: "identified, not identified (no strike measured and no full delivery), or not enough (under five strikes)";
            change: "tighter, wider, moved, no clear change, or not enough";
        }
    }
}

/// Below this many strikes there is no pattern.
const FEWEST_STRIKES: usize = 5;
/// The latest strikes of a period beyond which more would change nothing but the time it takes.
const MOST_STRIKES: usize = 1000;

/// The pattern of the current strikes; those not current are the weeks before.
///
/// Means, ellipse, centre share and shift come from identified strikes alone. Where fewer than five are identified, only the
/// spread is told, from all strikes: a constant error of the strike leaves the spread alone. `change` is named at
/// the 95 % level, stricter than the 90 % intervals beside it, as three figures are looked at.
pub fn strike_pattern(strikes: &[Strike]) -> StrikePattern {
    let current = chosen(strikes, true);
    let mut answer = counted(&current);
    let identified: Vec<Strike> = current.iter().copied().filter(Strike::identified).collect();
    let mean_is_known = identified.len() >= FEWEST_STRIKES;
    let used = if mean_is_known { identified } else { current };
    answer.change = Some("not enough".to_owned());
    if used.len() < FEWEST_STRIKES {
        answer.identification = Some("not enough".to_owned());
        return answer;
    }
    answer.identification = Some(if mean_is_known { "identified" } else { "not identified" }.to_owned());
    let mut before = chosen(strikes, false);
    if mean_is_known {
        before.retain(Strike::identified);
    }
    answer.strikes_before = Some(before.len() as f64);
    let mut periods = vec![by_session(&used)];
    if before.len() >= FEWEST_STRIKES {
        periods.push(by_session(&before));
    }
    let model = fit(&periods);
    tell_spread(&mut answer, &model);
    if mean_is_known {
        tell_mean(&mut answer, &model);
        tell_centre(&mut answer, &used, &model);
    }
    if model.periods.len() > 1 {
        tell_change(&mut answer, &model, mean_is_known);
    }
    answer
}

/// The usable strikes of a period in an order that does not depend on that of the rows, the latest where they are too many.
fn chosen(strikes: &[Strike], current: bool) -> Vec<Strike> {
    let mut kept: Vec<Strike> =
        strikes.iter().copied().filter(|strike| strike.current == current && strike.usable()).collect();
    kept.sort_by(|left, right| {
        let key = |strike: &Strike| (strike.day, strike.session);
        let places = left.toe_mm.total_cmp(&right.toe_mm).then(left.up_mm.total_cmp(&right.up_mm));
        let deviations = left.toe_sd_mm.total_cmp(&right.toe_sd_mm).then(left.up_sd_mm.total_cmp(&right.up_sd_mm));
        key(left).cmp(&key(right)).then(places).then(deviations).then(left.correlation.total_cmp(&right.correlation))
    });
    kept.split_off(kept.len().saturating_sub(MOST_STRIKES))
}

fn counted(strikes: &[Strike]) -> StrikePattern {
    let of = |source: StrikeSource| Some(strikes.iter().filter(|strike| strike.source == source).count() as f64);
    StrikePattern {
        strikes: Some(strikes.len() as f64),
        strikes_measured: of(StrikeSource::Measured),
        strikes_linked: of(StrikeSource::Linked),
        strikes_inferred: of(StrikeSource::Inferred),
        strikes_identified: Some(strikes.iter().filter(|strike| strike.identified()).count() as f64),
        sessions: Some(by_session(strikes).len() as f64),
        ..StrikePattern::default()
    }
}

/// The strikes, which come sorted, by session.
fn by_session(strikes: &[Strike]) -> Period {
    let mut sessions: Period = Vec::new();
    let mut last = None;
    for strike in strikes {
        let key = (strike.day, strike.session);
        if last != Some(key) {
            sessions.push(Vec::new());
            last = Some(key);
        }
        if let Some(session) = sessions.last_mut() {
            session.push(information_of(strike));
        }
    }
    sessions
}

fn tell_spread(answer: &mut StrikePattern, model: &PatternModel) {
    let within = model.periods[0].within;
    let (toe, up) = (within[(0, 0)].sqrt(), within[(1, 1)].sqrt());
    answer.spread_toe_mm = Some(toe);
    answer.spread_up_mm = Some(up);
    answer.spread_correlation = Some(within[(0, 1)] / (toe * up));
    answer.session_spread_toe_mm = Some(model.between[(0, 0)].sqrt());
    answer.session_spread_up_mm = Some(model.between[(1, 1)].sqrt());
}

/// An ellipse with a longer half axis than this reaches beyond any face and is not told.
const LONGEST_ELLIPSE_MM: f64 = 100.0;

/// Mean, its interval, the next strike and its ellipse.
fn tell_mean(answer: &mut StrikePattern, model: &PatternModel) {
    let period = &model.periods[0];
    let half = student_quantile(0.95, mean_degrees(period, model));
    let toe_margin = half * period.mean_covariance[(0, 0)].sqrt();
    let up_margin = half * period.mean_covariance[(1, 1)].sqrt();
    answer.mean_toe_mm = Some(period.mean[0]);
    answer.mean_toe_low_mm = Some(period.mean[0] - toe_margin);
    answer.mean_toe_high_mm = Some(period.mean[0] + toe_margin);
    answer.mean_up_mm = Some(period.mean[1]);
    answer.mean_up_low_mm = Some(period.mean[1] - up_margin);
    answer.mean_up_high_mm = Some(period.mean[1] + up_margin);
    let next = period.within + model.between + period.mean_covariance;
    let degrees = combined_degrees(period.within.trace(), period.degrees, model.between.trace(), model.between_degrees);
    answer.next_toe_mm = Some(period.mean[0]);
    answer.next_toe_sd_mm = Some(next[(0, 0)].sqrt());
    answer.next_up_mm = Some(period.mean[1]);
    answer.next_up_sd_mm = Some(next[(1, 1)].sqrt());
    answer.next_degrees = Some(degrees);
    if let Some(factor) = next_vector_factor(degrees, 0.95) {
        let half_difference = 0.5 * (next[(0, 0)] - next[(1, 1)]);
        let across = next[(0, 1)];
        let middle = 0.5 * next.trace();
        let apart = half_difference.hypot(across);
        let long = (factor * (middle + apart)).sqrt();
        // From hardly any sessions nearly everything is possible; a figure of metres would only puzzle.
        if long > LONGEST_ELLIPSE_MM {
            return;
        }
        answer.ellipse_long_mm = Some(long);
        answer.ellipse_short_mm = Some((factor * (middle - apart).max(0.0)).sqrt());
        answer.ellipse_tilt_deg = Some((0.5 * across.atan2(half_difference)).to_degrees());
    }
}

/// Share in the centre. What was read is counted as read; of an inferred strike its probability counts, and
/// the count of trials shrinks by how little such strikes tell.
fn tell_centre(answer: &mut StrikePattern, strikes: &[Strike], model: &PatternModel) {
    let mut inside = 0.0;
    let mut trials = 0.0;
    for (strike, (mean, covariance)) in strikes.iter().zip(&model.positions[0]) {
        if strike.source == StrikeSource::Inferred {
            let spread = model.periods[0].within + model.between;
            inside += probability_in_centre(*mean, *covariance);
            trials += (1.0 - covariance.trace() / spread.trace()).clamp(0.1, 1.0);
        } else {
            inside += if in_centre(strike) { 1.0 } else { 0.0 };
            trials += 1.0;
        }
    }
    let share = inside / strikes.len() as f64;
    if let Some(interval) = wilson(share * trials, trials, 0.90) {
        answer.centre_share = Some(share);
        answer.centre_share_low = Some(interval.low);
        answer.centre_share_high = Some(interval.high);
    }
}

/// Change against the weeks before.
fn tell_change(answer: &mut StrikePattern, model: &PatternModel, mean_is_known: bool) {
    let (now, before) = (&model.periods[0], &model.periods[1]);
    let ratio = log_spread_ratio(now, before);
    if let Some((middle, deviation)) = ratio {
        answer.spread_ratio = Some(middle.exp());
        answer.spread_ratio_low = Some((middle - NORMAL_95 * deviation).exp());
        answer.spread_ratio_high = Some((middle + NORMAL_95 * deviation).exp());
    }
    let mut moved = false;
    if mean_is_known {
        let shift = now.mean - before.mean;
        let covariance = now.mean_covariance + before.mean_covariance;
        let degrees = mean_degrees(now, model).min(mean_degrees(before, model));
        let half = student_quantile(0.95, degrees);
        let (toe_margin, up_margin) = (half * covariance[(0, 0)].sqrt(), half * covariance[(1, 1)].sqrt());
        answer.shift_toe_mm = Some(shift[0]);
        answer.shift_toe_low_mm = Some(shift[0] - toe_margin);
        answer.shift_toe_high_mm = Some(shift[0] + toe_margin);
        answer.shift_up_mm = Some(shift[1]);
        answer.shift_up_low_mm = Some(shift[1] - up_margin);
        answer.shift_up_high_mm = Some(shift[1] + up_margin);
        let distance = shift.dot(&(inverse(covariance) * shift));
        moved = next_vector_factor(degrees, 0.95).is_some_and(|factor| distance > factor);
    }
    // 97.5 % quantile of the normal: two-sided 95 %. [source: normal tables]
    let clear = ratio.filter(|(middle, deviation)| middle.abs() > 1.959_964 * deviation);
    let change = match clear {
        Some((middle, _)) if middle < 0.0 => "tighter",
        Some(_) => "wider",
        None if moved => "moved",
        None => "no clear change",
    };
    answer.change = Some(change.to_owned());
}

/// Logarithm of the ratio of spreads (fourth root of the determinants) with its deviation, by the moments of the logarithm
/// of a Wishart determinant (Anderson 2003, An Introduction to Multivariate Statistical Analysis, 7.5).
fn log_spread_ratio(now: &PeriodFit, before: &PeriodFit) -> Option<(f64, f64)> {
    let mut middle = 0.0;
    let mut variance = 0.0;
    for (period, sign) in [(now, 1.0), (before, -1.0)] {
        if period.degrees < 2.0 {
            return None;
        }
        let (first, second) = (0.5 * period.degrees, 0.5 * (period.degrees - 1.0));
        let bias = digamma(first) + digamma(second) - 2.0 * first.ln();
        middle += sign * 0.25 * (period.within.determinant().ln() - bias);
        variance += (trigamma(first) + trigamma(second)) / 16.0;
    }
    (middle.is_finite() && variance.is_finite()).then(|| (middle, variance.sqrt()))
}

/// Degrees of freedom of a period's mean, whose variance is made of sessions and shots.
fn mean_degrees(period: &PeriodFit, model: &PatternModel) -> f64 {
    combined_degrees(
        period.within.trace() / period.strikes,
        period.degrees,
        model.between.trace() / period.sessions,
        model.between_degrees,
    )
}

/// Degrees of freedom of a sum of two estimated variances (Satterthwaite 1946, Biometrics Bulletin 2, 110).
fn combined_degrees(first: f64, first_degrees: f64, second: f64, second_degrees: f64) -> f64 {
    (first + second).powi(2) / (first * first / first_degrees + second * second / second_degrees)
}
