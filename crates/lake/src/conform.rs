//! Rows against their schema: the only way into a published file.

use arrow::array::{Array, ArrayRef, Float64Array, RecordBatch, RecordBatchOptions, new_null_array};
use arrow::compute::{CastOptions, cast_with_options};
use arrow::datatypes::DataType;
use shot::{Column, ColumnKind, TableSchema};

use crate::LakeError;

/// How strictly the columns must be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Strictness {
    /// New rows: every column of the schema and no other.
    Complete,
    /// Published rows: a file from before the schema grew may lack optional columns; they read as null.
    Older,
}

/// The same rows with exactly the schema's columns in order, types and metadata; each break of the schema is an error that
/// names the column.
pub(crate) fn conform(
    schema: &TableSchema,
    batch: &RecordBatch,
    strictness: Strictness,
) -> Result<RecordBatch, LakeError> {
    for field in batch.schema_ref().fields() {
        if schema.column(field.name()).is_none() {
            let hint = "remove the column from the query, or add it to the dataset's columns and raise its version";
            return Err(LakeError::column(&schema.name, field.name(), "is no column of this dataset", hint));
        }
    }
    let mut arrays = Vec::with_capacity(schema.columns.len());
    for column in &schema.columns {
        let array = match batch.column_by_name(&column.name) {
            Some(array) => as_kind(&schema.name, column, array)?,
            None if strictness == Strictness::Older && !column.required => {
                new_null_array(&column.kind.arrow_type(), batch.num_rows())
            }
            None => {
                let hint = "give this column a value in every row source, null where it has none";
                return Err(LakeError::column(&schema.name, &column.name, "is missing", hint));
            }
        };
        check_values(&schema.name, column, &array)?;
        arrays.push(array);
    }
    let options = RecordBatchOptions::new().with_row_count(Some(batch.num_rows()));
    RecordBatch::try_new_with_options(schema.arrow_schema(), arrays, &options)
        .map_err(|cause| LakeError::rows("assemble", &schema.name, cause))
}

/// The array in the column's type. Only representations of the same values are taken: views and dictionaries of text, narrower
/// numbers, other resolutions of an instant. Anything else wants an explicit CAST by whoever made the rows.
fn as_kind(dataset: &str, column: &Column, array: &ArrayRef) -> Result<ArrayRef, LakeError> {
    let target = column.kind.arrow_type();
    if array.data_type() == &target {
        return Ok(array.clone());
    }
    if !is_kin(array.data_type(), column.kind) {
        let problem = format!("has type {} instead of {}", array.data_type(), column.kind.word());
        let hint = format!("CAST the column to {} ({target})", column.kind.word());
        return Err(LakeError::column(dataset, &column.name, problem, hint));
    }
    // Not "safe": a value that does not fit is an error, never a silent null.
    let options = CastOptions { safe: false, ..CastOptions::default() };
    cast_with_options(array, &target, &options).map_err(|cause| {
        LakeError::column(dataset, &column.name, cause.to_string(), "keep the values within the column's type")
    })
}

fn is_kin(from: &DataType, kind: ColumnKind) -> bool {
    match (kind, from) {
        (_, DataType::Null) => true,
        (_, DataType::Dictionary(_, values)) => is_kin(values, kind),
        (ColumnKind::Text, other) => matches!(other, DataType::Utf8 | DataType::LargeUtf8 | DataType::Utf8View),
        (ColumnKind::Integer, other) => other.is_integer(),
        (ColumnKind::Real, other) => matches!(other, DataType::Float64 | DataType::Float32),
        (ColumnKind::Flag, other) => other == &DataType::Boolean,
        (ColumnKind::Day, other) => other == &DataType::Date32,
        (ColumnKind::Instant, other) => matches!(other, DataType::Timestamp(_, Some(_))),
    }
}

fn check_values(dataset: &str, column: &Column, array: &ArrayRef) -> Result<(), LakeError> {
    if column.required && array.null_count() > 0 {
        let row = (0..array.len()).find(|&row| array.is_null(row)).unwrap_or(0) + 1;
        let problem = format!("is required, but {} of {} rows have no value", array.null_count(), array.len());
        let hint = format!("leave such rows out, or make the column optional; the first one is row {row}");
        return Err(LakeError::column(dataset, &column.name, problem, hint));
    }
    if let Some(numbers) = array.as_any().downcast_ref::<Float64Array>() {
        let bad = numbers.iter().position(|value| value.is_some_and(|number| !number.is_finite()));
        if let Some(row) = bad {
            let problem = format!("row {} holds {}, which is no number", row + 1, numbers.value(row));
            let hint = "write null for a missing number, for example with NULLIF or CASE";
            return Err(LakeError::column(dataset, &column.name, problem, hint));
        }
    }
    Ok(())
}

/// Refuses a schema that contradicts itself, or whose name could not be a folder.
pub(crate) fn check_schema(schema: &TableSchema) -> Result<(), LakeError> {
    let mut letters = schema.name.chars();
    let good_start = letters.next().is_some_and(|first| first.is_ascii_lowercase());
    if !good_start || !letters.all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_') {
        let hint = "dataset names match [a-z][a-z0-9_]*";
        return Err(LakeError::dataset(&schema.name, "the name cannot be a folder of the lake", hint));
    }
    match schema.faults().first() {
        Some(fault) => Err(LakeError::dataset(&schema.name, fault.clone(), "mend the dataset's description")),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use arrow::array::{Int32Array, NullArray, StringViewArray};
    use arrow::datatypes::{Field, Schema};

    use super::*;

    fn schema() -> TableSchema {
        TableSchema {
            name: "facts".into(),
            version: 1,
            description: "rows".into(),
            columns: vec![
                Column::required("who", ColumnKind::Text, "", "alias"),
                Column::optional("loss_m", ColumnKind::Real, "m", "loss"),
                Column::optional("shots", ColumnKind::Integer, "", "count"),
            ],
            key: vec!["who".into()],
            sort: vec!["who".into()],
            partition_day: None,
        }
    }

    fn batch(columns: Vec<(&str, ArrayRef)>) -> RecordBatch {
        let fields: Vec<Field> =
            columns.iter().map(|(name, array)| Field::new(*name, array.data_type().clone(), true)).collect();
        let arrays = columns.into_iter().map(|(_, array)| array).collect();
        RecordBatch::try_new(Arc::new(Schema::new(fields)), arrays).expect("a batch")
    }

    #[test]
    fn kin_types_are_taken_and_metadata_comes_back() {
        let rows = batch(vec![
            ("shots", Arc::new(Int32Array::from(vec![3]))),
            ("who", Arc::new(StringViewArray::from(vec!["wren"]))),
            ("loss_m", Arc::new(NullArray::new(1))),
        ]);
        let rows = conform(&schema(), &rows, Strictness::Complete).expect("it conforms");
        assert_eq!(rows.schema(), schema().arrow_schema());
        assert_eq!(rows.schema().field(1).metadata().get("unit").map(String::as_str), Some("m"));
    }

    #[test]
    fn each_break_names_its_column() {
        let who: ArrayRef = Arc::new(StringViewArray::from(vec![Some("a"), None]));
        let good: ArrayRef = Arc::new(StringViewArray::from(vec!["a", "b"]));
        let loss: ArrayRef = Arc::new(Float64Array::from(vec![1.0, f64::NAN]));
        let text: ArrayRef = Arc::new(StringViewArray::from(vec!["1", "2"]));
        let count: ArrayRef = Arc::new(Int32Array::from(vec![1, 2]));
        let empty: ArrayRef = Arc::new(NullArray::new(2));
        let cases = [
            (vec![("who", who), ("loss_m", empty.clone()), ("shots", count.clone())], "who", "required"),
            (vec![("who", good.clone()), ("loss_m", loss), ("shots", count.clone())], "loss_m", "NaN"),
            (vec![("who", good.clone()), ("loss_m", empty.clone()), ("shots", text)], "shots", "type"),
            (vec![("who", good.clone()), ("shots", count.clone())], "loss_m", "missing"),
            (vec![("who", good), ("loss_m", empty.clone()), ("shots", count), ("more", empty)], "more", "no column"),
        ];
        for (columns, column, word) in cases {
            let error = conform(&schema(), &batch(columns), Strictness::Complete).expect_err(column).to_string();
            assert!(error.contains(&format!("column \"{column}\"")) && error.contains(word), "{error}");
            assert!(error.contains("\nhint: "), "{error}");
        }
    }
}
