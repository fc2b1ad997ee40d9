//! Puts what was found into the verdict.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::case::{ALL_ACTUAL, Case, Flights, NONE_ACTUAL};
use crate::curve::curve_reading;
use crate::decide::{Bounds, Cause, strike_zone};
use crate::landing::Place;
use crate::prior::Prior;
use crate::reconstruct::ObservedLaunch;
use crate::split::{COALITIONS, GROUPS, shapley};
use crate::unknowns::{FACE, PATH, TOE, UP};
use crate::untold::{why_carry_is_untold, why_side_is_untold};
use crate::weigh::{Weighed, misread_probability};
use crate::{Settings, ShotVerdict, Told};

const LATERAL: [Told; GROUPS] = [Told::LateralStrike, Told::LateralDelivery, Told::LateralSpeed, Told::LateralRest];
const CARRY: [Told; GROUPS] = [Told::CarryStrike, Told::CarryDelivery, Told::CarrySpeed, Told::CarryRest];
/// Most probable launch and its deviations, in the order of a launch.
const LIKELY: [(Told, Told); 5] = [
    (Told::LikelyBallSpeed, Told::LikelyBallSpeedSd),
    (Told::LikelyLaunchElevation, Told::LikelyLaunchElevationSd),
    (Told::LikelyLaunchAzimuth, Told::LikelyLaunchAzimuthSd),
    (Told::LikelySpin, Told::LikelySpinSd),
    (Told::LikelySpinTilt, Told::LikelySpinTiltSd),
];
/// Where the share of each cause is told, in the order of [`Cause::ALL`].
const PROBABILITIES: [Told; Cause::ALL.len()] = [
    Told::ProbabilityStrike,
    Told::ProbabilityDelivery,
    Told::ProbabilityEither,
    Told::ProbabilityBothNeeded,
    Told::ProbabilityNeither,
];
/// Beyond these deviations of start and tilt, in degrees, nobody knows the curve that would be read: a tilt of 3 degrees is
/// about 0.75 degrees of face to path with a driver.
const CURVE_KNOWN_TO: (f64, f64) = (1.0, 3.0);

/// Most probable launch, strike and delivery, and what a reader of the curve would say.
pub(crate) fn tell_strike(case: &Case<'_>, prior: &Prior, settings: &Settings, verdict: &mut ShotVerdict) {
    let (mode, launch, launch_sd) = (&case.found.mode, case.found.launch(), case.found.launch_sd());
    for (quantity, (value, deviation)) in LIKELY.into_iter().enumerate() {
        verdict.set(value, launch[quantity]);
        verdict.set(deviation, launch_sd[quantity]);
    }
    verdict.strike_source = Some(prior.strike.word().into());
    if !prior.strike.is_measured() && !case.model.head.reveals_strike {
        return;
    }
    verdict.set(Told::StrikeToe, mode[TOE]);
    verdict.set(Told::StrikeUp, mode[UP]);
    verdict.set(Told::StrikeToeSd, case.found.sd(TOE));
    verdict.set(Told::StrikeUpSd, case.found.sd(UP));
    verdict.strike_zone = Some(strike_zone(mode[TOE], mode[UP]).into());
    verdict.set(Told::FaceToPath, mode[FACE] - mode[PATH]);
    if launch_sd[2] <= CURVE_KNOWN_TO.0
        && launch_sd[4] <= CURVE_KNOWN_TO.1
        && let Some(reading) = curve_reading(&case.model, mode, &launch)
    {
        verdict.set(Told::CurveReading, reading);
        let probability = misread_probability(case, reading, settings);
        verdict.set(Told::MisreadProbability, probability);
        let acted_on = reading.abs() >= settings.curve_acted_on_deg;
        verdict.misread = Some(acted_on && probability >= settings.misread_probability);
    }
}

/// Where the ball went, what was meant, and whether it missed. Answers why the miss cannot be told, where it cannot.
pub(crate) fn tell_landing(
    case: &Case<'_>,
    flights: &Flights,
    observed: &ObservedLaunch,
    prior: &Prior,
    spread: Option<(f64, f64)>,
    settings: &Settings,
    verdict: &mut ShotVerdict,
) -> Option<&'static str> {
    let actual = flights.place(case, ALL_ACTUAL);
    let reference = flights.place(case, NONE_ACTUAL);
    verdict.set(Told::ReferenceCarry, reference.carry);
    verdict.set(Told::ReferenceLateral, reference.lateral);
    let standard = case.air.standard();
    let reference_std = case.rest.applied(standard.fly(&flights.flown[NONE_ACTUAL].0), false);
    verdict.set(Told::ReferenceCarryStd, reference_std.carry);

    let bounds = Bounds::new(reference, case.aim, settings, case.model.head.kind);
    let (carry_sd, off_sd) = spread.unwrap_or((f64::INFINITY, f64::INFINITY));
    let (carry_limit, off_limit) = (settings.carry_tolerance * reference.carry, bounds.half_width);
    let actual_std = case.rest.applied(standard.fly(&flights.flown[ALL_ACTUAL].0), true);
    if carry_sd <= carry_limit {
        verdict.set(Told::Carry, actual.carry);
        verdict.set(Told::CarrySd, carry_sd);
        verdict.set(Told::CarryStd, actual_std.carry);
    }
    if off_sd <= off_limit {
        verdict.set(Told::Lateral, actual.lateral);
        verdict.set(Told::LateralSd, off_sd);
        verdict.set(Told::LateralStd, actual_std.lateral);
    }
    // A deviation within half of a limit is what the limits are made for. Beyond, a miss is told where it is likely enough.
    let well_known = carry_sd <= 0.5 * carry_limit && off_sd <= 0.5 * off_limit;
    if well_known || probability_of_class(&bounds, actual, carry_sd, off_sd) >= settings.certain_enough {
        verdict.miss = Some(bounds.miss(actual).into());
        return None;
    }
    let why = if off_sd / off_limit > carry_sd / carry_limit {
        why_side_is_untold(observed, prior)
    } else {
        why_carry_is_untold(observed, prior)
    };
    verdict.reason = Some(why.into());
    Some(why)
}

/// How probable it is that the ball lies on the side of every limit where the most probable landing lies; the two directions
/// taken as independent.
fn probability_of_class(bounds: &Bounds, actual: Place, carry_sd: f64, off_sd: f64) -> f64 {
    if !carry_sd.is_finite() || !off_sd.is_finite() {
        return 0.0;
    }
    let normal = Normal::standard();
    let above = |value: f64, limit: f64, sd: f64| normal.cdf((value - limit) / sd.max(1e-9));
    let long_enough = above(actual.carry, bounds.shortest, carry_sd);
    let off = bounds.off_aim(actual);
    let right = above(off, bounds.half_width, off_sd);
    let left = 1.0 - above(off, -bounds.half_width, off_sd);
    let length = if actual.carry >= bounds.shortest { long_enough } else { 1.0 - long_enough };
    let side = if off > bounds.half_width {
        right
    } else if off < -bounds.half_width {
        left
    } else {
        1.0 - right - left
    };
    length * side
}

/// The order-free split of actual minus reference, every coalition flown, and what a little less or more would have given.
pub(crate) fn tell_parts(case: &Case<'_>, flights: &Flights, verdict: &mut ShotVerdict) {
    let mut carries = [0.0; COALITIONS];
    let mut laterals = [0.0; COALITIONS];
    for coalition in 0..COALITIONS {
        let place = flights.place(case, coalition);
        carries[coalition] = place.carry;
        laterals[coalition] = place.lateral;
    }
    for (names, parts) in [(LATERAL, shapley(&laterals)), (CARRY, shapley(&carries))] {
        for (name, part) in names.into_iter().zip(parts) {
            verdict.set(name, part);
        }
    }
    let actual = flights.flown[ALL_ACTUAL].1.carry;
    verdict.set(Told::TighterStrikeGain, case.rest.ratio * (flights.tighter.carry - actual));
    verdict.set(Told::FasterClubGain, case.rest.ratio * (flights.faster.carry - actual));
}

/// Names what would have mended a miss.
pub(crate) fn tell_cause(weighed: &Weighed, prior: &Prior, settings: &Settings, verdict: &mut ShotVerdict) {
    let Some(shares) = weighed.causes else { return };
    let mut largest = (Cause::Neither, -1.0);
    for cause in Cause::ALL {
        let share = shares[cause as usize];
        verdict.set(PROBABILITIES[cause as usize], share);
        if share > largest.1 {
            largest = (cause, share);
        }
    }
    verdict.set(Told::CauseProbability, largest.1);
    if largest.1 >= settings.certain_enough {
        verdict.cause = Some(largest.0.word().into());
        return;
    }
    verdict.cause = Some("cannot tell".into());
    let weakness = match (prior.strike.is_measured(), prior.direction_measured()) {
        (false, false) => "; neither strike, path nor face was measured",
        (false, true) => "; the strike was inferred",
        (_, false) => "; neither path nor face was measured",
        (_, true) => "",
    };
    // The same words for the same case, so that reasons can be counted; the shares stand in columns of their own.
    verdict.reason = Some(format!("no cause is likely enough{weakness}"));
}
