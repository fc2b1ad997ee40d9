//! Puts what was found into the verdict.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::case::{ALL_ACTUAL, CENTRED, Flights, NONE_ACTUAL};
use crate::curve::curve_reading;
use crate::decide::{Bounds, Cause, strike_zone};
use crate::expand::spread_of_actual;
use crate::landing::Place;
use crate::mixture::{Mixture, Possibility};
use crate::model::{AZIMUTH, LAUNCH};
use crate::prior::Prior;
use crate::readings::ObservedLaunch;
use crate::split::{COALITIONS, GROUPS, shapley};
use crate::unknowns::{FACE, PATH, TOE, UP};
use crate::untold::{why_carry_is_untold, why_side_is_untold};
use crate::weigh::{Weighed, misread_probability};
use crate::{Evidence, Known, Settings, ShotVerdict, Told};

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
pub(crate) fn tell_strike(mixture: &Mixture<'_>, prior: &Prior, settings: &Settings, verdict: &mut ShotVerdict) {
    let mut launch_sd = [0.0; LAUNCH];
    for (quantity, (value, deviation)) in LIKELY.into_iter().enumerate() {
        let (likely, sd) = mixture.spread(|possibility| {
            (possibility.case.found.launch()[quantity], possibility.case.found.launch_sd()[quantity])
        });
        launch_sd[quantity] = sd;
        verdict.set(value, likely);
        verdict.set(deviation, sd);
    }
    verdict.strike_source = Some(prior.strike.word().into());
    let case = &mixture.first().case;
    if !prior.strike.is_measured() && !case.model.head.reveals_strike {
        return;
    }
    let ((toe, toe_sd), (up, up_sd)) = (mixture.unknown(TOE), mixture.unknown(UP));
    verdict.set(Told::StrikeToe, toe);
    verdict.set(Told::StrikeUp, up);
    verdict.set(Told::StrikeToeSd, toe_sd);
    verdict.set(Told::StrikeUpSd, up_sd);
    let zone = mixture.word(|possibility| {
        let mode = &possibility.case.found.mode;
        strike_zone(mode[TOE], mode[UP])
    });
    verdict.strike_zone = zone.map(Into::into);
    verdict.set(Told::FaceToPath, mixture.unknown(FACE).0 - mixture.unknown(PATH).0);
    if launch_sd[AZIMUTH] <= CURVE_KNOWN_TO.0
        && launch_sd[4] <= CURVE_KNOWN_TO.1
        && let Some(reading) = curve_reading(&case.model, &case.found.mode, &case.found.launch())
    {
        verdict.set(Told::CurveReading, reading);
        let probability = mixture.mean(|possibility| misread_probability(&possibility.case, reading, settings));
        verdict.set(Told::MisreadProbability, probability);
        let acted_on = reading.abs() >= settings.curve_acted_on_deg;
        verdict.misread = Some(acted_on && probability >= settings.misread_probability);
    }
}

/// From this probability on, whether a shot missed is told although its landing is not well known.
const LITTLE_DOUBT: f64 = 0.9;

/// Where the ball went, what was meant, and whether it missed. Answers why the miss cannot be told, where it cannot.
pub(crate) fn tell_landing(
    mixture: &Mixture<'_>,
    evidence: &Evidence,
    observed: &ObservedLaunch,
    prior: &Prior,
    settings: &Settings,
    verdict: &mut ShotVerdict,
) -> Option<&'static str> {
    let (actual, reference) = (mixture.place(ALL_ACTUAL), mixture.place(NONE_ACTUAL));
    verdict.set(Told::ReferenceCarry, reference.carry);
    verdict.set(Told::ReferenceLateral, reference.lateral);
    let standard = |coalition: usize| -> Place {
        let place = |possibility: &Possibility<'_>| possibility.standard(coalition);
        Place { carry: mixture.mean(|one| place(one).carry), lateral: mixture.mean(|one| place(one).lateral) }
    };
    verdict.set(Told::ReferenceCarryStd, standard(NONE_ACTUAL).carry);

    let case = &mixture.first().case;
    let bounds = Bounds::new(reference, case.aim, settings, case.model.head.kind);
    let (carry_sd, off_sd) = spread_of_landing(mixture, evidence);
    let (carry_limit, off_limit) = (settings.carry_tolerance * reference.carry, bounds.half_width);
    let actual_std = standard(ALL_ACTUAL);
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
    // A deviation within half of a limit is what the limits are made for. Beyond, the likelier answer is nearly always "no miss",
    // whatever the player does: it is told only where little doubt is left, or a count of misses would be far too low.
    let well_known = carry_sd <= 0.5 * carry_limit && off_sd <= 0.5 * off_limit;
    if well_known || probability_of_class(&bounds, actual, carry_sd, off_sd) >= LITTLE_DOUBT {
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

/// Deviations of the carry and of the distance off the aim; infinite where they are not known.
fn spread_of_landing(mixture: &Mixture<'_>, evidence: &Evidence) -> (f64, f64) {
    let mut each = Vec::with_capacity(mixture.all.len());
    for Possibility { share, case, flights, surface, .. } in &mixture.all {
        let Some((carry, off)) = spread_of_actual(case, surface, flights) else {
            return (f64::INFINITY, f64::INFINITY);
        };
        let place = flights.place(case, ALL_ACTUAL);
        each.push((*share, [(place.carry, carry), (place.lateral - case.aim_slope() * place.carry, off)]));
    }
    let [carry, off] = [0, 1].map(|axis| {
        let mean: f64 = each.iter().map(|(share, numbers)| share * numbers[axis].0).sum();
        let variance = |(value, sd): (f64, f64)| sd * sd + (value - mean).powi(2);
        each.iter().map(|(share, numbers)| share * variance(numbers[axis])).sum::<f64>().sqrt()
    });
    // A landing that was read is as uncertain as the reading.
    let read = |value, deviation, otherwise| evidence.measured(value, deviation).map_or(otherwise, |(_, sd)| sd);
    (read(Known::Carry, Known::CarrySd, carry), read(Known::Lateral, Known::LateralSd, off))
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
pub(crate) fn tell_parts(mixture: &Mixture<'_>, verdict: &mut ShotVerdict) {
    let mut carries = [0.0; COALITIONS];
    let mut laterals = [0.0; COALITIONS];
    // The split is linear, so that of the means is the mean of the splits.
    for coalition in 0..COALITIONS {
        let place = mixture.place(coalition);
        carries[coalition] = place.carry;
        laterals[coalition] = place.lateral;
    }
    for (names, parts) in [(LATERAL, shapley(&laterals)), (CARRY, shapley(&carries))] {
        for (name, part) in names.into_iter().zip(parts) {
            verdict.set(name, part);
        }
    }
    let gain = |place: fn(&Flights) -> Place| {
        mixture.mean(|one| one.case.rest.ratio * (place(&one.flights).carry - one.flights.flown[ALL_ACTUAL].1.carry))
    };
    verdict.set(Told::TighterStrikeGain, gain(|flights| flights.tighter));
    verdict.set(Told::FasterClubGain, gain(|flights| flights.faster));
}

/// What a centred strike would have given, here and in standard air.
pub(crate) fn tell_loss(mixture: &Mixture<'_>, weighed: &Weighed, verdict: &mut ShotVerdict) {
    let (actual, centred) = (mixture.place(ALL_ACTUAL), mixture.place(CENTRED));
    let (loss, sd) = weighed.loss;
    verdict.set(Told::CentredCarry, actual.carry + loss);
    verdict.set(Told::CentredLateral, actual.lateral + weighed.sideways);
    verdict.set(Told::CarryLostToStrike, loss);
    verdict.set(Told::CarryLostToStrikeSd, sd);
    // In standard air the loss is that of the most probable shot, moved as far as the posterior moves it here.
    let standard = |coalition: usize| mixture.mean(|possibility| possibility.standard(coalition).carry);
    let actual_std = standard(ALL_ACTUAL);
    let loss_std = standard(CENTRED) - actual_std + loss - (centred.carry - actual.carry);
    verdict.set(Told::CarryLostToStrikeStd, loss_std);
    verdict.set(Told::CentredCarryStd, actual_std + loss_std);
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
