//! How landings move with the unknowns: exact slopes by all of them, exact curvature by the two of the strike.
//!
//! A posterior is narrow in everything but the strike, and the strike is what speed and gear effect are curved in, so this much
//! of a landing is enough to tell how it spreads.

use impact::{Dual, Scalar};

use crate::case::{ALL_ACTUAL, Case, Flights, is_switched_off};
use crate::landing::Place;
use crate::model::{AZIMUTH, LAUNCH};
use crate::split::Group;
use crate::surface::Surface;
use crate::unknowns::{BAY, COUNT, TOE, UP, Unknowns};

/// A number near the most probable shot.
#[derive(Debug, Clone, Copy)]
pub struct Expanded {
    /// At the mode.
    pub value: f64,
    /// By the unknowns.
    pub slopes: Unknowns,
    /// By one standard deviation of the model's error in each launch quantity.
    pub noise: [f64; LAUNCH],
    /// Second derivatives that come from the collision: by toe and by up, each with every unknown.
    pub curvature: [Unknowns; 2],
    /// Second derivatives by the launch, which come from the flight.
    pub bend: [[f64; LAUNCH]; LAUNCH],
}

impl Expanded {
    /// Posterior deviation, by the slopes.
    pub fn sd(&self, case: &Case<'_>) -> f64 {
        let spread = case.found.spread(&self.slopes);
        let noise: f64 = self.noise.iter().map(|noise| noise * noise).sum();
        (spread.with(&spread).max(0.0) + noise).sqrt()
    }
}

/// Carry of a landing, and its distance off the aim.
#[derive(Debug, Clone, Copy)]
pub struct ExpandedPlace {
    pub carry: Expanded,
    pub off: Expanded,
    /// The launch by the unknowns, and by the model's error.
    pub launch_slopes: [Unknowns; LAUNCH],
    pub launch_noise: [f64; LAUNCH],
}

/// Value and slopes, and the slopes' own slopes for toe and up.
type Curved = Dual<2, Dual<COUNT>>;

/// Posterior deviations of the actual carry and of its distance off the aim.
pub fn spread_of_actual(case: &Case<'_>, surface: &Surface, flights: &Flights) -> Option<(f64, f64)> {
    let (launch, flown) = &flights.flown[ALL_ACTUAL];
    let place = Expander::new(case, surface)?.expand(ALL_ACTUAL, launch, *flown)?;
    Some((place.carry.sd(case), place.off.sd(case)))
}

/// What expansions of one shot share.
pub struct Expander<'a> {
    case: &'a Case<'a>,
    surface: &'a Surface,
    /// The launch as it happened, curved.
    curved: [Curved; LAUNCH],
}

impl<'a> Expander<'a> {
    pub fn new(case: &'a Case<'a>, surface: &'a Surface) -> Option<Expander<'a>> {
        let curved = curved_launch(case, ALL_ACTUAL)?;
        Some(Expander { case, surface, curved })
    }

    /// The landing of a coalition whose launch was flown to `flown`.
    pub fn expand(&self, coalition: usize, launch: &[f64; LAUNCH], flown: Place) -> Option<ExpandedPlace> {
        let found = &self.case.found;
        let with_rest = coalition & (1 << Group::Rest as usize) != 0;
        let mut curved = self.own_curved(coalition)?;
        let mut slopes = curved.map(|quantity| quantity.value.slopes);
        if with_rest {
            for quantity in 0..LAUNCH {
                // The model's error is what the reading leaves unexplained: it shrinks where the model explains more.
                let share = found.residual[quantity].share;
                for position in 0..COUNT {
                    slopes[quantity][position] -= share * found.model_launch[quantity].slopes[position];
                }
                if quantity == AZIMUTH {
                    slopes[quantity][BAY] -= share;
                }
                curved[quantity] = curved[quantity] - self.curved[quantity] * share;
            }
        }
        let launch_noise = found.residual.map(|residual| if with_rest { residual.sd } else { 0.0 });

        let bent: [Dual<LAUNCH, Dual<LAUNCH>>; LAUNCH] =
            std::array::from_fn(|index| Dual::input(Dual::input(launch[index], index), index));
        let (carry, lateral) = self.surface.at(coalition, &bent);
        let ratio = self.case.rest.ratio;
        let lean = self.case.aim_slope();
        let place = self.case.rest.applied(flown, with_rest);
        let number = |value: f64, told: Dual<LAUNCH, Dual<LAUNCH>>| {
            let mut expanded = Expanded {
                value,
                slopes: [0.0; COUNT],
                noise: [0.0; LAUNCH],
                curvature: [[0.0; COUNT]; 2],
                bend: told.slopes.map(|slope| slope.slopes.map(|twice| twice * ratio)),
            };
            for quantity in 0..LAUNCH {
                let weight = ratio * told.slopes[quantity].value;
                for position in 0..COUNT {
                    expanded.slopes[position] += weight * slopes[quantity][position];
                }
                expanded.noise[quantity] = weight * launch_noise[quantity];
                for (axis, twice) in curved[quantity].slopes.into_iter().enumerate() {
                    for position in 0..COUNT {
                        expanded.curvature[axis][position] += weight * twice.slopes[position];
                    }
                }
            }
            expanded
        };
        Some(ExpandedPlace {
            carry: number(place.carry, carry),
            off: number(place.lateral - lean * place.carry, lateral - carry * lean),
            launch_slopes: slopes,
            launch_noise,
        })
    }

    fn own_curved(&self, coalition: usize) -> Option<[Curved; LAUNCH]> {
        if coalition == ALL_ACTUAL {
            return Some(self.curved);
        }
        if coalition & (1 << Group::Strike as usize) != 0 {
            return curved_launch(self.case, coalition);
        }
        let mut sloped = self.case.model.launch_with_slopes(&self.case.switched(&self.case.found.mode, coalition))?;
        for quantity in &mut sloped {
            for position in 0..COUNT {
                if is_switched_off(position, coalition) {
                    quantity.slopes[position] = 0.0;
                }
            }
        }
        Some(sloped.map(|value| Dual::moving(value, [Dual::constant(0.0); 2])))
    }
}

/// The unknowns of a coalition: what it sets to the reference depends on nothing.
fn variables(case: &Case<'_>, coalition: usize) -> [Dual<COUNT>; COUNT] {
    let switched = case.switched(&case.found.mode, coalition);
    std::array::from_fn(|position| {
        if is_switched_off(position, coalition) {
            Dual::constant(switched[position])
        } else {
            Dual::input(switched[position], position)
        }
    })
}

fn curved_launch(case: &Case<'_>, coalition: usize) -> Option<[Curved; LAUNCH]> {
    let mut curved = variables(case, coalition).map(|value| Dual::moving(value, [Dual::constant(0.0); 2]));
    curved[TOE].slopes[0] = Dual::constant(1.0);
    curved[UP].slopes[1] = Dual::constant(1.0);
    case.model.launch(&curved)
}
