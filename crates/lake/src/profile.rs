//! The Parquet profile: how every file of the lake is written, verified and read back.

use std::path::{Path, PathBuf};

use arrow::array::RecordBatch;
use files::{DurableWriter, SealedFile};
use parquet::arrow::ArrowWriter;
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::{ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder};
use parquet::basic::{Compression, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::metadata::{KeyValue, SortingColumn};
use parquet::file::properties::{EnabledStatistics, WriterProperties, WriterVersion};
use shot::TableSchema;

use crate::LakeError;
use crate::conform::{Strictness, conform};
use crate::keys::row_count;
use crate::store::Store;

/// Most rows of one row group: small enough to skip by player, large enough to compress.
pub const ROWS_PER_GROUP: usize = 128 * 1024;
const BYTES_PER_GROUP: usize = 128 * 1024 * 1024;
const ROWS_PER_READ: usize = 8 * 1024;
const ZSTD_LEVEL: i32 = 3;

/// Who wrote a file, in which run: goes into each file's key-value metadata.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Provenance {
    /// Name and version of the program.
    pub writer: String,
    /// Identity of the run.
    pub run_id: String,
    /// Instant of the run, UTC microseconds since 1970.
    pub created_micros: i64,
    /// More pairs, for example a job's input generations.
    pub extra: Vec<(String, String)>,
}

/// The pairs a file carries, all under the prefix `strikemill.`.
pub(crate) fn file_facts(
    schema: &TableSchema,
    site_id: &str,
    generation: i64,
    provenance: &Provenance,
) -> Vec<(String, String)> {
    let mut facts = vec![
        ("dataset".to_owned(), schema.name.clone()),
        ("schema_version".to_owned(), schema.version.to_string()),
        ("site_id".to_owned(), site_id.to_owned()),
        ("generation".to_owned(), generation.to_string()),
        ("writer".to_owned(), provenance.writer.clone()),
        ("run_id".to_owned(), provenance.run_id.clone()),
        ("created_micros".to_owned(), provenance.created_micros.to_string()),
    ];
    facts.extend(provenance.extra.iter().cloned());
    for (name, _) in &mut facts {
        name.insert_str(0, "strikemill.");
    }
    facts
}

fn properties(
    schema: &TableSchema,
    is_sorted: bool,
    facts: &[(String, String)],
) -> Result<WriterProperties, ParquetError> {
    let mut sorting = Vec::new();
    for name in &schema.sort {
        let position = schema.columns.iter().position(|column| &column.name == name);
        let Some(column_idx) = position.and_then(|position| i32::try_from(position).ok()) else { continue };
        sorting.push(SortingColumn { column_idx, descending: false, nulls_first: true });
    }
    let pairs = facts.iter().map(|(name, value)| KeyValue::new(name.clone(), value.clone())).collect();
    Ok(WriterProperties::builder()
        .set_writer_version(WriterVersion::PARQUET_1_0)
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(ZSTD_LEVEL)?))
        .set_max_row_group_row_count(Some(ROWS_PER_GROUP))
        .set_max_row_group_bytes(Some(BYTES_PER_GROUP))
        .set_statistics_enabled(EnabledStatistics::Page)
        .set_sorting_columns((is_sorted && !sorting.is_empty()).then_some(sorting))
        .set_key_value_metadata(Some(pairs))
        .build())
}

/// Writes rows that conform to the schema under a temporary name beside `path`, makes them durable, and opens the file again to
/// see that its footer tells the same rows and columns. `is_sorted` declares the dataset's order, which the caller vouches for.
pub(crate) fn write_verified(
    store: &Store,
    path: &Path,
    schema: &TableSchema,
    rows: &RecordBatch,
    is_sorted: bool,
    facts: &[(String, String)],
) -> Result<SealedFile, LakeError> {
    let mut writer = RowWriter::begin(store, path, schema, is_sorted, facts)?;
    writer.write(rows)?;
    writer.seal()
}

/// A file of the lake while it is written, batch by batch.
pub(crate) struct RowWriter<'a> {
    store: &'a Store,
    path: PathBuf,
    schema: &'a TableSchema,
    writer: ArrowWriter<DurableWriter>,
    rows: i64,
}

impl<'a> RowWriter<'a> {
    pub(crate) fn begin(
        store: &'a Store,
        path: &Path,
        schema: &'a TableSchema,
        is_sorted: bool,
        facts: &[(String, String)],
    ) -> Result<RowWriter<'a>, LakeError> {
        let failed = |cause| LakeError::writing(path, cause);
        let properties = properties(schema, is_sorted, facts).map_err(failed)?;
        let file = store.writer(path)?;
        let writer = ArrowWriter::try_new(file, schema.arrow_schema(), Some(properties)).map_err(failed)?;
        Ok(RowWriter { store, path: path.to_owned(), schema, writer, rows: 0 })
    }

    pub(crate) fn write(&mut self, rows: &RecordBatch) -> Result<(), LakeError> {
        self.rows += row_count(rows);
        self.writer.write(rows).map_err(|cause| LakeError::writing(&self.path, cause))
    }

    /// Makes the file durable, still under its temporary name, and looks at it again.
    pub(crate) fn seal(self) -> Result<SealedFile, LakeError> {
        let failed = |cause| LakeError::writing(&self.path, cause);
        let sealed = self.writer.into_inner().map_err(failed)?.seal()?;
        let reader = open(self.store, sealed.temporary_path())?;
        let found_rows = reader.metadata().file_metadata().num_rows();
        if found_rows != self.rows {
            let problem = format!("the file tells {found_rows} rows where {} were written", self.rows);
            return Err(failed(ParquetError::General(problem)));
        }
        if reader.schema().fields() != self.schema.arrow_schema().fields() {
            return Err(failed(ParquetError::General("the file tells other columns than were written".into())));
        }
        Ok(sealed)
    }
}

fn open(store: &Store, path: &Path) -> Result<ParquetRecordBatchReaderBuilder<std::fs::File>, LakeError> {
    let file = store.open(path)?;
    ParquetRecordBatchReaderBuilder::try_new(file).map_err(|cause| LakeError::reading(path, cause))
}

/// A file's rows in the schema as it is today.
#[derive(Debug)]
pub(crate) struct FileRows {
    pub(crate) batches: Vec<RecordBatch>,
    /// Whether the file itself has these very columns; one written by an older version may not.
    pub(crate) is_current: bool,
}

/// All rows of a file.
pub(crate) fn read_all(store: &Store, path: &Path, schema: &TableSchema) -> Result<FileRows, LakeError> {
    let mut reader = RowReader::open(store, path, schema, ROWS_PER_READ)?;
    let mut batches = Vec::new();
    while let Some(rows) = reader.next_batch()? {
        batches.push(rows);
    }
    Ok(FileRows { batches, is_current: reader.is_current })
}

/// A file of the lake while it is read, in the schema as it is today.
pub(crate) struct RowReader<'a> {
    path: PathBuf,
    schema: &'a TableSchema,
    reader: ParquetRecordBatchReader,
    /// Rows of the whole file.
    pub(crate) rows: i64,
    /// Whether the file itself has these very columns; one written by an older version may not.
    pub(crate) is_current: bool,
}

impl<'a> RowReader<'a> {
    pub(crate) fn open(
        store: &Store,
        path: &Path,
        schema: &'a TableSchema,
        rows_per_batch: usize,
    ) -> Result<RowReader<'a>, LakeError> {
        let builder = open(store, path)?;
        let is_current = builder.schema().fields() == schema.arrow_schema().fields();
        let rows = builder.metadata().file_metadata().num_rows();
        let builder = builder.with_batch_size(rows_per_batch.max(1));
        let reader = builder.build().map_err(|cause| LakeError::reading(path, cause))?;
        Ok(RowReader { path: path.to_owned(), schema, reader, rows, is_current })
    }

    /// The next rows; `None` at the end.
    pub(crate) fn next_batch(&mut self) -> Result<Option<RecordBatch>, LakeError> {
        let Some(batch) = self.reader.next() else { return Ok(None) };
        let batch = batch.map_err(|cause| LakeError::reading(&self.path, cause.into()))?;
        conform(self.schema, &batch, Strictness::Older).map(Some)
    }
}

/// The named columns of a file, batch by batch; absent columns are left out.
pub(crate) fn read_columns(
    store: &Store,
    path: &Path,
    columns: &[&str],
    take: impl FnMut(&RecordBatch) -> Result<(), LakeError>,
) -> Result<(), LakeError> {
    read_columns_in_batches(store, path, columns, ROWS_PER_READ, take)
}

/// The same in batches of a given number of rows.
pub(crate) fn read_columns_in_batches(
    store: &Store,
    path: &Path,
    columns: &[impl AsRef<str>],
    rows_per_batch: usize,
    mut take: impl FnMut(&RecordBatch) -> Result<(), LakeError>,
) -> Result<(), LakeError> {
    let builder = open(store, path)?;
    let mask = ProjectionMask::columns(builder.parquet_schema(), columns.iter().map(AsRef::as_ref));
    let reader = builder
        .with_projection(mask)
        .with_batch_size(rows_per_batch.max(1))
        .build()
        .map_err(|cause| LakeError::reading(path, cause))?;
    for batch in reader {
        take(&batch.map_err(|cause| LakeError::reading(path, cause.into()))?)?;
    }
    Ok(())
}
