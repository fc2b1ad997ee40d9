//! Samples of packed kinds without players' names: workbooks member by member, column files batch by batch.

use std::io::{Cursor, Read, Write};
use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, AsArray, LargeStringArray, RecordBatch, StringArray, StringViewArray, StructArray,
};
use arrow::datatypes::{DataType, Schema};
use parquet::arrow::ArrowWriter;
use parquet::file::metadata::KeyValue;
use zip::write::SimpleFileOptions;

use super::sample::KEPT;
use crate::columnar::{NextBatch, Opened};
use crate::context::ParseLimits;
use crate::file_fault::Budget;
use crate::spec::EngineWord;
use crate::{arrow_file, parquet_file};

/// What replaces names in a text.
pub(super) type Replace<'a> = &'a dyn Fn(&str) -> String;

/// Elements of a workbook that name who wrote it.
const AUTHORS: [&str; 4] = ["dc:creator", "cp:lastModifiedBy", "meta:initial-creator", "meta:user-defined"];

/// The file with every text replaced, and of column files only the first records.
pub(super) fn repack(bytes: &[u8], engine: EngineWord, replace: Replace<'_>) -> Result<Vec<u8>, String> {
    let limits = ParseLimits::default();
    let budget = Budget::new(&limits);
    match engine {
        EngineWord::Spreadsheet => workbook(bytes, &limits, replace).map_err(|error| error.to_string()),
        EngineWord::Parquet => {
            let opened = parquet_file::open(bytes, &limits, &budget, true).map_err(|fault| fault.message)?;
            as_parquet(&taken(opened, replace)?).map_err(|error| error.to_string())
        }
        _ => {
            let opened = arrow_file::open(bytes, &limits, &budget).map_err(|fault| fault.message)?;
            as_arrow(&taken(opened, replace)?).map_err(|error| error.to_string())
        }
    }
}

fn workbook(bytes: &[u8], limits: &ParseLimits, replace: Replace<'_>) -> std::io::Result<Vec<u8>> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes))?;
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let mut left = limits.max_unpacked_bytes as u64;
    for place in 0..archive.len() {
        let mut member = archive.by_index(place)?;
        let name = member.name()?.into_owned();
        let mut content = Vec::new();
        let read = member.by_ref().take(left.saturating_add(1)).read_to_end(&mut content)? as u64;
        left = left.checked_sub(read).ok_or_else(|| std::io::Error::other("the workbook unpacks to too much"))?;
        // Pictures of a sheet, and of its thumbnail, can show names; a sample needs none.
        let is_picture = name.contains("media/") || name.contains("Thumbnails/") || name.contains("Pictures/");
        if member.is_dir() || is_picture {
            continue;
        }
        let text = std::str::from_utf8(&content)
            .ok()
            .filter(|_| std::path::Path::new(&name).extension().is_some_and(|ending| ending == "xml"));
        // The first member of an ods file must stand unpacked, so that its kind is seen from outside.
        let method = member.compression();
        writer.start_file(name, SimpleFileOptions::default().compression_method(method))?;
        match text {
            Some(text) => writer.write_all(replace(&without_authors(text)).as_bytes())?,
            None => writer.write_all(&content)?,
        }
    }
    Ok(writer.finish()?.into_inner())
}

fn without_authors(text: &str) -> String {
    let mut text = text.to_owned();
    for element in AUTHORS {
        let (opening, closing) = (format!("<{element}"), format!("</{element}>"));
        let Some(start) = text.find(&opening) else { continue };
        let Some(inside) = text[start..].find('>').map(|at| start + at + 1) else { continue };
        if let Some(end) = text[inside..].find(&closing).map(|at| inside + at) {
            text.replace_range(inside..end, "");
        }
    }
    text
}

/// The first records of a column file, with what it states about itself.
struct Taken {
    schema: Schema,
    metadata: Vec<(String, String)>,
    batches: Vec<RecordBatch>,
}

fn taken(mut opened: Opened<'_>, replace: Replace<'_>) -> Result<Taken, String> {
    let metadata: Vec<(String, String)> =
        opened.metadata.iter().map(|(key, value)| (key.clone(), replace(value))).collect();
    let schema = Schema::new(opened.schema.fields().clone());
    let (mut batches, mut rows) = (Vec::new(), 0);
    while rows < KEPT {
        let NextBatch::Batch(batch) = (opened.next)().map_err(|fault| fault.message)? else { break };
        let batch = batch.slice(0, batch.num_rows().min(KEPT - rows));
        rows += batch.num_rows();
        let columns = batch.columns().iter().map(|column| replaced(column, replace)).collect::<Result<Vec<_>, _>>()?;
        let batch = RecordBatch::try_new(Arc::new(schema.clone()), columns).map_err(|error| error.to_string())?;
        batches.push(batch);
    }
    Ok(Taken { schema, metadata, batches })
}

/// An array with its texts replaced; texts inside lists stay.
fn replaced(array: &ArrayRef, replace: Replace<'_>) -> Result<ArrayRef, String> {
    let new: ArrayRef = match array.data_type() {
        DataType::Utf8 => {
            Arc::new(array.as_string::<i32>().iter().map(|text| text.map(replace)).collect::<StringArray>())
        }
        DataType::LargeUtf8 => {
            Arc::new(array.as_string::<i64>().iter().map(|text| text.map(replace)).collect::<LargeStringArray>())
        }
        DataType::Utf8View => {
            Arc::new(array.as_string_view().iter().map(|text| text.map(replace)).collect::<StringViewArray>())
        }
        DataType::Dictionary(..) => {
            let dictionary = array.as_any_dictionary();
            dictionary.with_values(replaced(dictionary.values(), replace)?)
        }
        DataType::Struct(fields) => {
            let parts = array.as_struct();
            let columns = parts.columns().iter().map(|part| replaced(part, replace)).collect::<Result<Vec<_>, _>>()?;
            let rebuilt = StructArray::try_new(fields.clone(), columns, parts.nulls().cloned());
            Arc::new(rebuilt.map_err(|error| error.to_string())?)
        }
        _ => Arc::clone(array),
    };
    Ok(new)
}

fn as_parquet(taken: &Taken) -> Result<Vec<u8>, parquet::errors::ParquetError> {
    let mut writer = ArrowWriter::try_new(Vec::new(), Arc::new(taken.schema.clone()), None)?;
    for batch in &taken.batches {
        writer.write(batch)?;
    }
    for (key, value) in &taken.metadata {
        writer.append_key_value_metadata(KeyValue::new(key.clone(), value.clone()));
    }
    writer.into_inner()
}

fn as_arrow(taken: &Taken) -> Result<Vec<u8>, arrow::error::ArrowError> {
    let schema = taken.schema.clone().with_metadata(taken.metadata.iter().cloned().collect());
    let mut writer = arrow_ipc::writer::FileWriter::try_new(Vec::new(), &schema)?;
    for batch in &taken.batches {
        writer.write(&batch.clone().with_schema(Arc::new(schema.clone()))?)?;
    }
    writer.finish()?;
    writer.into_inner()
}
