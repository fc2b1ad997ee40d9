//! Whether the strike or the delivery comes first, and why.
//!
//! Rules, in this order:
//! 1. Fewer judged shots than `enough_shots`: `not enough shots`.
//! 2. The strike is dear: it costs at least `dear_share` of the carry, the interval of the loss leaves zero out, and strike
//!    misses weigh at least half of what delivery misses weigh, or the price is half as high again: `strike first`.
//! 3. The strike is frequent: the cautious end of its share of shots (Wilson, 90 % one-sided) reaches `frequent_share`, and it
//!    weighs at least as much as the delivery: `strike first`.
//! 4. The delivery is frequent in the same sense and leads with probability 0.7 or more: `delivery first`. More is asked than
//!    of the strike, because changing a swing for nothing costs far more than swinging through a gate for nothing.
//! 5. Else `keep going`.
//!
//! A miss that either or both would mend counts half for each. Misses that neither mends count for none.

use statrs::function::beta::beta_reg;

use crate::PlanFacts;
use crate::wilson::wilson;

/// How sure it must be that the delivery explains more misses than the strike.
const CLEAR_LEAD: f64 = 0.7;
/// Below this many misses of one kind a week shows nothing (common practice, no source).
const FEW_MISSES: f64 = 4.0;

/// What to practise next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Advice {
    NotEnough,
    StrikeIsDear,
    StrikeIsFrequent,
    DeliveryIsFrequent,
    KeepGoing,
}

impl Advice {
    /// As the data name it.
    pub fn name(self) -> &'static str {
        match self {
            Self::NotEnough => "not enough shots",
            Self::StrikeIsDear | Self::StrikeIsFrequent => "strike first",
            Self::DeliveryIsFrequent => "delivery first",
            Self::KeepGoing => "keep going",
        }
    }
}

/// The figures that the advice rests on.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Weighed {
    pub advice: Advice,
    pub strike_share: Option<f64>,
    pub strike_share_low: Option<f64>,
    pub delivery_share: Option<f64>,
    pub delivery_share_low: Option<f64>,
    pub probability_strike_leads: Option<f64>,
    pub loss_share: Option<f64>,
}

/// Weighs a week's figures.
pub(crate) fn weigh(facts: &PlanFacts) -> Weighed {
    let shots = plain_count(facts.shots);
    let shared = 0.5 * (plain_count(facts.misses_either) + plain_count(facts.misses_both_needed));
    let strike = (plain_count(facts.misses_strike) + shared).min(shots);
    let delivery = (plain_count(facts.misses_delivery) + shared).min(shots);
    // 80 % two-sided leaves 10 % below.
    let low = |weight: f64| wilson(weight, shots, 0.8).map(|interval| interval.low);
    let share = |weight: f64| (shots > 0.0).then(|| weight / shots);
    // Of the misses that one of the two explains, the strike's true share has a beta distribution (Jeffreys prior).
    let strike_leads = 1.0 - beta_reg(strike + 0.5, delivery + 0.5, 0.5);
    let reference = facts.reference_carry_m.filter(|carry| carry.is_finite() && *carry > 0.0);
    let loss = facts.carry_lost_mean_m.filter(|loss| loss.is_finite());
    let loss_share = loss.zip(reference).map(|(loss, carry)| loss / carry);
    let mut weighed = Weighed {
        advice: Advice::KeepGoing,
        strike_share: share(strike),
        strike_share_low: low(strike),
        delivery_share: share(delivery),
        delivery_share_low: low(delivery),
        probability_strike_leads: Some(strike_leads),
        loss_share,
    };
    let settings = facts.settings;
    let dear = |times: f64| loss_share.is_some_and(|share| share >= times * settings.dear_share);
    let loss_is_clear = facts.carry_lost_low_m.is_some_and(|low| low > 0.0);
    let frequent = |low: Option<f64>| low.is_some_and(|low| low >= settings.frequent_share);
    let judged = plain_count(facts.shots_judged).min(shots);
    weighed.advice = if judged < settings.enough_shots {
        Advice::NotEnough
    } else if loss_is_clear && dear(1.0) && (strike >= 0.5 * delivery || dear(1.5)) {
        Advice::StrikeIsDear
    } else if frequent(weighed.strike_share_low) && strike >= delivery {
        Advice::StrikeIsFrequent
    } else if frequent(weighed.delivery_share_low) && 1.0 - strike_leads >= CLEAR_LEAD {
        Advice::DeliveryIsFrequent
    } else {
        Advice::KeepGoing
    };
    weighed
}

/// A count that can be used: missing, negative and endless ones become zero.
fn plain_count(count: f64) -> f64 {
    if count.is_finite() { count.clamp(0.0, 1e6) } else { 0.0 }
}

/// The reason in one sentence, without a full stop.
pub(crate) fn reason(facts: &PlanFacts, weighed: &Weighed) -> String {
    let (shots, judged) = (plain_count(facts.shots), plain_count(facts.shots_judged));
    let (misses, strike) = (plain_count(facts.misses), plain_count(facts.misses_strike));
    let delivery = plain_count(facts.misses_delivery);
    let enough = facts.settings.enough_shots;
    let price = weighed.loss_share.map_or_else(
        || "what off-centre strikes cost cannot be told".to_owned(),
        |share| format!("off-centre strikes cost {:.1} % of the carry", 100.0 * share.max(0.0)),
    );
    // Where nobody missed, or no cause is known, a count of nothing says nothing.
    let by_strike = (strike + delivery > 0.0).then(|| {
        format!(
            "{} of {misses} misses would be mended by the strike alone, {} by the delivery alone",
            some(strike),
            some(delivery)
        )
    });
    let by_delivery = format!(
        "{} of {misses} misses would be mended by the intended delivery alone, {} by the strike alone",
        some(delivery),
        some(strike)
    );
    match weighed.advice {
        Advice::NotEnough if shots >= enough => format!(
            "the strike could be told for only {judged} of {shots} shots: with this club it must be measured or marked on the face"
        ),
        Advice::NotEnough => {
            format!("only {shots} full shots with this club this week; advice needs {enough} that can be judged")
        }
        Advice::StrikeIsDear => match by_strike {
            Some(by_strike) => format!("{price}; {by_strike}"),
            None => format!("{price}, though few misses come from it alone"),
        },
        Advice::StrikeIsFrequent => match by_strike {
            Some(by_strike) => format!("{by_strike}; {price}"),
            None => format!("strike and delivery together make {misses} of {shots} shots a miss; {price}"),
        },
        Advice::DeliveryIsFrequent => format!("{by_delivery}; {price}"),
        Advice::KeepGoing => format!(
            "{misses} misses in {shots} shots, {} mended by the strike alone and {} by the delivery alone, and {price}: {}",
            some(strike),
            some(delivery),
            standing(facts, weighed)
        ),
    }
}

/// What a week without a clear priority still shows: a coach must not read "all is well" where it is only not clear.
fn standing(facts: &PlanFacts, weighed: &Weighed) -> &'static str {
    let (strike, delivery) = (plain_count(facts.misses_strike), plain_count(facts.misses_delivery));
    let untold = plain_count(facts.misses_untold);
    let frequent = weighed.delivery_share_low.is_some_and(|low| low >= facts.settings.frequent_share);
    if frequent {
        "neither clearly leads, and no swing should be changed on that"
    } else if delivery >= FEW_MISSES && delivery >= 2.0 * strike {
        "most that can be explained come from the delivery, too few of the shots to advise a change by figures alone; look at the swing"
    } else if strike >= FEW_MISSES && strike >= 2.0 * delivery {
        "most that can be explained come from the strike, too few of the shots to put it first by figures alone"
    } else if untold >= FEW_MISSES {
        "no clear priority, with many misses of unknown cause"
    } else {
        "nothing stands out"
    }
}

/// A count in a sentence.
fn some(count: f64) -> String {
    if count > 0.0 { count.to_string() } else { "none".to_owned() }
}
