//! Which number a column is, in which unit and with which sign.

use shot::Quantity;

use super::numbers::{number_cell, sides_of, style_of};
use super::plan::{Ground, NumberPlan, Place, SignPlan, UnitPlace};
use super::roles::{NumberRole, Usual, names_negative_side, number_roles};
use super::table::Column;
use super::unit_words::{meaning_as, meanings, unit_of_header, without_unit};
use super::vocabulary::Concepts;
use crate::number::NumberStyle;
use crate::unit::Unit;

/// Which system of units the sample speaks elsewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Family {
    #[default]
    Unknown,
    Metric,
    Imperial,
}

impl Family {
    fn of_unit(code: &str) -> Family {
        match code {
            "[mi_i]/h" | "[ft_i]/s" | "[yd_i]" | "[ft_i]" | "[in_i]" | "[degF]" | "[in_i'Hg]" => Family::Imperial,
            "m/s" | "km/h" | "m" | "cm" | "mm" | "Cel" => Family::Metric,
            _ => Family::Unknown,
        }
    }

    /// The system that most of the units belong to.
    pub fn of_units<'a>(codes: impl Iterator<Item = &'a str>) -> Family {
        let (mut metric, mut imperial) = (0, 0);
        for code in codes {
            match Family::of_unit(code) {
                Family::Metric => metric += 1,
                Family::Imperial => imperial += 1,
                Family::Unknown => {}
            }
        }
        match metric.cmp(&imperial) {
            std::cmp::Ordering::Greater => Family::Metric,
            std::cmp::Ordering::Less => Family::Imperial,
            std::cmp::Ordering::Equal => Family::Unknown,
        }
    }
}

/// The numbers of a column.
struct Numbers {
    values: Vec<f64>,
    suffixes: Vec<String>,
    style: Option<NumberStyle>,
}

/// Reads a column as numbers, if most of its texts are.
fn numbers_of(column: &Column, style: NumberStyle) -> Option<Numbers> {
    let filled: Vec<&str> = column.filled().collect();
    if filled.is_empty() {
        return None;
    }
    let read = |style: NumberStyle| {
        let (mut values, mut suffixes) = (Vec::new(), Vec::new());
        for cell in filled.iter().filter_map(|text| number_cell(text)) {
            if let Ok(value) = style.parse(cell.number) {
                values.push(value);
                suffixes.push(cell.suffix.to_owned());
            }
        }
        (values, suffixes)
    };
    let most = |values: &[f64]| values.len() * 10 >= filled.len() * 7;
    let point = NumberStyle { decimal: '.', group: None };
    let (values, suffixes) = read(if column.native { point } else { style });
    if most(&values) {
        return Some(Numbers { values, suffixes, style: None });
    }
    let own = style_of(filled.iter().copied()).style;
    let (values, suffixes) = read(own);
    most(&values).then_some(Numbers { values, suffixes, style: Some(own) })
}

/// Units that a number without a unit word can be in, with how common they are (common practice, no source).
fn candidates(role: NumberRole) -> &'static [(&'static str, f64)] {
    use Quantity as Q;
    match role {
        NumberRole::Direct(Q::StrikeToeMm | Q::StrikeUpMm | Q::StrikeSdMm) => {
            &[("mm", 0.8), ("[in_i]", 0.12), ("cm", 0.08)]
        }
        NumberRole::Direct(Q::PeakHeightM) => &[("m", 0.45), ("[ft_i]", 0.35), ("[yd_i]", 0.2)],
        NumberRole::Direct(Q::CarryM | Q::LateralM | Q::RestDistanceM) => {
            &[("m", 0.5), ("[yd_i]", 0.45), ("[ft_i]", 0.05)]
        }
        NumberRole::Direct(Q::BallSpeedMps | Q::ClubSpeedMps | Q::WindAlongMps | Q::WindAcrossMps) => {
            &[("[mi_i]/h", 0.43), ("m/s", 0.37), ("km/h", 0.18), ("[ft_i]/s", 0.02)]
        }
        _ => match role.unit() {
            "deg" => &[("deg", 0.98), ("rad", 0.02)],
            "/min" => &[("/min", 0.98), ("/s", 0.02)],
            "Cel" => &[("Cel", 0.6), ("[degF]", 0.38), ("K", 0.02)],
            "hPa" => &[("hPa", 0.7), ("[in_i'Hg]", 0.15), ("kPa", 0.1), ("Pa", 0.05)],
            "%" => &[("%", 0.9), ("1", 0.1)],
            "s" => &[("s", 0.95), ("ms", 0.05)],
            _ => &[("1", 1.0)],
        },
    }
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or_default()
}

/// How usual the values are, as the logarithm of a likelihood.
fn usualness(role: NumberRole, values: &[f64]) -> f64 {
    let sizes: Vec<f64> = values.iter().map(|value| value.abs()).collect();
    let deviation = match role.usual() {
        Usual::Size { middle, factor } => (median(&sizes).max(1e-9) / middle).ln() / factor.ln(),
        // The median size of a normal draw is about two thirds of its deviation.
        Usual::Sides { spread } => (median(&sizes).max(spread * 1e-3) / (0.67 * spread)).ln() / 2.5_f64.ln(),
        Usual::Middle { middle, spread } => (median(values) - middle) / spread,
    };
    -0.5 * deviation * deviation
}

struct UnitChoice {
    unit: Unit,
    place: UnitPlace,
    other: Option<&'static str>,
    words: Vec<(String, &'static str)>,
}

/// The unit of a column for a role; nothing where the words for it say that the column is something else.
fn unit_of(column: &Column, role: NumberRole, numbers: &Numbers, target: Unit, family: Family) -> Option<UnitChoice> {
    let mut suffixes: Vec<&String> = numbers.suffixes.iter().filter(|suffix| !meanings(suffix).is_empty()).collect();
    suffixes.sort();
    suffixes.dedup();
    let is_sides = sides_of(numbers.suffixes.iter().map(String::as_str)).is_some();
    if !suffixes.is_empty() && !is_sides {
        let units: Option<Vec<Unit>> = suffixes.iter().map(|word| meaning_as(word, target)).collect();
        let units = units?;
        let words = suffixes.iter().zip(&units).map(|(word, unit)| ((*word).clone(), unit.code)).collect();
        return Some(UnitChoice { unit: *units.first()?, place: UnitPlace::Value, other: None, words });
    }
    let in_row = column.unit_word.as_deref().filter(|word| !meanings(word).is_empty());
    if let Some(word) = in_row {
        let unit = meaning_as(word, target)?;
        let words = vec![(word.to_owned(), unit.code)];
        return Some(UnitChoice { unit, place: UnitPlace::UnitsRow, other: None, words });
    }
    if let Some((field, found)) = &column.unit_field {
        let units: Vec<(String, &'static str)> =
            found.iter().filter_map(|word| Some((word.clone(), meaning_as(word, target)?.code))).collect();
        // Words for another dimension belong to another column.
        let unit = Unit::parse(units.first()?.1)?;
        return Some(UnitChoice { unit, place: UnitPlace::Field(field.clone()), other: None, words: units });
    }
    if let Some(word) = column.stated_unit.as_deref().or_else(|| unit_of_header(&column.name)) {
        let unit = meaning_as(word, target)?;
        return Some(UnitChoice { unit, place: UnitPlace::Header, other: None, words: Vec::new() });
    }
    let mut rated: Vec<(f64, Unit)> = Vec::new();
    for (code, prior) in candidates(role) {
        let Some(unit) = Unit::parse(code).filter(|unit| unit.converts_to(target)) else { continue };
        let converted: Vec<f64> = numbers.values.iter().map(|value| unit.convert(*value, target)).collect();
        let spoken = Family::of_unit(code);
        let favour = if family != Family::Unknown && spoken == family { 6.0_f64 } else { 1.0 };
        rated.push((usualness(role, &converted) + (prior * favour).ln(), unit));
    }
    rated.sort_by(|one, other| other.0.total_cmp(&one.0));
    let (best, unit) = *rated.first()?;
    // Below a seventh of the best one's weight a unit is no doubt any more.
    let other = rated.get(1).filter(|(score, _)| *score > best - 7.0_f64.ln()).map(|(_, unit)| unit.code);
    Some(UnitChoice { unit, place: UnitPlace::Range, other, words: Vec::new() })
}

/// Proposals for one column: every role that its words, unit and values allow.
pub(super) fn propose(column: &Column, place: &Place, style: NumberStyle, family: Family) -> Vec<NumberPlan> {
    let Some(numbers) = numbers_of(column, style) else { return Vec::new() };
    let concepts = Concepts::of(&without_unit(&column.name));
    let roles = number_roles(concepts);
    let strongest = roles.first().map_or(0, |(_, points)| *points);
    let mut plans = Vec::new();
    for (role, points) in roles {
        // A column that clearly is one thing is not taken for a second one because the first is taken.
        if points + 30 >= strongest {
            plans.extend(plan(column, place, &numbers, family, role, points, concepts));
        }
    }
    if plans.is_empty()
        && let Some((role, points)) = told_by_unit(column, &numbers)
    {
        plans.extend(plan(column, place, &numbers, family, role, points, concepts));
    }
    plans
}

/// Some units leave one quantity only: a rate of rotation is spin, whatever it is called.
fn told_by_unit(column: &Column, numbers: &Numbers) -> Option<(NumberRole, u32)> {
    let in_field = column.unit_field.as_ref().and_then(|(_, words)| words.first());
    let behind = numbers.suffixes.iter().find(|suffix| !suffix.is_empty());
    let in_name = || unit_of_header(&column.name);
    let word =
        column.unit_word.as_deref().or(in_field.map(String::as_str)).or_else(in_name).or(behind.map(String::as_str))?;
    let role = match meanings(word).first()?.code {
        "/min" | "/s" => Quantity::SpinRpm,
        "hPa" | "mbar" | "kPa" | "[in_i'Hg]" => Quantity::PressureHpa,
        "Cel" | "[degF]" => Quantity::TemperatureC,
        _ => return None,
    };
    Some((NumberRole::Direct(role), 45))
}

fn plan(
    column: &Column,
    place: &Place,
    numbers: &Numbers,
    family: Family,
    role: NumberRole,
    points: u32,
    concepts: Concepts,
) -> Option<NumberPlan> {
    let target = Unit::parse(role.unit())?;
    let choice = unit_of(column, role, numbers, target, family)?;
    let sides = sides_of(numbers.suffixes.iter().map(String::as_str)).filter(|_| role.is_sided());
    let stray = numbers.suffixes.iter().filter(|suffix| !suffix.is_empty()).count();
    if stray * 5 > numbers.values.len() && sides.is_none() && !matches!(choice.place, UnitPlace::Value) {
        return None;
    }
    let converted: Vec<f64> = numbers.values.iter().map(|value| choice.unit.convert(*value, target)).collect();
    let (lowest, highest) = role.limits();
    let inside = converted.iter().filter(|value| (lowest..=highest).contains(*value)).count() as f64;
    // Where each row names its own unit, one unit for all says little.
    let mixed = choice.words.len() > 1;
    let share = if mixed { 1.0 } else { inside / converted.len().max(1) as f64 };
    if share < 0.6 {
        return None;
    }
    let mut because = vec!["header words".to_owned()];
    let mut confidence = f64::from(points) - 40.0 * (1.0 - share) - f64::from(u8::from(column.outside));
    match &choice.place {
        UnitPlace::Range => {
            confidence += if choice.other.is_some() { -8.0 } else { 4.0 };
            let shown =
                format!("no unit written, a middle value of {:.1} fits {}", median(&numbers.values), choice.unit.code);
            because.push(shown);
        }
        UnitPlace::Header => {
            confidence += 10.0;
            because.push("unit in the header".to_owned());
        }
        UnitPlace::UnitsRow => {
            confidence += 10.0;
            because.push("unit in the units row".to_owned());
        }
        UnitPlace::Value => {
            confidence += 10.0;
            because.push("unit behind the values".to_owned());
        }
        UnitPlace::Field(_) => {
            confidence += 10.0;
            because.push("unit in a field of its own".to_owned());
        }
    }
    // Values far from anything usual speak against the words; sided numbers of which none is negative do a little.
    let usual = if mixed { 0.0 } else { usualness(role, &converted) };
    confidence += (usual * 2.0).max(-20.0);
    if usual < -4.5 {
        because.push("but unusual values".to_owned());
    }
    let sign = match sides {
        Some((positive, negative)) => {
            because.push("side words behind the values".to_owned());
            confidence += 4.0;
            SignPlan::Suffix { positive, negative }
        }
        None if names_negative_side(role, concepts) => SignPlan::Inverted,
        None => SignPlan::Plain,
    };
    Some(NumberPlan {
        role,
        place: place.clone(),
        unit: choice.unit.code,
        unit_place: choice.place,
        unit_words: choice.words,
        other_unit: choice.other,
        sign,
        style: numbers.style,
        ground: Ground {
            confidence: confidence.clamp(0.0, 99.0).round() as u32,
            because,
            example: column.filled().next().unwrap_or_default().to_owned(),
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const POINT: NumberStyle = NumberStyle { decimal: '.', group: None };

    fn unit(header: &str, values: &[&str], family: Family) -> (String, &'static str, Option<&'static str>) {
        let column = Column {
            name: header.to_owned(),
            texts: values.iter().map(|value| Some((*value).to_owned())).collect(),
            ..Column::default()
        };
        let plans = propose(&column, &Place::Field(header.to_owned()), POINT, family);
        let plan = plans.into_iter().max_by_key(|plan| plan.ground.confidence).expect("a plan");
        (plan.role.name().to_owned(), plan.unit, plan.other_unit)
    }

    #[test]
    fn the_size_of_the_values_tells_the_unit() {
        // [derived: 150 mph = 67.1 m/s, 241 km/h = 66.9 m/s, 1 in = 25.4 mm; which sizes are usual: common practice, no source]
        let ball = |values: &[&str]| unit("Ball Speed", values, Family::Unknown).1;
        assert_eq!(ball(&["150", "148.2", "151"]), "[mi_i]/h");
        assert_eq!(ball(&["67", "66.2", "68"]), "m/s");
        assert_eq!(ball(&["241", "238", "244"]), "km/h");
        assert_eq!(unit("Club Speed", &["160", "162"], Family::Metric).1, "km/h");
        assert_eq!(unit("Impact toe", &["-12.0", "8", "3"], Family::Unknown).1, "mm");
        assert_eq!(unit("Impact toe", &["-0.47", "0.31", "0.1"], Family::Unknown).1, "[in_i]");
        assert_eq!(unit("Air temperature", &["68", "70"], Family::Unknown).1, "[degF]");
        assert_eq!(unit("Air temperature", &["19.5"], Family::Unknown).1, "Cel");
        assert_eq!(unit("Air pressure", &["29.92"], Family::Unknown).1, "[in_i'Hg]");
        assert_eq!(unit("Carry", &["231"], Family::Imperial), ("carry_m".to_owned(), "[yd_i]", Some("m")));
    }

    #[test]
    fn a_unit_of_another_kind_refuses_the_role() {
        let column = Column { name: "Ball Speed [deg]".into(), texts: vec![Some("12".into())], ..Column::default() };
        assert!(propose(&column, &Place::Field("x".into()), POINT, Family::Unknown).is_empty());
        let texts = Column { name: "Ball Speed".into(), texts: vec![Some("fast".into())], ..Column::default() };
        assert!(propose(&texts, &Place::Field("x".into()), POINT, Family::Unknown).is_empty());
    }
}
