//! `[measures...]` and `[derived...]` of a drafted pack.

use shot::Quantity;

use super::compose::source;
use super::page::{Page, list, quoted, shown};
use super::plan::{NumberPlan, Plan, SignPlan, UnitPlace};
use super::roles::NumberRole;

/// Writes every number of the plan.
pub(super) fn write_measures(page: &mut Page, plan: &Plan) {
    let direct: Vec<&NumberPlan> =
        plan.numbers.iter().filter(|number| matches!(number.role, NumberRole::Direct(_))).collect();
    ask_about_all(page, plan);
    for number in &direct {
        page.table(&format!("measures.{}", number.role.name()));
        comment(page, number);
        write_keys(page, number);
        page.line("measured = false # DECIDE");
        if number.role == NumberRole::Direct(Quantity::FaceDeg) {
            ask_reference(page);
        }
    }
    write_derived(page, plan);
}

/// Questions that concern several numbers alike are asked once.
fn ask_about_all(page: &mut Page, plan: &Plan) {
    if plan.numbers.is_empty() {
        return;
    }
    // A blank line and the table's head come before the first number.
    page.line("");
    page.ask_ahead(
        "Which numbers does the device measure, and which does it only compute? All stand at measured = false, so that none \
         counts as evidence; set true only where the maker says so, with its standardDeviation."
            .to_owned(),
    );
    page.comment(
        "measured = false: the device computes it, no evidence. DECIDE for each, from the maker's data sheet.",
    );
    let sided: Vec<String> = plan
        .numbers
        .iter()
        .filter(|number| number.role.is_sided() && number.sign == SignPlan::Plain)
        .map(|number| format!("{} positive = {}", shown(&number.place.shown()), number.role.positive()))
        .collect();
    if !sided.is_empty() {
        page.ask_ahead(format!(
            "Are these signs the device's? {}. Hit one shot that is plainly right, high and off the toe and look; where it is the \
             other way round, add sign = \"inverted\".",
            sided.join("; ")
        ));
        page.comment("Signs were taken as ours: right, up, toward the toe and the crown positive. DECIDE.");
    }
}

fn comment(page: &mut Page, number: &NumberPlan) {
    page.comment(&format!(
        "{} such as {}: {}; {} of 100 sure.",
        shown(&number.place.shown()),
        shown(&number.ground.example),
        number.ground.because.join("; "),
        number.ground.confidence
    ));
}

fn ask_reference(page: &mut Page) {
    page.decide(
        "faceReference = \"face-centre\"",
        "Does the device give the face angle at the face's centre, or at the strike point (faceReference = \"strike-point\")?".to_owned(),
    );
}

/// Source, unit, sign and style, one key a line.
fn write_keys(page: &mut Page, number: &NumberPlan) {
    for key in keys(number) {
        let is_unit = key.starts_with("unit =");
        match number.other_unit.filter(|_| is_unit && number.unit_place == UnitPlace::Range) {
            Some(other) => {
                let question = format!(
                    "No unit is written for {}; the values fit {} best, {} would do too.",
                    shown(&number.place.shown()),
                    number.unit,
                    other
                );
                page.decide(&key, question);
            }
            None if key.starts_with("sign = \"inverted\"") => {
                let question = format!(
                    "The header of {} names our negative side, so its sign is turned round: positive shall be {}. Is that so?",
                    shown(&number.place.shown()),
                    number.role.positive()
                );
                page.decide(&key, question);
            }
            None => {
                page.line(&key);
            }
        }
    }
}

fn keys(number: &NumberPlan) -> Vec<String> {
    let mut keys = vec![source(&number.place), format!("unit = {}", quoted(number.unit))];
    match &number.unit_place {
        UnitPlace::UnitsRow => keys.push("unitFrom = \"units-row\"".to_owned()),
        UnitPlace::Value => keys.push("unitFrom = \"value\"".to_owned()),
        UnitPlace::Field(name) => {
            keys.push("unitFrom = \"field\"".to_owned());
            keys.push(format!("unitField = {}", quoted(name)));
        }
        UnitPlace::Header | UnitPlace::Range => {}
    }
    match &number.sign {
        SignPlan::Plain => {}
        SignPlan::Inverted => keys.push("sign = \"inverted\"".to_owned()),
        SignPlan::Suffix { positive, negative } => {
            keys.push("sign = \"suffix\"".to_owned());
            keys.push(format!("positiveSuffix = {}", list(positive.iter().map(String::as_str))));
            keys.push(format!("negativeSuffix = {}", list(negative.iter().map(String::as_str))));
        }
    }
    if let Some(style) = number.style {
        keys.push(format!("decimalChar = {}", quoted(&style.decimal.to_string())));
        if let Some(group) = style.group {
            keys.push(format!("groupChar = {}", quoted(&group.to_string())));
        }
    }
    keys
}

fn inline(number: &NumberPlan) -> String {
    format!("{{ {} }}", keys(number).join(", "))
}

fn write_derived(page: &mut Page, plan: &Plan) {
    if let (Some(back), Some(side)) = (plan.number(NumberRole::BackSpin), plan.number(NumberRole::SideSpin)) {
        page.table("derived.spin");
        page.comment("Rate and tilt of the spin from its two parts.");
        comment(page, back);
        page.line(&format!("backSpin = {}", inline(back)));
        comment(page, side);
        page.line(&format!("sideSpin = {}", inline(side)));
        page.line("measured = false # DECIDE");
    }
    if let Some(angle) = plan.number(NumberRole::FaceToPath) {
        page.table("derived.face");
        page.comment("The face from its angle to the path.");
        comment(page, angle);
        page.line(&format!("faceToPath = {}", inline(angle)));
        page.line("measured = false # DECIDE");
        ask_reference(page);
    }
    if let Some(ratio) = plan.number(NumberRole::SpeedRatio) {
        let has_ball = plan.number(NumberRole::Direct(Quantity::BallSpeedMps)).is_some();
        let gives = if has_ball { Quantity::ClubSpeedMps } else { Quantity::BallSpeedMps };
        page.table("derived.speed");
        page.comment("One speed from the other and their ratio.");
        comment(page, ratio);
        page.line(&format!("ratio = {}", inline(ratio)));
        page.line(&format!("gives = {}", quoted(gives.name())));
        page.line("measured = false # DECIDE");
    }
}
