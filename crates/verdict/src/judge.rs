//! One shot from evidence to verdict.

use flight::BallProfile;
use impact::HeadProfile;

use crate::case::{ALL_ACTUAL, Case, Flights, NONE_ACTUAL};
use crate::decide::Bounds;
use crate::landing::Air;
use crate::mixture::{Mixture, Possibility};
use crate::model::{LAUNCH, Model};
use crate::normals::NormalDraws;
use crate::posterior::Reconstruction;
use crate::prior::Prior;
use crate::readings::{ObservedLaunch, observed_launch};
use crate::rest::FlightRest;
use crate::sobol::EvenNormals;
use crate::strikes::{Strikes, reconstruct};
use crate::tell::{tell_cause, tell_landing, tell_loss, tell_parts, tell_strike};
use crate::thorough::draw_thoroughly;
use crate::unknowns::{COUNT, HeadKnowledge, Reference};
use crate::untold::{refuse, why_loss_is_untold, why_strike_is_untold};
use crate::weigh::{Weighed, weigh};
use crate::{Evidence, Known, Settings, ShotVerdict};

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
        let Some(Strikes { best, all }) = reconstruct(&observed, &prior, &model, evidence) else {
            verdict.reason = Some("no clean contact gives these readings".into());
            return verdict;
        };
        let air = Air::of(evidence, ball);
        let aim = evidence.get(Known::Aim).unwrap_or(0.0);
        let mut flown = Vec::with_capacity(all.len());
        for strike in all {
            let mut case =
                Case { model, reference, found: strike.found, air: air.clone(), aim, rest: FlightRest::NONE };
            let flights = Flights::of(&case);
            case.rest = FlightRest::of(evidence, flights.flown[ALL_ACTUAL].1);
            flown.push((strike.share, case, flights));
        }
        self.judge_flown(best, flown, evidence, &observed, &prior, &mut verdict);
        verdict
    }

    fn judge_flown(
        &self,
        best: Reconstruction,
        flown: Vec<(f64, Case<'_>, Flights)>,
        evidence: &Evidence,
        observed: &ObservedLaunch,
        prior: &Prior,
        verdict: &mut ShotVerdict,
    ) {
        // A miss of the most probable shot and of any other: each is asked what would have mended it.
        let missed = flown.iter().any(|(_, case, flights)| {
            let reference = flights.place(case, NONE_ACTUAL);
            let bounds = Bounds::new(reference, case.aim, &self.settings, case.model.head.kind);
            !bounds.good(flights.place(case, ALL_ACTUAL))
        });
        let all = flown.into_iter().map(|(share, case, flights)| Possibility::new(share, case, flights, missed));
        let mixture = Mixture { all: all.collect(), best };
        tell_strike(&mixture, prior, &self.settings, verdict);
        let landing_untold = tell_landing(&mixture, evidence, observed, prior, &self.settings, verdict);
        if let Some(why) = why_strike_is_untold(&mixture, observed, prior) {
            refuse(verdict, why);
            return;
        }
        let missed = missed && verdict.miss.as_deref().is_some_and(|miss| miss != "none");
        let Some(weighed) = mixture.weighed(|possibility| self.weighed(possibility, missed)) else {
            refuse(verdict, "no clean contact gives these readings");
            return;
        };
        let reference_carry = mixture.place(NONE_ACTUAL).carry;
        if let Some(why) = why_loss_is_untold(weighed.loss, reference_carry, &self.settings) {
            refuse(verdict, why);
            return;
        }
        tell_parts(&mixture, verdict);
        tell_loss(&mixture, &weighed, verdict);
        match landing_untold {
            Some(why) => verdict.reason = Some(why.into()),
            None => tell_cause(&weighed, prior, &self.settings, verdict),
        }
    }

    fn weighed(&self, possibility: &Possibility<'_>, missed: bool) -> Option<Weighed> {
        let Possibility { share, case, flights, surface, .. } = possibility;
        if let Some(even) = &self.even
            && let Some(weighed) = weigh(case, flights, surface, &self.settings, missed, even, *share)
        {
            return Some(weighed);
        }
        let surface = Some(surface).filter(|_| self.even.is_some());
        draw_thoroughly(case, flights, surface, &self.settings, missed, &self.draws, *share)
    }
}
