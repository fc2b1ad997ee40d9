//! `format.toml` as written, before it is checked. Key names are those of the Frictionless Table Dialect and Table Schema where
//! these name the thing; unknown keys are refused, so that a misspelt key cannot be silently without effect.

use std::collections::BTreeMap;

use serde::Deserialize;
use toml::Spanned;

pub(crate) use crate::spec_derived::DerivedSpec;
pub(crate) use crate::spec_dialect::{DialectSpec, ShortRows};
use crate::spec_mark::MarkSpec;
pub(crate) use crate::spec_time::{EpochUnit, TimeSpec};

/// A text whose place in the file is known.
pub(crate) type Text = Spanned<String>;

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct PackSpec {
    /// Name of the pack and of its folder: small letters, digits and hyphens.
    #[cfg_attr(test, schemars(with = "String", regex(pattern = "^[a-z0-9-]+$")))]
    pub name: Text,
    /// Numbers joined by points; raise it with every change.
    #[cfg_attr(test, schemars(with = "String", regex(pattern = r"^[0-9]+(\.[0-9]+)*$")))]
    pub version: Text,
    /// One line for people.
    #[serde(default)]
    pub title: String,
    /// What kind of file it is.
    #[cfg_attr(test, schemars(with = "EngineWord"))]
    pub engine: Spanned<EngineWord>,
    /// What a record of the file is.
    #[serde(default)]
    pub kind: Kind,
    /// Share of rejected rows above which a file is quarantined whole.
    #[cfg_attr(test, schemars(with = "Option<f64>", range(min = 0.0, max = 1.0)))]
    pub max_problem_share: Option<Spanned<f64>>,
    /// How a file of this device is told from others.
    #[serde(default)]
    pub recognise: RecogniseSpec,
    /// How the file is written.
    #[serde(default)]
    pub dialect: DialectSpec,
    /// The fields of the file, and how values are written.
    pub schema: SchemaSpec,
    /// This device's words for units, and their UCUM codes.
    #[serde(default)]
    #[cfg_attr(test, schemars(schema_with = "crate::schema_words::unit_words"))]
    pub unit_words: BTreeMap<String, Text>,
    /// Where and how the time of a shot is written.
    #[cfg_attr(test, schemars(with = "TimeSpec"))]
    pub time: Spanned<TimeSpec>,
    /// Where the texts of a shot stand.
    #[serde(default)]
    pub shot: ShotSpec,
    /// Where the texts of a strike mark stand; only for packs of kind strike-marks.
    #[cfg_attr(test, schemars(with = "Option<MarkSpec>"))]
    pub mark: Option<Spanned<MarkSpec>>,
    /// One table for each number, named after our column.
    #[serde(default)]
    #[cfg_attr(test, schemars(schema_with = "crate::schema_words::measures"))]
    pub measures: BTreeMap<Text, NumberSpec>,
    /// Numbers that follow from others.
    #[serde(default)]
    pub derived: DerivedSpec,
    /// The site that `strikemill formats test` pretends to be.
    #[serde(default)]
    pub test: TestSpec,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
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
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Kind {
    /// A shot.
    #[default]
    Shots,
    /// A strike position that was noted or filmed apart from the shot.
    StrikeMarks,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct RecogniseSpec {
    /// Name patterns; {word} stands for one or more letters, digits, hyphens or underscores and can be used as a source.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "Vec<String>"))]
    pub file_names: Vec<Text>,
    /// Texts that must stand in the head of the file.
    #[serde(default)]
    pub contains: Vec<String>,
    /// Keys that must stand in the preamble.
    #[serde(default)]
    pub preamble_keys: Vec<String>,
}

#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
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
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct SchemaSpec {
    /// Header words or paths by which the file is known.
    #[cfg_attr(test, schemars(with = "Vec<String>"))]
    pub fields: Spanned<Vec<Text>>,
    /// Fields that a file may lack and still be this device's.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "Vec<String>"))]
    pub optional_fields: Vec<Text>,
    /// How the fields of a file must match these.
    #[serde(default)]
    pub fields_match: FieldsMatch,
    /// Texts that stand for no reading.
    pub missing_values: Option<Vec<String>>,
    /// The decimal character; a point if absent.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub decimal_char: Option<Text>,
    /// The character between thousands.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub group_char: Option<Text>,
    /// Other header words (or paths) under which a field may stand.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "BTreeMap<String, Vec<String>>"))]
    pub also_named: BTreeMap<Text, Vec<Text>>,
}

/// How the fields of a file must match `schema.fields` (Table Schema, `fieldsMatch`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
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
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct TextSpec {
    /// A header word or path.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub field: Option<Text>,
    /// A key of what stands above or beside the records.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub preamble: Option<Text>,
    /// A capture of the file name.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub file_name: Option<Text>,
    /// The same text for every row.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub constant: Option<Text>,
    /// Whether a row without it is rejected.
    #[serde(default)]
    pub required: bool,
}

/// Where a word comes from and what it means.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct WordSpec<V> {
    /// A header word or path.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub field: Option<Text>,
    /// A key of what stands above or beside the records.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub preamble: Option<Text>,
    /// A capture of the file name.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub file_name: Option<Text>,
    /// The same text for every row.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub constant: Option<Text>,
    /// Whether a row without it is rejected.
    #[serde(default)]
    pub required: bool,
    /// The device's words and what they mean.
    #[cfg_attr(test, schemars(with = "BTreeMap<String, V>"))]
    pub values: BTreeMap<Text, V>,
    /// Whether words match in capitals or not.
    #[serde(default)]
    pub ignore_case: bool,
    /// What becomes of a row with a word that is not listed.
    #[serde(default)]
    pub unknown: OnUnknown,
}

/// What becomes of a row with a word that the map does not have.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub(crate) enum OnUnknown {
    #[default]
    Reject,
    /// The row is taken without the value, and the word noted.
    Note,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct ClubSpec {
    /// Our name of the club, for example 7-iron.
    #[cfg_attr(test, schemars(with = "String"))]
    pub club_id: Text,
    /// What kind of club it is.
    #[cfg_attr(test, schemars(with = "crate::schema_words::ClubKind"))]
    pub club_kind: Text,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct ShotSpec {
    /// The bay; that of the import folder if absent.
    #[cfg_attr(test, schemars(with = "Option<TextSpec>"))]
    pub bay: Option<Spanned<TextSpec>>,
    /// A text that the device itself writes and never uses twice.
    #[cfg_attr(test, schemars(with = "Option<TextSpec>"))]
    pub session: Option<Spanned<TextSpec>>,
    /// The shot's own number or text.
    #[cfg_attr(test, schemars(with = "Option<TextSpec>"))]
    pub shot: Option<Spanned<TextSpec>>,
    /// The player as the device writes it.
    #[cfg_attr(test, schemars(with = "Option<TextSpec>"))]
    pub player: Option<Spanned<TextSpec>>,
    /// The kind of ball.
    #[cfg_attr(test, schemars(with = "Option<TextSpec>"))]
    pub ball_kind: Option<Spanned<TextSpec>>,
    /// Indoors or outdoors.
    #[cfg_attr(test, schemars(with = "Option<WordSpec<crate::schema_words::Place>>"))]
    pub environment: Option<Spanned<WordSpec<Text>>>,
    /// The player's hand.
    #[cfg_attr(test, schemars(with = "Option<WordSpec<crate::schema_words::Side>>"))]
    pub hand: Option<Spanned<WordSpec<Text>>>,
    /// What the shot was meant for.
    #[cfg_attr(test, schemars(with = "Option<WordSpec<crate::schema_words::Purpose>>"))]
    pub intent: Option<Spanned<WordSpec<Text>>>,
    /// The club.
    #[cfg_attr(test, schemars(with = "Option<WordSpec<ClubSpec>>"))]
    pub club: Option<Spanned<WordSpec<ClubSpec>>>,
}

/// Where a number comes from, how it is written, and how well the device knows it.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct NumberSpec {
    /// A header word or path.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub field: Option<Text>,
    /// A key of what stands above or beside the records.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub preamble: Option<Text>,
    /// A capture of the file name.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub file_name: Option<Text>,
    /// The same text for every row.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub constant: Option<Text>,
    /// Whether a row without it is rejected.
    #[serde(default)]
    pub required: bool,
    /// UCUM code of the number.
    #[cfg_attr(test, schemars(schema_with = "crate::schema_words::unit"))]
    pub unit: Text,
    /// Where the unit stands.
    #[serde(default)]
    pub unit_from: UnitFrom,
    /// The field that names the unit, with `unitFrom = "field"`.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub unit_field: Option<Text>,
    /// How the sign is written.
    #[serde(default)]
    pub sign: SignWord,
    /// Words behind the number for our positive side.
    pub positive_suffix: Option<Vec<String>>,
    /// Words behind the number for our negative side.
    pub negative_suffix: Option<Vec<String>>,
    /// Words for the middle.
    pub zero_words: Option<Vec<String>>,
    /// Whether the value is given in the player's own frame, positive as for a right-handed player.
    #[serde(default)]
    pub player_frame: bool,
    /// For this number alone.
    pub missing_values: Option<Vec<String>>,
    /// For this number alone.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub decimal_char: Option<Text>,
    /// For this number alone.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub group_char: Option<Text>,
    /// True where the device measures it, false where it only computes it.
    pub measured: Option<bool>,
    /// Of one reading, in `unit`.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub standard_deviation: Option<Spanned<f64>>,
    /// The point of the face that the angle belongs to.
    #[cfg_attr(test, schemars(with = "Option<crate::schema_words::FaceReference>"))]
    pub face_reference: Option<Text>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
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
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub(crate) enum SignWord {
    #[default]
    Plain,
    Inverted,
    Suffix,
}

/// The site that `strikemill formats test` pretends to be.
#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct TestSpec {
    /// IANA name; UTC if absent.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub zone: Option<Text>,
    /// Bay of the import folder.
    pub bay: Option<String>,
    /// Of the import folder.
    #[cfg_attr(test, schemars(with = "Option<crate::schema_words::Place>"))]
    pub environment: Option<String>,
    /// What the roster would say of the samples' players: `right` or `left`.
    #[serde(default)]
    pub hands: BTreeMap<String, Text>,
}
