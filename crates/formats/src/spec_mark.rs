//! The tables of `format.toml` that only packs of kind `strike-marks` have.

use serde::Deserialize;
use toml::Spanned;

use crate::spec::{ClubSpec, OneOrMany, Text, TextSpec, WordSpec};

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct MarkSpec {
    #[cfg_attr(test, schemars(with = "Option<TextSpec>"))]
    pub bay: Option<Spanned<TextSpec>>,
    #[cfg_attr(test, schemars(with = "Option<TextSpec>"))]
    pub session: Option<Spanned<TextSpec>>,
    /// The mark's own number or text.
    #[cfg_attr(test, schemars(with = "Option<TextSpec>"))]
    pub mark: Option<Spanned<TextSpec>>,
    #[cfg_attr(test, schemars(with = "Option<TextSpec>"))]
    pub player: Option<Spanned<TextSpec>>,
    #[cfg_attr(test, schemars(with = "Option<WordSpec<ClubSpec>>"))]
    pub club: Option<Spanned<WordSpec<ClubSpec>>>,
    /// How exactly the time was noted, in s.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub time_standard_deviation: Option<Spanned<f64>>,
    #[cfg_attr(test, schemars(with = "Option<GridSpec>"))]
    pub grid: Option<Spanned<GridSpec>>,
}

/// A grid on the face. A cell is its column's word followed by its row's.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct GridSpec {
    /// Holds the cell.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub field: Option<Text>,
    /// In place of `field`: holds the column.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub column_field: Option<Text>,
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub row_field: Option<Text>,
    /// One text of single characters, or a list of words.
    #[cfg_attr(test, schemars(with = "OneOrMany"))]
    pub columns: Spanned<OneOrMany>,
    #[cfg_attr(test, schemars(with = "crate::schema_words::FirstColumn"))]
    pub first_column: Text,
    #[cfg_attr(test, schemars(with = "Option<OneOrMany>"))]
    pub rows: Option<Spanned<OneOrMany>>,
    #[cfg_attr(test, schemars(with = "Option<crate::schema_words::FirstRow>"))]
    pub first_row: Option<Text>,
    #[cfg_attr(test, schemars(with = "f64"))]
    pub cell_width: Spanned<f64>,
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub cell_height: Option<Spanned<f64>>,
    /// Of all lengths here.
    #[cfg_attr(test, schemars(schema_with = "crate::schema_words::unit"))]
    pub unit: Text,
    /// The cell that lies on the face centre.
    #[cfg_attr(test, schemars(with = "String"))]
    pub centre: Text,
    /// Of how the grid lies on the face.
    #[cfg_attr(test, schemars(with = "Option<f64>"))]
    pub standard_deviation: Option<Spanned<f64>>,
}
