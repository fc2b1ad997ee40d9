//! The true cause of a miss: what the product's verdict is measured against.

use flight::Landing;

use crate::TrueShot;

/// When a landing is a miss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MissRule {
    /// Half width of the corridor about the aim, as a share of the reference carry.
    pub corridor_share: f64,
    /// How much shorter than the reference a carry may be, as a share of it.
    pub carry_tolerance: f64,
}

impl Default for MissRule {
    fn default() -> Self {
        MissRule { corridor_share: 0.07, carry_tolerance: 0.08 }
    }
}

/// What would have mended a miss.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum TrueCause {
    /// A centred strike alone.
    Strike,
    /// The intended delivery alone.
    Delivery,
    /// Either of them.
    Either,
    /// Both together and neither alone.
    BothNeeded,
    /// Not even both.
    Neither,
}

impl TrueCause {
    /// Every cause.
    pub const ALL: [TrueCause; 5] =
        [TrueCause::Strike, TrueCause::Delivery, TrueCause::Either, TrueCause::BothNeeded, TrueCause::Neither];

    /// The word used in data.
    pub fn word(self) -> &'static str {
        match self {
            TrueCause::Strike => "strike",
            TrueCause::Delivery => "delivery",
            TrueCause::Either => "either",
            TrueCause::BothNeeded => "both needed",
            TrueCause::Neither => "neither",
        }
    }
}

impl MissRule {
    /// Whether a landing misses the corridor about the aim or falls short of the reference.
    pub fn misses(&self, landing: &Landing, reference: &Landing, aim_deg: f64) -> bool {
        let off_the_aim = landing.lateral_m - landing.carry_m * aim_deg.to_radians().sin();
        off_the_aim.abs() > self.corridor_share * reference.carry_m
            || landing.carry_m < (1.0 - self.carry_tolerance) * reference.carry_m
    }

    /// The true cause of a shot's miss, `None` where it is no miss.
    pub fn cause(&self, shot: &TrueShot) -> Option<TrueCause> {
        let misses = |landing: &Landing| self.misses(landing, &shot.reference, shot.aim_deg);
        if !misses(&shot.landing) {
            return None;
        }
        Some(match (!misses(&shot.centred), !misses(&shot.intended)) {
            (true, true) => TrueCause::Either,
            (true, false) => TrueCause::Strike,
            (false, true) => TrueCause::Delivery,
            (false, false) if !misses(&shot.both) => TrueCause::BothNeeded,
            (false, false) => TrueCause::Neither,
        })
    }
}
