//! Rows leave every dataset for good: those of a person who is to be forgotten.

use std::collections::BTreeMap;

use arrow::array::{Array, BooleanArray, RecordBatch, StringArray};
use arrow::compute::filter_record_batch;
use shot::{Month, TableSchema};

use crate::keys::SOURCE_COLUMN;
use crate::{Lake, LakeError, PartitionChange, PartitionName, Provenance};

/// What an erasure did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Erased {
    /// Rows that are gone, over all datasets.
    pub rows: i64,
    /// Of these, by source file and dataset.
    pub rows_by_source: BTreeMap<String, BTreeMap<String, i64>>,
    /// Partitions that were written without them.
    pub changes: Vec<PartitionChange>,
    /// Partitions of datasets that nothing describes any more: they held such rows, and went whole.
    pub removed: Vec<PartitionName>,
}

/// Which rows of a batch are to go. The batch has those of the asked-for columns that the file has.
pub type IsDoomed<'a> = dyn Fn(&RecordBatch) -> Vec<bool> + 'a;

impl Lake {
    /// Erases rows from every partition of every dataset. `columns` are what `is_doomed` looks at. One partition at a time is
    /// replaced in one act, so that an erasure that is cut off goes on when it is asked for again. The files of before stay
    /// under their frozen names until [`Lake::drop_retired_now`].
    pub fn erase(
        &self,
        schemas: &[TableSchema],
        columns: &[&str],
        is_doomed: &IsDoomed<'_>,
        provenance: &Provenance,
    ) -> Result<Erased, LakeError> {
        let mut erased = Erased::default();
        for file in self.manifest()?.files {
            let mut found: i64 = 0;
            self.read_columns(&file.dataset, file.month, columns, |batch| {
                found += is_doomed(batch).iter().map(|doomed| i64::from(*doomed)).sum::<i64>();
                Ok(())
            })?;
            let schema = schemas.iter().find(|schema| schema.name == file.dataset);
            // An erasure that was cut off may have shown a file that the manifest does not tell of yet: it is put right.
            let path = self.partition_path(&file.dataset, file.month);
            let is_as_told = schema.is_none() || self.store().files.sha256_of_file(&path)? == file.sha256;
            if found == 0 && is_as_told {
                continue;
            }
            erased.rows += found;
            let Some(schema) = schema else {
                // What is left of an analysis that is no longer installed can be computed again, if somebody wants it.
                self.remove_partition(&nameless(&file.dataset), file.month)?;
                erased.removed.push((file.dataset.clone(), file.month));
                continue;
            };
            erased.changes.push(self.erase_from(
                schema,
                file.month,
                is_doomed,
                provenance,
                &mut erased.rows_by_source,
            )?);
        }
        Ok(erased)
    }

    fn erase_from(
        &self,
        schema: &TableSchema,
        month: Option<Month>,
        is_doomed: &IsDoomed<'_>,
        provenance: &Provenance,
        rows_by_source: &mut BTreeMap<String, BTreeMap<String, i64>>,
    ) -> Result<PartitionChange, LakeError> {
        let mut kept = Vec::new();
        for batch in self.read_partition(schema, month)? {
            let doomed = is_doomed(&batch);
            let sources =
                batch.column_by_name(SOURCE_COLUMN).and_then(|array| array.as_any().downcast_ref::<StringArray>());
            if let Some(sources) = sources {
                for row in (0..batch.num_rows()).filter(|row| doomed[*row] && sources.is_valid(*row)) {
                    let of_source = rows_by_source.entry(sources.value(row).to_owned()).or_default();
                    *of_source.entry(schema.name.clone()).or_default() += 1;
                }
            }
            let stays = BooleanArray::from(doomed.into_iter().map(|doomed| !doomed).collect::<Vec<bool>>());
            let rows =
                filter_record_batch(&batch, &stays).map_err(|cause| LakeError::rows("erase", &schema.name, cause))?;
            kept.push(rows);
        }
        self.replace_partition(schema, month, &kept, provenance)
    }
}

/// Enough of a description to remove a partition by.
fn nameless(dataset: &str) -> TableSchema {
    TableSchema {
        name: dataset.to_owned(),
        version: 1,
        description: String::new(),
        columns: Vec::new(),
        key: Vec::new(),
        sort: Vec::new(),
        partition_day: None,
    }
}
