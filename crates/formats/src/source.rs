//! Where one value of a shot comes from, and how it is read: texts, words with a meaning, numbers with a unit.

use std::borrow::Cow;
use std::collections::BTreeMap;

use shot::Problem;

use crate::number::{NumberStyle, Sign};
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
    pub values: BTreeMap<String, V>,
    pub unknown: OnUnknown,
}

/// A value, and perhaps a reservation about it.
pub(crate) type Noted<V> = (Option<V>, Option<Problem>);

impl<V: Clone> WordSource<V> {
    /// The meaning of the row's word.
    pub fn read(&self, view: &View<'_>) -> Result<Noted<V>, Box<Problem>> {
        let Some(word) = self.source.read(view)? else { return Ok((None, None)) };
        if let Some(meaning) = self.values.get(&word) {
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
    pub style: NumberStyle,
    pub sign: Sign,
    pub unit: Unit,
    pub unit_from: UnitFrom,
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
        let (number, word) = match self.unit_from {
            UnitFrom::Pack => (text.as_str(), None),
            UnitFrom::UnitsRow => match &self.source.origin {
                Origin::Field(name) => (text.as_str(), view.record.unit_word(name)),
                _ => (text.as_str(), None),
            },
            UnitFrom::Value => split_unit(&text),
        };
        let unit = self.unit_of(word, unit_words).map_err(reject)?;
        let value = self.style.parse_signed(number, &self.sign).map_err(reject)?;
        Ok(Some((unit.convert(value, self.target), text)))
    }

    fn unit_of(&self, word: Option<&str>, unit_words: &BTreeMap<String, Unit>) -> Result<Unit, (Rule, String)> {
        let Some(word) = word else { return Ok(self.unit) };
        let Some(unit) = unit_words.get(word).copied().or_else(|| Unit::parse(word)) else {
            return Err((Rule::UnitUnknown, format!("the unit \"{}\" is unknown to the pack", Problem::cut(word))));
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
