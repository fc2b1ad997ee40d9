//! The posterior of one shot by drawing it: every draw strikes the ball for each counterfactual, and flies it or reads its
//! landing off the surface. Slow; flown draws are the measure of the usual method, read ones serve where that does not hold.

use impact::{Lanes, Scalar};

use crate::Settings;
use crate::case::{ALL_ACTUAL, BOTH, CENTRED, Case, Flights, INTENDED, NONE_ACTUAL, keeps_rest};
use crate::decide::{Bounds, Cause};
use crate::landing::Place;
use crate::model::LAUNCH;
use crate::moments::Moments;
use crate::normals::NormalDraws;
use crate::surface::Surface;
use crate::unknowns::{BAY, COUNT, Unknowns, keep_possible};
use crate::weigh::Weighed;

/// The counterfactuals that a miss is judged by; the first two tell the carry lost.
const COUNTERFACTUALS: [usize; 5] = [ALL_ACTUAL, CENTRED, INTENDED, BOTH, NONE_ACTUAL];
/// Draws of the least probable strike.
const FEWEST: f64 = 64.0;
/// Draws that are struck side by side.
const ABREAST: usize = 8;

/// Unknowns and normal values of the model's error.
type Drawn = (Unknowns, [f64; LAUNCH]);

/// Weighs a shot by drawing it; without a surface every draw is flown. `None` where no draw is a clean contact.
pub(crate) fn draw_thoroughly(
    case: &Case<'_>,
    flights: &Flights,
    surface: Option<&Surface>,
    settings: &Settings,
    missed: bool,
    draws: &NormalDraws,
    share: f64,
) -> Option<Weighed> {
    let factor = case.found.factor()?;
    let drawn = |normals: &[f64]| -> Drawn {
        let mut unknowns: Unknowns = case.found.mode;
        for row in 0..COUNT {
            for column in 0..COUNT {
                unknowns[row] += factor[(row, column)] * normals[column];
            }
        }
        keep_possible(&mut unknowns);
        (unknowns, std::array::from_fn(|quantity| normals[COUNT + quantity]))
    };
    let counterfactuals = if missed { &COUNTERFACTUALS[..] } else { &COUNTERFACTUALS[..2] };
    let mut tally = Tally { loss: Moments::default(), sideways: Moments::default(), causes: [0; Cause::ALL.len()] };
    let land = Lander { case, flights, surface };
    // One of many possible strikes is drawn as often as it is probable.
    let count = (share * draws.iter().count() as f64).ceil().max(FEWEST) as usize;
    let all: Vec<Drawn> = draws.iter().take(count).map(drawn).collect();
    for abreast in all.chunks(ABREAST) {
        let side_by_side = surface.filter(|_| abreast.len() == ABREAST).and_then(|surface| {
            let unknowns: [Lanes<ABREAST>; COUNT] =
                std::array::from_fn(|position| Lanes(std::array::from_fn(|lane| abreast[lane].0[position])));
            let errors: [Lanes<ABREAST>; LAUNCH] =
                std::array::from_fn(|quantity| Lanes(std::array::from_fn(|lane| abreast[lane].1[quantity])));
            land.abreast(&unknowns, &errors, counterfactuals, surface)
        });
        if let Some(places) = side_by_side {
            for lane in 0..ABREAST {
                tally.add(
                    case,
                    settings,
                    &places.map(|(carry, lateral)| Place { carry: carry.0[lane], lateral: lateral.0[lane] }),
                    missed,
                );
            }
            continue;
        }
        // In some lane head and ball do not meet, or every draw is flown: one by one.
        for (unknowns, errors) in abreast {
            if let Some(places) = land.one(unknowns, errors, counterfactuals) {
                tally.add(case, settings, &places, missed);
            }
        }
    }
    let drawn: usize = tally.causes.iter().sum();
    if !tally.loss.mean().is_finite() || tally.loss.is_empty() || (missed && drawn == 0) {
        return None;
    }
    let shares = tally.causes.map(|count| count as f64 / drawn.max(1) as f64);
    Some(Weighed {
        loss: (tally.loss.mean(), tally.loss.sd()),
        sideways: tally.sideways.mean(),
        causes: missed.then_some(shares),
    })
}

struct Tally {
    loss: Moments,
    sideways: Moments,
    causes: [usize; Cause::ALL.len()],
}

impl Tally {
    fn add(&mut self, case: &Case<'_>, settings: &Settings, places: &[Place; 5], missed: bool) {
        let [actual, centred, intended, both, reference] = *places;
        self.loss.add(centred.carry - actual.carry);
        self.sideways.add(centred.lateral - actual.lateral);
        if missed {
            let bounds = Bounds::new(reference, case.aim, settings, case.model.head.kind);
            let cause = Cause::of(bounds.good(centred), bounds.good(intended), bounds.good(both));
            self.causes[cause as usize] += 1;
        }
    }
}

struct Lander<'a> {
    case: &'a Case<'a>,
    flights: &'a Flights,
    surface: Option<&'a Surface>,
}

impl Lander<'_> {
    /// The launch of a counterfactual for drawn unknowns and errors.
    fn launch<S: Scalar>(&self, unknowns: &[S; COUNT], error: &[S; LAUNCH], coalition: usize) -> Option<[S; LAUNCH]> {
        let mut launch = self.case.model.launch(&self.case.switched(unknowns, coalition))?;
        if keeps_rest(coalition) {
            for quantity in 0..LAUNCH {
                launch[quantity] = launch[quantity] + error[quantity];
            }
        }
        Some(launch)
    }

    fn error<S: Scalar>(&self, unknowns: &[S; COUNT], draws: &[S; LAUNCH]) -> Option<[S; LAUNCH]> {
        let model = self.case.model.launch(unknowns)?;
        Some(self.case.found.model_error(unknowns[BAY], &model, draws))
    }

    fn abreast<S: Scalar>(
        &self,
        unknowns: &[S; COUNT],
        draws: &[S; LAUNCH],
        coalitions: &[usize],
        surface: &Surface,
    ) -> Option<[(S, S); 5]> {
        let error = self.error(unknowns, draws)?;
        let mut places = [(S::constant(0.0), S::constant(0.0)); 5];
        for (place, coalition) in places.iter_mut().zip(coalitions) {
            let there = surface.at(*coalition, &self.launch(unknowns, &error, *coalition)?);
            let (centre, flown) = &self.flights.flown[*coalition];
            let here = surface.at(*coalition, centre);
            let rest = self.case.rest.applied(*flown, keeps_rest(*coalition));
            let ratio = self.case.rest.ratio;
            *place = ((there.0 - here.0) * ratio + rest.carry, (there.1 - here.1) * ratio + rest.lateral);
        }
        Some(places)
    }

    fn one(&self, unknowns: &Unknowns, draws: &[f64; LAUNCH], coalitions: &[usize]) -> Option<[Place; 5]> {
        if let Some(surface) = self.surface {
            let places = self.abreast(unknowns, draws, coalitions, surface)?;
            return Some(places.map(|(carry, lateral)| Place { carry, lateral }));
        }
        let error = self.error(unknowns, draws)?;
        let mut places = [Place::default(); 5];
        for (place, coalition) in places.iter_mut().zip(coalitions) {
            let flown = self.case.air.fly(&self.launch(unknowns, &error, *coalition)?);
            *place = self.case.rest.applied(flown, keeps_rest(*coalition));
        }
        Some(places)
    }
}
