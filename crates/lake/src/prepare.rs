//! The second half of every write: files that are ready are shown and get their frozen names, then the manifest is replaced,
//! then the data package.

use std::collections::HashSet;

use arrow::array::RecordBatch;
use files::SealedFile;
use shot::{Month, TableSchema};

use crate::keys::row_count;
use crate::manifest::ManifestFile;
use crate::profile::{Provenance, file_facts, write_verified};
use crate::publish::PartitionChange;
use crate::store::Store;
use crate::{LakeError, Manifest, moments, package};

/// What is to happen to one partition.
#[derive(Debug)]
pub(crate) enum Act {
    /// Its file holds these rows already.
    Keep,
    /// A new file is ready under a temporary name.
    Show(SealedFile),
    /// It goes.
    Remove,
}

/// One partition, ready to be committed.
#[derive(Debug)]
pub(crate) struct Prepared {
    pub(crate) schema: TableSchema,
    pub(crate) month: Option<Month>,
    pub(crate) rows: i64,
    pub(crate) act: Act,
    /// Rows leave it for other months, so it must show before those.
    pub(crate) shows_first: bool,
    /// A version without the rows that arrive from other months, to show before them.
    pub(crate) interim: Option<SealedFile>,
}

impl Prepared {
    /// A partition whose whole content becomes `after`, already sorted. `before` is what its file holds.
    pub(crate) fn whole(
        store: &Store,
        schema: &TableSchema,
        month: Option<Month>,
        before: Option<&RecordBatch>,
        after: &RecordBatch,
        facts: &[(String, String)],
    ) -> Result<Prepared, LakeError> {
        let act = if before.is_some_and(|rows| rows.columns() == after.columns()) {
            Act::Keep
        } else {
            let path = store.partition_path(&schema.name, month);
            Act::Show(write_verified(store, &path, schema, after, true, facts)?)
        };
        let rows = row_count(after);
        Ok(Prepared { schema: schema.clone(), month, rows, act, shows_first: false, interim: None })
    }

    /// A partition that goes.
    pub(crate) fn removal(schema: &TableSchema, month: Option<Month>) -> Prepared {
        Prepared { schema: schema.clone(), month, rows: 0, act: Act::Remove, shows_first: false, interim: None }
    }
}

/// What a partition's file has become.
enum Outcome {
    Kept,
    Shown(files::Written),
    Removed,
}

fn perform(store: &Store, schema: &TableSchema, month: Option<Month>, act: Act) -> Result<Outcome, LakeError> {
    match act {
        Act::Keep => Ok(Outcome::Kept),
        Act::Show(sealed) => {
            let written = sealed.written().clone();
            store.show(&store.partition_path(&schema.name, month), sealed)?;
            Ok(Outcome::Shown(written))
        }
        Act::Remove => {
            store.remove(&store.partition_path(&schema.name, month))?;
            Ok(Outcome::Removed)
        }
    }
}

/// Shows all prepared files, partitions that lose moved rows first, then replaces the manifest once. Answers the generation and
/// what became of each partition, in the given order.
pub(crate) fn commit(
    store: &Store,
    mut manifest: Manifest,
    prepared: Vec<Prepared>,
) -> Result<(i64, Vec<PartitionChange>), LakeError> {
    let generation = manifest.generation + 1;
    let files_before = manifest.files.clone();
    let mut waiting = Vec::with_capacity(prepared.len());
    for mut partition in prepared {
        let mut outcome = None;
        if let Some(interim) = partition.interim.take() {
            store.show(&store.partition_path(&partition.schema.name, partition.month), interim)?;
        } else if partition.shows_first {
            let act = std::mem::replace(&mut partition.act, Act::Keep);
            outcome = Some(perform(store, &partition.schema, partition.month, act)?);
        }
        waiting.push((partition, outcome));
    }
    let mut changes = Vec::with_capacity(waiting.len());
    let mut schemas: Vec<TableSchema> = Vec::new();
    for (partition, early) in waiting {
        let Prepared { schema, month, rows, act, .. } = partition;
        let outcome = match early {
            Some(outcome) => outcome,
            None => perform(store, &schema, month, act)?,
        };
        changes.push(note(store, &mut manifest, generation, &schema, month, rows, outcome)?);
        if !schemas.iter().any(|known| known.name == schema.name) {
            schemas.push(schema);
        }
    }
    let before = Manifest { files: files_before, ..manifest.clone() };
    if manifest.files != before.files {
        manifest.generation = generation;
    }
    let concerned: HashSet<_> = changes.iter().map(|change| (change.dataset.clone(), change.month)).collect();
    moments::freeze(store, &mut manifest, &concerned)?;
    let removable = moments::retire(&mut manifest, &before.files, moments::now_micros(), moments::RETIRED_STAY);
    if manifest != before {
        manifest.write(store)?;
        tracing::debug!(generation = manifest.generation, partitions = changes.len(), "the manifest is replaced");
    }
    // Only now does no manifest name them; what a crash leaves of them goes when the lake is opened.
    moments::remove(store, &removable)?;
    package::refresh(store, &manifest, &schemas)?;
    Ok((manifest.generation, changes))
}

/// Enters one partition into the manifest.
fn note(
    store: &Store,
    manifest: &mut Manifest,
    generation: i64,
    schema: &TableSchema,
    month: Option<Month>,
    rows: i64,
    outcome: Outcome,
) -> Result<PartitionChange, LakeError> {
    let dataset = schema.name.clone();
    let known = manifest.file(&dataset, month).cloned();
    let path = store.partition_path(&dataset, month);
    let (bytes, sha256) = match outcome {
        Outcome::Removed => {
            manifest.drop_file(&dataset, month);
            let unchanged = known.is_none();
            let generation = if unchanged { generation - 1 } else { generation };
            return Ok(PartitionChange { dataset, month, rows: 0, bytes: 0, generation, unchanged });
        }
        Outcome::Shown(written) => (written.bytes.cast_signed(), written.sha256),
        Outcome::Kept => {
            // After a crash between the rename and the manifest the file is right and the manifest is behind.
            (store.bytes_of(&path)?.unwrap_or(0).cast_signed(), store.sha256_of(&path)?)
        }
    };
    if let Some(entry) = known
        && entry.sha256 == sha256
        && entry.bytes == bytes
    {
        return Ok(PartitionChange { dataset, month, rows, bytes, generation: entry.generation, unchanged: true });
    }
    manifest.put(ManifestFile {
        path: store.relative_path(&dataset, month),
        dataset: dataset.clone(),
        month,
        rows,
        bytes,
        sha256,
        generation,
        schema_version: schema.version,
        frozen: None,
    });
    Ok(PartitionChange { dataset, month, rows, bytes, generation, unchanged: false })
}

/// The facts of a file of the manifest's next generation.
pub(crate) fn next_facts(
    store: &Store,
    manifest: &Manifest,
    schema: &TableSchema,
    provenance: &Provenance,
) -> Vec<(String, String)> {
    file_facts(schema, &store.site_id, manifest.generation + 1, provenance)
}
