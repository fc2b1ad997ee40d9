//! A file as it looks through a pack: its fields and its first rows, whether or not the pack still fits.

use std::borrow::Cow;
use std::collections::HashMap;
use std::ops::ControlFlow;

use shot::Quantity;

use crate::context::ParseLimits;
use crate::mapping::Mapping;
use crate::number::NumberStyle;
use crate::pack::Pack;
use crate::record::{Engine, Glance, Item, Opening, Record};
use crate::source::{NumberSource, Origin, TextSource, View};

/// Rows at the head of a file that are looked at.
const SAMPLED_ROWS: usize = 30;

/// One row, kept.
#[derive(Debug, Clone, Default)]
pub(crate) struct SampledRow {
    line: i64,
    texts: HashMap<String, String>,
    numbers: HashMap<String, f64>,
    units: HashMap<String, String>,
}

impl Record for SampledRow {
    fn line(&self) -> i64 {
        self.line
    }

    fn text(&self, field: &str) -> Option<Cow<'_, str>> {
        self.texts.get(field).map(|text| Cow::Borrowed(text.as_str()))
    }

    fn number(&self, field: &str) -> Option<f64> {
        self.numbers.get(field).copied()
    }

    fn unit_word(&self, field: &str) -> Option<&str> {
        self.units.get(field).map(String::as_str)
    }
}

/// Whether the values of a column are of the kind that the pack reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fit {
    Good,
    Unknown,
    Contradicts,
}

/// What a file shows.
#[derive(Debug, Default)]
pub(crate) struct Look {
    /// Names by which the pack knows them; paths without the parts that only hold others.
    pub fields: Vec<String>,
    pub preamble_keys: Vec<String>,
    pub text: String,
    /// Whether the file has columns (and not only paths).
    pub has_columns: bool,
    pub rows: Vec<SampledRow>,
}

impl Look {
    /// The fields of a glance; the rows are read later, for the one pack that is nearest.
    pub fn of_glance(pack: &Pack, glance: Glance) -> Look {
        let holds = |outer: &str| {
            glance.fields.iter().any(|inner| inner.strip_prefix(outer).is_some_and(|rest| rest.starts_with('.')))
        };
        let leaves = glance.fields.iter().filter(|field| pack.recogniser.knows(field) || !holds(field));
        let fields = leaves.map(|field| pack.recogniser.names.canonical(field).to_owned()).collect();
        Look { fields, preamble_keys: glance.preamble_keys, text: glance.text, ..Look::default() }
    }

    /// Reads the first rows.
    pub fn read_rows(&mut self, pack: &Pack, engine: &dyn Engine, bytes: &[u8]) {
        let limits = ParseLimits::default();
        let names = &pack.recogniser.names;
        engine.read(bytes, &limits, &mut |item| {
            match item {
                Item::Opening(opening) => self.has_columns = opening.header.is_some(),
                Item::Record(record) => {
                    let record = names.wrap(record);
                    let mut row = SampledRow { line: record.line(), ..SampledRow::default() };
                    for field in &self.fields {
                        row.texts.extend(record.text(field).map(|text| (field.clone(), text.into_owned())));
                        row.numbers.extend(record.number(field).map(|number| (field.clone(), number)));
                        row.units.extend(record.unit_word(field).map(|word| (field.clone(), word.to_owned())));
                    }
                    self.rows.push(row);
                }
                Item::Problem(_) => {}
            }
            if self.rows.len() < SAMPLED_ROWS { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
        });
    }

    /// The unit word that the file itself gives for a field.
    pub fn unit_word(&self, field: &str) -> Option<&str> {
        self.rows.iter().find_map(|row| row.unit_word(field))
    }

    /// Texts of a field that are neither blank nor native numbers.
    pub fn texts<'l>(&'l self, field: &'l str) -> impl Iterator<Item = &'l str> {
        let texts = self.rows.iter().filter(move |row| row.number(field).is_none());
        texts.filter_map(move |row| row.texts.get(field)).map(|text| text.trim()).filter(|text| !text.is_empty())
    }

    /// Whether the column `found` holds what the pack reads from its field `field`.
    pub fn fit(&self, mapping: &Mapping, field: &str, found: &str, style: Option<NumberStyle>) -> Fit {
        let of_field = |source: &TextSource| matches!(&source.origin, Origin::Field(name) if name == field);
        if let Some(number) = mapping.numbers().find(|number| of_field(&number.source)) {
            let quantity = mapping.measures.iter().find(|measure| of_field(&measure.number.source));
            return self.fit_of_number(mapping, number, quantity.map(|measure| measure.quantity), found, style);
        }
        let (mut known, mut strange) = (0, 0);
        for row in &self.rows {
            let word = row.texts.get(found).map_or("", |text| text.trim());
            match mapping.knows_word(field, word).filter(|_| !word.is_empty()) {
                Some(true) => known += 1,
                Some(false) => strange += 1,
                None => {}
            }
        }
        if known > 0 && known >= strange { Fit::Good } else { Fit::Unknown }
    }

    fn fit_of_number(
        &self,
        mapping: &Mapping,
        number: &NumberSource,
        quantity: Option<Quantity>,
        found: &str,
        style: Option<NumberStyle>,
    ) -> Fit {
        let mut number = number.clone();
        number.source.origin = Origin::Field(found.to_owned());
        number.source.required = false;
        number.style = style.unwrap_or(number.style);
        let (mut good, mut far, mut bad) = (0, 0, 0);
        for row in &self.rows {
            let view = View { record: row, opening: &Opening::default(), captures: &[] };
            match number.read(&view, &mapping.unit_words) {
                Ok(Some((value, _))) => {
                    let (lowest, highest) = quantity.map_or((f64::MIN, f64::MAX), Quantity::limits);
                    if (lowest..=highest).contains(&value) { good += 1 } else { far += 1 }
                }
                Ok(None) => {}
                Err(_) => bad += 1,
            }
        }
        match (good, far + bad) {
            (_, 0) if good > 0 => Fit::Good,
            (0, 1..) if bad > far => Fit::Contradicts,
            _ if bad > good + far => Fit::Contradicts,
            _ => Fit::Unknown,
        }
    }
}
