//! The tables of `format.toml` that only packs of kind `strike-marks` have.

use serde::Deserialize;
use toml::Spanned;

use crate::spec::{ClubSpec, OneOrMany, Text, TextSpec, WordSpec};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct MarkSpec {
    pub bay: Option<Spanned<TextSpec>>,
    pub session: Option<Spanned<TextSpec>>,
    /// The mark's own number or text.
    pub mark: Option<Spanned<TextSpec>>,
    pub player: Option<Spanned<TextSpec>>,
    pub club: Option<Spanned<WordSpec<ClubSpec>>>,
    /// How exactly the time was noted, in s.
    pub time_standard_deviation: Option<Spanned<f64>>,
    pub grid: Option<Spanned<GridSpec>>,
}

/// A grid on the face. A cell is its column's word followed by its row's.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(crate) struct GridSpec {
    /// Holds the cell.
    pub field: Option<Text>,
    /// In place of `field`: holds the column.
    pub column_field: Option<Text>,
    pub row_field: Option<Text>,
    /// One text of single characters, or a list of words.
    pub columns: Spanned<OneOrMany>,
    pub first_column: Text,
    pub rows: Option<Spanned<OneOrMany>>,
    pub first_row: Option<Text>,
    pub cell_width: Spanned<f64>,
    pub cell_height: Option<Spanned<f64>>,
    /// Of all lengths here.
    pub unit: Text,
    /// The cell that lies on the face centre.
    pub centre: Text,
    /// Of how the grid lies on the face.
    pub standard_deviation: Option<Spanned<f64>>,
}
