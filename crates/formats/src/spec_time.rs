//! The table `[time]` of `format.toml` as written.

use serde::Deserialize;
use toml::Spanned;

use crate::spec::{OneOrMany, Text, TextSpec};

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct TimeSpec {
    /// Joined by one blank before they are read.
    #[cfg_attr(test, schemars(with = "Vec<TextSpec>"))]
    pub parts: Vec<Spanned<TextSpec>>,
    /// Tried in order.
    #[cfg_attr(test, schemars(with = "Option<OneOrMany>"))]
    pub format: Option<Spanned<OneOrMany>>,
    /// In place of `format`: the text counts this unit since 1970-01-01T00:00Z, or days as workbooks count them.
    #[cfg_attr(test, schemars(with = "Option<EpochUnit>"))]
    pub epoch_unit: Option<Spanned<EpochUnit>>,
    /// Zone of the device's clock; the site's zone if absent.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub zone: Option<Text>,
    /// The twelve months in the device's language, read as English ones.
    #[cfg_attr(test, schemars(with = "Option<Vec<String>>"))]
    pub month_names: Option<Spanned<Vec<String>>>,
    /// The first year that a year of two digits can mean.
    #[cfg_attr(test, schemars(with = "Option<i32>"))]
    pub two_digit_years_from: Option<Spanned<i32>>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
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
