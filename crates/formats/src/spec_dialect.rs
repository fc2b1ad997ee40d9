//! The table `[dialect]` of `format.toml` as written: the keys of all engines; which engine reads which is checked later.

use serde::Deserialize;
use toml::Spanned;

use crate::spec::{OneOrMany, Text};

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct DialectSpec {
    /// One or a list of encodings; a byte order mark decides, else the order of the list.
    #[cfg_attr(test, schemars(with = "Option<OneOrMany>"))]
    pub encoding: Option<Spanned<OneOrMany>>,
    /// One character between cells; a comma if absent.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub delimiter: Option<Text>,
    /// One character around cells; "" for none.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub quote_char: Option<Text>,
    /// Whether a quote inside a quoted cell is doubled.
    #[cfg_attr(test, schemars(with = "Option<bool>"))]
    pub double_quote: Option<Spanned<bool>>,
    /// Rows of the header, from 1, behind the preamble, blank and comment lines not counted.
    #[cfg_attr(test, schemars(with = "Option<Vec<usize>>"))]
    pub header_rows: Option<Spanned<Vec<usize>>>,
    /// What joins the parts of a header of several rows; a blank if absent.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub header_join: Option<Text>,
    /// One character that begins lines to be passed over.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub comment_char: Option<Text>,
    /// Row of unit words, counted like `headerRows`.
    #[cfg_attr(test, schemars(with = "Option<usize>"))]
    pub units_row: Option<Spanned<usize>>,
    /// Lines with keys and values above the header.
    #[cfg_attr(test, schemars(with = "Option<PreambleSpec>"))]
    pub preamble: Option<Spanned<PreambleSpec>>,
    /// A character that takes the one behind it literally, inside and outside quotes.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub escape_char: Option<Text>,
    /// Whether blanks behind a delimiter are dropped before a quote is looked for.
    #[cfg_attr(test, schemars(with = "Option<bool>"))]
    pub skip_initial_space: Option<Spanned<bool>>,
    /// Whether a blank cell of an upper header row takes the text of the cell to its left (merged cells).
    #[cfg_attr(test, schemars(with = "Option<bool>"))]
    pub header_fill: Option<Spanned<bool>>,
    /// What becomes of a row with fewer cells than the header.
    #[cfg_attr(test, schemars(with = "Option<ShortRows>"))]
    pub short_rows: Option<Spanned<ShortRows>>,
    /// Where the records stand in a JSON or XML document: a path.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub property: Option<Text>,
    /// Name of the sheet.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub sheet_name: Option<Text>,
    /// From 1.
    #[cfg_attr(test, schemars(with = "Option<usize>"))]
    pub sheet_number: Option<Spanned<usize>>,
}

/// What becomes of a row with fewer cells than the header.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub(crate) enum ShortRows {
    #[default]
    Reject,
    /// The cells that lack are taken as missing.
    Pad,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct PreambleSpec {
    /// The line that ends the preamble.
    pub end_mark: Option<String>,
    /// In place of endMark: how many lines it has.
    #[serde(default)]
    pub lines: usize,
    /// What parts key and value; a colon if absent.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub separator: Option<Text>,
}
