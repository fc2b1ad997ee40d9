//! Columns of arguments in and structured results out.

use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, AsArray, Float64Array, Float64Builder, NullBufferBuilder, StringArray, StructArray,
};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Field, Fields, Float64Type};
use datafusion::common::{Result, plan_err};
use datafusion::logical_expr::ColumnarValue;

/// An argument's name, unit and meaning; also a result field's.
pub(super) type Entry = (&'static str, &'static str, &'static str);

/// Checks count and types of numeric arguments; all become floating-point.
pub(super) fn numeric_types(function: &str, entries: &[Entry], given: &[DataType]) -> Result<Vec<DataType>> {
    let names: Vec<&str> = entries.iter().map(|(name, ..)| *name).collect();
    if given.len() != entries.len() {
        return plan_err!(
            "{function} takes {} arguments, not {}\nhint: write {function}({})",
            entries.len(),
            given.len(),
            names.join(", ")
        );
    }
    for (name, data_type) in names.iter().zip(given) {
        if !data_type.is_numeric() && !data_type.is_null() {
            return plan_err!(
                "argument {name} of {function} must be a number, not {data_type}\nhint: write {function}({})",
                names.join(", ")
            );
        }
    }
    Ok(vec![DataType::Float64; entries.len()])
}

/// Whether a type holds text.
pub(super) fn is_text(data_type: &DataType) -> bool {
    matches!(data_type, DataType::Utf8 | DataType::LargeUtf8 | DataType::Utf8View | DataType::Null)
}

/// An argument as numbers, one a row.
pub(super) fn reals(value: &ColumnarValue, rows: usize) -> Result<Float64Array> {
    real_array(&value.to_array(rows)?)
}

/// A column as numbers.
pub(super) fn real_array(column: &ArrayRef) -> Result<Float64Array> {
    Ok(cast(column, &DataType::Float64)?.as_primitive::<Float64Type>().clone())
}

/// An argument as texts, one a row.
pub(super) fn texts(value: &ColumnarValue, rows: usize) -> Result<StringArray> {
    text_array(&value.to_array(rows)?)
}

/// A column as texts.
pub(super) fn text_array(column: &ArrayRef) -> Result<StringArray> {
    Ok(cast(column, &DataType::Utf8)?.as_string::<i32>().clone())
}

/// The fields of a structured result of numbers.
pub(super) fn real_fields(entries: &[Entry]) -> Fields {
    entries.iter().map(|(name, ..)| Field::new(*name, DataType::Float64, true)).collect()
}

/// Collects rows of numbers into a structured column.
pub(super) struct RealRows {
    fields: Fields,
    columns: Vec<Float64Builder>,
    present: NullBufferBuilder,
}

impl RealRows {
    pub(super) fn new(entries: &[Entry], rows: usize) -> RealRows {
        RealRows {
            fields: real_fields(entries),
            columns: entries.iter().map(|_| Float64Builder::with_capacity(rows)).collect(),
            present: NullBufferBuilder::new(rows),
        }
    }

    /// Adds a row; a number that is not finite becomes missing, since no column of ours holds NaN.
    pub(super) fn push(&mut self, numbers: &[f64]) {
        for (column, number) in self.columns.iter_mut().zip(numbers) {
            column.append_option(Some(*number).filter(|value| value.is_finite()));
        }
        self.present.append_non_null();
    }

    /// Adds a row of which nothing is known.
    pub(super) fn push_null(&mut self) {
        for column in &mut self.columns {
            column.append_null();
        }
        self.present.append_null();
    }

    pub(super) fn finish(mut self) -> Result<ArrayRef> {
        let columns = self.columns.iter_mut().map(|column| Arc::new(column.finish()) as ArrayRef).collect();
        Ok(Arc::new(StructArray::try_new(self.fields, columns, self.present.finish())?))
    }

    /// The only column, where the result is a plain number.
    pub(super) fn finish_single(mut self) -> ArrayRef {
        Arc::new(self.columns[0].finish())
    }
}

/// The numbers of one row, or `false` where one is missing.
pub(super) fn fill_row(columns: &[Float64Array], row: usize, numbers: &mut Vec<f64>) -> bool {
    numbers.clear();
    for column in columns {
        if column.is_null(row) {
            return false;
        }
        numbers.push(column.value(row));
    }
    true
}
