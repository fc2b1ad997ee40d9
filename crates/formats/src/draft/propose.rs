//! One role for each column, one column for each role: the surest pairs first, the others become questions.

use std::collections::BTreeSet;

use super::numbers::style_of;
use super::plan::{LeftOut, NumberPlan, Place, Plan, TextPlan, TextRole, TimePlan, UnitPlace};
use super::propose_numbers::{self, Family};
use super::propose_texts;
use super::roles::NumberRole;
use super::table::{Column, Table};
use super::{file_names::NameGuess, propose_time, unit_words};
use shot::Quantity;

/// Confidence below which a column is left alone.
const ENOUGH: u32 = 40;

enum Proposal {
    Number(NumberPlan),
    Text(TextPlan),
}

impl Proposal {
    fn confidence(&self) -> u32 {
        match self {
            Proposal::Number(plan) => plan.ground.confidence,
            Proposal::Text(plan) => plan.ground.confidence,
        }
    }

    fn place(&self) -> &Place {
        match self {
            Proposal::Number(plan) => &plan.place,
            Proposal::Text(plan) => &plan.place,
        }
    }

    fn role(&self) -> String {
        match self {
            Proposal::Number(plan) => plan.role.name().to_owned(),
            Proposal::Text(plan) => plan.role.key().to_owned(),
        }
    }
}

/// Numbers that may stand once for all records.
fn stands_outside(role: NumberRole) -> bool {
    use Quantity as Q;
    matches!(
        role,
        NumberRole::Direct(
            Q::TemperatureC | Q::PressureHpa | Q::HumidityPct | Q::WindAlongMps | Q::WindAcrossMps | Q::AimDeg
        )
    )
}

/// Decides for a whole sample. The second value says why no time was found, where none was.
pub(super) fn decide(table: &Table, name: &NameGuess) -> (Plan, Option<String>) {
    let cells = table.columns.iter().filter(|column| !column.native).flat_map(Column::filled);
    let style = style_of(cells.chain(table.preamble.iter().map(|(_, value)| value.as_str()))).style;
    let (family, proposals) = proposals_in_one_family(table, style);
    let (time, obstacle) = match propose_time::propose(table, name.date(), family) {
        Ok(time) => (Some(time), None),
        Err(why) => (None, Some(why)),
    };
    let mut plan = Plan { style: Some(style), ..Plan::default() };
    assign(&mut plan, time.as_ref(), proposals);
    plan.time = time;
    name_places(&mut plan, name);
    derive(&mut plan);
    tell_left_out(&mut plan, table);
    (plan, obstacle)
}

/// Proposals for every column. The system of units is told by the units that are written; where none is, by the speeds.
fn proposals_in_one_family(table: &Table, style: crate::number::NumberStyle) -> (Family, Vec<Proposal>) {
    let numbers = |family: Family| {
        let mut plans = Vec::new();
        for column in table.columns.iter().filter(|column| !column.twin) {
            plans.extend(propose_numbers::propose(column, &Place::Field(column.name.clone()), style, family));
        }
        for (key, column) in preamble_columns(table) {
            let found = propose_numbers::propose(&column, &Place::Preamble(key), style, family);
            plans.extend(found.into_iter().filter(|plan| stands_outside(plan.role)));
        }
        plans
    };
    let first = numbers(Family::Unknown);
    let written = |plan: &&NumberPlan| plan.unit_place != UnitPlace::Range;
    let mut family = Family::of_units(first.iter().filter(written).map(|plan| plan.unit));
    if family == Family::Unknown {
        let speeds = [Quantity::BallSpeedMps, Quantity::ClubSpeedMps].map(NumberRole::Direct);
        family = Family::of_units(first.iter().filter(|plan| speeds.contains(&plan.role)).map(|plan| plan.unit));
    }
    let mut proposals: Vec<Proposal> = numbers(family).into_iter().map(Proposal::Number).collect();
    for column in table.columns.iter().filter(|column| !column.twin) {
        let found = propose_texts::propose(column, &Place::Field(column.name.clone()));
        proposals.extend(found.into_iter().map(Proposal::Text));
    }
    for (key, column) in preamble_columns(table) {
        let found = propose_texts::propose(&column, &Place::Preamble(key));
        let told_once = |plan: &TextPlan| plan.role != TextRole::Shot;
        proposals.extend(found.into_iter().filter(told_once).map(Proposal::Text));
    }
    (family, proposals)
}

/// What stands outside the records, each as a column of one value, with its key. Of a document's path the outermost step says nothing.
fn preamble_columns(table: &Table) -> Vec<(String, Column)> {
    let column = |(key, value): &(String, String)| {
        let unit = |(other, word): &&(String, String)| {
            other.strip_prefix(key.as_str()).is_some_and(|rest| rest.starts_with(['/', '_', '.', ' ', '-']))
                && is_unit(word)
        };
        let column = Column {
            name: key.split_once('/').map_or(key.as_str(), |(_, rest)| rest).to_owned(),
            texts: vec![Some(value.clone())],
            always: true,
            stated_unit: table.preamble.iter().find(unit).map(|(_, word)| word.clone()),
            ..Column::default()
        };
        (key.clone(), column)
    };
    table.preamble.iter().map(column).collect()
}

fn is_unit(word: &str) -> bool {
    !unit_words::meanings(word).is_empty()
}

fn assign(plan: &mut Plan, time: Option<&TimePlan>, mut proposals: Vec<Proposal>) {
    let mut taken: BTreeSet<Place> = time.iter().flat_map(|time| time.parts.clone()).collect();
    // Stable, so that of equals the earlier column wins.
    proposals.sort_by_key(|proposal| std::cmp::Reverse(proposal.confidence()));
    let mut filled: Vec<(String, Place)> = Vec::new();
    let mut losers: Vec<(Place, String, Place, String)> = Vec::new();
    for proposal in proposals {
        if proposal.confidence() < ENOUGH || taken.contains(proposal.place()) {
            continue;
        }
        let role = proposal.role();
        if let Some((_, winner)) = filled.iter().find(|(known, _)| *known == role) {
            let example = match &proposal {
                Proposal::Number(plan) => plan.ground.example.clone(),
                Proposal::Text(_) => String::new(),
            };
            // The same value at two places of a document is no rival.
            if !matches!(proposal.place(), Place::Field(name) if name.starts_with("../")) {
                losers.push((proposal.place().clone(), role, winner.clone(), example));
            }
            continue;
        }
        taken.insert(proposal.place().clone());
        filled.push((role, proposal.place().clone()));
        match proposal {
            Proposal::Number(number) => plan.numbers.push(number),
            Proposal::Text(text) => plan.texts.push(text),
        }
    }
    for (place, role, winner, example) in losers {
        if !taken.contains(&place) {
            taken.insert(place.clone());
            let why = format!("could be {role} too, for which \"{}\" was taken", winner.shown());
            plan.left_out.push(LeftOut { place, why, asks: true, example });
        }
    }
    plan.numbers.sort_by_key(|number| number.role);
    plan.texts.sort_by_key(|text| text.role);
}

/// What the file name tells where the records do not.
fn name_places(plan: &mut Plan, name: &NameGuess) {
    if plan.text(TextRole::Bay).is_none()
        && let Some(capture) = name.bay()
    {
        plan.texts.push(TextPlan {
            role: TextRole::Bay,
            place: Place::FileName(capture.0.to_owned()),
            words: Vec::new(),
            always: true,
            ground: super::plan::Ground {
                confidence: 70,
                because: vec!["number behind a word for a bay in the file name".to_owned()],
                example: capture.1.to_owned(),
            },
        });
        plan.texts.sort_by_key(|text| text.role);
    }
}

/// Leaves out the parts of a derivation that is not needed, or cannot be made.
fn derive(plan: &mut Plan) {
    let has = |quantity: Quantity| plan.number(NumberRole::Direct(quantity)).is_some();
    let has_role = |role: NumberRole| plan.number(role).is_some();
    let mut useless: Vec<(NumberRole, &str)> = Vec::new();
    let both_spins = has_role(NumberRole::BackSpin) && has_role(NumberRole::SideSpin);
    if has(Quantity::SpinRpm) || has(Quantity::SpinTiltDeg) || !both_spins {
        let why = if both_spins {
            "is not needed: the whole spin stands in the file"
        } else {
            "gives rate and tilt only together with its other half"
        };
        useless.extend([(NumberRole::BackSpin, why), (NumberRole::SideSpin, why)]);
    }
    if has(Quantity::FaceDeg) || !has(Quantity::PathDeg) {
        let why = if has(Quantity::FaceDeg) {
            "is not needed: the face stands in the file"
        } else {
            "gives the face only with the path"
        };
        useless.push((NumberRole::FaceToPath, why));
    }
    let speeds = usize::from(has(Quantity::BallSpeedMps)) + usize::from(has(Quantity::ClubSpeedMps));
    if speeds != 1 {
        let why = if speeds == 2 {
            "is not needed: both speeds stand in the file"
        } else {
            "gives a speed only with the other one"
        };
        useless.push((NumberRole::SpeedRatio, why));
    }
    for (role, why) in useless {
        if let Some(place) = plan.numbers.iter().position(|number| number.role == role) {
            let number = plan.numbers.remove(place);
            plan.left_out.push(LeftOut {
                place: number.place,
                why: why.to_owned(),
                asks: false,
                example: number.ground.example,
            });
        }
    }
}

fn tell_left_out(plan: &mut Plan, table: &Table) {
    let mut known: BTreeSet<Place> = plan.left_out.iter().map(|left| left.place.clone()).collect();
    known.extend(plan.numbers.iter().map(|number| number.place.clone()));
    known.extend(plan.texts.iter().map(|text| text.place.clone()));
    known.extend(plan.time.iter().flat_map(|time| time.parts.clone()));
    for column in &table.columns {
        let place = Place::Field(column.name.clone());
        if known.contains(&place) {
            continue;
        }
        let (why, asks) = if column.twin {
            ("two columns bear this name, so that neither can be read", true)
        } else if column.filled().next().is_none() {
            ("it is empty in every row of the sample", false)
        } else {
            ("nothing tells what it is", false)
        };
        let example = column.filled().next().unwrap_or_default().to_owned();
        plan.left_out.push(LeftOut { place, why: why.to_owned(), asks, example });
    }
}
