//! Which text a column is: player, club, shot number, session, bay, purpose, hand.

use super::club_words::{club_of, environment_of, hand_of, intent_of};
use super::plan::{Ground, Place, TextPlan, TextRole};
use super::table::Column;
use super::vocabulary::{Concept, Concepts};

/// Different words of a column that a map of words can list.
const MOST_WORDS: usize = 60;

/// The words of a header, or of the last two steps of a path: what encloses a value further out says nothing about it.
fn own_words(name: &str) -> String {
    let is_name = |step: &&str| !step.is_empty() && *step != "*" && !step.bytes().all(|byte| byte.is_ascii_digit());
    let steps: Vec<&str> = name.split(['.', '/']).filter(is_name).collect();
    if steps.len() > 2 { steps[steps.len() - 2..].join(" ") } else { name.to_owned() }
}

/// Whether a column that is not taken for the player's may still name a person: its name speaks of one, and it holds words
/// that are no hands and no clubs.
pub(super) fn may_name_a_person(column: &Column) -> bool {
    let concepts = Concepts::of(&column.name);
    let speaks_of_people = concepts.has(Concept::Player) || concepts.has(Concept::Coach);
    let is_word = |text: &str| {
        text.chars().filter(|letter| letter.is_alphabetic()).count() >= 2
            && club_of(text).is_none()
            && hand_of(text).is_none()
            && intent_of(text).is_none()
    };
    speaks_of_people && column.filled().any(is_word)
}

/// Proposals for one column.
pub(super) fn propose(column: &Column, place: &Place) -> Vec<TextPlan> {
    let concepts = Concepts::of(&own_words(&column.name));
    let has = |concept| concepts.has(concept);
    let distinct = column.distinct();
    if distinct.is_empty() {
        return Vec::new();
    }
    let share = |known: &dyn Fn(&str) -> bool| {
        distinct.keys().filter(|text| known(text)).count() as f64 / distinct.len() as f64
    };
    let lettered = share(&|text| text.chars().any(char::is_alphabetic));
    let listable = distinct.len() <= MOST_WORDS;
    let mut found: Vec<(TextRole, u32, &str)> = Vec::new();

    let clubs = share(&|text| club_of(text).is_some());
    match (clubs >= 0.5, has(Concept::Club)) {
        (true, true) => found.push((TextRole::Club, 97, "header words, and its values are clubs")),
        (true, false) => found.push((TextRole::Club, 80, "its values are clubs")),
        (false, true) if lettered > 0.8 && listable && !has(Concept::Speed) => {
            found.push((TextRole::Club, 60, "header words"));
        }
        _ => {}
    }
    let other_name = [Concept::Club, Concept::Session, Concept::Bay, Concept::Ball, Concept::Coach, Concept::Kind];
    let hands = share(&|text| hand_of(text).is_some());
    let is_other = other_name.iter().any(|concept| has(*concept)) || clubs >= 0.5 || hands >= 0.8;
    if has(Concept::Player) && !is_other {
        let points = if lettered > 0.8 { 90 } else { 55 };
        found.push((TextRole::Player, points, "header words"));
    }
    let intents = share(&|text| intent_of(text).is_some());
    match (intents >= 0.5 && listable, has(Concept::Intent)) {
        (true, true) => found.push((TextRole::Intent, 95, "header words, and its values are purposes")),
        (true, false) => found.push((TextRole::Intent, 62, "its values are purposes")),
        (false, true) if listable && lettered > 0.8 => found.push((TextRole::Intent, 50, "header words")),
        _ => {}
    }
    if has(Concept::Hand) && share(&|text| hand_of(text).is_some()) >= 0.8 {
        found.push((TextRole::Hand, 90, "header words, and its values are hands"));
    }
    if share(&|text| environment_of(text).is_some()) >= 0.8 && has(Concept::Environment) {
        found.push((TextRole::Environment, 90, "header words, and its values are places"));
    }
    let counts = is_counter(column);
    let numbered = has(Concept::Number) || (has(Concept::Shot) && !has(Concept::Speed));
    let other_number =
        [Concept::Player, Concept::Bay, Concept::Session, Concept::Club, Concept::Ball].into_iter().any(has);
    match (counts, numbered && !other_number) {
        (true, true) => found.push((TextRole::Shot, 95, "header words, and it counts up")),
        (true, false) if !other_number && has(Concept::Shot) => found.push((TextRole::Shot, 70, "it counts up")),
        (false, true) if has(Concept::Shot) && has(Concept::Number) => found.push((TextRole::Shot, 72, "header words")),
        _ => {}
    }
    if has(Concept::Session) && !has(Concept::Time) && !has(Concept::Date) {
        found.push((TextRole::Session, 82, "header words"));
    }
    let is_measured = |text: &str| text.starts_with('-') || text.contains(['.', ',']);
    if has(Concept::Bay)
        && !distinct.keys().any(|text| is_measured(text))
        && distinct.len() <= 40
        && !has(Concept::Session)
        && !has(Concept::Temperature)
    {
        found.push((TextRole::Bay, 82, "header words"));
    }
    if has(Concept::Ball) && has(Concept::Kind) && lettered > 0.8 {
        found.push((TextRole::BallKind, 80, "header words"));
    }

    let words: Vec<String> =
        if listable { distinct.keys().map(|text| (*text).to_owned()).collect() } else { Vec::new() };
    let example = column.filled().next().unwrap_or_default().to_owned();
    let all_filled = column.texts.iter().all(Option::is_some);
    // Of a value that stands twice, the place outside the records is the plainer one.
    let outside = u32::from(column.outside);
    let plan = |(role, confidence, because): (TextRole, u32, &str)| TextPlan {
        role,
        place: place.clone(),
        words: words.clone(),
        always: all_filled,
        ground: Ground {
            confidence: confidence.saturating_sub(outside),
            because: vec![because.to_owned()],
            example: example.clone(),
        },
    };
    found.into_iter().map(plan).collect()
}

/// Whole numbers that go up, nearly always by one.
fn is_counter(column: &Column) -> bool {
    let numbers: Vec<i64> = column.filled().filter_map(|text| text.trim_end_matches(".0").parse().ok()).collect();
    let filled = column.filled().count();
    if numbers.len() < 2 || numbers.len() * 10 < filled * 9 {
        return numbers.len() == 1 && filled == 1;
    }
    let steps = numbers.windows(2).filter(|pair| pair[0].checked_add(1) == Some(pair[1])).count();
    steps * 10 >= (numbers.len() - 1) * 7
}

#[cfg(test)]
mod tests {
    use super::*;

    fn best(header: &str, values: &[&str]) -> Option<TextRole> {
        let column = Column {
            name: header.to_owned(),
            texts: values.iter().map(|value| Some((*value).to_owned())).collect(),
            ..Column::default()
        };
        let plans = propose(&column, &Place::Field(header.to_owned()));
        plans.into_iter().max_by_key(|plan| plan.ground.confidence).map(|plan| plan.role)
    }

    #[test]
    fn texts_are_told_by_header_and_values() {
        assert_eq!(best("No", &["1", "2", "3"]), Some(TextRole::Shot));
        assert_eq!(best("Shot", &["17", "18", "19"]), Some(TextRole::Shot));
        assert_eq!(best("Spieler", &["Wren", "Heron"]), Some(TextRole::Player));
        assert_eq!(best("Gear", &["7 Iron", "PW", "Driver"]), Some(TextRole::Club));
        assert_eq!(best("Club Name", &["7 Iron"]), Some(TextRole::Club));
        assert_eq!(best("Absicht", &["Übung", "Spiel"]), Some(TextRole::Intent));
        assert_eq!(best("Bay", &["2"]), Some(TextRole::Bay));
        assert_eq!(best("Session Id", &["a-1"]), Some(TextRole::Session));
        assert_eq!(best("Speed", &["62.1"]), None);
        assert_eq!(best("Coach name", &["Alder"]), None);
    }
}
