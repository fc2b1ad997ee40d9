//! Miss or not, and what would have mended it.

use impact::HeadKind;

use crate::Settings;
use crate::landing::Place;

/// The lines a shot must stay within.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Half width of the corridor, m.
    pub half_width: f64,
    /// Shortest carry that is no miss, m.
    pub shortest: f64,
    /// Tangent of the aim direction: the corridor runs along the aim.
    aim_slope: f64,
}

impl Bounds {
    /// Bounds about the aim, sized by the carry of the player's centred stock shot.
    pub fn new(reference: Place, aim_deg: f64, settings: &Settings, kind: HeadKind) -> Bounds {
        Bounds {
            half_width: settings.corridor_share_for(kind) * reference.carry,
            shortest: (1.0 - settings.carry_tolerance) * reference.carry,
            aim_slope: aim_deg.to_radians().sin(),
        }
    }

    /// Half width and shortest carry as shares of the reference carry.
    pub(crate) fn shares(settings: &Settings, kind: HeadKind) -> (f64, f64) {
        (settings.corridor_share_for(kind), 1.0 - settings.carry_tolerance)
    }

    /// Distance from the aim line, positive = right, m.
    pub fn off_aim(&self, place: Place) -> f64 {
        place.lateral - place.carry * self.aim_slope
    }

    /// Whether a ball that lands there is no miss.
    pub fn good(&self, place: Place) -> bool {
        self.off_aim(place).abs() <= self.half_width && place.carry >= self.shortest
    }

    /// `none`, `left`, `right`, `short`, or a side and `short` joined by `-`.
    pub fn miss(&self, place: Place) -> &'static str {
        let off = self.off_aim(place);
        let short = place.carry < self.shortest;
        match (off.abs() > self.half_width, off > 0.0, short) {
            (false, _, false) => "none",
            (false, _, true) => "short",
            (true, false, false) => "left",
            (true, true, false) => "right",
            (true, false, true) => "left-short",
            (true, true, true) => "right-short",
        }
    }
}

/// What would have mended a miss.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// A centred strike alone.
    Strike = 0,
    /// The intended delivery alone.
    Delivery = 1,
    /// Each alone.
    Either = 2,
    /// Only both together.
    BothNeeded = 3,
    /// Not even both.
    Neither = 4,
}

impl Cause {
    /// All causes in the order of the probabilities.
    pub const ALL: [Cause; 5] = [Cause::Strike, Cause::Delivery, Cause::Either, Cause::BothNeeded, Cause::Neither];

    /// The word used in data.
    pub fn word(self) -> &'static str {
        match self {
            Cause::Strike => "strike",
            Cause::Delivery => "delivery",
            Cause::Either => "either",
            Cause::BothNeeded => "both needed",
            Cause::Neither => "neither",
        }
    }

    /// The class of a miss by which of its counterfactuals are good.
    pub fn of(centred_is_good: bool, intended_is_good: bool, both_is_good: bool) -> Cause {
        match (centred_is_good, intended_is_good, both_is_good) {
            (true, true, _) => Cause::Either,
            (true, false, _) => Cause::Strike,
            (false, true, _) => Cause::Delivery,
            (false, false, true) => Cause::BothNeeded,
            (false, false, false) => Cause::Neither,
        }
    }
}

/// The zone of a strike: centre within 10 mm toe or heel and 8 mm high or low, else by the larger share of these.
pub fn strike_zone(toe_mm: f64, up_mm: f64) -> &'static str {
    let (along, upward) = (toe_mm / 10.0, up_mm / 8.0);
    if along.abs() <= 1.0 && upward.abs() <= 1.0 {
        "centre"
    } else if along.abs() >= upward.abs() {
        if along > 0.0 { "toe" } else { "heel" }
    } else if upward > 0.0 {
        "high"
    } else {
        "low"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn misses_are_named_by_side_and_length() {
        let bounds = Bounds::new(Place { carry: 200.0, lateral: 0.0 }, 0.0, &Settings::default(), HeadKind::Driver);
        let cases = [
            ((200.0, 13.9), "none"),
            ((200.0, -14.1), "left"),
            ((200.0, 14.1), "right"),
            ((183.0, 0.0), "short"),
            ((183.0, -20.0), "left-short"),
            ((183.0, 20.0), "right-short"),
        ];
        for ((carry, lateral), expected) in cases {
            assert_eq!(bounds.miss(Place { carry, lateral }), expected, "{carry} {lateral}");
            assert_eq!(bounds.good(Place { carry, lateral }), expected == "none");
        }
    }

    #[test]
    fn the_corridor_follows_the_aim() {
        let bounds = Bounds::new(Place { carry: 200.0, lateral: 10.5 }, 3.0, &Settings::default(), HeadKind::Driver);
        assert_eq!(bounds.miss(Place { carry: 200.0, lateral: 10.0 }), "none");
        assert_eq!(bounds.miss(Place { carry: 200.0, lateral: -5.0 }), "left");
    }

    #[test]
    fn zones_follow_the_larger_share() {
        let cases = [
            ((9.9, 7.9), "centre"),
            ((11.0, 0.0), "toe"),
            ((-30.0, 9.0), "heel"),
            ((3.0, 12.0), "high"),
            ((10.0, -9.0), "low"),
        ];
        for ((toe, up), zone) in cases {
            assert_eq!(strike_zone(toe, up), zone, "{toe} {up}");
        }
    }
}
