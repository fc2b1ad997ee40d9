//! The text of `job.toml` as serde reads it; `mod.rs` turns it into a checked pack.

use std::collections::BTreeMap;

use serde::Deserialize;
use toml::Spanned;

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct PackFile {
    /// Name of the job and of its folder.
    #[cfg_attr(test, schemars(with = "String", regex(pattern = "^[a-z0-9_]+$")))]
    pub name: Spanned<String>,
    /// Version of the job as a text.
    #[cfg_attr(test, schemars(with = "String"))]
    pub version: Spanned<String>,
    /// What the job is for, in one line.
    pub description: String,
    /// The datasets that the query reads.
    #[serde(default)]
    pub inputs: Vec<InputFile>,
    /// The one dataset that the job makes.
    pub output: OutputFile,
    /// What starts the job; several may be given.
    #[serde(default)]
    pub trigger: TriggerFile,
    /// Values that query.sql writes as $name.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "BTreeMap<String, super::schema::ParameterWord>"))]
    pub parameters: BTreeMap<String, Spanned<toml::Value>>,
    /// Limits of its own; the engine's where left out.
    #[serde(default)]
    pub limits: LimitsFile,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct InputFile {
    /// Name of the dataset.
    #[cfg_attr(test, schemars(with = "String"))]
    pub dataset: Spanned<String>,
    /// How many weeks before a row's day the job looks at to make that row.
    #[serde(default)]
    pub look_back_weeks: u32,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct OutputFile {
    /// Name of the dataset that is made.
    #[cfg_attr(test, schemars(with = "String"))]
    pub dataset: Spanned<String>,
    /// Version of the column set; rises when columns change.
    #[serde(default = "one")]
    pub version: i64,
    /// What a row of it is.
    pub description: String,
    /// The columns that identify a row.
    #[cfg_attr(test, schemars(with = "Vec<String>"))]
    pub key: Spanned<Vec<String>>,
    /// The order of the rows; the key where left out.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "Option<Vec<String>>"))]
    pub sort: Option<Spanned<Vec<String>>>,
    /// The day column whose month partitions the dataset.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub partition_day: Option<Spanned<String>>,
    /// The day column whose weeks carry the integer column revision.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub revision_by: Option<Spanned<String>>,
    /// Rows that stand stay as they are: the dataset grows, and an explicit refit adds a new series. Needs the integer column
    /// series in the key; query.sql may write $series and $run_at.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "Option<AppendOnlyFile>"))]
    pub append_only: Option<Spanned<AppendOnlyFile>>,
    /// The columns, in order.
    pub columns: Vec<ColumnFile>,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct AppendOnlyFile {
    /// The instant column that says when a row was made first.
    pub made_at: String,
    /// Hours after which a row is settled; younger rows follow their inputs, so that an import over hours freezes nothing half.
    #[serde(default)]
    pub settles_after_h: u32,
    /// The text column with a player's alias: rows go when the player's consent does.
    #[serde(default)]
    pub consent_of: Option<String>,
}

fn one() -> i64 {
    1
}

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct ColumnFile {
    /// Name of the column.
    #[cfg_attr(test, schemars(with = "String"))]
    pub name: Spanned<String>,
    /// Type of the column.
    #[serde(rename = "type")]
    #[cfg_attr(test, schemars(with = "super::schema::TypeWord"))]
    pub kind: Spanned<String>,
    /// UCUM code of the unit.
    #[serde(default)]
    pub unit: String,
    /// What the column holds.
    pub description: String,
    /// Whether each row has a value.
    #[serde(default)]
    pub required: bool,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct TriggerFile {
    /// Five fields: minute, hour, day of month, month, day of week.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub cron: Option<Spanned<String>>,
    /// IANA zone of the cron expression; the site's where left out.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub zone: Option<Spanned<String>>,
    /// Whether the job runs after an import.
    #[serde(default)]
    pub after_import: bool,
    /// Seconds without a further import before it runs.
    #[serde(default)]
    pub debounce_s: Option<u64>,
    /// The job after whose success it runs.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub after_job: Option<Spanned<String>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct LimitsFile {
    /// Memory for sorting, grouping and joining; beyond it the engine spills to disk.
    #[serde(default)]
    pub memory_mib: Option<u64>,
    /// Longest run of one query.
    #[serde(default)]
    pub seconds: Option<u64>,
    /// Most months of output that one query makes; a longer span is made piece by piece, for queries whose memory grows with it.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "Option<u32>"))]
    pub months_at_once: Option<Spanned<u32>>,
}
