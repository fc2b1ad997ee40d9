//! The text of `job.toml` as serde reads it; `mod.rs` turns it into a checked pack.

use std::collections::BTreeMap;

use serde::Deserialize;
use toml::Spanned;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PackFile {
    pub name: Spanned<String>,
    pub version: Spanned<String>,
    pub description: String,
    #[serde(default)]
    pub inputs: Vec<InputFile>,
    pub output: OutputFile,
    #[serde(default)]
    pub trigger: TriggerFile,
    #[serde(default)]
    pub parameters: BTreeMap<String, Spanned<toml::Value>>,
    #[serde(default)]
    pub limits: LimitsFile,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct InputFile {
    pub dataset: Spanned<String>,
    #[serde(default)]
    pub look_back_weeks: u32,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct OutputFile {
    pub dataset: Spanned<String>,
    /// Version of the column set; rises when columns change.
    #[serde(default = "one")]
    pub version: i64,
    pub description: String,
    pub key: Spanned<Vec<String>>,
    #[serde(default)]
    pub sort: Option<Spanned<Vec<String>>>,
    #[serde(default)]
    pub partition_day: Option<Spanned<String>>,
    #[serde(default)]
    pub revision_by: Option<Spanned<String>>,
    pub columns: Vec<ColumnFile>,
}

fn one() -> i64 {
    1
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ColumnFile {
    pub name: Spanned<String>,
    #[serde(rename = "type")]
    pub kind: Spanned<String>,
    #[serde(default)]
    pub unit: String,
    pub description: String,
    #[serde(default)]
    pub required: bool,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TriggerFile {
    #[serde(default)]
    pub cron: Option<Spanned<String>>,
    #[serde(default)]
    pub zone: Option<Spanned<String>>,
    #[serde(default)]
    pub after_import: bool,
    #[serde(default)]
    pub debounce_s: Option<u64>,
    #[serde(default)]
    pub after_job: Option<Spanned<String>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LimitsFile {
    #[serde(default)]
    pub memory_mib: Option<u64>,
    #[serde(default)]
    pub seconds: Option<u64>,
}
