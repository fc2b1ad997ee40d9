//! The posterior of one shot by drawing it: every draw strikes the ball for each counterfactual, and flies it or reads its
//! landing off the surface. Slow; flown draws are the measure of the usual method, read ones serve where that does not hold.

use crate::Settings;
use crate::case::{ALL_ACTUAL, BOTH, CENTRED, Case, Flights, INTENDED, NONE_ACTUAL, keeps_rest};
use crate::decide::{Bounds, Cause};
use crate::landing::Place;
use crate::model::LAUNCH;
use crate::moments::Moments;
use crate::normals::NormalDraws;
use crate::surface::Surface;
use crate::unknowns::{COUNT, Unknowns, keep_possible};
use crate::weigh::Weighed;

/// Weighs a shot by drawing it; without a surface every draw is flown. `None` where no draw is a clean contact.
pub(crate) fn draw_thoroughly(
    case: &Case<'_>,
    flights: &Flights,
    surface: Option<&Surface>,
    settings: &Settings,
    missed: bool,
    draws: &NormalDraws,
) -> Option<Weighed> {
    let land = |coalition: usize, launch: &[f64; LAUNCH]| -> Place {
        match surface {
            Some(surface) => case.near(surface, flights, coalition, launch),
            None => case.air.fly(launch),
        }
    };

    let mut loss = Moments::default();
    let mut sideways = Moments::default();
    let mut causes = [0usize; Cause::ALL.len()];
    let factor = case.found.factor()?;
    for normals in draws.iter() {
        let mut unknowns: Unknowns = case.found.mode;
        for row in 0..COUNT {
            for column in 0..COUNT {
                unknowns[row] += factor[(row, column)] * normals[column];
            }
        }
        keep_possible(&mut unknowns);
        let Some(model) = case.model.launch(&unknowns) else { continue };
        let error = case.found.model_error(&unknowns, &model, &normals[COUNT..]);
        let place = |coalition: usize| -> Option<Place> {
            let mut launch = case.model.launch(&case.switched(&unknowns, coalition))?;
            if keeps_rest(coalition) {
                for quantity in 0..LAUNCH {
                    launch[quantity] += error[quantity];
                }
            }
            Some(case.rest.applied(land(coalition, &launch), keeps_rest(coalition)))
        };
        let (Some(actual), Some(centred)) = (place(ALL_ACTUAL), place(CENTRED)) else { continue };
        loss.add(centred.carry - actual.carry);
        sideways.add(centred.lateral - actual.lateral);
        if missed
            && let (Some(intended), Some(both), Some(reference)) = (place(INTENDED), place(BOTH), place(NONE_ACTUAL))
        {
            let bounds = Bounds::new(reference, case.aim, settings, case.model.head.kind);
            let cause = Cause::of(bounds.good(centred), bounds.good(intended), bounds.good(both));
            causes[cause as usize] += 1;
        }
    }
    let drawn: usize = causes.iter().sum();
    if !loss.mean().is_finite() || loss.is_empty() || (missed && drawn == 0) {
        return None;
    }
    let shares = causes.map(|count| count as f64 / drawn.max(1) as f64);
    Some(Weighed { loss: (loss.mean(), loss.sd()), sideways: sideways.mean(), causes: missed.then_some(shares) })
}
