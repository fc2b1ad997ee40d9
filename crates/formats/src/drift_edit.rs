//! Edits of a `format.toml` as lines to paste. Every offered edit is tried before it is shown: a pack with all of them in place
//! must still be sound.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::compile::compile;
use crate::pack::PackText;

/// One change of the text.
#[derive(Debug, Clone)]
struct Change {
    range: Range<usize>,
    new: String,
    /// For whole new lines: what to do with them.
    label: Option<&'static str>,
}

pub(crate) struct Editor<'t> {
    pack: &'t PackText,
    root: Spanned<DeTable<'t>>,
    changes: Vec<Change>,
}

/// A text as TOML writes it.
pub(crate) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn child<'v, 't>(value: &'v DeValue<'t>, key: &str) -> Option<&'v Spanned<DeValue<'t>>> {
    match value {
        DeValue::Table(table) => table.iter().find(|(name, _)| name.get_ref() == key).map(|(_, value)| value),
        _ => None,
    }
}

fn is_text(value: &DeValue<'_>, text: &str) -> bool {
    matches!(value, DeValue::String(found) if found == text)
}

impl<'t> Editor<'t> {
    /// Nothing where the text is no TOML, which a loaded pack always is.
    pub fn new(pack: &'t PackText) -> Option<Editor<'t>> {
        let root = DeTable::parse(&pack.text).ok()?;
        Some(Editor { pack, root, changes: Vec::new() })
    }

    fn table(&self, name: &str) -> Option<&Spanned<DeValue<'t>>> {
        self.root.get_ref().iter().find(|(key, _)| key.get_ref() == name).map(|(_, value)| value)
    }

    fn value(&self, table: &str, key: &str) -> Option<&Spanned<DeValue<'t>>> {
        child(self.table(table)?.get_ref(), key)
    }

    fn replace(&mut self, range: Range<usize>, new: impl Into<String>) {
        self.changes.push(Change { range, new: new.into(), label: None });
    }

    /// New lines behind the line that holds `position`.
    fn insert_behind(&mut self, position: usize, label: &'static str, lines: &str) {
        let text = &self.pack.text;
        let end = text[position..].find('\n').map_or(text.len(), |length| position + length + 1);
        let gap = if text[..end].ends_with('\n') { "" } else { "\n" };
        self.changes.push(Change { range: end..end, new: format!("{gap}{lines}\n"), label: Some(label) });
    }

    /// Place of the line `[name]`.
    fn header_line(&self, name: &str) -> Option<usize> {
        let wanted = format!("[{name}]");
        let mut start = 0;
        for line in self.pack.text.split_inclusive('\n') {
            let written = line.split('#').next().unwrap_or_default().trim();
            if written == wanted {
                return Some(start);
            }
            start += line.len();
        }
        None
    }

    /// Place of the last filled line of the table `[name]`, comments aside: those speak of what follows.
    fn last_line(&self, name: &str) -> Option<usize> {
        let start = self.header_line(name)?;
        let mut last = start;
        let mut position = start;
        for (order, line) in self.pack.text[start..].split_inclusive('\n').enumerate() {
            let written = line.trim();
            if order > 0 && written.starts_with('[') {
                break;
            }
            if !written.is_empty() && !written.starts_with('#') {
                last = position;
            }
            position += line.len();
        }
        Some(last)
    }

    /// Gives a key of a table this value (as TOML).
    pub fn set(&mut self, table: &str, key: &str, value: &str) {
        if let Some(range) = self.value(table, key).map(Spanned::span) {
            self.replace(range, value);
        } else if let Some(header) = self.header_line(table) {
            self.insert_behind(header, "add behind this line", &format!("{key} = {value}"));
        } else if self.table(table).is_none() {
            let end = self.pack.text.trim_end().len().saturating_sub(1);
            self.insert_behind(end, "add behind this line", &format!("\n[{table}]\n{key} = {value}"));
        }
    }

    /// Adds lines to a table of names, making it behind the table `behind` where it does not exist.
    fn add_lines(&mut self, table: &str, behind: &str, label: &'static str, lines: &[String]) {
        if let Some(header) = self.header_line(table) {
            self.insert_behind(header, label, &lines.join("\n"));
        } else if let Some(last) = self.last_line(behind) {
            self.insert_behind(last, "add behind this line", &format!("\n[{table}]\n{}", lines.join("\n")));
        }
    }

    /// Other names under which fields stand.
    pub fn also_named(&mut self, pairs: &[(String, String)]) {
        let table = self.value("schema", "alsoNamed");
        let mut lines = Vec::new();
        let mut longer = Vec::new();
        for (field, other) in pairs {
            match table.and_then(|table| child(table.get_ref(), field)).map(Spanned::get_ref) {
                Some(DeValue::Array(names)) => match names.iter().last() {
                    Some(last) => longer.push((last.span().end, format!(", {}", quoted(other)))),
                    None => return,
                },
                _ => lines.push(format!("{} = [{}]", quoted(field), quoted(other))),
            }
        }
        for (end, text) in longer {
            self.replace(end..end, text);
        }
        if !lines.is_empty() {
            self.add_lines("schema.alsoNamed", "schema", "add to [schema.alsoNamed]", &lines);
        }
    }

    /// Units that the device names by words.
    pub fn unit_words(&mut self, pairs: &[(String, &str)]) {
        if !pairs.is_empty() {
            let lines: Vec<String> =
                pairs.iter().map(|(word, code)| format!("{} = {}", quoted(word), quoted(code))).collect();
            self.add_lines("unitWords", "schema", "add to [unitWords]", &lines);
        }
    }

    /// Every number that is read from a field: its table.
    fn numbers(&self, field: &str) -> Vec<&DeValue<'t>> {
        let mut found = Vec::new();
        let mut open: Vec<&DeValue<'t>> =
            ["measures", "derived"].iter().filter_map(|name| self.table(name)).map(Spanned::get_ref).collect();
        while let Some(value) = open.pop() {
            if child(value, "field").is_some_and(|name| is_text(name.get_ref(), field)) {
                found.push(value);
            } else if let DeValue::Table(table) = value {
                open.extend(table.values().map(Spanned::get_ref));
            }
        }
        found
    }

    /// Gives the numbers of a field another unit; deviations are in that unit too, so they are converted.
    pub fn set_unit(&mut self, field: &str, code: &str, convert: impl Fn(f64) -> f64) {
        let mut changes = Vec::new();
        for number in self.numbers(field) {
            changes.extend(child(number, "unit").map(|unit| (unit.span(), quoted(code))));
            if let Some(deviation) = child(number, "standardDeviation")
                && let Some(value) = self.pack.text.get(deviation.span()).and_then(|text| text.parse::<f64>().ok())
            {
                let rounded = (convert(value) * 1e4).round() / 1e4;
                changes.push((deviation.span(), toml::Value::Float(rounded).to_string()));
            }
        }
        for (range, new) in changes {
            self.replace(range, new);
        }
    }

    /// Puts a field under another name wherever the pack names it.
    pub fn rename(&mut self, field: &str, other: &str) {
        let mut ranges = Vec::new();
        let mut open: Vec<&DeValue<'t>> = self.root.get_ref().values().map(Spanned::get_ref).collect();
        for list in ["fields", "optionalFields"] {
            if let Some(DeValue::Array(names)) = self.value("schema", list).map(Spanned::get_ref) {
                ranges.extend(names.iter().filter(|name| is_text(name.get_ref(), field)).map(Spanned::span));
            }
        }
        while let Some(value) = open.pop() {
            match value {
                DeValue::Table(table) => {
                    for (key, value) in table {
                        if ["field", "unitField"].contains(&key.get_ref().as_ref()) && is_text(value.get_ref(), field) {
                            ranges.push(value.span());
                        }
                        open.push(value.get_ref());
                    }
                }
                DeValue::Array(items) => open.extend(items.iter().map(Spanned::get_ref)),
                _ => {}
            }
        }
        for range in ranges {
            self.replace(range, quoted(other));
        }
    }

    /// Takes fields out of the list of those that must be there.
    pub fn take_out(&mut self, fields: &[String]) {
        let Some(DeValue::Array(names)) = self.value("schema", "fields").map(Spanned::get_ref) else { return };
        let text = &self.pack.text;
        let mut ranges = Vec::new();
        for name in names.iter().filter(|name| fields.iter().any(|field| is_text(name.get_ref(), field))) {
            let Range { start, mut end } = name.span();
            let rest = &text[end..];
            if let Some(behind) = rest.trim_start_matches([' ', '\t']).strip_prefix(',') {
                end = text.len() - behind.trim_start_matches([' ', '\t']).len();
            }
            ranges.push(start..end);
        }
        for range in ranges {
            self.replace(range, "");
        }
    }

    /// Lists fields that a file may have.
    pub fn add_optional(&mut self, fields: &[String]) {
        let listed = fields.iter().map(|field| quoted(field)).collect::<Vec<_>>().join(", ");
        match self.value("schema", "optionalFields").map(|list| (list.span(), list.get_ref())) {
            Some((span, DeValue::Array(names))) => match names.iter().last().map(|last| last.span().end) {
                Some(end) => self.replace(end..end, format!(", {listed}")),
                None => self.replace(span, format!("[{listed}]")),
            },
            _ => {
                if let Some(end) = self.value("schema", "fields").map(|list| list.span().end) {
                    self.insert_behind(end, "add behind this line", &format!("optionalFields = [{listed}]"));
                }
            }
        }
    }

    /// The edits as texts with file and line; none where the pack would not be sound with them.
    pub fn finish(mut self) -> Vec<String> {
        // Keys of a table stand before the next table.
        let opens_table = |change: &Change| change.new.trim_start().starts_with('[') && change.label.is_some();
        self.changes.sort_by_key(|change| (change.range.start, change.range.end, opens_table(change)));
        self.changes.dedup_by(|one, other| one.range == other.range && one.new == other.new);
        if compile(&self.pack.path, &apply(&self.pack.text, 0, &self.changes)).is_err() {
            return Vec::new();
        }
        let text = &self.pack.text;
        let line_of = |position: usize| text[..position].matches('\n').count() + 1;
        let path = self.pack.path.display();
        let mut edits = Vec::new();
        let mut rest = self.changes.as_slice();
        while let Some((first, others)) = rest.split_first() {
            if let Some(label) = first.label {
                let line = line_of(first.range.start.saturating_sub(1));
                edits.push(shown(&format!("{path}:{line}: {label}"), first.new.trim_end_matches('\n')));
                rest = others;
                continue;
            }
            // Changes that touch one line are one edit.
            let (from, mut to) = (line_of(first.range.start), line_of(first.range.end));
            let mut count = 1;
            for next in others {
                if next.label.is_some() || line_of(next.range.start) > to {
                    break;
                }
                to = to.max(line_of(next.range.end));
                count += 1;
            }
            let start = text[..first.range.start].rfind('\n').map_or(0, |position| position + 1);
            let last = rest[..count].iter().map(|change| change.range.end).max().unwrap_or(start);
            let end = text[last..].find('\n').map_or(text.len(), |length| last + length);
            let lines = if from == to { from.to_string() } else { format!("{from}-{to}") };
            edits.push(shown(&format!("{path}:{lines}: change to"), &apply(&text[start..end], start, &rest[..count])));
            rest = &rest[count..];
        }
        edits
    }
}

fn shown(place: &str, new: &str) -> String {
    let gap = if new.contains('\n') { "\n" } else { " " };
    format!("{place}:{gap}{new}")
}

/// A piece of the text, from `offset` on, with changes in order applied.
fn apply(piece: &str, offset: usize, changes: &[Change]) -> String {
    let mut new = String::with_capacity(piece.len() + 100);
    let mut position = 0;
    for change in changes {
        let (start, end) = (change.range.start - offset, change.range.end - offset);
        if start < position {
            continue;
        }
        new.push_str(&piece[position..start]);
        new.push_str(&change.new);
        position = end;
    }
    new.push_str(&piece[position..]);
    new
}
