//! Whether strike practice worked.

use crate::answer::{answer, day, finite, flag, whole};
use crate::mixture::Mixture;
use crate::session_mean::{HIGH, LOW};
use crate::session_model::{SessionModel, Slope};
use crate::session_summary::{SessionSummary, SessionValue, summarise};
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

/// The strikes of the week before practice began are what prompted it: a bad week, and a week after a bad one is better by
/// chance alone. They are left out, days.
pub const PROMPTING_DAYS: i32 = 7;
/// Farther back than this before practice, a player was another one, days.
pub const LONGEST_BEFORE_DAYS: i32 = 112;
/// From this many sessions before and after on, there is a sign to look for.
pub const FEWEST_SESSIONS: usize = 2;
/// From this many sessions after on, and this many days, the answer can be final.
pub const SESSIONS_TO_HOLD: usize = 4;
/// Days from the first drill session to the last session for a final answer.
pub const DAYS_TO_HOLD: i32 = 21;
/// A session with fewer free strikes than this is no sample of a session.
pub const FEWEST_STRIKES: usize = 3;
/// Least probability of nearer strikes for `early sign`.
pub const EARLY_PROBABILITY: f64 = 0.95;
/// Least probability of nearer strikes for `holds`.
pub const HOLDS_PROBABILITY: f64 = 0.975;
/// Least probability of nearer strikes in the later half of the sessions for `holds`.
pub const LATELY_PROBABILITY: f64 = 0.9;
/// Least probability that the distance fell by a tenth for `holds`.
pub const WORTHWHILE_PROBABILITY: f64 = 0.5;
/// Deviation of the effect before any data, as a share of the distance before (common practice, no source): most practice
/// changes little.
const DISTANCE_PRIOR_SHARE: f64 = 0.25;
/// The same for the carry lost, which grows with the square of the distance: 1 - 0.75^2.
const CARRY_PRIOR_SHARE: f64 = 0.44;

/// What strike practice did: free swings after the first drill session against those before.
///
/// Rules. The clock starts with the first session that has a drill shot; that session counts on neither side, nor do drill
/// shots ever: a gate guides the strike. Before: sessions from [`LONGEST_BEFORE_DAYS`] to just over [`PROMPTING_DAYS`] before
/// the start. After: every session on a later day. Strikes of the kind (read or inferred) that is commoner
/// after the start count alone, so that a new device is no progress. Sessions scatter about their period's level
/// (`session_model`), and the effect has a prior about zero of a quarter of the distance before: both shrink it.
///
/// - `too early`: fewer than [`FEWEST_SESSIONS`] sessions before or after; or too few for a final answer, and no sign.
/// - `early sign`: nearer with [`EARLY_PROBABILITY`] or more, but not (yet) `holds`.
/// - `holds`: [`SESSIONS_TO_HOLD`] sessions over [`DAYS_TO_HOLD`] days, nearer with [`HOLDS_PROBABILITY`], in the later half of
///   them alone with [`LATELY_PROBABILITY`], and by at least a tenth with [`WORTHWHILE_PROBABILITY`].
/// - `no change`: enough sessions and days, and none of these.
pub fn practice_effect(strikes: &[PracticeStrike]) -> PracticeEffect {
    let usable: Vec<&PracticeStrike> = strikes.iter().filter(|strike| is_usable(strike)).collect();
    let Some(start) = usable.iter().filter(|strike| strike.drill).map(|strike| (strike.day, strike.session)).min()
    else {
        return PracticeEffect { why: Some("no drill session yet".to_owned()), ..PracticeEffect::default() };
    };
    let periods = Periods::of(&usable, start.0);
    let before = sessions_of(&periods.before, false);
    let after = sessions_of(&periods.after, true);
    let strikes_in = |sessions: &[SessionSummary]| Some(sessions.iter().map(|session| session.count).sum());
    let last_day = usable.iter().map(|strike| strike.day).max().unwrap_or(start.0);
    let mut answer = PracticeEffect {
        sessions_before: Some(before.len() as f64),
        sessions_after: Some(after.len() as f64),
        strikes_before: strikes_in(&before),
        strikes_after: strikes_in(&after),
        days_since_start: Some(f64::from(last_day.saturating_sub(start.0))),
        effect: Some("too early".to_owned()),
        ..PracticeEffect::default()
    };
    if before.len() < FEWEST_SESSIONS {
        answer.why = Some(format!(
            "{} sessions from before the week that led to practice; a comparison needs {FEWEST_SESSIONS}",
            before.len()
        ));
        return answer;
    }
    if after.len() < FEWEST_SESSIONS {
        answer.why = Some(format!(
            "{} sessions after the first drill session; a comparison needs {FEWEST_SESSIONS}",
            after.len()
        ));
        return answer;
    }
    let lost_before = carry_sessions(&periods.before, false);
    let lost_after = carry_sessions(&periods.after, true);
    if let Some((gain, _)) = gain_between(&lost_before, &lost_after, CARRY_PRIOR_SHARE) {
        answer.carry_gain_m = Some(gain.mean());
        answer.carry_gain_low_m = Some(gain.quantile(LOW));
        answer.carry_gain_high_m = Some(gain.quantile(HIGH));
    }
    let Some((gain, distance)) = gain_between(&before, &after, DISTANCE_PRIOR_SHARE) else {
        answer.why = Some("the sessions cannot be compared".to_owned());
        return answer;
    };
    let later_half = &after[after.len() / 2..];
    let lately = gain_between(&before, later_half, DISTANCE_PRIOR_SHARE).map_or(0.0, |(gain, _)| 1.0 - gain.below(0.0));
    answer.distance_before_mm = Some(distance);
    answer.distance_gain_mm = Some(gain.mean());
    answer.distance_gain_low_mm = Some(gain.quantile(LOW));
    answer.distance_gain_high_mm = Some(gain.quantile(HIGH));
    let nearer = 1.0 - gain.below(0.0);
    let worthwhile = 1.0 - gain.below(0.1 * distance);
    answer.probability_nearer = Some(nearer);
    answer.probability_nearer_lately = Some(lately);
    answer.probability_worthwhile = Some(worthwhile);
    let is_final = after.len() >= SESSIONS_TO_HOLD && last_day.saturating_sub(start.0) >= DAYS_TO_HOLD;
    let effect = if is_final
        && nearer >= HOLDS_PROBABILITY
        && lately >= LATELY_PROBABILITY
        && worthwhile >= WORTHWHILE_PROBABILITY
    {
        "holds"
    } else if nearer >= EARLY_PROBABILITY {
        "early sign"
    } else if is_final {
        "no change"
    } else {
        "too early"
    };
    answer.effect = Some(effect.to_owned());
    answer.why = Some(sentence(effect, gain.mean(), distance, after.len(), nearer));
    answer
}

/// What the answer rests on, for a coach.
fn sentence(effect: &str, gain_mm: f64, before_mm: f64, sessions: usize, nearer: f64) -> String {
    let moved = if gain_mm >= 0.0 { "nearer to" } else { "farther from" };
    let sessions = if sessions == 1 { "1 session".to_owned() } else { format!("{sessions} sessions") };
    let meaning = match effect {
        "holds" => "it worked and has lasted",
        "early sign" => "it looks better, too early to be sure that it lasts",
        "no change" => "no clear improvement, the difference can be chance",
        _ => "too early to tell",
    };
    format!(
        "{meaning}: over {sessions} since the first drill session the strikes lie {:.1} mm {moved} the face centre than \
         before ({before_mm:.1} mm); nearer at all with a probability of {:.0} %",
        gain_mm.abs(),
        (100.0 * nearer).clamp(1.0, 99.0)
    )
}

/// Free strikes before and after, of one kind.
struct Periods<'a> {
    before: Vec<&'a PracticeStrike>,
    after: Vec<&'a PracticeStrike>,
}

impl<'a> Periods<'a> {
    fn of(strikes: &[&'a PracticeStrike], start: i32) -> Self {
        let mut before = Vec::new();
        let mut after = Vec::new();
        for &strike in strikes {
            let ahead = start.saturating_sub(strike.day);
            if strike.drill {
                continue;
            }
            if ahead < 0 {
                after.push(strike);
            } else if ahead > PROMPTING_DAYS && ahead <= LONGEST_BEFORE_DAYS {
                before.push(strike);
            }
        }
        let inferred = |strike: &&PracticeStrike| strike.source == StrikeSource::Inferred;
        let inferred_is_commoner = 2 * after.iter().filter(|strike| inferred(strike)).count() > after.len();
        before.retain(|strike| inferred(strike) == inferred_is_commoner);
        after.retain(|strike| inferred(strike) == inferred_is_commoner);
        Self { before, after }
    }
}

fn is_usable(strike: &PracticeStrike) -> bool {
    let numbers = [strike.toe_mm, strike.up_mm, strike.toe_sd_mm, strike.up_sd_mm];
    numbers.iter().all(|number| number.is_finite() && number.abs() <= 200.0)
}

/// Distance from the face centre, mm: what a reading's error adds is taken out, what a posterior mean hides is added.
fn distance(strike: &PracticeStrike) -> f64 {
    let squares = strike.toe_mm.powi(2) + strike.up_mm.powi(2);
    let errors = strike.toe_sd_mm.powi(2) + strike.up_sd_mm.powi(2);
    let sign = if strike.source == StrikeSource::Inferred { 1.0 } else { -1.0 };
    (squares + sign * errors).max(0.0).sqrt()
}

fn sessions_of(strikes: &[&PracticeStrike], after: bool) -> Vec<SessionSummary> {
    let mut values = Vec::with_capacity(strikes.len());
    for strike in strikes {
        values.push(session_value(strike, distance(strike), after));
    }
    large_enough(&values)
}

fn carry_sessions(strikes: &[&PracticeStrike], after: bool) -> Vec<SessionSummary> {
    let mut values = Vec::new();
    for strike in strikes {
        if let Some(lost) = strike.carry_lost_m {
            values.push(session_value(strike, lost, after));
        }
    }
    large_enough(&values)
}

fn session_value(strike: &PracticeStrike, value: f64, after: bool) -> SessionValue {
    SessionValue { value, error_variance: 0.0, session: strike.session, day: strike.day, marked: after }
}

fn large_enough(values: &[SessionValue]) -> Vec<SessionSummary> {
    let mut sessions = summarise(values);
    sessions.retain(|session| session.count >= FEWEST_STRIKES as f64);
    sessions
}

/// Distribution of level before minus level after, and the level before.
fn gain_between(before: &[SessionSummary], after: &[SessionSummary], prior_share: f64) -> Option<(Mixture, f64)> {
    if before.len() < FEWEST_SESSIONS || after.is_empty() {
        return None;
    }
    let strikes: f64 = before.iter().map(|session| session.count).sum();
    let mean = before.iter().map(|session| session.count * session.mean).sum::<f64>() / strikes;
    let deviation = (prior_share * mean.abs()).max(1e-6);
    let sessions: Vec<SessionSummary> = before.iter().chain(after).copied().collect();
    let design = sessions.iter().map(|session| [1.0, if session.marked { -1.0 } else { 0.0 }]).collect();
    let model = SessionModel::fit(&sessions, design, Slope::Prior(deviation))?;
    Some((model.expectation([0.0, 1.0], false), model.expectation([1.0, 0.0], false).mean()))
}
