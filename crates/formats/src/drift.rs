//! What changed about a device's exports since its pack was written, and the lines of the pack that would follow the change.
//!
//! A rename is proposed only where it convinces: the names are alike, no word tells them apart, and the values are of the kind
//! that the pack reads there. Otherwise the candidates are listed, and a person decides.

use shot::Problem;

use crate::drift_edit::Editor;
use crate::drift_look::Look;
use crate::drift_names::{Name, common_unit, likeness};
use crate::drift_pair::{CONVINCING_IN_PLACE, Pairing, Rename, found, missing_fields, pair, strange_fields};
use crate::drift_values::{decimal_change, time_change};
use crate::number::NumberStyle;
use crate::pack::Pack;
use crate::record::{DialectChange, Engine};
use crate::rule::Rule;
use crate::set::PackSet;
use crate::source::Origin;
use crate::spec::{FieldsMatch, UnitFrom};
use crate::unit::Unit;

/// Share of a pack's fields that a file must show to be called a changed export of it; half of that where its name fits.
const NEAR: f64 = 0.5;

/// What changed about an export, against the pack that is nearest to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drift {
    /// Name of the pack.
    pub pack: String,
    /// Each change in one sentence, such as `column "Ball Vel" is now "Ball Velocity"`.
    pub changes: Vec<String>,
    /// Lines to paste into the pack, each with file and line number; empty where a person must decide first.
    pub edits: Vec<String>,
}

impl PackSet {
    /// What changed about an export since the pack nearest to it was written; nothing where no pack is near or nothing changed.
    pub fn drift(&self, file_name: &str, bytes: &[u8]) -> Option<Drift> {
        let mut nearest: Option<(f64, &Pack)> = None;
        for pack in self.packs() {
            let (look, _, _) = seen_through(pack, bytes);
            let named = pack.recogniser.patterns.iter().any(|pattern| pattern.matches(file_name).is_some());
            let near = nearness(pack, &look);
            let rating = near + if named { NEAR / 2.0 } else { 0.0 };
            if near > 0.0 && rating >= NEAR && nearest.is_none_or(|(best, _)| rating > best) {
                nearest = Some((rating, pack));
            }
        }
        let (_, pack) = nearest?;
        let (drift, _) = compare(pack, bytes);
        (!drift.changes.is_empty()).then_some(drift)
    }
}

/// Adds to each missing column what became of it.
pub(crate) fn advise(pack: &Pack, bytes: &[u8], problems: &mut [Problem]) {
    let missing = |problem: &Problem| problem.rule == Rule::MissingColumn.word();
    if !problems.iter().any(missing) {
        return;
    }
    let (drift, pairing) = compare(pack, bytes);
    for problem in problems.iter_mut().filter(|problem| missing(problem)) {
        let Some(column) = &problem.column else { continue };
        if let Some(rename) = pairing.renames.iter().find(|rename| rename.field == *column) {
            let named = |edit: &&String| edit.contains(&rename.other);
            let edits: Vec<&str> = drift.edits.iter().filter(named).map(String::as_str).collect();
            problem.hint = format!("column \"{column}\" is now \"{}\"; {}", rename.other, edits.join("; "));
        } else if let Some((_, candidates)) = pairing.gone.iter().find(|(field, _)| field == column)
            && !candidates.is_empty()
        {
            let listed = listing(candidates);
            problem.hint =
                format!("if it is {listed} now, name that under [schema.alsoNamed] of the pack; else {}", problem.hint);
        }
    }
}

/// The file through the pack's own dialect, or through the nearest other one where its own shows little.
fn seen_through(pack: &Pack, bytes: &[u8]) -> (Look, Vec<DialectChange>, Option<Box<dyn Engine>>) {
    let look = Look::of_glance(pack, pack.engine.glance(bytes));
    let all = pack.recogniser.fields.len();
    let own = found(pack, &look);
    if own * 2 >= all {
        return (look, Vec::new(), None);
    }
    let mut best = (look, Vec::new(), None);
    // Another dialect must show a good part more of the pack's fields than the pack's own.
    let mut most = own + all / 4;
    for variant in pack.engine.variants(bytes) {
        let look = Look::of_glance(pack, variant.engine.glance(bytes));
        let count = found(pack, &look);
        if count > most {
            most = count;
            best = (look, variant.changes, Some(variant.engine));
        }
    }
    best
}

/// Share of the pack's fields that the file has; one that is likely renamed counts half.
fn nearness(pack: &Pack, look: &Look) -> f64 {
    let strange: Vec<Name> = strange_fields(pack, look).iter().map(|name| Name::parse(name)).collect();
    let missing = missing_fields(pack, look);
    let alike = missing.iter().map(|field| Name::parse(field));
    let renamed = alike.filter(|name| strange.iter().any(|other| likeness(name, other) >= CONVINCING_IN_PLACE)).count();
    (found(pack, look) as f64 + renamed as f64 / 2.0) / pack.recogniser.fields.len().max(1) as f64
}

fn compare(pack: &Pack, bytes: &[u8]) -> (Drift, Pairing) {
    let (mut look, dialect, engine) = seen_through(pack, bytes);
    look.read_rows(pack, engine.as_deref().unwrap_or(pack.engine.as_ref()), bytes);
    let mut drift = Drift { pack: pack.name.clone(), changes: Vec::new(), edits: Vec::new() };
    let mut editor = Editor::new(&pack.text);
    for change in &dialect {
        drift.changes.push(change.text.clone());
        if let Some(editor) = &mut editor {
            editor.set("dialect", change.key, &change.value);
        }
    }
    preamble_changes(pack, &look, &mut drift.changes);
    let style = decimal_change(&pack.mapping, &look);
    if let Some(style) = style {
        drift.changes.push(format!("the decimal sign is now {}", style.decimal));
        if let Some(editor) = &mut editor {
            set_style(editor, style);
        }
    }
    let pairing = pair(pack, &look, style);
    field_changes(pack, &look, &pairing, &mut drift.changes, editor.as_mut());
    unit_changes(pack, &look, &pairing, &mut drift.changes, editor.as_mut());
    let names: Vec<(String, String)> =
        pairing.renames.iter().map(|rename| (rename.field.clone(), rename.other.clone())).collect();
    if let Some(change) = time_change(&pack.mapping.time, &look, &names) {
        drift.changes.push(change.text);
        if let (Some(editor), Some(formats)) = (&mut editor, change.formats) {
            editor.set("time", "format", &formats);
        }
    }
    drift.edits = editor.map(Editor::finish).unwrap_or_default();
    (drift, pairing)
}

fn set_style(editor: &mut Editor<'_>, style: NumberStyle) {
    let text = |c: Option<char>| crate::drift_edit::quoted(&c.map(String::from).unwrap_or_default());
    editor.set("schema", "decimalChar", &text(Some(style.decimal)));
    editor.set("schema", "groupChar", &text(style.group));
}

fn preamble_changes(pack: &Pack, look: &Look, changes: &mut Vec<String>) {
    let has = |key: &String| look.preamble_keys.iter().any(|found| found.to_lowercase() == key.to_lowercase());
    for key in pack.recogniser.preamble_keys.iter().filter(|key| !has(key)) {
        changes.push(format!("the preamble has no \"{key}\" any more"));
    }
    for mark in pack.recogniser.contains.iter().filter(|mark| !look.text.contains(mark.as_str())) {
        changes.push(format!("the text \"{mark}\" is not in the file any more"));
    }
}

fn listing(names: &[String]) -> String {
    names.iter().map(|name| format!("\"{}\"", Problem::cut(name))).collect::<Vec<_>>().join(" or ")
}

fn field_changes(
    pack: &Pack,
    look: &Look,
    pairing: &Pairing,
    changes: &mut Vec<String>,
    editor: Option<&mut Editor<'_>>,
) {
    let word = if look.has_columns { "column" } else { "field" };
    let policy = pack.recogniser.fields_match;
    let (mut also, mut read_anew) = (Vec::new(), Vec::new());
    for Rename { field, other, unit } in &pairing.renames {
        changes.push(format!("{word} \"{field}\" is now \"{other}\""));
        let pair = (field.clone(), other.clone());
        if unit.is_some() { read_anew.push(pair) } else { also.push(pair) }
    }
    let needed: Vec<&str> =
        pack.fields().into_iter().filter(|(_, required)| *required).map(|(field, _)| field).collect();
    let mut lost = Vec::new();
    for (field, candidates) in &pairing.gone {
        let demand = if needed.contains(&field.as_str()) { ", and the pack cannot do without it" } else { "" };
        if let Some(likeliest) = candidates.first() {
            let line = format!("{} = [{}]", crate::drift_edit::quoted(field), crate::drift_edit::quoted(likeliest));
            let listed = listing(candidates);
            changes.push(format!(
                "{word} \"{field}\" is gone{demand}; it may be {listed} now (if you are sure: {line} under [schema.alsoNamed])"
            ));
        } else if pairing.new.is_empty() {
            changes.push(format!("{word} \"{field}\" is gone{demand}"));
            if demand.is_empty() {
                lost.push(field.clone());
            }
        } else {
            // A line that makes it optional would lose the number for good if a new column holds it.
            changes.push(format!(
                "{word} \"{field}\" is gone{demand}; if a new {word} holds it, name that under [schema.alsoNamed], \
                 else move \"{field}\" to optionalFields"
            ));
        }
    }
    let only_listed = matches!(policy, FieldsMatch::Exact | FieldsMatch::Equal | FieldsMatch::Superset);
    // Where the pack takes any further columns, a new one says something only beside one that is gone.
    let named = pairing.new.iter().filter(|_| only_listed || !pairing.gone.is_empty());
    let new: Vec<&String> = named.collect();
    changes.extend(new.iter().take(8).map(|other| format!("{word} \"{other}\" is new")));
    if new.len() > 8 {
        changes.push(format!("{} further {word}s are new", new.len() - 8));
    }
    let renamed: Vec<&str> = look
        .fields
        .iter()
        .map(|field| {
            pairing
                .renames
                .iter()
                .find(|rename| rename.other == *field)
                .map_or(field.as_str(), |rename| rename.field.as_str())
        })
        .collect();
    let listed: Vec<&String> =
        pack.recogniser.fields.iter().filter(|field| renamed.contains(&field.as_str())).collect();
    let order: Vec<&&str> = renamed.iter().filter(|field| listed.iter().any(|listed| listed == *field)).collect();
    let in_order = listed.len() == order.len() && listed.iter().zip(&order).all(|(listed, found)| listed == *found);
    let reordered = policy == FieldsMatch::Exact && !in_order;
    if reordered {
        changes.push(format!("the {word}s are in another order"));
    }
    let Some(editor) = editor else { return };
    editor.also_named(&also);
    for (field, other) in read_anew {
        editor.rename(&field, &other);
    }
    let must_list = matches!(policy, FieldsMatch::Exact | FieldsMatch::Equal | FieldsMatch::Subset);
    let lost = if must_list { lost } else { Vec::new() };
    editor.take_out(&lost);
    let unclear = !pairing.gone.is_empty();
    let further = if only_listed && !unclear { pairing.new.clone() } else { Vec::new() };
    let optional: Vec<String> = lost.into_iter().chain(further).collect();
    if !optional.is_empty() {
        editor.add_optional(&optional);
    }
    if reordered {
        editor.set("schema", "fieldsMatch", "\"equal\"");
    }
}

fn unit_changes(
    pack: &Pack,
    look: &Look,
    pairing: &Pairing,
    changes: &mut Vec<String>,
    mut editor: Option<&mut Editor<'_>>,
) {
    let mut words: Vec<(String, &str)> = Vec::new();
    let mut seen: Vec<&str> = Vec::new();
    for number in pack.mapping.numbers() {
        let Origin::Field(field) = &number.source.origin else { continue };
        if seen.contains(&field.as_str()) {
            continue;
        }
        seen.push(field);
        let rename = pairing.renames.iter().find(|rename| rename.field == *field);
        let found = rename.map_or(field, |rename| &rename.other);
        let word = look.unit_word(found);
        let known = word.and_then(|word| pack.mapping.unit_words.get(word).copied().or_else(|| Unit::parse(word)));
        let unit = known.or_else(|| word.and_then(common_unit)).or(rename.and_then(|rename| rename.unit));
        let Some(unit) = unit.filter(|unit| unit.converts_to(number.target)) else { continue };
        let named = word.map_or(unit.code, |word| word);
        if number.unit_from == UnitFrom::UnitsRow && word.is_some() {
            if known.is_none() {
                changes.push(format!("the unit of \"{field}\" is now {named}, a word that the pack does not know"));
                words.push((named.to_owned(), unit.code));
            }
        } else if unit.code != number.unit.code {
            changes.push(format!("the unit of \"{field}\" is now {named} (the pack says {})", number.unit.code));
            if let Some(editor) = editor.as_deref_mut() {
                editor.set_unit(field, unit.code, |value| number.unit.convert_difference(value, unit));
            }
        }
    }
    words.sort();
    words.dedup();
    if let Some(editor) = editor {
        editor.unit_words(&words);
    }
}
