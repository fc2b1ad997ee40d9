//! Changes in how the values of an export are written: the decimal sign, the time.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use crate::drift_edit::quoted;
use crate::drift_look::Look;
use crate::instant::{TimeSource, TimeStyle};
use crate::mapping::Mapping;
use crate::number::NumberStyle;
use crate::source::Origin;
use crate::spec::UnitFrom;

const DATES: [&str; 9] =
    ["%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%Y", "%Y/%m/%d", "%d-%m-%Y", "%d.%m.%y", "%m/%d/%y", "%d/%m/%y"];
const CLOCKS: [&str; 4] = ["%H:%M:%S%.f", "%H:%M", "%I:%M:%S %p", "%I:%M %p"];
const ZONES: [&str; 2] = ["", "%:z"];

/// The style that reads what the pack's does not, where every number of the first rows is written in it.
pub(crate) fn decimal_change(mapping: &Mapping, look: &Look) -> Option<NumberStyle> {
    let mut changed = None;
    for number in mapping.numbers() {
        let Origin::Field(field) = &number.source.origin else { continue };
        let own = number.style;
        let decimal = if own.decimal == ',' { '.' } else { ',' };
        let other =
            NumberStyle { decimal, group: own.group.map(|group| if group == decimal { own.decimal } else { group }) };
        for text in look.texts(field).filter(|text| !number.source.missing.iter().any(|none| none == text)) {
            let (text, _) = number.sign.take(text);
            // Of a number with a unit behind it, only the number is looked at.
            let end = text.rfind(|c: char| c.is_ascii_digit()).map_or(0, |place| place + 1);
            let text = if number.unit_from == UnitFrom::Value { &text[..end] } else { text };
            match (own.parse(text).is_ok(), other.parse(text).is_ok()) {
                (false, true) => changed = Some(other),
                // Written in the pack's style and in no other: the odd ones are faults of their rows.
                (true, false) => return None,
                _ => {}
            }
        }
    }
    changed
}

/// How the time is written now.
pub(crate) struct TimeChange {
    pub text: String,
    /// The formats that read old and new files, as TOML; nothing where it is not clear.
    pub formats: Option<String>,
}

/// Whether the times of the first rows are written as the pack says, `renames` being fields under new names.
pub(crate) fn time_change(time: &TimeSource, look: &Look, renames: &[(String, String)]) -> Option<TimeChange> {
    let TimeStyle::Formats(formats) = &time.style else { return None };
    let mut texts: Vec<String> = Vec::new();
    for row in &look.rows {
        let mut parts = Vec::new();
        for part in &time.parts {
            let Origin::Field(field) = &part.origin else { return None };
            let found = renames.iter().find(|(renamed, _)| renamed == field).map_or(field, |(_, other)| other);
            let text = crate::record::Record::text(row, found).map(|text| text.trim().to_owned());
            parts.extend(text.filter(|text| !text.is_empty()));
        }
        if parts.len() == time.parts.len() {
            texts.push(parts.join(" "));
        }
    }
    let reads = |formats: &[String]| -> Option<Vec<DateTime<Utc>>> {
        let source = TimeSource { style: TimeStyle::Formats(formats.to_vec()), ..time.clone() };
        texts.iter().map(|text| source.instant_of(text, Tz::UTC)).collect()
    };
    let first = texts.first()?;
    // A few odd rows are faults of those rows; a change shows in every one.
    if texts.iter().any(|text| time.instant_of(text, Tz::UTC).is_some()) {
        return None;
    }
    let mut fitting: Vec<(String, Vec<DateTime<Utc>>)> = Vec::new();
    for date in DATES {
        for clock in CLOCKS {
            for (between, zone) in [" ", "T"].iter().flat_map(|between| ZONES.map(|zone| (between, zone))) {
                let format = format!("{date}{between}{clock}{zone}");
                fitting.extend(reads(std::slice::from_ref(&format)).map(|instants| (format, instants)));
            }
        }
    }
    let text = format!(
        "the time is now written like \"{}\" (the pack reads {})",
        shot::Problem::cut(first),
        formats.join(" or ")
    );
    let (format, instants) = fitting.first()?;
    if fitting.iter().any(|(_, others)| others != instants) {
        let listed: Vec<&str> = fitting.iter().map(|(format, _)| format.as_str()).collect();
        return Some(TimeChange { text: format!("{text}; that may be {}", listed.join(" or ")), formats: None });
    }
    // A format that reads the same text as another day would make old files ambiguous: then a new pack is due.
    let all: Vec<String> = formats.iter().chain([format]).map(|format| quoted(format)).collect();
    Some(TimeChange { text, formats: Some(format!("[{}]", all.join(", "))) })
}
