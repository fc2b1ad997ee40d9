//! Numbers of a shot that several strikes may stand behind: mean and deviation over all of them.

use crate::case::{ALL_ACTUAL, CENTRED, Case, Flights, NONE_ACTUAL, keeps_rest};
use crate::landing::Place;
use crate::posterior::Reconstruction;
use crate::surface::Surface;
use crate::weigh::Weighed;

/// One of the shots that may have happened, flown.
pub(crate) struct Possibility<'a> {
    /// Probability that it was this one.
    pub share: f64,
    pub case: Case<'a>,
    pub flights: Flights,
    pub surface: Surface,
    standard: [Place; IN_STANDARD_AIR.len()],
}

impl<'a> Possibility<'a> {
    /// Flies what is missing around the shot, and in standard air.
    pub fn new(share: f64, case: Case<'a>, flights: Flights, missed: bool) -> Possibility<'a> {
        let surface = Surface::around(&case.air, &flights, missed);
        let launches = IN_STANDARD_AIR.map(|coalition| flights.flown[coalition].0);
        let mut standard = [Place::default(); IN_STANDARD_AIR.len()];
        case.air.standard().fly_all(&launches, &mut standard);
        for (place, coalition) in standard.iter_mut().zip(IN_STANDARD_AIR) {
            *place = case.rest.applied(*place, keeps_rest(coalition));
        }
        Possibility { share, case, flights, surface, standard }
    }

    /// Where a coalition lands.
    pub fn place(&self, coalition: usize) -> Place {
        self.flights.place(&self.case, coalition)
    }

    /// Where one of [`IN_STANDARD_AIR`] lands in standard air.
    pub fn standard(&self, coalition: usize) -> Place {
        let number = IN_STANDARD_AIR.iter().position(|flown| *flown == coalition);
        number.map_or(Place::default(), |number| self.standard[number])
    }
}

/// The coalitions that are flown in standard air too.
const IN_STANDARD_AIR: [usize; 3] = [ALL_ACTUAL, CENTRED, NONE_ACTUAL];

/// All possibilities of one shot, the most probable first.
pub(crate) struct Mixture<'a> {
    pub all: Vec<Possibility<'a>>,
    /// The most probable strike with the spread about it, as if nothing else explained the launch.
    pub best: Reconstruction,
}

impl<'a> Mixture<'a> {
    /// The most probable one: where a number is the same for all, or needs one shot to be stated of.
    pub fn first(&self) -> &Possibility<'a> {
        &self.all[0]
    }

    /// Mean over the possibilities.
    pub fn mean(&self, number: impl Fn(&Possibility<'a>) -> f64) -> f64 {
        let mut mean = 0.0;
        for possibility in &self.all {
            mean += possibility.share * number(possibility);
        }
        mean
    }

    /// Mean and deviation over the possibilities of a number that each gives with mean and deviation.
    pub fn spread(&self, number: impl Fn(&Possibility<'a>) -> (f64, f64)) -> (f64, f64) {
        let mean = self.mean(|possibility| number(possibility).0);
        let variance = self.mean(|possibility| {
            let (value, deviation) = number(possibility);
            deviation * deviation + (value - mean).powi(2)
        });
        (mean, variance.sqrt())
    }

    /// Mean landing of a coalition.
    pub fn place(&self, coalition: usize) -> Place {
        Place {
            carry: self.mean(|possibility| possibility.place(coalition).carry),
            lateral: self.mean(|possibility| possibility.place(coalition).lateral),
        }
    }

    /// Mean and deviation of one unknown.
    pub fn unknown(&self, position: usize) -> (f64, f64) {
        self.spread(|possibility| (possibility.case.found.mode[position], possibility.case.found.sd(position)))
    }

    /// The word that has the larger part of the probability; `None` where none has.
    pub fn word(&self, word: impl Fn(&Possibility<'a>) -> &'static str) -> Option<&'static str> {
        let said: Vec<&'static str> = self.all.iter().map(word).collect();
        let share = |one: &str| -> f64 {
            self.all
                .iter()
                .zip(&said)
                .filter(|(_, other)| **other == one)
                .map(|(possibility, _)| possibility.share)
                .sum()
        };
        said.iter().copied().find(|one| share(one) > 0.5)
    }

    /// What each possibility was weighed to, taken together. `None` where one could not be weighed.
    pub fn weighed(&self, weigh: impl Fn(&Possibility<'a>) -> Option<Weighed>) -> Option<Weighed> {
        let mut each = Vec::with_capacity(self.all.len());
        for possibility in &self.all {
            each.push((possibility.share, weigh(possibility)?));
        }
        let mean = |number: &dyn Fn(&Weighed) -> f64| each.iter().map(|(share, weighed)| share * number(weighed)).sum();
        let loss: f64 = mean(&|weighed| weighed.loss.0);
        let variance: f64 = mean(&|weighed| weighed.loss.1.powi(2) + (weighed.loss.0 - loss).powi(2));
        let causes = each[0]
            .1
            .causes
            .map(|first| std::array::from_fn(|cause| mean(&|weighed| weighed.causes.unwrap_or(first)[cause])));
        Some(Weighed { loss: (loss, variance.sqrt()), sideways: mean(&|weighed| weighed.sideways), causes })
    }
}
