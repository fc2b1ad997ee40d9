//! Staged segments: one import's rows, durable and not yet published. A segment is a folder that appears whole.

use std::path::{Path, PathBuf};

use arrow::array::{Array, Int64Array, RecordBatch, StringArray};
use arrow::compute::concat_batches;
use files::{Entry, EntryKind, is_temporary_name, temporary_sibling};
use serde::{Deserialize, Serialize};
use shot::TableSchema;

use crate::conform::{Strictness, check_schema, conform};
use crate::damaged::is_damage;
use crate::keys::{SEQUENCE_COLUMN, SOURCE_COLUMN, row_count, typed};
use crate::manifest::json_bytes;
use crate::record::SchemaRecord;
use crate::store::Store;
use crate::{Lake, LakeError, profile};

const DESCRIPTION: &str = "segment.json";
const FORMAT_VERSION: i64 = 1;
const HINT: &str = "nothing is lost: the daemon sets this segment aside and reads its file again";

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
    /// SHA-256 of the file; `None` in a segment that an older version staged.
    pub sha256: Option<String>,
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
    #[serde(default, skip_serializing_if = "Option::is_none")]
    sha256: Option<String>,
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
            let written = profile::write_verified(store, &building.join(&file), schema, &rows, false, &[])?.show()?;
            let sha256 = Some(written.sha256);
            let table = SegmentTable { schema: schema.clone(), rows: row_count(&rows), file, sha256 };
            records.push(TableRecord {
                file: table.file.clone(),
                rows: table.rows,
                sha256: table.sha256.clone(),
                schema: schema.into(),
            });
            staged.push(table);
        }
        let record = SegmentRecord { format_version: FORMAT_VERSION, header: header.clone(), tables: records };
        let description = building.join(DESCRIPTION);
        store.write_document(&description, &json_bytes(&description, &record)?)?;
        store.files.remove_dir_all(&folder)?;
        store.files.rename_durable(&building, &folder)?;
        Ok(Segment { header, folder, tables: staged })
    }

    /// All durable segments whose description reads, ascending by import sequence. Others are passed over, so that one of them
    /// holds up nobody else; [`Lake::set_aside_damaged_segments`] tells of them.
    pub fn segments(&self) -> Result<Vec<Segment>, LakeError> {
        let store = self.store();
        let mut segments = Vec::new();
        for folder in segment_folders(store)? {
            match describe(store, &folder) {
                Ok(segment) => segments.push(segment),
                Err(error) if is_damage(&error) => tracing::warn!(%error, "a staged segment is damaged"),
                Err(error) => return Err(error),
            }
        }
        segments.sort_by(|left, right| {
            let order = left.header.import_sequence.cmp(&right.header.import_sequence);
            order.then_with(|| left.header.source_file_id.cmp(&right.header.source_file_id))
        });
        Ok(segments)
    }

    /// A segment's rows, one batch per table, checked against its description.
    pub fn read_segment(&self, segment: &Segment) -> Result<Vec<(TableSchema, RecordBatch)>, LakeError> {
        let mut tables = Vec::new();
        for table in &segment.tables {
            let path = segment.folder.join(&table.file);
            if let Some(sha256) = &table.sha256
                && self.store().files.sha256_of_file(&path)? != *sha256
            {
                return Err(LakeError::document(&path, "has other bytes than were staged", HINT));
            }
            let batches = profile::read_all(self.store(), &path, &table.schema)?.batches;
            let rows = concat_batches(&table.schema.arrow_schema(), &batches)
                .map_err(|cause| LakeError::rows("join", &table.schema.name, cause))?;
            if row_count(&rows) != table.rows {
                let problem = format!("holds {} rows where its description tells {}", rows.num_rows(), table.rows);
                return Err(LakeError::document(&path, problem, HINT));
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

/// The folders of all segments, sorted by name.
pub(crate) fn segment_folders(store: &Store) -> Result<Vec<PathBuf>, LakeError> {
    let entries = store.files.list(&store.segments_folder())?;
    let is_segment = |entry: &Entry| entry.kind == EntryKind::Folder && !is_temporary_name(&entry.name);
    Ok(entries.into_iter().filter(is_segment).map(|entry| entry.path).collect())
}

/// What a segment's folder says of itself; its tables are not looked at.
pub(crate) fn describe(store: &Store, folder: &Path) -> Result<Segment, LakeError> {
    let path = folder.join(DESCRIPTION);
    let wrong = |problem: String| LakeError::document(&path, problem, HINT);
    let bytes = store.read_document(&path)?.ok_or_else(|| wrong("is missing".to_owned()))?;
    let record: SegmentRecord =
        serde_json::from_slice(&bytes).map_err(|cause| wrong(format!("is no segment description: {cause}")))?;
    if record.format_version != FORMAT_VERSION {
        return Err(wrong(format!("has format version {}, not {FORMAT_VERSION}", record.format_version)));
    }
    let mut tables = Vec::new();
    for table in record.tables {
        let schema = table.schema.into_schema().map_err(wrong)?;
        if table.file.contains(['/', '\\']) {
            return Err(wrong(format!("names a table outside its folder: {}", table.file)));
        }
        tables.push(SegmentTable { schema, rows: table.rows, file: table.file, sha256: table.sha256 });
    }
    Ok(Segment { header: record.header, folder: folder.to_owned(), tables })
}

pub(crate) fn check_origin(schema: &TableSchema, rows: &RecordBatch, header: &SegmentHeader) -> Result<(), LakeError> {
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
