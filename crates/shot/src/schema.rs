//! A dataset's columns, described once: types, units and meanings that travel into every published file.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::datatypes::{DataType, Field, Schema, SchemaRef, TimeUnit};

/// The column types that the Parquet profile allows: nothing nested, unsigned, dictionary-coded or zone-less.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ColumnKind {
    /// UTF-8 text.
    Text,
    /// Signed 64-bit integer.
    Integer,
    /// 64-bit floating point, never NaN.
    Real,
    /// True or false.
    Flag,
    /// Calendar day without a zone.
    Day,
    /// UTC instant in microseconds.
    Instant,
}

impl ColumnKind {
    /// All kinds with the word used in job contracts.
    pub const WORDS: [(ColumnKind, &'static str); 6] = [
        (ColumnKind::Text, "text"),
        (ColumnKind::Integer, "integer"),
        (ColumnKind::Real, "real"),
        (ColumnKind::Flag, "flag"),
        (ColumnKind::Day, "day"),
        (ColumnKind::Instant, "instant"),
    ];

    /// The word used in job contracts.
    pub fn word(self) -> &'static str {
        ColumnKind::WORDS.iter().find(|(kind, _)| *kind == self).map_or("text", |(_, word)| word)
    }

    /// The kind of a word.
    pub fn parse(text: &str) -> Option<ColumnKind> {
        ColumnKind::WORDS.iter().find(|(_, word)| *word == text).map(|(kind, _)| *kind)
    }

    /// The Arrow type of published files.
    pub fn arrow_type(self) -> DataType {
        match self {
            ColumnKind::Text => DataType::Utf8,
            ColumnKind::Integer => DataType::Int64,
            ColumnKind::Real => DataType::Float64,
            ColumnKind::Flag => DataType::Boolean,
            ColumnKind::Day => DataType::Date32,
            ColumnKind::Instant => DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into())),
        }
    }
}

/// One column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Name, `[a-z][a-z0-9_]*`, ending in its unit where it has one.
    pub name: String,
    /// Type.
    pub kind: ColumnKind,
    /// UCUM code of the unit; empty where there is none.
    pub unit: String,
    /// Meaning, in one sentence.
    pub description: String,
    /// Whether every row has a value.
    pub required: bool,
}

impl Column {
    /// A column that may be missing.
    pub fn optional(name: &str, kind: ColumnKind, unit: &str, description: &str) -> Column {
        Column { name: name.into(), kind, unit: unit.into(), description: description.into(), required: false }
    }

    /// A column that every row has.
    pub fn required(name: &str, kind: ColumnKind, unit: &str, description: &str) -> Column {
        Column { required: true, ..Column::optional(name, kind, unit, description) }
    }
}

/// The columns of one dataset, and how its rows are kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableSchema {
    /// Name of the dataset, also of its folder.
    pub name: String,
    /// Version of the column set; rises when columns change.
    pub version: i64,
    /// What one row is.
    pub description: String,
    /// The columns, in published order.
    pub columns: Vec<Column>,
    /// Columns that identify a row.
    pub key: Vec<String>,
    /// Columns the rows are sorted by, ascending, nulls first.
    pub sort: Vec<String>,
    /// The `Day` column whose month partitions the dataset; `None` for a dimension of one file per site.
    pub partition_day: Option<String>,
}

impl TableSchema {
    /// The column of a name.
    pub fn column(&self, name: &str) -> Option<&Column> {
        self.columns.iter().find(|column| column.name == name)
    }

    /// The Arrow schema, with `unit` and `description` as field metadata.
    pub fn arrow_schema(&self) -> SchemaRef {
        let mut fields = Vec::with_capacity(self.columns.len());
        for column in &self.columns {
            let mut metadata = HashMap::from([("description".to_owned(), column.description.clone())]);
            if !column.unit.is_empty() {
                metadata.insert("unit".to_owned(), column.unit.clone());
            }
            fields.push(Field::new(&column.name, column.kind.arrow_type(), !column.required).with_metadata(metadata));
        }
        Arc::new(Schema::new(fields))
    }

    /// What is wrong with this description itself: names, duplicates, keys that are no columns.
    pub fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        if !is_plain_name(&self.name) {
            faults.push(format!("dataset name \"{}\" must match [a-z][a-z0-9_]*", self.name));
        }
        for (position, column) in self.columns.iter().enumerate() {
            if !is_plain_name(&column.name) {
                faults.push(format!("column name \"{}\" must match [a-z][a-z0-9_]*", column.name));
            }
            if self.columns[..position].iter().any(|earlier| earlier.name == column.name) {
                faults.push(format!("column \"{}\" stands twice", column.name));
            }
        }
        for name in self.key.iter().chain(&self.sort).chain(&self.partition_day) {
            if self.column(name).is_none() {
                faults.push(format!("\"{name}\" is named as key, sort or partition column but is no column"));
            }
        }
        if let Some(day) = self.partition_day.as_deref().and_then(|name| self.column(name))
            && (day.kind != ColumnKind::Day || !day.required)
        {
            faults.push(format!("partition column \"{}\" must be a required day", day.name));
        }
        faults
    }
}

/// Names that every reader of Parquet and every SQL dialect takes without quotes.
fn is_plain_name(name: &str) -> bool {
    let mut letters = name.chars();
    let good_start = letters.next().is_some_and(|first| first.is_ascii_lowercase());
    good_start && letters.all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
}
