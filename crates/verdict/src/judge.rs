//! One shot from evidence to verdict.

use impact::HeadProfile;

use crate::case::{ALL_ACTUAL, Case, NONE_ACTUAL};
use crate::curve::curve_reading;
use crate::decide::{Bounds, strike_zone};
use crate::landing::Air;
use crate::model::{LAUNCH, Model};
use crate::normals::NormalDraws;
use crate::prior::Prior;
use crate::reconstruct::{observed_launch, reconstruct};
use crate::rest::FlightRest;
use crate::split::{COALITIONS, GROUPS, shapley};
use crate::unknowns::{COUNT, FACE, HeadKnowledge, PATH, Reference, SPEED, TOE, UP};
use crate::{Evidence, Known, Settings, ShotVerdict, Told};

/// Above this deviation of an inferred strike the launch has told little more than the prior did.
const STRIKE_UNKNOWN_ABOVE_MM: f64 = 9.0;
/// Above this sum of squared standardised residuals (5 observations; chi-squared, 0.9999 quantile 25.7) no clean contact of
/// this head explains the launch.
const MISFIT_ABOVE: f64 = 26.0;

const LATERAL: [Told; GROUPS] = [Told::LateralStrike, Told::LateralDelivery, Told::LateralSpeed, Told::LateralRest];
const CARRY: [Told; GROUPS] = [Told::CarryStrike, Told::CarryDelivery, Told::CarrySpeed, Told::CarryRest];

/// Judges shots under one site's settings. It holds a fixed table of normal draws, so the same evidence always gives the same
/// verdict.
#[derive(Debug, Clone)]
pub struct Judge {
    pub(crate) settings: Settings,
    pub(crate) draws: NormalDraws,
}

impl Judge {
    /// A judge with the usual number of posterior draws.
    pub fn new(settings: Settings) -> Judge {
        Judge::with_draws(settings, 1024)
    }

    /// A judge with a chosen number of posterior draws.
    pub fn with_draws(settings: Settings, draws: usize) -> Judge {
        Judge { settings, draws: NormalDraws::new(COUNT + LAUNCH, draws, 0x005A_17ED_D2A5) }
    }

    /// Judges one shot. A verdict always comes back; what cannot be told is missing from it and `reason` says why.
    pub fn judge(&self, evidence: &Evidence, head: &HeadProfile) -> ShotVerdict {
        let model = Model::new(evidence, head);
        let mut verdict = ShotVerdict::default();
        let observed = observed_launch(evidence);
        if observed[0].is_none() || observed[1].is_none() || observed[2].is_none() {
            verdict.reason = Some("ball speed and start direction were not measured".into());
            return verdict;
        }
        let known = HeadKnowledge::of(evidence, &model);
        let reference = Reference::of(evidence, &model, &known);
        let prior = Prior::new(evidence, &reference, &known);
        let Some(found) = reconstruct(&observed, &prior, &model, evidence) else {
            verdict.reason = Some("no clean contact gives these readings".into());
            return verdict;
        };
        let misfit = found.misfit;
        let air = Air::of(evidence);
        let aim = evidence.get(Known::Aim).unwrap_or(0.0);
        let rest = FlightRest::of(evidence, air.fly(&found.launch()));
        let case = Case { model, reference, found, air, aim, rest };
        self.describe(&case, &prior, &mut verdict);
        if misfit > MISFIT_ABOVE {
            Judge::refuse(&mut verdict, "the launch fits no clean contact with this head");
            return verdict;
        }
        if !prior.strike.is_measured() {
            if !head.reveals_strike {
                Judge::refuse(&mut verdict, "this club hardly reveals the strike, and the strike was not measured");
                return verdict;
            }
            if observed[4].is_none() {
                Judge::refuse(&mut verdict, "no spin axis measured: too little to infer the strike");
                return verdict;
            }
            if case.found.sd(TOE) > STRIKE_UNKNOWN_ABOVE_MM {
                let why = if prior.direction_measured() {
                    "too little was measured to infer the strike"
                } else {
                    "no path or face measured: too little to infer the strike"
                };
                Judge::refuse(&mut verdict, why);
                return verdict;
            }
        }
        Judge::split(&case, &mut verdict);
        self.weigh(&case, &prior, &mut verdict);
        verdict
    }

    /// Leaves everything that rests on the strike untold.
    pub(crate) fn refuse(verdict: &mut ShotVerdict, why: &str) {
        if verdict.miss.as_deref().is_some_and(|miss| miss != "none") {
            verdict.cause = Some("cannot tell".into());
        }
        verdict.strike_zone = None;
        verdict.reason = Some(why.into());
    }

    /// What is told of every shot: where it went, what was meant, whether it missed, the most probable strike and delivery.
    fn describe(&self, case: &Case<'_>, prior: &Prior, verdict: &mut ShotVerdict) {
        let actual = case.place(ALL_ACTUAL);
        let reference = case.place(NONE_ACTUAL);
        let standard = case.air.standard();
        let actual_std = case.place_in(&standard, ALL_ACTUAL);
        let reference_std = case.place_in(&standard, NONE_ACTUAL);
        verdict.set(Told::CarryStd, actual_std.carry);
        verdict.set(Told::LateralStd, actual_std.lateral);
        verdict.set(Told::ReferenceCarryStd, reference_std.carry);
        let mode = &case.found.mode;
        verdict.set(Told::Carry, actual.carry);
        verdict.set(Told::Lateral, actual.lateral);
        verdict.set(Told::ReferenceCarry, reference.carry);
        verdict.set(Told::ReferenceLateral, reference.lateral);
        let bounds = Bounds::new(reference, case.aim, &self.settings, case.model.head.kind);
        verdict.miss = Some(bounds.miss(actual).into());
        verdict.strike_source = Some(prior.strike.word().into());
        if prior.strike.is_measured() || case.model.head.reveals_strike {
            verdict.set(Told::StrikeToe, mode[TOE]);
            verdict.set(Told::StrikeUp, mode[UP]);
            verdict.set(Told::StrikeToeSd, case.found.sd(TOE));
            verdict.set(Told::StrikeUpSd, case.found.sd(UP));
            verdict.strike_zone = Some(strike_zone(mode[TOE], mode[UP]).into());
            verdict.set(Told::FaceToPath, mode[FACE] - mode[PATH]);
        }
        if let Some(reading) = curve_reading(&case.model, mode, &case.found.launch()) {
            verdict.set(Told::CurveReading, reading);
        }
    }

    /// The order-free split of actual minus reference, every coalition flown.
    fn split(case: &Case<'_>, verdict: &mut ShotVerdict) {
        let mut carries = [0.0; COALITIONS];
        let mut laterals = [0.0; COALITIONS];
        for coalition in 0..COALITIONS {
            let place = case.place(coalition);
            carries[coalition] = place.carry;
            laterals[coalition] = place.lateral;
        }
        for (names, parts) in [(LATERAL, shapley(&laterals)), (CARRY, shapley(&carries))] {
            for (name, part) in names.into_iter().zip(parts) {
                verdict.set(name, part);
            }
        }
        let actual = carries[ALL_ACTUAL];
        let mut tighter = case.found.mode;
        tighter[TOE] *= 0.75;
        tighter[UP] *= 0.75;
        verdict.set(Told::TighterStrikeGain, case.place_of(&tighter).carry - actual);
        let mut faster = case.found.mode;
        faster[SPEED] += 1.0;
        verdict.set(Told::FasterClubGain, case.place_of(&faster).carry - actual);
    }
}
