//! What a site may set.

use impact::HeadKind;

/// Thresholds a site may change.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Half width of the corridor as a share of the reference carry.
    pub corridor_share: f64,
    /// How much shorter than the reference a carry may be, as a share, before it is a miss.
    pub carry_tolerance: f64,
    /// Below this probability a cause is not named.
    pub certain_enough: f64,
    /// From this face-to-path angle on, in degrees, a reader of the curve would act.
    pub curve_acted_on_deg: f64,
    /// From this probability on, a curve counts as misread.
    pub misread_probability: f64,
    /// Other half widths than `corridor_share`, by club kind.
    pub corridor_share_of_kind: Vec<(HeadKind, f64)>,
}

impl Settings {
    /// Half width of the corridor for a club kind, as a share of the reference carry.
    pub fn corridor_share_for(&self, kind: HeadKind) -> f64 {
        let own = self.corridor_share_of_kind.iter().find(|(of, _)| *of == kind);
        own.map_or(self.corridor_share, |(_, share)| *share)
    }
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            corridor_share: 0.07,
            carry_tolerance: 0.08,
            certain_enough: 0.6,
            curve_acted_on_deg: 1.5,
            misread_probability: 0.8,
            corridor_share_of_kind: Vec::new(),
        }
    }
}
