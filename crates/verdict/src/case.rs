//! One reconstructed shot, and the shots it could have been: every mixture of actual and reference parts.

use crate::landing::{Air, Place};
use crate::model::{LAUNCH, Model};
use crate::reconstruct::Reconstruction;
use crate::rest::FlightRest;
use crate::split::Group;
use crate::unknowns::{ATTACK, FACE, LOFT, PATH, Reference, SPEED, TOE, UP, Unknowns};

/// Everything of one shot that the steps of a judgement share.
pub(crate) struct Case<'a> {
    pub model: Model<'a>,
    pub reference: Reference,
    pub found: Reconstruction,
    pub air: Air,
    pub aim: f64,
    /// What the flight model leaves of this shot's landing.
    pub rest: FlightRest,
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
        let model = self.model.launch(&switched).unwrap_or(self.found.modelled());
        if coalition & (1 << Group::Rest as usize) == 0 { model } else { self.found.with_error(&model) }
    }

    pub fn place(&self, coalition: usize) -> Place {
        self.place_in(&self.air, coalition)
    }

    pub fn place_in(&self, air: &Air, coalition: usize) -> Place {
        let flown = air.fly(&self.launch(coalition));
        self.rest.applied(flown, coalition & (1 << Group::Rest as usize) != 0)
    }

    pub fn place_of(&self, unknowns: &Unknowns) -> Place {
        let model = self.model.launch(unknowns).unwrap_or(self.found.modelled());
        self.rest.applied(self.air.fly(&self.found.with_error(&model)), true)
    }
}
