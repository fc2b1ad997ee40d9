//! Where on the face the ball is met.

use crate::Strike;
use crate::answer::answer;

answer! {
    /// The strike pattern of the current week, and its change against the weeks before.
    pub struct StrikePattern {
        numbers {
            strikes: "1", "strikes of the week that could be used";
            strikes_measured: "1", "of these, measured";
            strikes_linked: "1", "of these, linked";
            strikes_inferred: "1", "of these, inferred";
            strikes_identified: "1", "of these, fit to tell a mean: measured, linked, or inferred from a fully measured delivery";
            sessions: "1", "sessions of the week";
            mean_toe_mm: "mm", "mean position along the face, positive = toe";
            mean_toe_low_mm: "mm", "lower end of its 90 % interval";
            mean_toe_high_mm: "mm", "upper end";
            mean_up_mm: "mm", "mean position up the face, positive = crown";
            mean_up_low_mm: "mm", "lower end of its 90 % interval";
            mean_up_high_mm: "mm", "upper end";
            spread_toe_mm: "mm", "standard deviation along the face within a session, errors of reading taken out";
            spread_up_mm: "mm", "the same up the face";
            spread_correlation: "1", "correlation of the two within a session";
            session_spread_toe_mm: "mm", "standard deviation of the sessions' means along the face";
            session_spread_up_mm: "mm", "the same up the face";
            next_toe_mm: "mm", "where the next strike is expected along the face";
            next_toe_sd_mm: "mm", "scale of the Student distribution of the next strike along the face";
            next_up_mm: "mm", "where the next strike is expected up the face";
            next_up_sd_mm: "mm", "scale of the Student distribution of the next strike up the face";
            next_degrees: "1", "degrees of freedom of both distributions";
            ellipse_long_mm: "mm", "longer half axis of the ellipse that holds the next strike with 95 % probability";
            ellipse_short_mm: "mm", "shorter half axis";
            ellipse_tilt_deg: "deg", "tilt of the longer axis from the toe direction toward the crown, -90 to 90";
            centre_share: "1", "share of the strikes within 10 mm toe or heel and 8 mm high or low";
            centre_share_low: "1", "lower end of its 90 % Wilson interval";
            centre_share_high: "1", "upper end";
            strikes_before: "1", "strikes of the weeks before that could be used";
            shift_toe_mm: "mm", "mean along the face minus that of the weeks before";
            shift_toe_low_mm: "mm", "lower end of its 90 % interval";
            shift_toe_high_mm: "mm", "upper end";
            shift_up_mm: "mm", "the same up the face";
            shift_up_low_mm: "mm", "lower end of its 90 % interval";
            shift_up_high_mm: "mm", "upper end";
            spread_ratio: "1", "spread within a session against the weeks before (geometric mean of the axes), below 1 = tighter";
            spread_ratio_low: "1", "lower end of its 90 % interval";
            spread_ratio_high: "1", "upper end";
        }
        texts {
            identification: "identified, not identified (no strike measured and no full delivery), or not enough (under five strikes)";
            change: "tighter, wider, moved, no clear change, or not enough";
        }
    }
}

/// The pattern of the current strikes; those not current are the weeks before.
pub fn strike_pattern(strikes: &[Strike]) -> StrikePattern {
    let _ = strikes;
    StrikePattern::default()
}
