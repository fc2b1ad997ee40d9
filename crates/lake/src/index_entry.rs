//! What the key index holds of a partition, and what it answers.

use std::collections::{BTreeSet, HashSet};

use arrow::array::{RecordBatch, StringArray};
use shot::{Month, TableSchema};

use crate::LakeError;
use crate::keys::{SOURCE_COLUMN, hash64, keys_of, order_columns, typed};

/// Hashes of keys and of source files.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Hashes {
    pub(crate) keys: HashSet<u64>,
    pub(crate) sources: HashSet<u64>,
}

impl Hashes {
    pub(crate) fn add_rows(&mut self, schema: &TableSchema, rows: &RecordBatch) -> Result<(), LakeError> {
        self.keys.extend(keys_of(schema, rows)?.iter().map(|key| hash64(key)));
        self.sources.extend(source_hashes(schema, rows)?);
        Ok(())
    }

    /// These without those.
    pub(crate) fn without(&self, others: &Hashes) -> Hashes {
        Hashes {
            keys: self.keys.difference(&others.keys).copied().collect(),
            sources: self.sources.difference(&others.sources).copied().collect(),
        }
    }
}

/// What a partition's entry becomes, to be noted before the file shows.
#[derive(Debug)]
pub(crate) struct EntryChange {
    pub(crate) dataset: String,
    pub(crate) month: Option<Month>,
    pub(crate) layout: String,
    /// SHA-256 of the new file; `None` where the partition goes.
    pub(crate) sha256: Option<String>,
    /// Whether the entry so far describes the file so far, so that only `gone` and `added` need be written. Otherwise `added`
    /// is everything.
    pub(crate) builds_on_entry: bool,
    pub(crate) gone: Hashes,
    pub(crate) added: Hashes,
}

impl EntryChange {
    pub(crate) fn removal(schema: &TableSchema, month: Option<Month>) -> EntryChange {
        EntryChange {
            dataset: schema.name.clone(),
            month,
            layout: layout(schema),
            sha256: None,
            builds_on_entry: false,
            gone: Hashes::default(),
            added: Hashes::default(),
        }
    }
}

/// What the index says about a publication into one dataset.
#[derive(Debug, Default)]
pub(crate) struct Found {
    /// Partitions whose file the manifest does not tell of; after an interrupted publication there may be some.
    pub(crate) untold: BTreeSet<Option<Month>>,
    /// Partitions that hold one of the keys, or at least a key of the same hash.
    pub(crate) with_key: BTreeSet<Option<Month>>,
    /// Partitions that hold rows of one of the source files.
    pub(crate) with_source: BTreeSet<Option<Month>>,
    /// Partitions whose rows do not stand in today's order.
    pub(crate) unsorted: BTreeSet<Option<Month>>,
}

/// What the key hashes and the order mean: an entry made for other key or sort columns is no use.
pub(crate) fn layout(schema: &TableSchema) -> String {
    format!("key {}; order {}", schema.key.join(","), order_columns(schema).join(","))
}

/// Hashes of the source files that rows name.
pub(crate) fn source_hashes(schema: &TableSchema, rows: &RecordBatch) -> Result<HashSet<u64>, LakeError> {
    let sources: &StringArray = typed(&schema.name, rows, SOURCE_COLUMN)?;
    let mut hashes = HashSet::new();
    let mut latest = None;
    for source in sources.iter().flatten() {
        // Rows of one file mostly stand together.
        if latest != Some(source) {
            hashes.insert(hash64(source.as_bytes()));
            latest = Some(source);
        }
    }
    Ok(hashes)
}
