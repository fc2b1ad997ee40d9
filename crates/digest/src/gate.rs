//! The gate a player swings through to tighten the strike: how wide to set it.

use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::coach_week::{ClubWeek, FEWEST_JUDGED_SHOTS};

/// Never set a post nearer to the clubhead than this.
pub const LEAST_CLEARANCE_MM: f64 = 5.0;
/// Share of swings that should pass a newly set gate.
pub const PASS_SHARE: f64 = 0.7;
/// Wider than this nothing guides the strike any more.
const MOST_CLEARANCE_MM: f64 = 200.0;

/// A gate: two soft posts, each the same distance from the clubhead as it stands centred on the ball.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gate {
    /// Clearance on each side, whole millimetres.
    pub clearance_mm: f64,
    /// Share of the player's next swings expected to pass.
    pub pass_share: f64,
}

/// The gate for a club, where its strike pattern is known from enough strikes.
pub fn gate_for(club: &ClubWeek) -> Option<Gate> {
    let pattern = club.pattern?;
    let strikes = club.tally.measured + club.tally.linked + club.tally.inferred;
    if strikes < FEWEST_JUDGED_SHOTS || pattern.spread_toe_mm <= 0.0 {
        return None;
    }
    let passes = |clearance: f64| pass_share(clearance, pattern.mean_toe_mm, pattern.spread_toe_mm, strikes);
    // Rounded up, so that rounding never makes the gate harder than meant.
    let clearance_mm = clearance_for(&passes).ceil();
    Some(Gate { clearance_mm, pass_share: passes(clearance_mm)? })
}

/// The smallest clearance that lets `PASS_SHARE` pass, within the limits.
fn clearance_for(passes: &impl Fn(f64) -> Option<f64>) -> f64 {
    let (mut low, mut high) = (LEAST_CLEARANCE_MM, MOST_CLEARANCE_MM);
    let enough = |clearance: f64| passes(clearance).is_some_and(|share| share >= PASS_SHARE);
    if enough(low) {
        return low;
    }
    while high - low > 1e-6 {
        let middle = f64::midpoint(low, high);
        if enough(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

/// Share of next strikes within `clearance` of the face centre along the face: Student's t about the mean of `strikes`
/// strikes, widened for the mean's own uncertainty. A club that strikes x mm off centre has moved x mm toward one post.
fn pass_share(clearance: f64, mean: f64, spread: f64, strikes: i64) -> Option<f64> {
    let count = strikes as f64;
    let predictive = StudentsT::new(mean, spread * (1.0 + 1.0 / count).sqrt(), count - 1.0).ok()?;
    Some(predictive.cdf(clearance) - predictive.cdf(-clearance))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach_week::{Pattern, Tally};

    fn club(strikes: i64, mean: f64, spread: f64) -> ClubWeek {
        ClubWeek {
            tally: Tally { measured: strikes, ..Tally::default() },
            pattern: Some(Pattern { mean_toe_mm: mean, mean_up_mm: 0.0, spread_toe_mm: spread, spread_up_mm: None }),
            ..ClubWeek::default()
        }
    }

    #[test]
    fn ten_centred_strikes_follow_the_t_table() {
        // t(0.85; 9) = 1.100 [source: published t tables], so 1.100 * 10 * sqrt(1.1) = 11.54 mm.
        let passes = |clearance: f64| pass_share(clearance, 0.0, 10.0, 10);
        assert!((clearance_for(&passes) - 11.54).abs() < 0.01);
        assert_eq!(gate_for(&club(10, 0.0, 10.0)).map(|gate| gate.clearance_mm), Some(12.0));
    }

    #[test]
    fn many_strikes_off_centre_follow_the_normal_table() {
        // Nearly normal; mean one deviation out: P(-2.5 < z < 0.5) = 0.6915 - 0.0062 = 0.6853. [source: normal tables]
        let share = pass_share(15.0, 10.0, 10.0, 1_000_000).expect("a distribution");
        assert!((share - 0.6853).abs() < 1e-4, "{share}");
    }

    #[test]
    fn a_tight_pattern_still_gets_five_millimetres() {
        let gate = gate_for(&club(30, 0.0, 2.0)).expect("a gate");
        assert!((gate.clearance_mm - LEAST_CLEARANCE_MM).abs() < 1e-9);
        assert!(gate.pass_share > 0.95);
    }

    #[test]
    fn few_strikes_get_no_gate() {
        assert_eq!(gate_for(&club(4, 0.0, 8.0)), None);
        assert_eq!(gate_for(&ClubWeek::default()), None);
    }
}
