//! What to practise next.

use crate::advice::{reason, weigh};
use crate::answer::{answer, finite};
use crate::gate::{
    CLEAN_TO_NARROW, LEAST_CLEARANCE_MM, MOST_CLEARANCE_MM, MOST_HEIGHT_MM, NextStrike, PASS_SHARE, SWINGS_OF_A_SET,
};
use crate::strike::USUAL_PRIOR;
use crate::{NumberEntry, Row, TextEntry};

/// What is known of a player's week with one club.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PlanFacts {
    /// Full shots that count.
    pub shots: f64,
    /// Of these, with a figure for carry lost to strike.
    pub shots_judged: f64,
    /// Misses.
    pub misses: f64,
    /// Misses that a centred strike alone mends.
    pub misses_strike: f64,
    /// Misses that the intended delivery alone mends.
    pub misses_delivery: f64,
    /// Misses that each alone mends.
    pub misses_either: f64,
    /// Misses that only both together mend.
    pub misses_both_needed: f64,
    /// Misses whose cause cannot be told.
    pub misses_untold: f64,
    /// Mean carry lost to strike per shot, m.
    pub carry_lost_mean_m: Option<f64>,
    /// Lower end of its 90 % interval, m.
    pub carry_lost_low_m: Option<f64>,
    /// Carry of the centred stock shot, m.
    pub reference_carry_m: Option<f64>,
    /// Carry that a pattern tighter by a quarter would give back, m.
    pub tighter_strike_gain_m: Option<f64>,
    /// Carry that 1 m/s more club speed would give, m.
    pub faster_club_gain_m: Option<f64>,
    /// `next_toe_mm`, `next_toe_sd_mm`, `next_up_mm`, `next_up_sd_mm`, `next_degrees` of the strike pattern.
    pub next_strike: Option<[f64; 5]>,
    /// The site's thresholds.
    pub settings: PlanSettings,
}

/// Thresholds of the advice (common practice, no source: the site's to change).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanSettings {
    /// Below this many judged shots there is no advice.
    pub enough_shots: f64,
    /// From this share of the reference carry on, the strike's price alone puts strike practice first.
    pub dear_share: f64,
    /// A cause is frequent where the cautious end of its share of shots reaches this.
    pub frequent_share: f64,
}

impl Default for PlanSettings {
    fn default() -> Self {
        Self { enough_shots: 10.0, dear_share: 0.03, frequent_share: 0.2 }
    }
}

impl Row for PlanFacts {
    const NUMBERS: &'static [NumberEntry] = &[
        ("shots", "1", "full shots that count"),
        ("shots_judged", "1", "of these, with a figure for carry lost to strike"),
        ("misses", "1", "misses"),
        ("misses_strike", "1", "misses that a centred strike alone mends"),
        ("misses_delivery", "1", "misses that the intended delivery alone mends"),
        ("misses_either", "1", "misses that each alone mends"),
        ("misses_both_needed", "1", "misses that only both together mend"),
        ("carry_lost_mean_m", "m", "mean carry lost to strike per shot"),
        ("carry_lost_low_m", "m", "lower end of its 90 % interval"),
        ("reference_carry_m", "m", "carry of the centred stock shot"),
        ("tighter_strike_gain_m", "m", "carry that a pattern tighter by a quarter would give back"),
        ("faster_club_gain_m", "m", "carry that 1 m/s more club speed would give"),
        ("next_toe_mm", "mm", "from the strike pattern; missing where it is not identified"),
        ("next_toe_sd_mm", "mm", "from the strike pattern"),
        ("next_up_mm", "mm", "from the strike pattern"),
        ("next_up_sd_mm", "mm", "from the strike pattern"),
        ("next_degrees", "1", "from the strike pattern"),
        ("enough_shots", "1", "below this many judged shots there is no advice; missing = 10"),
        ("dear_share", "1", "share of the reference carry from which the strike is dear; missing = 0.03"),
        ("frequent_share", "1", "share of shots from which a cause is frequent; missing = 0.2"),
        ("misses_untold", "1", "misses whose cause cannot be told; missing = 0"),
    ];
    const TEXTS: &'static [TextEntry] = &[];

    fn from_fields(numbers: &[Option<f64>], _texts: &[Option<&str>]) -> Option<Self> {
        let count = |position: usize| finite(numbers, position).unwrap_or(0.0).clamp(0.0, 1e6);
        let next = [12, 13, 14, 15, 16].map(|position| finite(numbers, position));
        let next_strike = match next {
            [Some(toe), Some(toe_sd), Some(up), Some(up_sd), Some(degrees)] => Some([toe, toe_sd, up, up_sd, degrees]),
            _ => None,
        };
        let usual = PlanSettings::default();
        Some(Self {
            shots: count(0),
            shots_judged: count(1),
            misses: count(2),
            misses_strike: count(3),
            misses_delivery: count(4),
            misses_either: count(5),
            misses_both_needed: count(6),
            misses_untold: count(20),
            carry_lost_mean_m: finite(numbers, 7),
            carry_lost_low_m: finite(numbers, 8),
            reference_carry_m: finite(numbers, 9),
            tighter_strike_gain_m: finite(numbers, 10),
            faster_club_gain_m: finite(numbers, 11),
            next_strike,
            settings: PlanSettings {
                enough_shots: finite(numbers, 17).unwrap_or(usual.enough_shots),
                dear_share: finite(numbers, 18).unwrap_or(usual.dear_share),
                frequent_share: finite(numbers, 19).unwrap_or(usual.frequent_share),
            },
        })
    }
}

answer! {
    /// What to practise next, and how to set the gate.
    pub struct PracticePlan {
        numbers {
            strike_share: "1", "share of the shots whose miss the strike explains; misses that either or both mend count half";
            strike_share_low: "1", "cautious end of it (90 % one-sided, Wilson)";
            delivery_share: "1", "the same for the delivery";
            delivery_share_low: "1", "its cautious end";
            probability_strike_leads: "1", "probability that the strike explains more misses than the delivery";
            loss_share: "1", "carry lost to strike as a share of the reference carry";
            gate_toe_mm: "mm", "clearance of the gate's post on the toe side, from the face centre's path";
            gate_heel_mm: "mm", "clearance on the heel side; always equal";
            gate_high_mm: "mm", "height above the face centre up to which a mark on the face counts as clean";
            gate_low_mm: "mm", "depth below it; always equal";
            gate_pass_share: "1", "share of the next swings expected to pass between the posts";
            gate_height_share: "1", "share of the next strikes expected within the height";
            tighter_strike_gain_m: "m", "carry that a pattern tighter by a quarter would give back";
            faster_club_gain_m: "m", "carry that 1 m/s more club speed would give";
        }
        texts {
            practise_next: "strike first, delivery first, keep going or not enough shots";
            practise_why: "why, in one sentence for the coach";
            gate_basis: "pattern (the player's own), usual (pattern unknown: the usual spread) or wide (the pattern is too wide or too far out for a gate)";
            gate_how: "how to set the gate and when to narrow it";
            comparison: "what tighter strikes would give beside what a faster club would; null where a figure is missing";
        }
    }
}

/// What to practise next, from a week's figures: advice and reason by the rules of `advice`, the gate by those of `gate`.
pub fn practice_plan(facts: &PlanFacts) -> PracticePlan {
    let weighed = weigh(facts);
    let mut plan = PracticePlan {
        strike_share: weighed.strike_share,
        strike_share_low: weighed.strike_share_low,
        delivery_share: weighed.delivery_share,
        delivery_share_low: weighed.delivery_share_low,
        probability_strike_leads: weighed.probability_strike_leads,
        loss_share: weighed.loss_share,
        tighter_strike_gain_m: facts.tighter_strike_gain_m.filter(|gain| gain.is_finite()),
        faster_club_gain_m: facts.faster_club_gain_m.filter(|gain| gain.is_finite()),
        practise_next: Some(weighed.advice.name().to_owned()),
        practise_why: Some(reason(facts, &weighed)),
        ..PracticePlan::default()
    };
    if let (Some(tighter), Some(faster)) = (plan.tighter_strike_gain_m, plan.faster_club_gain_m) {
        plan.comparison = Some(format!(
            "Strikes tighter by a quarter would give back about {tighter:.1} m of carry a shot; \
             1 m/s more club speed would give about {faster:.1} m."
        ));
    }
    set_gate(&mut plan, facts);
    plan
}

/// The usual spread of strikes where the player's own is unknown: the verdict's prior (12 mm along, 8 mm up the face).
const USUAL_NEXT: [f64; 5] = [USUAL_PRIOR[0], USUAL_PRIOR[1], USUAL_PRIOR[2], USUAL_PRIOR[3], 1e6];

/// Sets the gate from where the next strike is expected.
fn set_gate(plan: &mut PracticePlan, facts: &PlanFacts) {
    let own = facts.next_strike.filter(|[toe, toe_sd, up, up_sd, degrees]| {
        toe.is_finite() && up.is_finite() && degrees.is_finite() && *toe_sd > 0.0 && *up_sd > 0.0
    });
    let [toe, toe_sd, up, up_sd, degrees] = own.unwrap_or(USUAL_NEXT);
    let along = NextStrike { mean: toe, scale: toe_sd, degrees };
    let height = NextStrike { mean: up, scale: up_sd, degrees };
    let clearance = along.clearance(MOST_CLEARANCE_MM);
    let reach = height.clearance(MOST_HEIGHT_MM);
    let pass_share = along.share_within(clearance);
    let too_wide = pass_share < PASS_SHARE;
    plan.gate_toe_mm = Some(clearance);
    plan.gate_heel_mm = Some(clearance);
    plan.gate_high_mm = Some(reach);
    plan.gate_low_mm = Some(reach);
    // A share for a player whose strikes nobody knows would be made up.
    plan.gate_pass_share = own.map(|_| pass_share);
    plan.gate_height_share = own.map(|_| height.share_within(reach));
    let basis = match own {
        None => "usual",
        Some(_) if too_wide => "wide",
        Some(_) => "pattern",
    };
    plan.gate_basis = Some(basis.to_owned());
    let mut how = format!(
        "Set two soft posts {clearance} mm clear of the clubhead on each side as it stands centred on the ball; after \
         {CLEAN_TO_NARROW} of {SWINGS_OF_A_SET} clean, twice, set them a fifth nearer, never under {LEAST_CLEARANCE_MM} mm."
    );
    match basis {
        "usual" => how.push_str(" The strike pattern is not known yet: this is a usual start, to be set anew."),
        "wide" => {
            how.push_str(" Fewer than 7 of 10 will pass at first: work on the distance to the ball before the gate.");
        }
        _ => {}
    }
    plan.gate_how = Some(how);
}
