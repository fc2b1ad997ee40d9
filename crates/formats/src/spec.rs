//! `format.toml` as written, before it is checked. Key names are those of the Frictionless Table Dialect and Table Schema where
//! these name the thing; unknown keys are refused, so that a misspelt key cannot be silently without effect.

use std::collections::BTreeMap;

use serde::Deserialize;
use toml::Spanned;

pub(crate) use crate::spec_derived::DerivedSpec;
use crate::spec_mark::MarkSpec;

/// A text whose place in the file is known.
pub(crate) type Text = Spanned<String>;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct PackSpec {
    pub name: Text,
    pub version: Text,
    /// One line for people.
    #[serde(default)]
    pub title: String,
    pub engine: Spanned<EngineWord>,
    /// What a record of the file is.
    #[serde(default)]
    pub kind: Kind,
    /// Share of rejected rows above which a file is quarantined whole.
    pub max_problem_share: Option<Spanned<f64>>,
    #[serde(default)]
    pub recognise: RecogniseSpec,
    #[serde(default)]
    pub dialect: DialectSpec,
    pub schema: SchemaSpec,
    #[serde(default)]
    pub unit_words: BTreeMap<String, Text>,
    pub time: Spanned<TimeSpec>,
    #[serde(default)]
    pub shot: ShotSpec,
    pub mark: Option<Spanned<MarkSpec>>,
    #[serde(default)]
    pub measures: BTreeMap<Text, NumberSpec>,
    #[serde(default)]
    pub derived: DerivedSpec,
    #[serde(default)]
    pub test: TestSpec,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum EngineWord {
    /// Delimited text.
    Delimited,
    /// One JSON object a line.
    JsonLines,
    /// One JSON document that holds a list of objects.
    Json,
    /// One XML document that holds a repeated element.
    Xml,
    /// A sheet of an xlsx or ods workbook.
    Spreadsheet,
    /// An Apache Parquet file.
    Parquet,
    /// An Arrow IPC file or stream (also known as Feather, version 2).
    Arrow,
}

/// What a record of a pack's files is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Kind {
    /// A shot.
    #[default]
    Shots,
    /// A strike position that was noted or filmed apart from the shot.
    StrikeMarks,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct RecogniseSpec {
    #[serde(default)]
    pub file_names: Vec<Text>,
    /// Texts that must stand in the head of the file.
    #[serde(default)]
    pub contains: Vec<String>,
    /// Keys that must stand in the preamble.
    #[serde(default)]
    pub preamble_keys: Vec<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct DialectSpec {
    pub encoding: Option<Spanned<OneOrMany>>,
    pub delimiter: Option<Text>,
    pub quote_char: Option<Text>,
    pub double_quote: Option<Spanned<bool>>,
    pub header_rows: Option<Spanned<Vec<usize>>>,
    pub header_join: Option<Text>,
    pub comment_char: Option<Text>,
    /// Row of unit words, counted like `headerRows`.
    pub units_row: Option<Spanned<usize>>,
    pub preamble: Option<Spanned<PreambleSpec>>,
    /// A character that takes the one behind it literally, inside and outside quotes.
    pub escape_char: Option<Text>,
    /// Whether blanks behind a delimiter are dropped before a quote is looked for.
    pub skip_initial_space: Option<Spanned<bool>>,
    /// Whether a blank cell of an upper header row takes the text of the cell to its left (merged cells).
    pub header_fill: Option<Spanned<bool>>,
    /// What becomes of a row with fewer cells than the header.
    pub short_rows: Option<Spanned<ShortRows>>,
    /// Where the records stand in a JSON or XML document: a path.
    pub property: Option<Text>,
    pub sheet_name: Option<Text>,
    /// From 1.
    pub sheet_number: Option<Spanned<usize>>,
}

/// What becomes of a row with fewer cells than the header.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum ShortRows {
    #[default]
    Reject,
    /// The cells that lack are taken as missing.
    Pad,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct PreambleSpec {
    pub end_mark: Option<String>,
    #[serde(default)]
    pub lines: usize,
    pub separator: Option<Text>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(untagged)]
pub(crate) enum OneOrMany {
    One(String),
    Many(Vec<String>),
}

impl OneOrMany {
    pub fn to_list(&self) -> Vec<String> {
        match self {
            OneOrMany::One(text) => vec![text.clone()],
            OneOrMany::Many(texts) => texts.clone(),
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct SchemaSpec {
    pub fields: Spanned<Vec<Text>>,
    /// Fields that a file may lack and still be this device's.
    #[serde(default)]
    pub optional_fields: Vec<Text>,
    #[serde(default)]
    pub fields_match: FieldsMatch,
    pub missing_values: Option<Vec<String>>,
    pub decimal_char: Option<Text>,
    pub group_char: Option<Text>,
    /// Other header words (or paths) under which a field may stand.
    #[serde(default)]
    pub also_named: BTreeMap<Text, Vec<Text>>,
}

/// How the fields of a file must match `schema.fields` (Table Schema, `fieldsMatch`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum FieldsMatch {
    /// The same fields in the same order.
    #[default]
    Exact,
    /// The same fields in any order.
    Equal,
    /// All of the pack's fields, and perhaps more.
    Subset,
    /// None but the pack's fields, perhaps fewer.
    Superset,
    /// At least one of the pack's fields.
    Partial,
}

/// Where a text comes from: exactly one of the first four keys.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct TextSpec {
    pub field: Option<Text>,
    pub preamble: Option<Text>,
    pub file_name: Option<Text>,
    pub constant: Option<Text>,
    #[serde(default)]
    pub required: bool,
}

/// Where a word comes from and what it means.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct WordSpec<V> {
    pub field: Option<Text>,
    pub preamble: Option<Text>,
    pub file_name: Option<Text>,
    pub constant: Option<Text>,
    #[serde(default)]
    pub required: bool,
    pub values: BTreeMap<Text, V>,
    /// Whether words match in capitals or not.
    #[serde(default)]
    pub ignore_case: bool,
    #[serde(default)]
    pub unknown: OnUnknown,
}

/// What becomes of a row with a word that the map does not have.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum OnUnknown {
    #[default]
    Reject,
    /// The row is taken without the value, and the word noted.
    Note,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct ClubSpec {
    pub club_id: Text,
    pub club_kind: Text,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct ShotSpec {
    pub bay: Option<Spanned<TextSpec>>,
    pub session: Option<Spanned<TextSpec>>,
    pub shot: Option<Spanned<TextSpec>>,
    pub player: Option<Spanned<TextSpec>>,
    pub ball_kind: Option<Spanned<TextSpec>>,
    pub environment: Option<Spanned<WordSpec<Text>>>,
    pub hand: Option<Spanned<WordSpec<Text>>>,
    pub intent: Option<Spanned<WordSpec<Text>>>,
    pub club: Option<Spanned<WordSpec<ClubSpec>>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct TimeSpec {
    /// Joined by one blank before they are read.
    pub parts: Vec<Spanned<TextSpec>>,
    /// Tried in order.
    pub format: Option<Spanned<OneOrMany>>,
    /// In place of `format`: the text counts this unit since 1970-01-01T00:00Z, or days as workbooks count them.
    pub epoch_unit: Option<Spanned<EpochUnit>>,
    /// Zone of the device's clock; the site's zone if absent.
    pub zone: Option<Text>,
    /// The twelve months in the device's language, read as English ones.
    pub month_names: Option<Spanned<Vec<String>>>,
    /// The first year that a year of two digits can mean.
    pub two_digit_years_from: Option<Spanned<i32>>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub(crate) enum EpochUnit {
    #[serde(rename = "s")]
    Seconds,
    #[serde(rename = "ms")]
    Milliseconds,
    #[serde(rename = "us")]
    Microseconds,
    #[serde(rename = "ns")]
    Nanoseconds,
    /// Days since 1899-12-30T00:00 local time, as most workbooks count them.
    #[serde(rename = "serial-1900")]
    Serial1900,
    /// Days since 1904-01-01T00:00 local time.
    #[serde(rename = "serial-1904")]
    Serial1904,
}

/// Where a number comes from, how it is written, and how well the device knows it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct NumberSpec {
    pub field: Option<Text>,
    pub preamble: Option<Text>,
    pub file_name: Option<Text>,
    pub constant: Option<Text>,
    #[serde(default)]
    pub required: bool,
    pub unit: Text,
    #[serde(default)]
    pub unit_from: UnitFrom,
    /// The field that names the unit, with `unitFrom = "field"`.
    pub unit_field: Option<Text>,
    #[serde(default)]
    pub sign: SignWord,
    pub positive_suffix: Option<Vec<String>>,
    pub negative_suffix: Option<Vec<String>>,
    /// Words for the middle.
    pub zero_words: Option<Vec<String>>,
    /// Whether the value is given in the player's own frame, positive as for a right-handed player.
    #[serde(default)]
    pub player_frame: bool,
    pub missing_values: Option<Vec<String>>,
    pub decimal_char: Option<Text>,
    pub group_char: Option<Text>,
    pub measured: Option<bool>,
    pub standard_deviation: Option<Spanned<f64>>,
    pub face_reference: Option<Text>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum UnitFrom {
    /// The unit is the pack's `unit`.
    #[default]
    Pack,
    /// The units row of the file names it; `unit` holds where the cell is empty.
    UnitsRow,
    /// A word behind the number names it; `unit` holds where there is none.
    Value,
    /// Another field of the record names it; `unit` holds where that is empty.
    Field,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum SignWord {
    #[default]
    Plain,
    Inverted,
    Suffix,
}

/// The site that `strikemill formats test` pretends to be.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct TestSpec {
    pub zone: Option<Text>,
    pub bay: Option<String>,
    pub environment: Option<String>,
}
