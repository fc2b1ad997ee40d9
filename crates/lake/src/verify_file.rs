//! One published file, looked at with all that is known about it.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::Path;

use arrow::array::{Date32Array, RecordBatch, StringArray};
use arrow::compute::SortOptions;
use arrow::row::{OwnedRow, RowConverter, SortField};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::errors::ParquetError;
use shot::{Month, TableSchema};

use crate::keys::{SEQUENCE_COLUMN, SOURCE_COLUMN, typed};
use crate::store::Store;
use crate::verify::{LakeFault, LakeFaultKind};
use crate::{LakeError, ManifestFile};

const ROWS_PER_READ: usize = 32 * 1024;

/// What one file holds, and what is wrong with it.
#[derive(Debug, Default)]
pub(crate) struct FileLook {
    pub(crate) rows: i64,
    pub(crate) rows_by_source: BTreeMap<String, i64>,
    pub(crate) faults: Vec<LakeFault>,
}

type Reader = ParquetRecordBatchReaderBuilder<File>;

/// Compares a file with its entry in the manifest, and with its schema where one is given. Only a disk that fails is an error;
/// whatever is wrong with the file itself is a fault.
pub(crate) fn look_at(
    store: &Store,
    entry: &ManifestFile,
    schema: Option<&TableSchema>,
) -> Result<FileLook, LakeError> {
    let mut look = FileLook::default();
    let mut wrong = |kind, problem: String| {
        look.faults.push(LakeFault {
            kind,
            dataset: entry.dataset.clone(),
            month: entry.month,
            path: entry.path.clone(),
            problem,
        });
    };
    let path = store.partition_path(&entry.dataset, entry.month);
    match store.bytes_of(&path)? {
        None => {
            wrong(LakeFaultKind::Missing, "is missing".to_owned());
            return Ok(look);
        }
        Some(bytes) if bytes.cast_signed() != entry.bytes => {
            wrong(LakeFaultKind::Altered, format!("has {bytes} bytes, not {}", entry.bytes));
            return Ok(look);
        }
        Some(_) if store.sha256_of(&path)? != entry.sha256 => {
            wrong(LakeFaultKind::Altered, "has other bytes than were published".to_owned());
            return Ok(look);
        }
        Some(_) => {}
    }
    if let Some(frozen) = &entry.frozen {
        // Usually one file with two names; a copy of the right size is hashed only where it matters, in a repair.
        let bytes = store.bytes_of(&store.lake_root.join(frozen))?;
        if bytes.map(u64::cast_signed) != Some(entry.bytes) {
            wrong(LakeFaultKind::Frozen, format!("does not stand under its second name {frozen}"));
        }
    }
    let Some(schema) = schema else { return Ok(look) };
    let reader = match open(store, &path)? {
        Ok(reader) => reader,
        Err(cause) => {
            wrong(LakeFaultKind::Unreadable, format!("cannot be read: {cause}"));
            return Ok(look);
        }
    };
    for problem in footer_problems(&reader, entry, schema, &store.site_id) {
        wrong(LakeFaultKind::Unsound, problem);
    }
    let mut rows = RowLook::new(schema, entry.month);
    match rows.read(reader) {
        Ok(()) => {}
        Err(LakeError::Parquet { cause, .. }) => {
            wrong(LakeFaultKind::Unreadable, format!("cannot be read to its end: {cause}"));
        }
        Err(error) => wrong(LakeFaultKind::Unsound, error.to_string().lines().next().unwrap_or_default().to_owned()),
    }
    for problem in rows.problems() {
        wrong(LakeFaultKind::Unsound, problem);
    }
    look.rows = entry.rows;
    look.rows_by_source = rows.rows_by_source;
    Ok(look)
}

/// Opens a published file; the inner error speaks of the file, the outer one of the disk.
pub(crate) fn open(store: &Store, path: &Path) -> Result<Result<Reader, ParquetError>, LakeError> {
    let file = store.open(path)?;
    Ok(ParquetRecordBatchReaderBuilder::try_new(file))
}

/// A fact of a file's footer.
pub(crate) fn fact<'a>(reader: &'a Reader, name: &str) -> Option<&'a str> {
    let pairs = reader.metadata().file_metadata().key_value_metadata()?;
    pairs.iter().find(|pair| pair.key.strip_prefix("strikemill.") == Some(name))?.value.as_deref()
}

fn footer_problems(reader: &Reader, entry: &ManifestFile, schema: &TableSchema, site_id: &str) -> Vec<String> {
    let mut problems = Vec::new();
    let rows = reader.metadata().file_metadata().num_rows();
    if rows != entry.rows {
        problems.push(format!("has {rows} rows where the manifest tells {}", entry.rows));
    }
    let facts = [
        ("dataset", entry.dataset.clone()),
        ("site_id", site_id.to_owned()),
        ("schema_version", entry.schema_version.to_string()),
    ];
    for (name, wanted) in facts {
        if fact(reader, name) != Some(wanted.as_str()) {
            let found = fact(reader, name).unwrap_or("nothing");
            problems.push(format!("tells {found} as its {name}, not {wanted}"));
        }
    }
    // A publication that was cut off may have shown the file under an earlier number than the one that came to name it.
    let generation = fact(reader, "generation").and_then(|text| text.parse::<i64>().ok());
    if generation.is_none_or(|generation| generation < 1 || generation > entry.generation) {
        problems.push(format!("does not tell a generation up to {}", entry.generation));
    }
    let is_current = entry.schema_version == schema.version;
    if is_current && reader.schema().fields() != schema.arrow_schema().fields() {
        problems.push(format!("has other columns than version {} of its dataset", schema.version));
    }
    problems
}

/// What the rows of one file tell.
struct RowLook<'a> {
    schema: &'a TableSchema,
    month: Option<Month>,
    has_sources: bool,
    order: Vec<&'a str>,
    previous: Option<OwnedRow>,
    rows: u64,
    first_unordered: Option<u64>,
    first_astray: Option<u64>,
    rows_by_source: BTreeMap<String, i64>,
}

impl<'a> RowLook<'a> {
    fn new(schema: &'a TableSchema, month: Option<Month>) -> RowLook<'a> {
        let mut order: Vec<&str> = Vec::new();
        for name in schema.sort.iter().chain(&schema.key) {
            if !order.contains(&name.as_str()) {
                order.push(name);
            }
        }
        RowLook {
            schema,
            month,
            has_sources: schema.column(SEQUENCE_COLUMN).is_some() && schema.column(SOURCE_COLUMN).is_some(),
            order,
            previous: None,
            rows: 0,
            first_unordered: None,
            first_astray: None,
            rows_by_source: BTreeMap::new(),
        }
    }

    fn read(&mut self, reader: Reader) -> Result<(), LakeError> {
        let broken = |cause| LakeError::reading(Path::new(&self.schema.name), cause);
        let mut columns = self.order.clone();
        columns.extend(self.schema.partition_day.as_deref());
        if self.has_sources {
            columns.push(SOURCE_COLUMN);
        }
        let mask = ProjectionMask::columns(reader.parquet_schema(), columns);
        let batches = reader.with_projection(mask).with_batch_size(ROWS_PER_READ).build().map_err(broken)?;
        let mut converter = None;
        for batch in batches {
            let batch = batch.map_err(|cause| LakeError::reading(Path::new(&self.schema.name), cause.into()))?;
            self.see_order(&batch, &mut converter)?;
            self.see_months(&batch)?;
            self.see_sources(&batch)?;
            self.rows += batch.num_rows() as u64;
        }
        Ok(())
    }

    /// The order is compared as the writer made it: ascending, nulls first.
    fn see_order(&mut self, batch: &RecordBatch, converter: &mut Option<RowConverter>) -> Result<(), LakeError> {
        let failed = |cause| LakeError::rows("compare", &self.schema.name, cause);
        let columns: Vec<_> = self.order.iter().filter_map(|name| batch.column_by_name(name).cloned()).collect();
        if columns.is_empty() || self.first_unordered.is_some() {
            return Ok(());
        }
        let converter = if let Some(converter) = converter {
            converter
        } else {
            let options = SortOptions { descending: false, nulls_first: true };
            let fields =
                columns.iter().map(|column| SortField::new_with_options(column.data_type().clone(), options)).collect();
            converter.insert(RowConverter::new(fields).map_err(failed)?)
        };
        let rows = converter.convert_columns(&columns).map_err(failed)?;
        for position in 0..rows.num_rows() {
            let row = rows.row(position);
            let is_before = match (position, &self.previous) {
                (0, Some(previous)) => previous.row() <= row,
                (0, None) => true,
                _ => rows.row(position - 1) <= row,
            };
            if !is_before {
                self.first_unordered = Some(self.rows + position as u64 + 1);
                return Ok(());
            }
        }
        if rows.num_rows() > 0 {
            self.previous = Some(rows.row(rows.num_rows() - 1).owned());
        }
        Ok(())
    }

    fn see_months(&mut self, batch: &RecordBatch) -> Result<(), LakeError> {
        let (Some(day), Some(month)) = (&self.schema.partition_day, self.month) else { return Ok(()) };
        let days: &Date32Array = typed(&self.schema.name, batch, day)?;
        let astray = days.values().iter().position(|day| Month::of_day(*day) != month);
        self.first_astray = self.first_astray.or(astray.map(|position| self.rows + position as u64 + 1));
        Ok(())
    }

    fn see_sources(&mut self, batch: &RecordBatch) -> Result<(), LakeError> {
        if !self.has_sources {
            return Ok(());
        }
        let sources: &StringArray = typed(&self.schema.name, batch, SOURCE_COLUMN)?;
        for source in sources.iter().flatten() {
            match self.rows_by_source.get_mut(source) {
                Some(rows) => *rows += 1,
                None => {
                    self.rows_by_source.insert(source.to_owned(), 1);
                }
            }
        }
        Ok(())
    }

    fn problems(&self) -> Vec<String> {
        let mut problems = Vec::new();
        if let Some(row) = self.first_unordered {
            problems.push(format!("is not in the order of {}; row {row} breaks it first", self.order.join(", ")));
        }
        if let Some(row) = self.first_astray {
            problems.push(format!("holds rows of other months; the first is row {row}"));
        }
        problems
    }
}
