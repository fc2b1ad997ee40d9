//! Publication of staged segments.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use serde::{Deserialize, Serialize};
use shot::Month;

use crate::bounds::{MergeBounds, RowCounter};
use crate::incoming::Incoming;
use crate::index::KeyIndex;
use crate::manifest::json_bytes;
use crate::merge::{Merge, RowFates};
use crate::month::prepare_month;
use crate::prepare::{commit, next_facts};
use crate::profile::Provenance;
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
    /// The most rows that were in memory at once.
    pub most_rows_held: usize,
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
    /// Memory: the keys of the segments' rows, and as many whole rows as [`MergeBounds`] allow by default; published rows only
    /// stream through.
    pub fn publish(
        &self,
        segments: &[Segment],
        retract_source_files: &[String],
        provenance: &Provenance,
    ) -> Result<PublishReport, LakeError> {
        self.publish_within(MergeBounds::default(), segments, retract_source_files, provenance)
    }

    /// The same with other bounds of memory.
    pub fn publish_within(
        &self,
        bounds: MergeBounds,
        segments: &[Segment],
        retract_source_files: &[String],
        provenance: &Provenance,
    ) -> Result<PublishReport, LakeError> {
        let _turn = self.write_turn();
        let store = self.store();
        let manifest = self.manifest()?;
        let retracted: HashSet<&str> = retract_source_files.iter().map(String::as_str).collect();
        let counter = RowCounter::default();
        let mut index = KeyIndex::new(store);
        let mut prepared = Vec::new();
        let mut entries = Vec::new();
        let mut standings = Vec::new();
        for incoming in Incoming::by_dataset(segments, !retracted.is_empty())? {
            let merge = Merge::settle(store, &manifest, &mut index, &incoming, &retracted, bounds, &counter)?;
            let facts = next_facts(store, &manifest, &merge.schema, provenance);
            for (month, change) in merge.months() {
                let (partition, entry) = prepare_month(store, &merge, month, change, &facts)?;
                prepared.push(partition);
                entries.extend(entry);
            }
            let dataset = merge.schema.name.clone();
            standings.push(Standing { dataset, fates: merge.fates(), seen_before: merge.seen_before() });
        }
        index.note(&entries)?;
        drop(index);
        let counts = self.settled_counts(segments, &standings, manifest.generation)?;
        let (generation, partitions) = commit(store, manifest, prepared)?;
        let most_rows_held = counter.most();
        tracing::debug!(generation, most_rows_held, "segments are published");
        Ok(PublishReport { generation, partitions, counts, most_rows_held })
    }

    /// Counts per segment and dataset. An interrupted attempt may have shown or removed rows already, which would change the
    /// counts: they are then those of that attempt, as noted in the segment's folder before anything showed.
    fn settled_counts(
        &self,
        segments: &[Segment],
        standings: &[Standing],
        generation: i64,
    ) -> Result<Vec<FileCount>, LakeError> {
        let store = self.store();
        let seen_before: BTreeSet<usize> =
            standings.iter().flat_map(|standing| &standing.seen_before).copied().collect();
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
            let counts = count(position, segment, standings);
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

/// What became of the incoming rows of one dataset.
struct Standing {
    dataset: String,
    /// By the segments' positions.
    fates: BTreeMap<usize, RowFates>,
    seen_before: BTreeSet<usize>,
}

fn count(position: usize, segment: &Segment, standings: &[Standing]) -> Vec<FileCount> {
    let mut counts = Vec::new();
    let has_table = |dataset: &str| segment.tables.iter().any(|table| table.schema.name == dataset);
    for standing in standings.iter().filter(|standing| has_table(&standing.dataset)) {
        let fates = standing.fates.get(&position).copied().unwrap_or_default();
        counts.push(FileCount {
            source_file_id: segment.header.source_file_id.clone(),
            import_sequence: segment.header.import_sequence,
            dataset: standing.dataset.clone(),
            rows_new: fates.new,
            rows_replaced: fates.replaced,
            rows_superseded: fates.superseded,
        });
    }
    counts
}
