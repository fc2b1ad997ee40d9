//! Staged segments: one import's rows, durable and not yet published. A segment is a folder that appears whole.

use std::path::{Path, PathBuf};

use arrow::array::{Array, Int64Array, RecordBatch, StringArray};
use arrow::compute::concat_batches;
use files::{EntryKind, is_temporary_name, temporary_sibling};
use serde::{Deserialize, Serialize};
use shot::TableSchema;

use crate::conform::{Strictness, check_schema, conform};
use crate::keys::{SEQUENCE_COLUMN, SOURCE_COLUMN, row_count, typed};
use crate::manifest::json_bytes;
use crate::record::SchemaRecord;
use crate::store::Store;
use crate::{Lake, LakeError, profile};

const DESCRIPTION: &str = "segment.json";
const FORMAT_VERSION: i64 = 1;

/// Which import a segment is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SegmentHeader {
    /// Order of imports at this site, from the ledger; the higher one wins a merge.
    pub import_sequence: i64,
    /// SHA-256 of the source file.
    pub source_file_id: String,
    /// Name under which the file arrived.
    pub file_name: String,
    /// Name of the mapping pack.
    pub format: String,
    /// Version of the mapping pack.
    pub format_version: String,
}

/// A durable segment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Segment {
    /// Which import it is.
    pub header: SegmentHeader,
    /// Its folder.
    pub folder: PathBuf,
    /// Its tables.
    pub tables: Vec<SegmentTable>,
}

/// One table of a segment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SegmentTable {
    /// The dataset the rows belong to.
    pub schema: TableSchema,
    /// Rows.
    pub rows: i64,
    /// File name within the segment's folder.
    pub file: String,
}

#[derive(Debug, Serialize, Deserialize)]
struct SegmentRecord {
    format_version: i64,
    header: SegmentHeader,
    tables: Vec<TableRecord>,
}

#[derive(Debug, Serialize, Deserialize)]
struct TableRecord {
    file: String,
    rows: i64,
    schema: SchemaRecord,
}

impl Lake {
    /// Makes one import's rows durable. Every row must carry the header's sequence and source file, which is what lets a later
    /// publication recognise them. Staging the same import again replaces its segment.
    pub fn stage(&self, header: SegmentHeader, tables: &[(TableSchema, RecordBatch)]) -> Result<Segment, LakeError> {
        let store = self.store();
        let start: String = header.source_file_id.chars().filter(char::is_ascii_alphanumeric).take(16).collect();
        let folder = store.segments_folder().join(format!("{:012}-{start}", header.import_sequence));
        let building = temporary_sibling(&folder);
        store.files.create_dir_all(&building)?;
        let mut staged = Vec::new();
        let mut records = Vec::new();
        for (position, (schema, rows)) in tables.iter().enumerate() {
            check_schema(schema)?;
            let rows = conform(schema, rows, Strictness::Complete)?;
            check_origin(schema, &rows, &header)?;
            let file = format!("{position}-{}.parquet", schema.name);
            profile::write_verified(store, &building.join(&file), schema, &rows, false, &[])?.show()?;
            let table = SegmentTable { schema: schema.clone(), rows: row_count(&rows), file };
            records.push(TableRecord { file: table.file.clone(), rows: table.rows, schema: schema.into() });
            staged.push(table);
        }
        let record = SegmentRecord { format_version: FORMAT_VERSION, header: header.clone(), tables: records };
        let description = building.join(DESCRIPTION);
        store.write_document(&description, &json_bytes(&description, &record)?)?;
        store.files.remove_dir_all(&folder)?;
        store.files.rename_durable(&building, &folder)?;
        Ok(Segment { header, folder, tables: staged })
    }

    /// All durable segments, ascending by import sequence.
    pub fn segments(&self) -> Result<Vec<Segment>, LakeError> {
        let mut segments = Vec::new();
        for entry in self.store().files.list(&self.store().segments_folder())? {
            if entry.kind == EntryKind::Folder && !is_temporary_name(&entry.name) {
                segments.push(describe(self.store(), &entry.path)?);
            }
        }
        segments.sort_by(|left, right| {
            let order = left.header.import_sequence.cmp(&right.header.import_sequence);
            order.then_with(|| left.header.source_file_id.cmp(&right.header.source_file_id))
        });
        Ok(segments)
    }

    /// A segment's rows, one batch per table.
    pub fn read_segment(&self, segment: &Segment) -> Result<Vec<(TableSchema, RecordBatch)>, LakeError> {
        let mut tables = Vec::new();
        for table in &segment.tables {
            let path = segment.folder.join(&table.file);
            let batches = profile::read_all(self.store(), &path, &table.schema)?.batches;
            let rows = concat_batches(&table.schema.arrow_schema(), &batches)
                .map_err(|cause| LakeError::rows("join", &table.schema.name, cause))?;
            if row_count(&rows) != table.rows {
                let problem = format!("holds {} rows where its description tells {}", rows.num_rows(), table.rows);
                return Err(LakeError::document(&path, problem, "discard this segment and import its file again"));
            }
            tables.push((table.schema.clone(), rows));
        }
        Ok(tables)
    }

    /// Removes a segment that is published and noted, or given up. One that is gone already is fine.
    pub fn discard_segment(&self, segment: &Segment) -> Result<(), LakeError> {
        let store = self.store();
        if store.files.stat(&segment.folder)?.is_none() {
            return Ok(());
        }
        // Removing a folder takes several acts; a rename first makes the segment vanish in one.
        let leaving = temporary_sibling(&segment.folder);
        store.files.rename_durable(&segment.folder, &leaving)?;
        store.files.remove_dir_all(&leaving)?;
        Ok(())
    }
}

fn describe(store: &Store, folder: &Path) -> Result<Segment, LakeError> {
    let path = folder.join(DESCRIPTION);
    let hint = "discard this segment's folder and import its file again from the archive or import folder";
    let bytes = store.read_document(&path)?.ok_or_else(|| LakeError::document(&path, "is missing", hint))?;
    let record: SegmentRecord = serde_json::from_slice(&bytes)
        .map_err(|cause| LakeError::document(&path, format!("is no segment description: {cause}"), hint))?;
    if record.format_version != FORMAT_VERSION {
        let problem = format!("has format version {}, not {FORMAT_VERSION}", record.format_version);
        return Err(LakeError::document(&path, problem, hint));
    }
    let mut tables = Vec::new();
    for table in record.tables {
        let schema = table.schema.into_schema().map_err(|problem| LakeError::document(&path, problem, hint))?;
        tables.push(SegmentTable { schema, rows: table.rows, file: table.file });
    }
    Ok(Segment { header: record.header, folder: folder.to_owned(), tables })
}

fn check_origin(schema: &TableSchema, rows: &RecordBatch, header: &SegmentHeader) -> Result<(), LakeError> {
    let sequences: &Int64Array = typed(&schema.name, rows, SEQUENCE_COLUMN)?;
    let sources: &StringArray = typed(&schema.name, rows, SOURCE_COLUMN)?;
    for row in 0..rows.num_rows() {
        let column = if sequences.is_null(row) || sequences.value(row) != header.import_sequence {
            SEQUENCE_COLUMN
        } else if sources.is_null(row) || sources.value(row) != header.source_file_id {
            SOURCE_COLUMN
        } else {
            continue;
        };
        let problem = format!("row {} differs from the segment's header", row + 1);
        return Err(LakeError::column(&schema.name, column, problem, "this is a fault of strikemill, report it"));
    }
    Ok(())
}
