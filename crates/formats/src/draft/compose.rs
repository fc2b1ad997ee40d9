//! The plan as `format.toml`, with what was seen and what a person must decide beside each line.

use super::Question;
use super::compose_measures::write_measures;
use super::file_names::NameGuess;
use super::moments::DayOrder;
use super::page::{Page, list, long_list, quoted, shown};
use super::plan::{Place, Plan, TextPlan, TextRole, TimePlan};
use super::table::Table;
use super::{club_words, plan::UnitPlace};

/// Everything that the page is written from.
pub(super) struct Material<'a> {
    pub name: &'a str,
    /// File name of the sample, without names of players.
    pub shown_name: &'a str,
    /// `engine` and `[dialect]`, as the engine was asked to read the sample.
    pub dialect: &'a str,
    pub dialect_questions: &'a [String],
    pub guess: &'a NameGuess,
    pub table: &'a Table,
    pub plan: &'a Plan,
    pub has_header: bool,
    /// Whether numbers stand as texts, so that it matters how they are written.
    pub text_numbers: bool,
    pub aliased: usize,
}

/// A source as TOML keys, without braces.
pub(super) fn source(place: &Place) -> String {
    match place {
        Place::Field(name) => format!("field = {}", quoted(name)),
        Place::Preamble(key) => format!("preamble = {}", quoted(key)),
        Place::FileName(capture) => format!("fileName = {}", quoted(capture)),
    }
}

/// Writes the page.
pub(super) fn compose(material: &Material<'_>) -> (String, Vec<Question>) {
    let mut page = Page::default();
    let plan = material.plan;
    page.line("#:schema ../format.schema.json");
    page.comment(&format!(
        "Drafted from one look at {}: {} records. Nobody has checked it yet.",
        shown(material.shown_name),
        material.table.rows
    ));
    page.comment(
        "A line marked DECIDE holds a choice that only a person can make, from the device's manual or its own display.",
    );
    page.line(&format!("name = {}", quoted(material.name)));
    page.line("version = \"0.1.0\"");
    page.line(&format!(
        "title = {}",
        quoted(&format!("Draft from {}, to be checked", material.shown_name.replace(char::is_control, " ")))
    ));
    let (engine, dialect) = material.dialect.split_once("[dialect]\n").unwrap_or((material.dialect, ""));
    for line in engine.lines().filter(|line| !line.is_empty()) {
        page.line(line);
    }
    page.line("maxProblemShare = 0.5");
    if let Some(pattern) = &material.guess.pattern {
        page.table("recognise");
        page.comment("What changes from export to export is a capture in braces.");
        page.line(&format!("fileNames = {}", list([pattern.as_str()])));
    }
    if !dialect.trim().is_empty() {
        page.table("dialect");
        for question in material.dialect_questions {
            page.ask_ahead(question.clone());
        }
        for line in dialect.lines().filter(|line| !line.is_empty()) {
            page.line(line);
        }
    }
    write_schema(&mut page, material);
    write_unit_words(&mut page, plan);
    if let Some(time) = &plan.time {
        write_time(&mut page, time);
    }
    write_shot(&mut page, material);
    write_measures(&mut page, plan);
    page.table("test");
    page.comment("The site that `strikemill formats test` pretends to be; expected.csv was written for it.");
    page.line("zone = \"UTC\"");
    page.finish()
}

fn write_schema(page: &mut Page, material: &Material<'_>) {
    let Material { table, plan, .. } = material;
    page.table("schema");
    page.line("fieldsMatch = \"subset\"");
    if !table.missing_tokens.is_empty() {
        long_list(page, "missingValues", &table.missing_tokens);
    }
    if let Some(style) = plan.style.filter(|_| material.text_numbers) {
        if style.decimal != '.' {
            page.line(&format!("decimalChar = {}", quoted(&style.decimal.to_string())));
        }
        if let Some(group) = style.group {
            page.line(&format!("groupChar = {}", quoted(&group.to_string())));
        }
    }
    let always =
        |name: &str| material.has_header || table.columns.iter().any(|column| column.name == name && column.always);
    let names: Vec<String> = table.columns.iter().map(|column| column.name.clone()).collect();
    let (mut required, mut optional): (Vec<String>, Vec<String>) = names.into_iter().partition(|name| always(name));
    if required.is_empty() {
        std::mem::swap(&mut required, &mut optional);
        page.comment("No field stands in every record; at least one of these is needed to know the file by.");
    }
    long_list(page, "fields", &required);
    if !optional.is_empty() {
        page.comment("Some records of the sample lack these.");
        long_list(page, "optionalFields", &optional);
    }
    for left in &plan.left_out {
        let text = format!("Left alone: {}: {}.", shown(&left.place.shown()), left.why);
        if left.asks {
            page.ask_ahead(format!("{}: {}. Is it of use?", shown(&left.place.shown()), left.why));
        }
        page.comment(&text);
    }
}

fn write_unit_words(page: &mut Page, plan: &Plan) {
    let mut words: Vec<(&str, &str)> = Vec::new();
    for number in plan
        .numbers
        .iter()
        .filter(|number| matches!(number.unit_place, UnitPlace::UnitsRow | UnitPlace::Value | UnitPlace::Field(_)))
    {
        for (word, code) in &number.unit_words {
            if word != code && !words.iter().any(|(known, _)| known == word) {
                words.push((word, code));
            }
        }
    }
    if words.is_empty() {
        return;
    }
    page.table("unitWords");
    page.comment("The words this device writes for units, and their UCUM codes.");
    for (word, code) in words {
        page.line(&format!("{} = {}", quoted(word), quoted(code)));
    }
}

fn write_time(page: &mut Page, time: &TimePlan) {
    page.table("time");
    page.comment(&format!("{}; {} of 100 sure.", time.ground.because.join("; "), time.ground.confidence));
    let parts: Vec<String> = time.parts.iter().map(|part| format!("{{ {} }}", source(part))).collect();
    page.line(&format!("parts = [{}]", parts.join(", ")));
    if let Some(epoch) = time.epoch {
        page.line(&format!("epochUnit = {}", quoted(epoch)));
        return;
    }
    let formats = match time.formats.as_slice() {
        [one] => quoted(one),
        several => list(several.iter().map(String::as_str)),
    };
    let line = format!("format = {formats}");
    match &time.swapped {
        Some(other) => {
            let first = if time.order == DayOrder::DayFirst { "the day" } else { "the month" };
            let other: Vec<String> = other.iter().map(|format| quoted(format)).collect();
            let question = format!(
                "The dates of the sample fit both day-first and month-first; {first} was taken to stand first. If not: {}.",
                other.join(", ")
            );
            page.decide(&line, question);
        }
        None => {
            page.line(&line);
        }
    }
    if !time.offset {
        let question = "In which zone does the device's clock run? The site's own zone is taken; if it is another one, say \
                        zone = \"Area/City\" here.";
        page.ask_ahead(question.to_owned());
        page.comment(
            "zone = \"Europe/Dublin\"   # only where the device's clock runs in another zone than the site. DECIDE",
        );
    }
}

fn write_shot(page: &mut Page, material: &Material<'_>) {
    let plan = material.plan;
    page.table("shot");
    let plain =
        |role: TextRole| !matches!(role, TextRole::Environment | TextRole::Hand | TextRole::Intent | TextRole::Club);
    for text in plan.texts.iter().filter(|text| plain(text.role)) {
        let required = if text.role == TextRole::Shot && text.always { ", required = true" } else { "" };
        page.comment(&format!("{}; {} of 100 sure.", text.ground.because.join("; "), text.ground.confidence));
        let line = format!("{} = {{ {}{required} }}", text.role.key(), source(&text.place));
        if text.role == TextRole::Session {
            let question = "Does the device itself write this session text, and never use it twice? Session and shot number are then \
                            a shot's identity. If not, remove the line.";
            page.decide(&line, question.to_owned());
        } else {
            page.line(&line);
        }
    }
    if plan.text(TextRole::Player).is_none() {
        page.ask_ahead(
            "No column with the player's name was found; without one every shot of the bay is a guest's.".to_owned(),
        );
        page.comment("player = { field = \"...\" }   # DECIDE");
    } else if material.aliased > 0 {
        let question = format!(
            "{} player name(s) of the sample were replaced by made-up ones, since a pack is published. Does anything else in the \
             sample name a person?",
            material.aliased
        );
        page.ask_ahead(question);
        page.comment("The sample beside this file holds made-up names in place of the players'.");
    }
    for text in plan.texts.iter().filter(|text| !plain(text.role)) {
        write_words(page, text);
    }
    if plan.text(TextRole::Club).is_none() {
        page.ask_ahead("No column with the club was found; shots without a club are kept but not judged.".to_owned());
        page.comment("[shot.club] is missing: no column with the club was found. DECIDE");
    }
}

/// A map of words, with what is not known as comments.
fn write_words(page: &mut Page, text: &TextPlan) {
    let key = text.role.key();
    page.table(&format!("shot.{key}"));
    page.comment(&format!("{}; {} of 100 sure.", text.ground.because.join("; "), text.ground.confidence));
    page.line(&source(&text.place));
    page.comment("A word that is not listed below is noted, and the shot taken without it.");
    page.line("unknown = \"note\"");
    page.table(&format!("shot.{key}.values"));
    let mut unknown = Vec::new();
    for word in &text.words {
        let meaning = match text.role {
            TextRole::Club => club_words::club_of(word)
                .map(|club| format!("{{ clubId = {}, clubKind = {} }}", quoted(&club.id), quoted(club.kind))),
            TextRole::Intent => club_words::intent_of(word).map(quoted),
            TextRole::Hand => club_words::hand_of(word).map(quoted),
            _ => club_words::environment_of(word).map(quoted),
        };
        match meaning {
            Some(meaning) => {
                page.line(&format!("{} = {meaning}", quoted(word)));
            }
            None => unknown.push(word),
        }
    }
    let example = match text.role {
        TextRole::Club => "{ clubId = \"7-iron\", clubKind = \"iron\" }",
        TextRole::Intent => "\"play\"",
        TextRole::Hand => "\"right\"",
        _ => "\"indoor\"",
    };
    for word in unknown {
        page.ask_ahead(format!("What does {} under {} mean?", shown(word), shown(&text.place.shown())));
        page.comment(&format!("{} = {example}   # DECIDE", quoted(word)));
    }
}
