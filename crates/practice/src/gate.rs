//! The gate a player swings through to tighten the strike.
//!
//! Two soft posts, one beside the toe and one beside the heel of the clubhead as it stands centred on the ball. A club that
//! meets the ball x mm off centre has moved x mm toward one post, so that a clearance is a limit of the strike. The gate is
//! always centred on the face centre with equal clearances, wherever the player's own middle lies: the gate shows the
//! way to the face centre, and it is the same for left- and right-handers.

use crate::special::student_below;

/// Never set a post nearer to the clubhead than this, mm (common practice, no source).
pub const LEAST_CLEARANCE_MM: f64 = 5.0;
/// Wider than this on a side, a gate guides nothing: the ball would be met at the edge of the face (common practice, no source).
pub const MOST_CLEARANCE_MM: f64 = 40.0;
/// The same for the height on the face.
pub const MOST_HEIGHT_MM: f64 = 25.0;
/// Share of swings that should pass a newly set gate: seldom enough to be a task, often enough to be a success.
pub const PASS_SHARE: f64 = 0.7;
/// The gate becomes narrower after this many clean of [`SWINGS_OF_A_SET`], twice in a row.
pub const CLEAN_TO_NARROW: u32 = 8;
/// Swings of a set.
pub const SWINGS_OF_A_SET: u32 = 10;
/// After this many clean or fewer, twice in a row, it becomes wider again.
pub const CLEAN_TO_WIDEN: u32 = 4;
/// What is left of the clearance after a step.
const NARROWER: f64 = 0.8;

/// Where the next strike is expected along one direction: a Student distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct NextStrike {
    pub mean: f64,
    pub scale: f64,
    pub degrees: f64,
}

impl NextStrike {
    /// Share of next strikes within `clearance` of the face centre.
    pub fn share_within(&self, clearance: f64) -> f64 {
        student_below((clearance - self.mean) / self.scale, self.degrees)
            - student_below((-clearance - self.mean) / self.scale, self.degrees)
    }

    /// The smallest whole number of millimetres that lets [`PASS_SHARE`] pass, between the limits.
    pub fn clearance(&self, most: f64) -> f64 {
        let mut clearance = LEAST_CLEARANCE_MM;
        while clearance < most && self.share_within(clearance) < PASS_SHARE {
            clearance += 1.0;
        }
        clearance
    }
}

/// Ten swings through a gate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GateSet {
    /// Clearance on each side, mm.
    pub clearance_mm: f64,
    /// Swings made.
    pub swings: u32,
    /// Of these, swings that touched no post.
    pub clean: u32,
}

/// The clearance for the next set, mm, from the sets so far, the oldest first: a fifth narrower after 8 of 10 clean twice in
/// a row at the present clearance, a quarter wider after 4 of 10 or fewer twice in a row, else as it is. Shares count
/// where a set had other than ten swings; sets of fewer than five swings are left out. Nothing without a set.
pub fn next_clearance(sets: &[GateSet]) -> Option<f64> {
    let usable = |set: &&GateSet| set.clearance_mm.is_finite() && set.swings >= 5 && set.clean <= set.swings;
    let counted: Vec<&GateSet> = sets.iter().filter(usable).collect();
    let present = counted.last()?.clearance_mm.clamp(LEAST_CLEARANCE_MM, MOST_CLEARANCE_MM);
    let [.., first, second] = counted.as_slice() else { return Some(present) };
    if (first.clearance_mm - second.clearance_mm).abs() > 0.5 {
        return Some(present);
    }
    let at_least = |set: &GateSet, clean: u32| set.clean * SWINGS_OF_A_SET >= clean * set.swings;
    if at_least(first, CLEAN_TO_NARROW) && at_least(second, CLEAN_TO_NARROW) {
        // Rounding down makes every step at least one millimetre.
        return Some((present * NARROWER).floor().max(LEAST_CLEARANCE_MM));
    }
    let at_most = |set: &GateSet| set.clean * SWINGS_OF_A_SET <= CLEAN_TO_WIDEN * set.swings;
    if at_most(first) && at_most(second) {
        return Some((present / NARROWER).ceil().min(MOST_CLEARANCE_MM));
    }
    Some(present)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_centred_strikes_follow_the_t_table() {
        // t(0.85; 9) = 1.100 [source: published t tables]; the scale 10 sqrt(1.1) makes 11.54 mm, so 12.
        let next = NextStrike { mean: 0.0, scale: 10.0 * 1.1_f64.sqrt(), degrees: 9.0 };
        assert!((next.clearance(MOST_CLEARANCE_MM) - 12.0).abs() < 1e-9);
        assert!(next.share_within(11.53) < PASS_SHARE && next.share_within(11.55) > PASS_SHARE);
    }

    #[test]
    fn many_strikes_off_centre_follow_the_normal_table() {
        // One deviation out: P(-2.5 < z < 0.5) = 0.6915 - 0.0062 = 0.6853. [source: normal tables]
        let next = NextStrike { mean: 10.0, scale: 10.0, degrees: 1e6 };
        assert!((next.share_within(15.0) - 0.6853).abs() < 1e-4);
    }

    #[test]
    fn the_gate_narrows_after_two_clean_sets_and_never_below_five() {
        let set = |clearance_mm: f64, clean: u32| GateSet { clearance_mm, swings: 10, clean };
        assert_eq!(next_clearance(&[set(12.0, 8)]), Some(12.0));
        assert_eq!(next_clearance(&[set(12.0, 8), set(12.0, 8)]), Some(9.0));
        assert_eq!(next_clearance(&[set(12.0, 8), set(12.0, 7)]), Some(12.0));
        assert_eq!(next_clearance(&[set(12.0, 10), set(9.0, 10)]), Some(9.0));
        assert_eq!(next_clearance(&[set(5.0, 10), set(5.0, 10)]), Some(5.0));
        assert_eq!(next_clearance(&[set(12.0, 4), set(12.0, 3)]), Some(15.0));
        assert_eq!(next_clearance(&[]), None);
        assert_eq!(next_clearance(&[set(f64::NAN, 9), set(10.0, 12)]), None);
    }
}
