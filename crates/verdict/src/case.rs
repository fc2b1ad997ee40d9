//! One reconstructed shot, and the shots it could have been: every mixture of actual and reference parts.

use impact::HeadProfile;

use crate::landing::{Air, Place};
use crate::model::{LAUNCH, launch_of};
use crate::reconstruct::Reconstruction;
use crate::split::Group;
use crate::unknowns::{ATTACK, FACE, LOFT, PATH, Reference, SPEED, TOE, UP, Unknowns};
use crate::{Evidence, Known};

/// Everything of one shot that the steps of a judgement share.
pub(crate) struct Case<'a> {
    pub head: &'a HeadProfile,
    pub hand: f64,
    pub reference: Reference,
    pub found: Reconstruction,
    pub air: Air,
    pub aim: f64,
    /// Measured minus modelled landing, where a landing was measured.
    pub flight_rest: Place,
}

const fn coalition(groups: &[Group]) -> usize {
    let mut bits = 0;
    let mut position = 0;
    while position < groups.len() {
        bits |= 1 << groups[position] as usize;
        position += 1;
    }
    bits
}

pub(crate) const ALL_ACTUAL: usize = coalition(&[Group::Strike, Group::Delivery, Group::Speed, Group::Rest]);
pub(crate) const NONE_ACTUAL: usize = 0;
/// Strike from the face centre, all else as it happened.
pub(crate) const CENTRED: usize = coalition(&[Group::Delivery, Group::Speed, Group::Rest]);
/// Delivery as intended, all else as it happened.
pub(crate) const INTENDED: usize = coalition(&[Group::Strike, Group::Speed, Group::Rest]);
/// Both.
pub(crate) const BOTH: usize = coalition(&[Group::Speed, Group::Rest]);

impl Case<'_> {
    /// The unknowns with every group outside the coalition set to the reference. The head stays the one it is.
    pub fn switched(&self, unknowns: &Unknowns, coalition: usize) -> Unknowns {
        let on = |group: Group| coalition & (1 << group as usize) != 0;
        let mut switched = *unknowns;
        if !on(Group::Strike) {
            switched[TOE] = 0.0;
            switched[UP] = 0.0;
        }
        if !on(Group::Delivery) {
            switched[PATH] = self.reference.path;
            switched[FACE] = self.reference.face;
            switched[ATTACK] = self.reference.attack;
            switched[LOFT] = self.reference.loft;
        }
        if !on(Group::Speed) {
            switched[SPEED] = self.reference.speed;
        }
        switched
    }

    /// The launch of a coalition at the most probable unknowns.
    pub fn launch(&self, coalition: usize) -> [f64; LAUNCH] {
        let switched = self.switched(&self.found.mode, coalition);
        // The reconstruction stands on a possible collision, and moving strike and delivery to usual values keeps it possible.
        let model = launch_of(self.head, &switched, self.hand).unwrap_or(self.found.model_launch);
        if coalition & (1 << Group::Rest as usize) == 0 { model } else { self.found.with_error(&model) }
    }

    pub fn place(&self, coalition: usize) -> Place {
        let place = self.air.fly(&self.launch(coalition));
        if coalition & (1 << Group::Rest as usize) == 0 { place } else { self.with_flight_rest(place) }
    }

    pub fn place_of(&self, unknowns: &Unknowns) -> Place {
        let model = launch_of(self.head, unknowns, self.hand).unwrap_or(self.found.model_launch);
        self.with_flight_rest(self.air.fly(&self.found.with_error(&model)))
    }

    pub fn with_flight_rest(&self, place: Place) -> Place {
        Place { carry: place.carry + self.flight_rest.carry, lateral: place.lateral + self.flight_rest.lateral }
    }
}

/// Measured minus modelled landing; nothing where the device did not measure it.
pub(crate) fn flight_rest(evidence: &Evidence, flown: Place) -> Place {
    let measured = |value, deviation| evidence.measured(value, deviation).map(|(value, _)| value);
    Place {
        carry: measured(Known::Carry, Known::CarrySd).map_or(0.0, |carry| carry - flown.carry),
        lateral: measured(Known::Lateral, Known::LateralSd).map_or(0.0, |lateral| lateral - flown.lateral),
    }
}
