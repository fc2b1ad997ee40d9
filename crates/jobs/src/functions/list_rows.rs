//! The arguments of a function of lists as plain numbers and texts.

use arrow::array::{Array, Float64Array, StringArray, StructArray};
use datafusion::common::Result;
use datafusion::logical_expr::ColumnarValue;

use super::columns::{real_array, reals, text_array, texts};
use super::list_definition::{Definition, Rows, ScalarKind, Scalars};

/// The rows of all lists of a batch, by column.
pub(super) struct RowColumns {
    /// Which rows are missing as a whole.
    missing: Option<arrow::buffer::NullBuffer>,
    numbers: Vec<Option<Float64Array>>,
    texts: Vec<Option<StringArray>>,
}

impl RowColumns {
    pub fn none() -> RowColumns {
        RowColumns { missing: None, numbers: Vec::new(), texts: Vec::new() }
    }

    pub fn read(definition: &Definition, rows: &StructArray) -> Result<RowColumns> {
        let mut numbers = Vec::with_capacity(definition.numbers.len());
        for (name, ..) in &definition.numbers {
            numbers.push(rows.column_by_name(name).map(real_array).transpose()?);
        }
        let mut texts = Vec::with_capacity(definition.texts.len());
        for (name, _) in &definition.texts {
            texts.push(rows.column_by_name(name).map(text_array).transpose()?);
        }
        Ok(RowColumns { missing: rows.nulls().cloned(), numbers, texts })
    }

    /// The rows of one list, ordered by what they say: parallel workers deliver them in any order, and sums of floating-point
    /// numbers would tell which.
    pub fn read_list(&self, first: usize, length: usize) -> Rows {
        let mut read = Vec::with_capacity(length);
        for row in first..first + length {
            if self.missing.as_ref().is_some_and(|missing| missing.is_null(row)) {
                continue;
            }
            let number = |column: &Option<Float64Array>| {
                let column = column.as_ref().filter(|column| column.is_valid(row))?;
                Some(column.value(row)).filter(|number| number.is_finite())
            };
            let text = |column: &Option<StringArray>| {
                column.as_ref().filter(|column| column.is_valid(row)).map(|column| column.value(row).to_owned())
            };
            let numbers: Vec<Option<f64>> = self.numbers.iter().map(number).collect();
            let texts: Vec<Option<String>> = self.texts.iter().map(text).collect();
            read.push((numbers, texts));
        }
        read.sort_by(|left, right| {
            let by_number = left.0.iter().zip(&right.0).map(|(one, other)| match (one, other) {
                (Some(one), Some(other)) => one.total_cmp(other),
                _ => one.is_some().cmp(&other.is_some()),
            });
            by_number.fold(std::cmp::Ordering::Equal, std::cmp::Ordering::then).then_with(|| left.1.cmp(&right.1))
        });
        let (numbers, texts) = read.into_iter().unzip();
        Rows { numbers, texts }
    }
}

/// The arguments behind the list, by column.
pub(super) struct ScalarColumns {
    numbers: Vec<Option<Float64Array>>,
    texts: Vec<Option<StringArray>>,
}

impl ScalarColumns {
    pub fn read(definition: &Definition, given: &[ColumnarValue], rows: usize) -> Result<ScalarColumns> {
        let mut columns = ScalarColumns { numbers: Vec::new(), texts: Vec::new() };
        for (scalar, value) in definition.scalars.iter().zip(given) {
            let is_number = scalar.kind == ScalarKind::Number;
            columns.numbers.push(if is_number { Some(reals(value, rows)?) } else { None });
            columns.texts.push(if is_number { None } else { Some(texts(value, rows)?) });
        }
        Ok(columns)
    }

    pub fn row(&self, row: usize) -> Scalars {
        let mut scalars = Scalars::default();
        for column in &self.numbers {
            let column = column.as_ref().filter(|column| column.is_valid(row));
            scalars.numbers.push(column.map(|column| column.value(row)));
        }
        for column in &self.texts {
            let column = column.as_ref().filter(|column| column.is_valid(row));
            scalars.texts.push(column.map(|column| column.value(row).to_owned()));
        }
        scalars
    }
}
