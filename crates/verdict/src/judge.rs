//! One shot from evidence to verdict.

use flight::BallProfile;
use impact::HeadProfile;

use crate::case::{ALL_ACTUAL, CENTRED, Case, Flights, NONE_ACTUAL};
use crate::decide::Bounds;
use crate::expand::spread_of_actual;
use crate::landing::Air;
use crate::model::{LAUNCH, Model};
use crate::normals::NormalDraws;
use crate::prior::Prior;
use crate::reconstruct::{ObservedLaunch, observed_launch, reconstruct};
use crate::rest::FlightRest;
use crate::sobol::EvenNormals;
use crate::surface::Surface;
use crate::tell::{tell_cause, tell_landing, tell_parts, tell_strike};
use crate::thorough::draw_thoroughly;
use crate::unknowns::{COUNT, HeadKnowledge, Reference};
use crate::untold::{refuse, why_loss_is_untold, why_strike_is_untold};
use crate::weigh::{Weighed, weigh};
use crate::{Evidence, Known, Settings, ShotVerdict, Told};

const SEED: u64 = 0x005A_17ED_D2A5;
/// Draws for shots that the usual method does not hold for.
const DRAWS_OF_HARD_SHOTS: usize = 4_096;

/// Judges shots under one site's settings. It holds fixed tables of normal values, so the same evidence always gives the same
/// verdict.
#[derive(Debug, Clone)]
pub struct Judge {
    pub(crate) settings: Settings,
    /// Missing where every shot is drawn thoroughly.
    even: Option<EvenNormals>,
    draws: NormalDraws,
}

impl Judge {
    /// A judge by the usual method.
    pub fn new(settings: Settings) -> Judge {
        let draws = NormalDraws::new(COUNT + LAUNCH, DRAWS_OF_HARD_SHOTS, SEED);
        Judge { settings, even: Some(EvenNormals::new()), draws }
    }

    /// A judge that draws every shot's posterior a chosen number of times, striking and flying the ball anew for every draw:
    /// slow, and the measure of the usual method.
    pub fn with_draws(settings: Settings, draws: usize) -> Judge {
        Judge { settings, even: None, draws: NormalDraws::new(COUNT + LAUNCH, draws, SEED) }
    }

    /// Judges one shot. A verdict always comes back; what cannot be told is missing from it and `reason` says why.
    pub fn judge(&self, evidence: &Evidence, head: &HeadProfile) -> ShotVerdict {
        self.judge_with(evidence, head, &BallProfile::default())
    }

    /// Judges one shot of a ball of one's own; the evidence's scales come on top of it.
    pub fn judge_with(&self, evidence: &Evidence, head: &HeadProfile, ball: &BallProfile) -> ShotVerdict {
        let model = Model::new(evidence, head);
        let mut verdict = ShotVerdict::default();
        let observed = observed_launch(evidence);
        if observed[0].is_none() && evidence.measured(Known::ClubSpeed, Known::ClubSpeedSd).is_none() {
            verdict.reason = Some("neither ball speed nor club speed was measured".into());
            return verdict;
        }
        let known = HeadKnowledge::of(evidence, &model);
        let reference = Reference::of(evidence, &model, &known);
        let prior = Prior::new(evidence, &reference, &known);
        let Some(found) = reconstruct(&observed, &prior, &model, evidence) else {
            verdict.reason = Some("no clean contact gives these readings".into());
            return verdict;
        };
        let air = Air::of(evidence, ball);
        let aim = evidence.get(Known::Aim).unwrap_or(0.0);
        let mut case = Case { model, reference, found, air, aim, rest: FlightRest::NONE };
        let flights = Flights::of(&case);
        case.rest = FlightRest::of(evidence, flights.flown[ALL_ACTUAL].1);
        self.judge_case(&case, &flights, evidence, &observed, &prior, &mut verdict);
        verdict
    }

    fn judge_case(
        &self,
        case: &Case<'_>,
        flights: &Flights,
        evidence: &Evidence,
        observed: &ObservedLaunch,
        prior: &Prior,
        verdict: &mut ShotVerdict,
    ) {
        let actual = flights.place(case, ALL_ACTUAL);
        let reference = flights.place(case, NONE_ACTUAL);
        let bounds = Bounds::new(reference, case.aim, &self.settings, case.model.head.kind);
        let missed = !bounds.good(actual);
        let surface = Surface::around(&case.air, flights, missed);
        tell_strike(case, prior, &self.settings, verdict);
        let spread = spread_of_actual(case, &surface, flights);
        // A landing that was read is as uncertain as the reading.
        let read = |value, deviation, otherwise| evidence.measured(value, deviation).map_or(otherwise, |(_, sd)| sd);
        let spread = spread.map(|(carry, off)| {
            (read(Known::Carry, Known::CarrySd, carry), read(Known::Lateral, Known::LateralSd, off))
        });
        let landing_untold = tell_landing(case, flights, observed, prior, spread, &self.settings, verdict);
        if let Some(why) = why_strike_is_untold(case, observed, prior) {
            refuse(verdict, why);
            return;
        }
        let missed = missed && verdict.miss.is_some();
        let Some(weighed) = self.weighed(case, flights, &surface, missed) else {
            refuse(verdict, "no clean contact gives these readings");
            return;
        };
        let reference_carry = flights.place(case, NONE_ACTUAL).carry;
        if let Some(why) = why_loss_is_untold(weighed.loss, reference_carry, &self.settings) {
            refuse(verdict, why);
            return;
        }
        tell_parts(case, flights, verdict);
        tell_loss(case, flights, &weighed, verdict);
        match landing_untold {
            Some(why) => verdict.reason = Some(why.into()),
            None => tell_cause(&weighed, prior, &self.settings, verdict),
        }
    }

    fn weighed(&self, case: &Case<'_>, flights: &Flights, surface: &Surface, missed: bool) -> Option<Weighed> {
        if let Some(even) = &self.even
            && let Some(weighed) = weigh(case, flights, surface, &self.settings, missed, even)
        {
            return Some(weighed);
        }
        let surface = Some(surface).filter(|_| self.even.is_some());
        draw_thoroughly(case, flights, surface, &self.settings, missed, &self.draws)
    }
}

/// What a centred strike would have given, here and in standard air.
fn tell_loss(case: &Case<'_>, flights: &Flights, weighed: &Weighed, verdict: &mut ShotVerdict) {
    let (actual, centred) = (flights.place(case, ALL_ACTUAL), flights.place(case, CENTRED));
    let (loss, sd) = weighed.loss;
    verdict.set(Told::CentredCarry, actual.carry + loss);
    verdict.set(Told::CentredLateral, actual.lateral + weighed.sideways);
    verdict.set(Told::CarryLostToStrike, loss);
    verdict.set(Told::CarryLostToStrikeSd, sd);
    // In standard air the loss is that of the most probable shot, moved as far as the posterior moves it here.
    let standard = case.air.standard();
    let fly = |coalition: usize| case.rest.applied(standard.fly(&flights.flown[coalition].0), true).carry;
    let actual_std = fly(ALL_ACTUAL);
    let loss_std = fly(CENTRED) - actual_std + loss - (centred.carry - actual.carry);
    verdict.set(Told::CarryLostToStrikeStd, loss_std);
    verdict.set(Told::CentredCarryStd, actual_std + loss_std);
}
