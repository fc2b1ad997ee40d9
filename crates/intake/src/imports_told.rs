//! What the lake itself tells about the files that were imported into it.

use std::collections::HashMap;

use arrow::array::{Array, Int64Array, StringArray, TimestampMicrosecondArray};
use lake::Lake;

use crate::IntakeError;
use crate::shot_columns::column;

const DATASET: &str = "imports";

/// One row of `imports`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct ImportTold {
    pub(crate) file_name: String,
    pub(crate) file_bytes: i64,
    pub(crate) format: String,
    pub(crate) format_version: String,
    pub(crate) rows_accepted: i64,
    pub(crate) rows_rejected: i64,
    pub(crate) first_struck_at: Option<i64>,
    pub(crate) last_struck_at: Option<i64>,
    pub(crate) import_sequence: i64,
    pub(crate) imported_at: i64,
}

impl ImportTold {
    /// Whether some of the file's shots may lie between two instants. A file without shots tells no times.
    pub(crate) fn may_touch(&self, from: i64, to: i64) -> bool {
        match (self.first_struck_at, self.last_struck_at) {
            (Some(first), Some(last)) => first <= to && last >= from,
            _ => true,
        }
    }
}

/// All rows of `imports` by source file. A partition that does not read is passed over; the second answer is its message.
pub(crate) fn imports_told(lake: &Lake) -> Result<(HashMap<String, ImportTold>, Vec<String>), IntakeError> {
    let schema = shot::imports();
    let mut told = HashMap::new();
    let mut unread = Vec::new();
    for month in lake.partitions(DATASET)? {
        let batches = match lake.read_partition(&schema, month) {
            Ok(batches) => batches,
            Err(error) => {
                unread.push(error.to_string());
                continue;
            }
        };
        for batch in batches {
            let text = |name| column::<StringArray>(DATASET, &batch, name);
            let number = |name| column::<Int64Array>(DATASET, &batch, name);
            let instant = |name| column::<TimestampMicrosecondArray>(DATASET, &batch, name);
            let (sources, names, formats) = (text("source_file_id")?, text("file_name")?, text("format")?);
            let (versions, bytes, sequences) =
                (text("format_version")?, number("file_bytes")?, number("import_sequence")?);
            let (accepted, rejected) = (number("rows_accepted")?, number("rows_rejected")?);
            let (firsts, lasts) = (instant("first_struck_at")?, instant("last_struck_at")?);
            let imported = instant("imported_at")?;
            let optional = |array: &TimestampMicrosecondArray, row| array.is_valid(row).then(|| array.value(row));
            for row in 0..batch.num_rows() {
                let import = ImportTold {
                    file_name: names.value(row).to_owned(),
                    file_bytes: bytes.value(row),
                    format: formats.value(row).to_owned(),
                    format_version: versions.value(row).to_owned(),
                    rows_accepted: accepted.value(row),
                    rows_rejected: rejected.value(row),
                    first_struck_at: optional(firsts, row),
                    last_struck_at: optional(lasts, row),
                    import_sequence: sequences.value(row),
                    imported_at: imported.value(row),
                };
                told.insert(sources.value(row).to_owned(), import);
            }
        }
    }
    Ok((told, unread))
}
