//! The rows of staged segments by dataset, read batch by batch.

use std::collections::BTreeMap;
use std::path::PathBuf;

use arrow::array::RecordBatch;
use shot::TableSchema;

use crate::conform::{Strictness, check_schema, conform};
use crate::keys::{comes_from_files, row_count};
use crate::profile::RowReader;
use crate::store::Store;
use crate::{LakeError, Segment};

/// One dataset's incoming rows: where they stand.
#[derive(Debug)]
pub(crate) struct Incoming {
    pub(crate) schema: TableSchema,
    tables: Vec<Table>,
}

#[derive(Debug)]
struct Table {
    /// Position of its segment among those published.
    segment: usize,
    path: PathBuf,
    schema: TableSchema,
    rows: i64,
}

impl Incoming {
    /// The segments' tables by dataset; with a retraction also the other datasets whose rows come from files.
    pub(crate) fn by_dataset(segments: &[Segment], retracts: bool) -> Result<Vec<Incoming>, LakeError> {
        let mut datasets: BTreeMap<String, Incoming> = BTreeMap::new();
        for schema in shot::published_datasets() {
            if retracts && comes_from_files(&schema) {
                datasets.insert(schema.name.clone(), Incoming { schema, tables: Vec::new() });
            }
        }
        for (position, segment) in segments.iter().enumerate() {
            for table in &segment.tables {
                check_schema(&table.schema)?;
                let entry = datasets
                    .entry(table.schema.name.clone())
                    .or_insert_with(|| Incoming { schema: table.schema.clone(), tables: Vec::new() });
                // A segment that an older version staged may lack a column that came later.
                if table.schema.version > entry.schema.version {
                    entry.schema = table.schema.clone();
                }
                entry.tables.push(Table {
                    segment: position,
                    path: segment.folder.join(&table.file),
                    schema: table.schema.clone(),
                    rows: table.rows,
                });
            }
        }
        Ok(datasets.into_values().collect())
    }

    /// Rows of all segments, as their descriptions tell.
    pub(crate) fn rows(&self) -> usize {
        self.tables.iter().map(|table| usize::try_from(table.rows).unwrap_or(0)).sum()
    }

    /// Goes through all rows, in the order of the segments; `take` gets each batch with its segment's position.
    pub(crate) fn each_batch(
        &self,
        store: &Store,
        rows_per_batch: usize,
        mut take: impl FnMut(usize, RecordBatch) -> Result<(), LakeError>,
    ) -> Result<(), LakeError> {
        for table in &self.tables {
            let mut reader = RowReader::open(store, &table.path, &table.schema, rows_per_batch)?;
            let mut found = 0;
            while let Some(mut rows) = reader.next_batch()? {
                found += row_count(&rows);
                if table.schema != self.schema {
                    rows = conform(&self.schema, &rows, Strictness::Older)?;
                }
                take(table.segment, rows)?;
            }
            if found != table.rows {
                let problem = format!("holds {found} rows where its description tells {}", table.rows);
                let hint = "discard this segment and import its file again";
                return Err(LakeError::document(&table.path, problem, hint));
            }
        }
        Ok(())
    }
}
