//! One reconstructed shot, and the shots it could have been: every mixture of actual and reference parts.

use impact::Scalar;

use crate::landing::{Air, Place};
use crate::model::{LAUNCH, Model};
use crate::posterior::Reconstruction;
use crate::rest::FlightRest;
use crate::split::{COALITIONS, Group};
use crate::unknowns::{ATTACK, COUNT, FACE, LOFT, PATH, Reference, SPEED, TOE, UP, Unknowns};

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

/// Whether a coalition keeps this shot's unexplained rest.
pub(crate) fn keeps_rest(coalition: usize) -> bool {
    coalition & (1 << Group::Rest as usize) != 0
}

/// The group that an unknown belongs to; the head belongs to none, it stays the one it is.
fn group_of(position: usize) -> Option<Group> {
    match position {
        TOE | UP => Some(Group::Strike),
        PATH | FACE | ATTACK | LOFT => Some(Group::Delivery),
        SPEED => Some(Group::Speed),
        _ => None,
    }
}

/// Whether a coalition sets an unknown to the reference.
pub(crate) fn is_switched_off(position: usize, coalition: usize) -> bool {
    group_of(position).is_some_and(|group| coalition & (1 << group as usize) == 0)
}

impl Case<'_> {
    /// The unknowns with every group outside the coalition set to the reference.
    pub fn switched<S: Scalar>(&self, unknowns: &[S; COUNT], coalition: usize) -> [S; COUNT] {
        let mut switched = *unknowns;
        for position in 0..COUNT {
            if is_switched_off(position, coalition) {
                switched[position] = S::constant(match position {
                    SPEED => self.reference.speed,
                    ATTACK => self.reference.attack,
                    PATH => self.reference.path,
                    FACE => self.reference.face,
                    LOFT => self.reference.loft,
                    _ => 0.0,
                });
            }
        }
        switched
    }

    /// The launch of a coalition at the most probable unknowns.
    pub fn launch(&self, coalition: usize) -> [f64; LAUNCH] {
        let switched = self.switched(&self.found.mode, coalition);
        // The reconstruction stands on a possible collision, and moving strike and delivery to usual values keeps it possible.
        let model = self.model.launch(&switched).unwrap_or(self.found.modelled());
        if keeps_rest(coalition) { self.found.with_error(&model) } else { model }
    }

    /// The launch of other unknowns with this shot's most probable model error.
    pub fn launch_of(&self, unknowns: &Unknowns) -> [f64; LAUNCH] {
        let model = self.model.launch(unknowns).unwrap_or(self.found.modelled());
        self.found.with_error(&model)
    }

    /// Slope of the aim line: the distance off the aim is the lateral minus this share of the carry.
    pub fn aim_slope(&self) -> f64 {
        self.aim.to_radians().sin()
    }
}

/// The flights of one shot at the most probable unknowns.
pub(crate) struct Flights {
    /// Every coalition's launch and where it was flown to, before what belongs to this shot alone.
    pub flown: [([f64; LAUNCH], Place); COALITIONS],
    /// A strike a quarter nearer the face centre, and 1 m/s more club speed.
    pub tighter: Place,
    pub faster: Place,
}

impl Flights {
    pub fn of(case: &Case<'_>) -> Flights {
        let mut tighter = case.found.mode;
        tighter[TOE] *= 0.75;
        tighter[UP] *= 0.75;
        let mut faster = case.found.mode;
        faster[SPEED] += 1.0;
        let mut launches = [[0.0; LAUNCH]; COALITIONS + 2];
        for coalition in 0..COALITIONS {
            launches[coalition] = case.launch(coalition);
        }
        launches[COALITIONS] = case.launch_of(&tighter);
        launches[COALITIONS + 1] = case.launch_of(&faster);
        let mut places = [Place::default(); COALITIONS + 2];
        case.air.fly_all(&launches, &mut places);
        Flights {
            flown: std::array::from_fn(|coalition| (launches[coalition], places[coalition])),
            tighter: places[COALITIONS],
            faster: places[COALITIONS + 1],
        }
    }

    /// Where a coalition lands.
    pub fn place(&self, case: &Case<'_>, coalition: usize) -> Place {
        case.rest.applied(self.flown[coalition].1, keeps_rest(coalition))
    }
}
