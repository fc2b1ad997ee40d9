//! When something cannot be told, and why.

use crate::mixture::Mixture;
use crate::model::{AZIMUTH, ELEVATION};
use crate::prior::Prior;
use crate::readings::ObservedLaunch;
use crate::unknowns::{TOE, UP};
use crate::{Settings, ShotVerdict};

/// Above these deviations of an inferred strike the launch has told little more than the prior did, mm.
const TOE_UNKNOWN_ABOVE: f64 = 9.0;
const UP_UNKNOWN_ABOVE: f64 = 7.0;
/// Above this sum of squared standardised residuals no clean contact of this head explains the readings: 0.9999 quantiles of
/// chi-squared with 0 to 6 degrees of freedom (scipy.stats.chi2.ppf), one for each observation beside the priors.
const MISFIT_ABOVE: [f64; 7] = [0.0, 15.137, 18.421, 21.108, 23.513, 25.745, 27.856];

/// Leaves everything that rests on the strike untold.
pub(crate) fn refuse(verdict: &mut ShotVerdict, why: &str) {
    if verdict.miss.as_deref().is_some_and(|miss| miss != "none") {
        verdict.cause = Some("cannot tell".into());
    }
    verdict.strike_zone = None;
    verdict.reason = Some(why.into());
}

/// Why what the strike did cannot be told, as far as the reconstruction shows it.
pub(crate) fn why_strike_is_untold(
    mixture: &Mixture<'_>,
    observed: &ObservedLaunch,
    prior: &Prior,
) -> Option<&'static str> {
    let case = &mixture.first().case;
    let limit = MISFIT_ABOVE[mixture.best.observations.min(MISFIT_ABOVE.len() - 1)];
    if mixture.best.observations > 0 && mixture.best.misfit > limit {
        return Some("the launch fits no clean contact with this head");
    }
    let strike = prior.strike;
    if strike.is_measured() {
        return None;
    }
    if !case.model.head.reveals_strike {
        return Some(match (strike.toe_measured, strike.up_measured) {
            (true, _) => "this club hardly reveals the strike, and its height was not measured",
            (_, true) => "this club hardly reveals the strike, and only its height was measured",
            _ => "this club hardly reveals the strike, and the strike was not measured",
        });
    }
    if !strike.toe_measured && observed[4].is_none() {
        return Some("no spin axis measured: too little to infer the strike");
    }
    if !strike.toe_measured && !prior.speed_measured && !prior.direction_measured() {
        return Some("nothing of the club was measured: too little to infer the strike");
    }
    if mixture.unknown(TOE).1 > TOE_UNKNOWN_ABOVE {
        if mixture.best.sd(TOE) <= TOE_UNKNOWN_ABOVE {
            return Some("the launch fits a toe and a heel strike alike");
        }
        return Some(if prior.direction_measured() {
            "too little was measured to infer the strike"
        } else {
            "no path or face measured: too little to infer the strike"
        });
    }
    if mixture.unknown(UP).1 > UP_UNKNOWN_ABOVE {
        if mixture.best.sd(UP) <= UP_UNKNOWN_ABOVE {
            return Some("the launch fits a high and a low strike alike");
        }
        return Some("too little was measured to infer the height of the strike");
    }
    None
}

/// Why the carry lost cannot be told: its deviation exceeds half of what makes a carry a miss, and half of itself.
pub(crate) fn why_loss_is_untold(
    (loss, sd): (f64, f64),
    reference_carry: f64,
    settings: &Settings,
) -> Option<&'static str> {
    let limit = (0.5 * settings.carry_tolerance * reference_carry).max(0.5 * loss.abs());
    (sd > limit).then_some("too little was measured to tell what the strike cost")
}

/// Why it cannot be told where across the line the ball came down.
pub(crate) fn why_side_is_untold(observed: &ObservedLaunch, prior: &Prior) -> &'static str {
    if observed[AZIMUTH].is_none() && !(prior.path_measured && prior.face_measured) {
        return "the start direction was not measured, nor path and face in its place";
    }
    if observed[4].is_none() {
        return "no spin axis measured: where across the line the ball came down is not known";
    }
    "too little was measured to tell where across the line the ball came down"
}

/// Why it cannot be told how far the ball carried.
pub(crate) fn why_carry_is_untold(observed: &ObservedLaunch, prior: &Prior) -> &'static str {
    if observed[ELEVATION].is_none() && !prior.loft_measured {
        return "the launch elevation was not measured, nor the loft in its place";
    }
    if observed[0].is_none() {
        return "no ball speed measured: too little to tell the carry";
    }
    if observed[3].is_none() {
        return "no spin measured: too little to tell the carry";
    }
    "too little was measured to tell the carry"
}
