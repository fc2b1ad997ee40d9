//! Posterior draws of one shot: what a centred strike would have given, and what would have mended a miss.

use crate::case::{ALL_ACTUAL, BOTH, CENTRED, Case, INTENDED, NONE_ACTUAL};
use crate::decide::{Bounds, Cause};
use crate::judge::Judge;
use crate::landing::{NearbyLandings, Place};
use crate::model::LAUNCH;
use crate::moments::Moments;
use crate::prior::Prior;
use crate::split::Group;
use crate::unknowns::{COUNT, FACE, PATH, Unknowns, keep_possible};
use crate::{ShotVerdict, Told};

/// Where the share of each cause is told, in the order of [`Cause::ALL`].
const PROBABILITIES: [Told; Cause::ALL.len()] = [
    Told::ProbabilityStrike,
    Told::ProbabilityDelivery,
    Told::ProbabilityEither,
    Told::ProbabilityBothNeeded,
    Told::ProbabilityNeither,
];

impl Judge {
    /// Posterior draws: what a centred strike would have given, how sure that is, and what would have mended a miss.
    pub(crate) fn weigh(&self, case: &Case<'_>, prior: &Prior, verdict: &mut ShotVerdict) {
        let missed = verdict.miss.as_deref().is_some_and(|miss| miss != "none");
        let around = |coalition| NearbyLandings::around(&case.air, &case.launch(coalition));
        let actual_near = around(ALL_ACTUAL);
        let centred_near = around(CENTRED);
        let miss_near = missed.then(|| (around(INTENDED), around(BOTH), around(NONE_ACTUAL)));

        let mut loss = Moments::default();
        let mut sideways = Moments::default();
        let mut reading_differs = 0usize;
        let mut causes = [0usize; Cause::ALL.len()];
        let mut counted = 0usize;
        let reading = verdict.get(Told::CurveReading);
        // A mean and a deviation need fewer draws than the shares of five causes.
        let every = if missed { 1 } else { 4 };
        let Some(factor) = case.found.factor() else { return };
        for normals in self.draws.iter().step_by(every) {
            let mut unknowns: Unknowns = case.found.mode;
            for row in 0..COUNT {
                for column in 0..COUNT {
                    unknowns[row] += factor[(row, column)] * normals[column];
                }
            }
            keep_possible(&mut unknowns);
            let Some(model) = case.model.launch(&unknowns) else { continue };
            let error: [f64; LAUNCH] = case.found.model_error(&unknowns, &model, &normals[COUNT..]);
            let place = |coalition: usize, near: &NearbyLandings| -> Option<Place> {
                let mut launch = case.model.launch(&case.switched(&unknowns, coalition))?;
                let with_rest = coalition & (1 << Group::Rest as usize) != 0;
                if with_rest {
                    for quantity in 0..LAUNCH {
                        launch[quantity] += error[quantity];
                    }
                }
                Some(case.rest.applied(near.at(&launch), with_rest))
            };
            let (Some(actual), Some(centred)) = (place(ALL_ACTUAL, &actual_near), place(CENTRED, &centred_near)) else {
                continue;
            };
            counted += 1;
            loss.add(centred.carry - actual.carry);
            sideways.add(centred.lateral - actual.lateral);
            if let Some(reading) = reading {
                let difference = (unknowns[FACE] - unknowns[PATH] - reading).abs();
                let other_sign = (unknowns[FACE] - unknowns[PATH]) * reading < 0.0;
                reading_differs += usize::from(difference >= self.settings.curve_acted_on_deg || other_sign);
            }
            if let Some((intended_near, both_near, reference_near)) = &miss_near
                && let (Some(intended), Some(both), Some(reference)) =
                    (place(INTENDED, intended_near), place(BOTH, both_near), place(NONE_ACTUAL, reference_near))
            {
                let bounds = Bounds::new(reference, case.aim, &self.settings, case.model.head.kind);
                let cause = Cause::of(bounds.good(centred), bounds.good(intended), bounds.good(both));
                causes[cause as usize] += 1;
            }
        }
        if counted == 0 {
            Judge::refuse(verdict, "no clean contact gives these readings");
            return;
        }
        let actual = (verdict.get(Told::Carry).unwrap_or(0.0), verdict.get(Told::Lateral).unwrap_or(0.0));
        verdict.set(Told::CentredCarry, actual.0 + loss.mean());
        verdict.set(Told::CentredLateral, actual.1 + sideways.mean());
        verdict.set(Told::CarryLostToStrike, loss.mean());
        verdict.set(Told::CarryLostToStrikeSd, loss.sd());
        // In standard air the loss is that of the most probable shot, moved as far as the posterior moves it here.
        let (here, standard) = (case.place(CENTRED).carry - case.place(ALL_ACTUAL).carry, case.air.standard());
        let there = case.place_in(&standard, CENTRED).carry - case.place_in(&standard, ALL_ACTUAL).carry;
        let standard_loss = there + loss.mean() - here;
        verdict.set(Told::CarryLostToStrikeStd, standard_loss);
        if let Some(carry) = verdict.get(Told::CarryStd) {
            verdict.set(Told::CentredCarryStd, carry + standard_loss);
        }
        if let Some(reading) = reading {
            let differs = reading_differs as f64 / counted as f64;
            let acted_on = reading.abs() >= self.settings.curve_acted_on_deg;
            verdict.set(Told::MisreadProbability, differs);
            verdict.misread = Some(acted_on && differs >= self.settings.misread_probability);
        }
        if missed {
            self.name_cause(&causes, prior, verdict);
        }
    }

    fn name_cause(&self, causes: &[usize; Cause::ALL.len()], prior: &Prior, verdict: &mut ShotVerdict) {
        let total: usize = causes.iter().sum();
        if total == 0 {
            Judge::refuse(verdict, "no clean contact gives these readings");
            return;
        }
        let mut largest = (Cause::Neither, -1.0);
        for cause in Cause::ALL {
            let share = causes[cause as usize] as f64 / total as f64;
            verdict.set(PROBABILITIES[cause as usize], share);
            if share > largest.1 {
                largest = (cause, share);
            }
        }
        verdict.set(Told::CauseProbability, largest.1);
        if largest.1 >= self.settings.certain_enough {
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
}
