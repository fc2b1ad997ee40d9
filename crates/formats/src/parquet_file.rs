//! Opens Parquet files; their row groups are read batch by batch.

use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::column::page::Page;
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;

use crate::columnar::{NextBatch, Opened};
use crate::context::ParseLimits;
use crate::file_fault::{Budget, FileFault, guarded};
use crate::parquet_guard::{bad, check_ends, check_pages};
use crate::rule::Rule;

/// Rows of a batch, where no column makes them heavy.
const BATCH_ROWS: usize = 1_024;
/// Key under which Arrow writers keep their schema.
const ARROW_SCHEMA: &str = "ARROW:schema";

/// The bytes in the type that the reader holds them in; it comes from a crate that we do not name, so it is taken from a function
/// that gives it.
fn shared<T: From<Vec<u8>>>(_like: fn(&Page) -> &T, bytes: &[u8]) -> T {
    T::from(bytes.to_vec())
}

fn damaged(error: &ParquetError) -> FileFault {
    bad(format!("the Parquet file is damaged: {error}"))
}

/// Opens a file, and unless only its schema is wanted checks all its pages.
pub(crate) fn open<'a>(
    bytes: &'a [u8],
    limits: &'a ParseLimits,
    budget: &'a Budget,
    with_rows: bool,
) -> Result<Opened<'a>, FileFault> {
    check_ends(bytes, limits)?;
    guarded(Rule::BadColumnFile, || {
        let source = shared(Page::buffer, bytes);
        let builder = ParquetRecordBatchReaderBuilder::try_new(source.clone()).map_err(|error| damaged(&error))?;
        let schema = builder.schema().clone();
        let mut metadata: Vec<(String, String)> = Vec::new();
        for KeyValue { key, value } in builder.metadata().file_metadata().key_value_metadata().into_iter().flatten() {
            if let Some(value) = value.as_ref().filter(|_| key != ARROW_SCHEMA) {
                metadata.push((key.clone(), value.clone()));
            }
        }
        if !with_rows {
            return Ok(Opened { schema, metadata, next: Box::new(|| Ok(NextBatch::End)) });
        }
        let needs = check_pages(bytes, &source, builder.metadata(), limits, budget)?;
        // A batch may repeat the text of a dictionary or of a row before in each of its rows.
        let heaviest = needs.largest_shared_page.saturating_mul(schema.fields().len()).max(1);
        let rows = (limits.max_unpacked_bytes / heaviest).clamp(1, BATCH_ROWS);
        let stated = builder.metadata().file_metadata().num_rows();
        let mut reader = builder.with_batch_size(rows).build().map_err(|error| damaged(&error))?;
        let mut seen = 0_i64;
        let next = move || {
            guarded(Rule::BadColumnFile, || match reader.next() {
                Some(Ok(batch)) => {
                    seen = seen.saturating_add(i64::try_from(batch.num_rows()).unwrap_or(i64::MAX));
                    Ok(NextBatch::Batch(batch))
                }
                Some(Err(error)) => Err(bad(format!("the Parquet file is damaged: {error}"))),
                None if seen != stated => {
                    Err(bad(format!("the Parquet file is damaged: it states {stated} rows and holds {seen}")))
                }
                None => Ok(NextBatch::End),
            })
        };
        Ok(Opened { schema, metadata, next: Box::new(next) })
    })
}

/// Whether a file that ends in these bytes has its footer.
pub(crate) fn is_complete(tail: &[u8]) -> bool {
    tail.ends_with(b"PAR1") || tail.ends_with(b"PARE")
}
