//! Where one value of a shot comes from, and how it is read: texts, words with a meaning, numbers with a unit.

use std::borrow::Cow;
use std::collections::BTreeMap;

use shot::Problem;

use crate::number::{NumberStyle, Side, Sign};
use crate::record::{Opening, Record};
use crate::rule::Rule;
use crate::spec::{OnUnknown, UnitFrom};
use crate::unit::Unit;

/// Where a text comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Origin {
    Field(String),
    Preamble(String),
    FileName(String),
    Constant(String),
}

/// Everything one row can be read from.
pub(crate) struct View<'a> {
    pub record: &'a dyn Record,
    pub opening: &'a Opening,
    pub captures: &'a [(String, String)],
}

impl View<'_> {
    fn raw(&self, origin: &Origin) -> Option<Cow<'_, str>> {
        match origin {
            Origin::Field(name) => self.record.text(name),
            Origin::Preamble(key) => self.opening.preamble_value(key).map(Cow::Borrowed),
            Origin::FileName(capture) => {
                self.captures.iter().find(|(name, _)| name == capture).map(|(_, text)| Cow::Borrowed(text.as_str()))
            }
            Origin::Constant(text) => Some(Cow::Owned(text.clone())),
        }
    }
}

impl Origin {
    /// What a problem report calls this place.
    pub fn label(&self) -> &str {
        match self {
            Origin::Field(name) | Origin::Preamble(name) => name,
            Origin::FileName(_) => "(file name)",
            Origin::Constant(_) => "(pack)",
        }
    }
}

/// A text, with the tokens that stand for none.
#[derive(Debug, Clone)]
pub(crate) struct TextSource {
    pub origin: Origin,
    pub required: bool,
    pub missing: Vec<String>,
}

impl TextSource {
    /// The trimmed text, or nothing where it is missing and may be.
    pub fn read(&self, view: &View<'_>) -> Result<Option<String>, Box<Problem>> {
        let text = view.raw(&self.origin).map(|text| text.trim().to_owned());
        if let Some(text) = text.filter(|text| !text.is_empty() && !self.missing.contains(text)) {
            if let Origin::Field(name) = &self.origin
                && let Some((rule, message)) = view.record.fault(name)
            {
                return Err(Box::new(rule.rejects(view.record.line(), Some(name), &text, message)));
            }
            return Ok(Some(text));
        }
        self.absent(view)
    }

    /// No value: nothing, or a problem where the pack requires one.
    fn absent<V>(&self, view: &View<'_>) -> Result<Option<V>, Box<Problem>> {
        if self.required {
            let label = self.origin.label();
            let message = format!("\"{label}\" has no value, and the pack requires one");
            return Err(Box::new(Rule::MissingRequired.rejects(view.record.line(), Some(label), "", message)));
        }
        Ok(None)
    }
}

/// A word of the device and what it means.
#[derive(Debug, Clone)]
pub(crate) struct WordSource<V> {
    pub source: TextSource,
    /// By word; in small letters where case is ignored.
    pub values: BTreeMap<String, V>,
    pub ignore_case: bool,
    pub unknown: OnUnknown,
}

/// A value, and perhaps a reservation about it.
pub(crate) type Noted<V> = (Option<V>, Option<Problem>);

impl<V: Clone> WordSource<V> {
    /// What a word means, if the pack knows it.
    pub fn meaning(&self, word: &str) -> Option<&V> {
        if self.ignore_case { self.values.get(&word.to_lowercase()) } else { self.values.get(word) }
    }

    /// The meaning of the row's word.
    pub fn read(&self, view: &View<'_>) -> Result<Noted<V>, Box<Problem>> {
        let Some(word) = self.source.read(view)? else { return Ok((None, None)) };
        if let Some(meaning) = self.meaning(&word) {
            return Ok((Some(meaning.clone()), None));
        }
        let (line, label) = (view.record.line(), self.source.origin.label());
        let known: Vec<&str> = self.values.keys().map(String::as_str).collect();
        let message =
            format!("\"{}\" is not among the words the pack knows: {}", Problem::cut(&word), known.join(", "));
        match self.unknown {
            OnUnknown::Reject => Err(Box::new(Rule::UnknownValue.rejects(line, Some(label), &word, message))),
            OnUnknown::Note => Ok((None, Some(Rule::UnknownValue.notes(line, Some(label), &word, message)))),
        }
    }
}

/// A number in the unit of our column.
#[derive(Debug, Clone)]
pub(crate) struct NumberSource {
    pub source: TextSource,
    /// Numbers that stand for none, in the device's own unit and sign.
    pub missing_numbers: Vec<f64>,
    pub style: NumberStyle,
    pub sign: Sign,
    /// Whether the number is given in the player's own frame: positive as for a right-handed player.
    pub player_frame: bool,
    pub unit: Unit,
    pub unit_from: UnitFrom,
    /// The field that names the unit, where `unit_from` says so.
    pub unit_field: Option<String>,
    pub target: Unit,
}

impl NumberSource {
    /// The number converted, with the text it came from.
    pub fn read(
        &self,
        view: &View<'_>,
        unit_words: &BTreeMap<String, Unit>,
    ) -> Result<Option<(f64, String)>, Box<Problem>> {
        let Some(text) = self.source.read(view)? else { return Ok(None) };
        let label = self.source.origin.label();
        let reject =
            |(rule, message): (Rule, String)| Box::new(rule.rejects(view.record.line(), Some(label), &text, message));
        let field = match &self.source.origin {
            Origin::Field(name) => Some(name.as_str()),
            _ => None,
        };
        let (number, side) = self.sign.take(&text);
        let (number, word) = match self.unit_from {
            UnitFrom::Pack => (number, None),
            UnitFrom::UnitsRow => (number, field.and_then(|name| view.record.unit_word(name)).map(Cow::Borrowed)),
            UnitFrom::Value => {
                let (number, word) = split_unit(number);
                (number, word.map(Cow::Borrowed))
            }
            UnitFrom::Field => (number, self.unit_field.as_ref().and_then(|name| view.record.text(name))),
        };
        let written = match field.and_then(|name| view.record.number(name)) {
            Some(native) => native,
            None if side == Side::Named(0.0) && number.is_empty() => 0.0,
            None => self.style.parse(number).map_err(reject)?,
        };
        if self.missing_numbers.iter().any(|none| (written - none).abs() <= 1e-9 * none.abs().max(1.0)) {
            return self.source.absent(view);
        }
        let unit = self.unit_of(word.as_deref().map(str::trim), unit_words).map_err(reject)?;
        let value = side.apply(written, &text).map_err(reject)?;
        Ok(Some((unit.convert(value, self.target), text)))
    }

    fn unit_of(&self, word: Option<&str>, unit_words: &BTreeMap<String, Unit>) -> Result<Unit, (Rule, String)> {
        let Some(word) = word.filter(|word| !word.is_empty()) else { return Ok(self.unit) };
        let Some(unit) = unit_words.get(word).copied().or_else(|| Unit::parse(word)) else {
            let number = word.starts_with(|c: char| c.is_ascii_digit() || "+-".contains(c));
            let why = if number { ": that is a number; has the row of units gone from the export?" } else { "" };
            return Err((
                Rule::UnitUnknown,
                format!("the unit \"{}\" is unknown to the pack{why}", Problem::cut(word)),
            ));
        };
        if unit.converts_to(self.target) {
            Ok(unit)
        } else {
            Err((Rule::UnitUnknown, format!("the unit \"{word}\" does not convert into {}", self.target.code)))
        }
    }
}

/// Parts `21,5 Cel` into number and unit word.
fn split_unit(text: &str) -> (&str, Option<&str>) {
    let number_end = text.rfind(|c: char| c.is_ascii_digit()).map_or(0, |position| position + 1);
    let (number, word) = text.split_at(number_end);
    let word = word.trim();
    (number, (!word.is_empty()).then_some(word))
}
