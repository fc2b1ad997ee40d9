//! Whether the rows of a job keep the contract of its pack, and the casts that lose nothing.

use std::collections::HashSet;
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::compute::{CastOptions, SortColumn, SortOptions, cast_with_options, lexsort_to_indices, take_record_batch};
use arrow::datatypes::{DataType, Float64Type, Schema};
use arrow::row::{RowConverter, SortField};
use shot::{Column, ColumnKind, TableSchema};

use crate::error::JobsError;

fn broken(job: &str, message: String, hint: impl Into<String>) -> JobsError {
    JobsError::Contract { job: job.to_owned(), message, hint: hint.into() }
}

/// Checks names and types of a job's columns against its contract, before any row is computed.
pub(crate) fn check_columns(job: &str, given: &Schema, contract: &TableSchema) -> Result<(), JobsError> {
    for field in given.fields() {
        if contract.column(field.name()).is_none() {
            let hint = "leave it out of the SELECT, or add it to [[output.columns]] of the pack";
            return Err(broken(job, format!("column {} is not in the contract", field.name()), hint));
        }
    }
    for column in &contract.columns {
        let count = given.fields().iter().filter(|field| *field.name() == column.name).count();
        if count != 1 {
            let state = if count == 0 { "missing from" } else { "more than once in" };
            let hint = "give it once in the SELECT, with AS where it is an expression";
            return Err(broken(job, format!("column {} is {state} the result of the query", column.name), hint));
        }
        let field = given.field_with_name(&column.name)?;
        if let Err(hint) = castable(field.data_type(), column.kind) {
            let message =
                format!("column {} is {} but the contract says {}", column.name, field.data_type(), column.kind.word());
            return Err(broken(job, message, hint));
        }
    }
    Ok(())
}

/// Whether a type becomes a contract kind without losing anything; else a hint.
fn castable(given: &DataType, kind: ColumnKind) -> Result<(), String> {
    let fits = match kind {
        ColumnKind::Text => matches!(given, DataType::Utf8 | DataType::LargeUtf8 | DataType::Utf8View),
        ColumnKind::Integer => given.is_integer(),
        ColumnKind::Real => given.is_numeric(),
        ColumnKind::Flag => matches!(given, DataType::Boolean),
        ColumnKind::Day => matches!(given, DataType::Date32 | DataType::Date64),
        ColumnKind::Instant => matches!(given, DataType::Timestamp(_, Some(_))),
    };
    if fits || given.is_null() {
        return Ok(());
    }
    Err(match (kind, given) {
        (ColumnKind::Day, DataType::Timestamp(..)) => {
            "use local_date or monday(local_date), or cast(... AS date)".to_owned()
        }
        (ColumnKind::Instant, DataType::Timestamp(..)) => {
            "an instant needs a zone: arrow_cast(..., 'Timestamp(Microsecond, Some(\"UTC\"))')".to_owned()
        }
        (ColumnKind::Integer, _) if given.is_numeric() => "round it and cast it AS bigint".to_owned(),
        _ => format!("cast it, or change the type in the pack to fit {given}"),
    })
}

/// Rows in the contract's column order and types. Refuses nulls in required columns and numbers that are not finite.
pub(crate) fn conform(job: &str, batch: &RecordBatch, contract: &TableSchema) -> Result<RecordBatch, JobsError> {
    let mut columns = Vec::with_capacity(contract.columns.len());
    for column in &contract.columns {
        let Some(given) = batch.column_by_name(&column.name) else {
            return Err(broken(job, format!("column {} is missing", column.name), "give it in the SELECT"));
        };
        let options = CastOptions { safe: false, ..CastOptions::default() };
        let cast = cast_with_options(given, &column.kind.arrow_type(), &options).map_err(|error| {
            broken(job, format!("column {}: {error}", column.name), "a value does not fit the type of the contract")
        })?;
        check_values(job, batch, column, &cast, contract)?;
        columns.push(cast);
    }
    Ok(RecordBatch::try_new(contract.arrow_schema(), columns)?)
}

fn check_values(
    job: &str,
    batch: &RecordBatch,
    column: &Column,
    values: &ArrayRef,
    contract: &TableSchema,
) -> Result<(), JobsError> {
    if column.required
        && let Some(row) = (0..values.len()).find(|row| values.is_null(*row))
    {
        let message = format!("required column {} is null{}", column.name, key_of(batch, row, contract));
        return Err(broken(job, message, "leave such rows out with WHERE, or make the column optional in the pack"));
    }
    if column.kind == ColumnKind::Real {
        let numbers = values.as_primitive::<Float64Type>();
        let wrong = (0..numbers.len()).find(|row| numbers.is_valid(*row) && !numbers.value(*row).is_finite());
        if let Some(row) = wrong {
            let message = format!("column {} is {}{}", column.name, numbers.value(row), key_of(batch, row, contract));
            let hint = "a published column holds no NaN and no infinity: guard divisions with nullif(divisor, 0)";
            return Err(broken(job, message, hint));
        }
    }
    Ok(())
}

/// The key of a row as text, to find it again.
fn key_of(batch: &RecordBatch, row: usize, contract: &TableSchema) -> String {
    let mut parts = Vec::new();
    for name in &contract.key {
        if let Some(column) = batch.column_by_name(name) {
            let text = arrow::util::display::array_value_to_string(column, row).unwrap_or_default();
            parts.push(format!("{name} = {text}"));
        }
    }
    if parts.is_empty() { String::new() } else { format!(" in the row with {}", parts.join(", ")) }
}

/// Refuses two rows with one key.
pub(crate) fn check_keys(job: &str, rows: &RecordBatch, contract: &TableSchema) -> Result<(), JobsError> {
    let mut columns = Vec::new();
    let mut fields = Vec::new();
    for name in &contract.key {
        let position = rows.schema().index_of(name)?;
        columns.push(Arc::clone(rows.column(position)));
        fields.push(SortField::new(rows.column(position).data_type().clone()));
    }
    let keys = RowConverter::new(fields)?.convert_columns(&columns)?;
    let mut seen = HashSet::with_capacity(keys.num_rows());
    for row in 0..keys.num_rows() {
        if !seen.insert(keys.row(row).data()) {
            let message = format!("the key {} is not unique{}", contract.key.join(", "), key_of(rows, row, contract));
            return Err(broken(job, message, "group by the key, or add a column to the key of the pack"));
        }
    }
    Ok(())
}

/// Rows in the contract's order: its sort columns, then its key, ascending, nulls first.
pub(crate) fn sorted(rows: &RecordBatch, contract: &TableSchema) -> Result<RecordBatch, JobsError> {
    let mut columns = Vec::new();
    for name in contract.sort.iter().chain(&contract.key) {
        let values = Arc::clone(rows.column(rows.schema().index_of(name)?));
        columns.push(SortColumn { values, options: Some(SortOptions { descending: false, nulls_first: true }) });
    }
    if columns.is_empty() || rows.num_rows() < 2 {
        return Ok(rows.clone());
    }
    Ok(take_record_batch(rows, &lexsort_to_indices(&columns, None)?)?)
}
