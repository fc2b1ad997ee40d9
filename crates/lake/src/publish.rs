//! Publication of staged segments.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use arrow::array::RecordBatch;
use serde::{Deserialize, Serialize};
use shot::{Month, TableSchema};

use crate::conform::{Strictness, check_schema, conform};
use crate::index::{EntryChange, KeyIndex, layout};
use crate::keys::comes_from_files;
use crate::manifest::json_bytes;
use crate::merge::{Merge, RowFate};
use crate::prepare::{Act, Prepared, commit, next_facts};
use crate::profile::{Provenance, write_verified};
use crate::{Lake, LakeError, Segment};

/// Counts of a segment's first publication attempt, kept in its folder so that a replay reports the same ones.
const COUNTS: &str = "counts.json";

/// What became of one partition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartitionChange {
    /// Dataset.
    pub dataset: String,
    /// Month; `None` for a dataset without months.
    pub month: Option<Month>,
    /// Rows now; 0 where the partition is gone.
    pub rows: i64,
    /// Size in bytes now.
    pub bytes: i64,
    /// Generation that last changed it.
    pub generation: i64,
    /// Whether it was left as it was.
    pub unchanged: bool,
}

/// What became of one source file's rows in one dataset.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileCount {
    /// SHA-256 of the source file.
    pub source_file_id: String,
    /// Its import.
    pub import_sequence: i64,
    /// Dataset.
    pub dataset: String,
    /// Rows whose key was not published before.
    pub rows_new: i64,
    /// Rows that stand instead of another import's row of the same key.
    pub rows_replaced: i64,
    /// Rows that do not stand: a later import, or an earlier row of the same file, has the same key.
    pub rows_superseded: i64,
}

/// What a publication did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PublishReport {
    /// The manifest's generation now.
    pub generation: i64,
    /// All partitions concerned, ascending by dataset and month.
    pub partitions: Vec<PartitionChange>,
    /// One entry per segment and dataset.
    pub counts: Vec<FileCount>,
}

impl PublishReport {
    /// The counts of one file in one dataset; zero where it had no rows there.
    pub fn count(&self, source_file_id: &str, dataset: &str) -> (i64, i64, i64) {
        let matching = self.counts.iter().filter(|c| c.source_file_id == source_file_id && c.dataset == dataset);
        matching.fold((0, 0, 0), |(new, replaced, superseded), c| {
            (new + c.rows_new, replaced + c.rows_replaced, superseded + c.rows_superseded)
        })
    }
}

impl Lake {
    /// Publishes segments and retracts the published rows of source files, in one generation. Of rows with one key the later
    /// import stands, in whatever order segments are published. Retraction comes first: rows of a retracted file that stand in
    /// `segments` are published. Replaying it, alone or with more segments, gives the same rows and counts.
    ///
    /// A row that a retracted row had replaced does not come back by itself: its file has to be read again.
    ///
    /// Memory: the segments' rows plus one partition.
    pub fn publish(
        &self,
        segments: &[Segment],
        retract_source_files: &[String],
        provenance: &Provenance,
    ) -> Result<PublishReport, LakeError> {
        let _turn = self.write_turn();
        let store = self.store();
        let manifest = self.manifest()?;
        let retracted: HashSet<&str> = retract_source_files.iter().map(String::as_str).collect();
        let mut merges = Vec::new();
        for (schema, incoming) in self.incoming(segments, !retracted.is_empty())? {
            merges.push(Merge::gather(schema, &incoming, &retracted)?);
        }
        let mut concerned = Vec::new();
        let mut index = KeyIndex::new(store);
        for merge in &mut merges {
            concerned.push(merge.settle(store, &manifest, &mut index)?);
        }
        let mut prepared = Vec::new();
        let mut entries = Vec::new();
        for (merge, months) in merges.iter().zip(&concerned) {
            let facts = next_facts(store, &manifest, &merge.schema, provenance);
            for month in months {
                let (partition, entry) = self.prepare_merged(merge, *month, &facts)?;
                prepared.push(partition);
                entries.extend(entry);
            }
        }
        index.note(&entries)?;
        drop(index);
        let counts = self.settled_counts(segments, &merges, manifest.generation)?;
        let (generation, partitions) = commit(store, manifest, prepared)?;
        Ok(PublishReport { generation, partitions, counts })
    }

    /// The segments' rows by dataset; with a retraction also the other datasets whose rows come from files.
    fn incoming(&self, segments: &[Segment], retracts: bool) -> Result<Vec<Incoming>, LakeError> {
        let mut datasets: BTreeMap<String, Incoming> = BTreeMap::new();
        for schema in shot::published_datasets() {
            if retracts && comes_from_files(&schema) {
                datasets.insert(schema.name.clone(), (schema, Vec::new()));
            }
        }
        for (position, segment) in segments.iter().enumerate() {
            for (schema, rows) in self.read_segment(segment)? {
                check_schema(&schema)?;
                let entry = datasets.entry(schema.name.clone()).or_insert_with(|| (schema.clone(), Vec::new()));
                // A segment that an older version staged may lack a column that came later.
                if schema.version > entry.0.version {
                    entry.0 = schema;
                }
                entry.1.push((position, rows));
            }
        }
        for (schema, batches) in datasets.values_mut() {
            for (_, rows) in batches {
                *rows = conform(schema, rows, Strictness::Older)?;
            }
        }
        Ok(datasets.into_values().collect())
    }

    fn prepare_merged(
        &self,
        merge: &Merge<'_>,
        month: Option<Month>,
        facts: &[(String, String)],
    ) -> Result<(Prepared, Option<EntryChange>), LakeError> {
        let store = self.store();
        let schema = &merge.schema;
        let merged = merge.partition(store, month)?;
        let mut prepared = if merged.after.num_rows() == 0 {
            Prepared::removal(schema, month)
        } else {
            Prepared::whole(store, schema, month, merged.before.as_ref(), &merged.after, facts)?
        };
        let sha256 = match &prepared.act {
            Act::Keep => None,
            Act::Show(sealed) => Some(Some(sealed.written().sha256.clone())),
            Act::Remove => Some(None),
        };
        let entry = sha256.map(|sha256| EntryChange {
            dataset: schema.name.clone(),
            month,
            layout: layout(schema),
            sha256,
            builds_on_entry: merged.has_stood,
            gone: merged.gone,
            added: merged.added,
        });
        prepared.shows_first = merged.has_leaving;
        if let (Some(rows), Act::Show(_)) = (&merged.interim, &prepared.act) {
            let path = store.partition_path(&schema.name, month);
            prepared.interim = Some(write_verified(store, &path, schema, rows, true, facts)?);
        }
        Ok((prepared, entry))
    }

    /// Counts per segment and dataset. An interrupted attempt may have shown or removed rows already, which would change the
    /// counts: they are then those of that attempt, as noted in the segment's folder before anything showed.
    fn settled_counts(
        &self,
        segments: &[Segment],
        merges: &[Merge<'_>],
        generation: i64,
    ) -> Result<Vec<FileCount>, LakeError> {
        let store = self.store();
        let seen_before: BTreeSet<usize> = merges.iter().flat_map(Merge::seen_before).collect();
        let mut all = Vec::new();
        for (position, segment) in segments.iter().enumerate() {
            let path = segment.folder.join(COUNTS);
            let noted: Option<Attempt> =
                store.read_document(&path)?.and_then(|bytes| serde_json::from_slice(&bytes).ok());
            if let Some(attempt) = noted
                && (attempt.generation == generation || seen_before.contains(&position))
            {
                all.extend(attempt.counts);
                continue;
            }
            let counts = count(position, segment, merges);
            let attempt = Attempt { generation, counts };
            store.write_document(&path, &json_bytes(&path, &attempt)?)?;
            all.extend(attempt.counts);
        }
        Ok(all)
    }
}

/// The counts of an attempt to publish a segment on top of a generation.
#[derive(Debug, Serialize, Deserialize)]
struct Attempt {
    generation: i64,
    counts: Vec<FileCount>,
}

/// A dataset and its incoming rows, each batch with its segment's position.
type Incoming = (TableSchema, Vec<(usize, RecordBatch)>);

fn count(position: usize, segment: &Segment, merges: &[Merge<'_>]) -> Vec<FileCount> {
    let mut counts = Vec::new();
    for merge in merges.iter().filter(|merge| segment.tables.iter().any(|t| t.schema.name == merge.schema.name)) {
        let mut count = FileCount {
            source_file_id: segment.header.source_file_id.clone(),
            import_sequence: segment.header.import_sequence,
            dataset: merge.schema.name.clone(),
            rows_new: 0,
            rows_replaced: 0,
            rows_superseded: 0,
        };
        for (fate, origin) in merge.fates().into_iter().zip(&merge.origins) {
            if *origin == position {
                match fate {
                    RowFate::New => count.rows_new += 1,
                    RowFate::Replaces => count.rows_replaced += 1,
                    RowFate::Superseded => count.rows_superseded += 1,
                }
            }
        }
        counts.push(count);
    }
    counts
}
