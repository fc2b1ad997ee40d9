//! Whole partitions written by jobs, rosters and registries.

use std::collections::HashSet;

use arrow::array::RecordBatch;
use arrow::compute::concat_batches;
use shot::{Month, TableSchema};

use crate::conform::{Strictness, check_schema, conform};
use crate::index::KeyIndex;
use crate::index_entry::{EntryChange, Hashes, layout};
use crate::keys::{comes_from_files, keys_of, months_of, sorted};
use crate::prepare::{Act, Prepared, commit, next_facts};
use crate::profile::{Provenance, read_all};
use crate::publish::PartitionChange;
use crate::{Lake, LakeError, Manifest};

/// One partition's new content.
#[derive(Debug, Clone)]
pub struct Replacement {
    /// The dataset.
    pub schema: TableSchema,
    /// Month; `None` exactly where the dataset has no months.
    pub month: Option<Month>,
    /// All its rows, in any order.
    pub batches: Vec<RecordBatch>,
}

impl Lake {
    /// Replaces one partition by the rows given; no rows give a file without rows. The rows are checked against the schema
    /// (columns, types, required values, no NaN, unique keys, the month) and get its metadata back. If the published file
    /// holds the same rows it stays untouched and its generation stays.
    pub fn replace_partition(
        &self,
        schema: &TableSchema,
        month: Option<Month>,
        batches: &[RecordBatch],
        provenance: &Provenance,
    ) -> Result<PartitionChange, LakeError> {
        let replacement = Replacement { schema: schema.clone(), month, batches: batches.to_vec() };
        let mut changes = self.replace_many(&[replacement], provenance)?;
        changes.pop().ok_or_else(|| {
            LakeError::dataset(
                &schema.name,
                "one replacement gave no change",
                "this is a fault of strikemill, report it",
            )
        })
    }

    /// Replaces several partitions in one generation. All are checked and written before the first one shows.
    pub fn replace_many(
        &self,
        replacements: &[Replacement],
        provenance: &Provenance,
    ) -> Result<Vec<PartitionChange>, LakeError> {
        let _turn = self.write_turn();
        let manifest = self.manifest()?;
        let mut seen = HashSet::new();
        let mut index = KeyIndex::new(self.store());
        let mut entries = Vec::new();
        let mut prepared = Vec::with_capacity(replacements.len());
        for replacement in replacements {
            if !seen.insert((&replacement.schema.name, replacement.month)) {
                let hint = "give each partition once";
                return Err(LakeError::dataset(&replacement.schema.name, "one partition is replaced twice", hint));
            }
            let (partition, entry) = self.prepare_replacement(&manifest, &mut index, replacement, provenance)?;
            prepared.push(partition);
            entries.extend(entry);
        }
        index.note(&entries)?;
        Ok(commit(self.store(), manifest, prepared)?.1)
    }

    /// Removes a partition. `unchanged` tells that there was none.
    pub fn remove_partition(&self, schema: &TableSchema, month: Option<Month>) -> Result<PartitionChange, LakeError> {
        let _turn = self.write_turn();
        check_schema(schema)?;
        let manifest = self.manifest()?;
        if comes_from_files(schema) {
            KeyIndex::new(self.store()).note(&[EntryChange::removal(schema, month)])?;
        }
        let (_, mut changes) = commit(self.store(), manifest, vec![Prepared::removal(schema, month)])?;
        changes.pop().ok_or_else(|| {
            LakeError::dataset(&schema.name, "one removal gave no change", "this is a fault of strikemill, report it")
        })
    }

    fn prepare_replacement(
        &self,
        manifest: &Manifest,
        index: &mut KeyIndex<'_>,
        replacement: &Replacement,
        provenance: &Provenance,
    ) -> Result<(Prepared, Option<EntryChange>), LakeError> {
        let Replacement { schema, month, batches } = replacement;
        check_schema(schema)?;
        if schema.partition_day.is_some() != month.is_some() {
            let problem = if month.is_some() { "has no months" } else { "needs a month" };
            return Err(LakeError::dataset(&schema.name, problem, "partition as the dataset's description says"));
        }
        let mut rows = Vec::with_capacity(batches.len());
        for batch in batches {
            rows.push(conform(schema, batch, Strictness::Complete)?);
        }
        let rows = sorted(schema, &rows)?;
        check_months(schema, *month, &rows)?;
        check_keys(schema, &rows)?;
        let store = self.store();
        let path = store.partition_path(&schema.name, *month);
        let mut before = None;
        if store.bytes_of(&path)?.is_some() {
            // A published file that no longer fits the schema is simply replaced: its rows are derived.
            before = read_all(store, &path, schema).ok().filter(|file| file.is_current);
        }
        let before = match before {
            Some(file) => Some(
                concat_batches(&schema.arrow_schema(), &file.batches)
                    .map_err(|cause| LakeError::rows("join", &schema.name, cause))?,
            ),
            None => None,
        };
        let facts = next_facts(store, manifest, schema, provenance);
        let prepared = Prepared::whole(store, schema, *month, before.as_ref(), &rows, &facts)?;
        let mut entry = None;
        // Rows of imports: the next publication looks their keys up in the index.
        if let (true, Act::Show(sealed)) = (comes_from_files(schema), &prepared.act) {
            let mut now = Hashes::default();
            now.add_rows(schema, &rows)?;
            let mut change = EntryChange {
                dataset: schema.name.clone(),
                month: *month,
                layout: layout(schema),
                sha256: Some(sealed.written().sha256.clone()),
                builds_on_entry: false,
                gone: Hashes::default(),
                added: Hashes::default(),
            };
            match before {
                Some(before) if index.describes(manifest, schema, *month)? => {
                    let mut earlier = Hashes::default();
                    earlier.add_rows(schema, &before)?;
                    change.builds_on_entry = true;
                    change.gone = earlier.without(&now);
                    change.added = now.without(&earlier);
                }
                _ => change.added = now,
            }
            entry = Some(change);
        }
        Ok((prepared, entry))
    }
}

fn check_months(schema: &TableSchema, month: Option<Month>, rows: &RecordBatch) -> Result<(), LakeError> {
    let (Some(column), Some(month)) = (&schema.partition_day, month) else { return Ok(()) };
    match months_of(schema, rows)?.into_iter().flatten().find(|found| *found != month) {
        None => Ok(()),
        Some(found) => {
            let problem = format!("a row of {found} stands among those of {month}");
            Err(LakeError::column(&schema.name, column, problem, "give each partition only its own month's rows"))
        }
    }
}

fn check_keys(schema: &TableSchema, rows: &RecordBatch) -> Result<(), LakeError> {
    if schema.key.is_empty() {
        return Ok(());
    }
    let mut seen = HashSet::with_capacity(rows.num_rows());
    for (row, key) in keys_of(schema, rows)?.into_iter().enumerate() {
        if !seen.insert(key) {
            let names = schema.key.join(", ");
            let problem = format!("two rows have the same key ({names}); the second is row {} when sorted", row + 1);
            let hint = "group the rows by the key columns, or add the column that tells them apart to the key";
            return Err(LakeError::dataset(&schema.name, problem, hint));
        }
    }
    Ok(())
}
