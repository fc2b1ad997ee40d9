//! Result rows as a table, as CSV or as JSON.

use std::io::Write;
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch, StringArray, StructArray, make_array};
use arrow::buffer::NullBuffer;
use arrow::csv::{Writer as CsvWriter, WriterBuilder as CsvBuilder};
use arrow::datatypes::{DataType, Field, Schema, SchemaRef};
use arrow::json::writer::{JsonArray, Writer as JsonWriter, WriterBuilder as JsonBuilder};
use arrow::util::display::{ArrayFormatter, FormatOptions};
use arrow::util::pretty::pretty_format_batches_with_options;

use crate::error::JobsError;

/// The form of a result.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Output {
    /// A drawn table, for reading.
    Table,
    /// Comma-separated values with a header; fields of structures become columns called `parent.child`.
    Csv,
    /// One array of row objects; structures are nested objects, missing values null, instants RFC 3339 in UTC.
    Json,
}

/// Writes batches as they come; a table only at its end, since its widths depend on all rows.
pub(crate) enum ResultWriter<'out> {
    Table { schema: SchemaRef, batches: Vec<RecordBatch>, out: &'out mut dyn Write },
    Csv(Box<CsvWriter<&'out mut dyn Write>>),
    Json(Box<JsonWriter<&'out mut dyn Write, JsonArray>>),
}

impl<'out> ResultWriter<'out> {
    pub fn new(output: Output, schema: &SchemaRef, out: &'out mut dyn Write) -> Result<ResultWriter<'out>, JobsError> {
        Ok(match output {
            Output::Table => ResultWriter::Table { schema: Arc::clone(schema), batches: Vec::new(), out },
            Output::Csv => {
                let mut writer = CsvBuilder::new().with_header(true).build(out);
                // Also a result without rows has its header.
                writer.write(&flat(&RecordBatch::new_empty(Arc::clone(schema)))?)?;
                ResultWriter::Csv(Box::new(writer))
            }
            Output::Json => {
                ResultWriter::Json(Box::new(JsonBuilder::new().with_explicit_nulls(true).build::<_, JsonArray>(out)))
            }
        })
    }

    pub fn write(&mut self, batch: &RecordBatch) -> Result<(), JobsError> {
        match self {
            ResultWriter::Table { batches, .. } => batches.push(batch.clone()),
            ResultWriter::Csv(writer) => writer.write(&flat(batch)?)?,
            ResultWriter::Json(writer) => writer.write(batch)?,
        }
        Ok(())
    }

    pub fn finish(self) -> Result<(), JobsError> {
        match self {
            ResultWriter::Table { schema, mut batches, out } => {
                if batches.is_empty() {
                    batches.push(RecordBatch::new_empty(schema));
                }
                let table = pretty_format_batches_with_options(&batches, &FormatOptions::default())?;
                writeln!(out, "{table}").map_err(JobsError::Output)
            }
            ResultWriter::Csv(_) => Ok(()),
            ResultWriter::Json(mut writer) => {
                writer.finish()?;
                writeln!(writer.into_inner()).map_err(JobsError::Output)
            }
        }
    }
}

/// The rows with structures taken apart and lists as text.
fn flat(batch: &RecordBatch) -> Result<RecordBatch, JobsError> {
    let mut fields = Vec::new();
    let mut columns = Vec::new();
    for (field, column) in batch.schema().fields().iter().zip(batch.columns()) {
        flatten(field.name(), column, &mut fields, &mut columns)?;
    }
    let options = arrow::array::RecordBatchOptions::new().with_row_count(Some(batch.num_rows()));
    Ok(RecordBatch::try_new_with_options(Arc::new(Schema::new(fields)), columns, &options)?)
}

fn flatten(
    name: &str,
    column: &ArrayRef,
    fields: &mut Vec<Field>,
    columns: &mut Vec<ArrayRef>,
) -> Result<(), JobsError> {
    match column.data_type() {
        DataType::Struct(children) => {
            let parent = column.as_struct();
            for (child, values) in children.iter().zip(parent.columns()) {
                flatten(&format!("{name}.{}", child.name()), &masked(parent, values)?, fields, columns)?;
            }
        }
        nested if nested.is_nested() => {
            fields.push(Field::new(name, DataType::Utf8, true));
            columns.push(Arc::new(as_text(column)?));
        }
        plain => {
            fields.push(Field::new(name, plain.clone(), true));
            columns.push(Arc::clone(column));
        }
    }
    Ok(())
}

/// A structure's field, missing also where the structure is.
fn masked(parent: &StructArray, values: &ArrayRef) -> Result<ArrayRef, JobsError> {
    if values.data_type().is_null() {
        return Ok(Arc::clone(values));
    }
    let present = NullBuffer::union(parent.nulls(), values.nulls());
    Ok(make_array(values.to_data().into_builder().nulls(present).build()?))
}

fn as_text(column: &ArrayRef) -> Result<StringArray, JobsError> {
    let formatter = ArrayFormatter::try_new(column, &FormatOptions::default())?;
    let mut texts = Vec::with_capacity(column.len());
    for row in 0..column.len() {
        texts.push(column.is_valid(row).then(|| formatter.value(row).to_string()));
    }
    Ok(StringArray::from(texts))
}
