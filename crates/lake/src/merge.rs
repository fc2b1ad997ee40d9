//! Which rows stand after a publication: incoming rows against each other and against what is published in any month.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use arrow::array::{BooleanArray, Int64Array, RecordBatch, StringArray, UInt32Array};
use arrow::compute::{concat_batches, filter_record_batch, take_record_batch};
use shot::{Month, TableSchema};

use crate::index::{Hashes, KeyIndex};
use crate::keys::{Key, Rank, SEQUENCE_COLUMN, SOURCE_COLUMN, hash64, keys_of, months_of, sorted, typed};
use crate::store::Store;
use crate::{LakeError, Manifest, profile};

/// The incoming row that wins among the incoming rows of its key, and what is published under that key.
#[derive(Debug)]
struct Contender {
    row: usize,
    rank: Rank,
    month: Option<Month>,
    /// It stands instead of a row of another import.
    replaces: bool,
    /// A published row of a later import stays.
    beaten: bool,
    /// This very import's row is published already: an earlier attempt got this far.
    published_before: bool,
    published_in: Vec<Option<Month>>,
}

/// What becomes of one incoming row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum RowFate {
    New,
    Replaces,
    Superseded,
}

/// All incoming rows of one dataset, and the source files whose published rows go.
pub(crate) struct Merge<'a> {
    pub(crate) schema: TableSchema,
    retracted: &'a HashSet<&'a str>,
    rows: RecordBatch,
    /// For each row, which segment it came from.
    pub(crate) origins: Vec<usize>,
    keys: Vec<Key>,
    contenders: HashMap<Key, Contender>,
    /// Months that a moved row leaves.
    left: BTreeSet<Option<Month>>,
    /// Rows that arrive from another month.
    arriving: HashSet<usize>,
    winners: BTreeMap<Option<Month>, Vec<u32>>,
}

/// A partition before and after.
pub(crate) struct MergedPartition {
    /// The published rows, where the file exists and has today's columns.
    pub(crate) before: Option<RecordBatch>,
    pub(crate) after: RecordBatch,
    /// `after` without the rows that arrive from other months, where rows also leave for other months.
    pub(crate) interim: Option<RecordBatch>,
    /// Whether a row leaves for another month.
    pub(crate) has_leaving: bool,
    /// Whether a file stands, so that only `gone` and `added` differ.
    pub(crate) has_stood: bool,
    pub(crate) gone: Hashes,
    pub(crate) added: Hashes,
}

impl<'a> Merge<'a> {
    /// Gathers incoming rows and settles them among themselves. `incoming` is (segment, rows).
    pub(crate) fn gather(
        schema: TableSchema,
        incoming: &[(usize, RecordBatch)],
        retracted: &'a HashSet<&'a str>,
    ) -> Result<Merge<'a>, LakeError> {
        let mut origins = Vec::new();
        for (segment, rows) in incoming {
            origins.extend(std::iter::repeat_n(*segment, rows.num_rows()));
        }
        let rows = concat_batches(&schema.arrow_schema(), incoming.iter().map(|(_, rows)| rows))
            .map_err(|cause| LakeError::rows("join", &schema.name, cause))?;
        let keys = keys_of(&schema, &rows)?;
        let months = months_of(&schema, &rows)?;
        let sequences: &Int64Array = typed(&schema.name, &rows, SEQUENCE_COLUMN)?;
        let sources: &StringArray = typed(&schema.name, &rows, SOURCE_COLUMN)?;
        let mut contenders: HashMap<Key, Contender> = HashMap::with_capacity(keys.len());
        for (row, key) in keys.iter().enumerate() {
            let (sequence, source) = (sequences.value(row), sources.value(row));
            let mut replaces = false;
            if let Some(rival) = contenders.get_mut(key) {
                match rival.rank.compare(sequence, source) {
                    Ordering::Greater => rival.replaces = true,
                    // Two rows of one import and one key: the first stands, as in the order of the file.
                    Ordering::Equal => {}
                    Ordering::Less => replaces = true,
                }
                if !replaces {
                    continue;
                }
            }
            let rank = Rank { import_sequence: sequence, source_file_id: source.to_owned() };
            let contender = Contender {
                row,
                rank,
                month: months[row],
                replaces,
                beaten: false,
                published_before: false,
                published_in: Vec::new(),
            };
            contenders.insert(key.clone(), contender);
        }
        Ok(Merge {
            schema,
            retracted,
            rows,
            origins,
            keys,
            contenders,
            left: BTreeSet::new(),
            arriving: HashSet::new(),
            winners: BTreeMap::new(),
        })
    }

    /// Settles incoming rows against the published ones. Answers the partitions that the publication concerns.
    pub(crate) fn settle(
        &mut self,
        store: &Store,
        manifest: &Manifest,
        index: &mut KeyIndex<'_>,
    ) -> Result<BTreeSet<Option<Month>>, LakeError> {
        let mut concerned: BTreeSet<Option<Month>> = self.contenders.values().map(|row| row.month).collect();
        let wanted = Hashes {
            keys: self.contenders.keys().map(|key| hash64(key)).collect(),
            sources: self.retracted.iter().map(|source| hash64(source.as_bytes())).collect(),
        };
        let standing = store.partitions(&self.schema.name)?;
        // An interrupted publication may have removed a file that the manifest still names, or shown one it does not know:
        // whatever the manifest has wrong about this dataset is put right with this publication.
        let gone = manifest.of_dataset(&self.schema.name).filter(|file| !standing.contains(&file.month));
        concerned.extend(gone.map(|file| file.month));
        let found = index.look_up(manifest, &self.schema, &standing, &wanted)?;
        concerned.extend(&found.untold);
        concerned.extend(&found.with_source);
        concerned.extend(&found.with_key);
        for month in &found.with_key {
            self.survey(store, *month)?;
        }
        for contender in self.contenders.values().filter(|row| !row.beaten) {
            self.winners.entry(contender.month).or_default().push(contender.row as u32);
            for month in contender.published_in.iter().filter(|month| **month != contender.month) {
                self.left.insert(*month);
                self.arriving.insert(contender.row);
            }
        }
        for rows in self.winners.values_mut() {
            rows.sort_unstable();
        }
        Ok(concerned)
    }

    /// Looks at a published partition's keys and ranks only.
    fn survey(&mut self, store: &Store, month: Option<Month>) -> Result<(), LakeError> {
        let path = store.partition_path(&self.schema.name, month);
        let mut columns: Vec<&str> = self.schema.key.iter().map(String::as_str).collect();
        columns.extend([SEQUENCE_COLUMN, SOURCE_COLUMN]);
        profile::read_columns(store, &path, &columns, |rows| {
            let sequences: &Int64Array = typed(&self.schema.name, rows, SEQUENCE_COLUMN)?;
            let sources: &StringArray = typed(&self.schema.name, rows, SOURCE_COLUMN)?;
            for (row, key) in keys_of(&self.schema, rows)?.iter().enumerate() {
                let Some(contender) = self.contenders.get_mut(key) else { continue };
                let source = sources.value(row);
                contender.published_in.push(month);
                match contender.rank.compare(sequences.value(row), source) {
                    Ordering::Equal => contender.published_before = true,
                    Ordering::Less if !self.retracted.contains(source) => contender.beaten = true,
                    _ => contender.replaces = true,
                }
            }
            Ok(())
        })
    }

    /// What becomes of each incoming row, in their order.
    pub(crate) fn fates(&self) -> Vec<RowFate> {
        let mut fates = Vec::with_capacity(self.keys.len());
        for (row, key) in self.keys.iter().enumerate() {
            fates.push(match self.contenders.get(key) {
                Some(contender) if contender.row == row && !contender.beaten => {
                    if contender.replaces {
                        RowFate::Replaces
                    } else {
                        RowFate::New
                    }
                }
                _ => RowFate::Superseded,
            });
        }
        fates
    }

    /// The segments of which some row is published already.
    pub(crate) fn seen_before(&self) -> BTreeSet<usize> {
        let seen = self.contenders.values().filter(|contender| contender.published_before);
        seen.map(|contender| self.origins[contender.row]).collect()
    }

    /// One partition before and after, sorted. Only one partition's rows are in memory at a time.
    pub(crate) fn partition(&self, store: &Store, month: Option<Month>) -> Result<MergedPartition, LakeError> {
        let failed = |cause| LakeError::rows("merge", &self.schema.name, cause);
        let path = store.partition_path(&self.schema.name, month);
        let mut kept = Vec::new();
        let mut before = None;
        let (mut gone, mut stays) = (Hashes::default(), Hashes::default());
        let has_stood = store.bytes_of(&path)?.is_some();
        if has_stood {
            let file = profile::read_all(store, &path, &self.schema)?;
            for rows in &file.batches {
                let mask = self.stays(rows)?;
                let staying = filter_record_batch(rows, &mask).map_err(failed)?;
                if staying.num_rows() < rows.num_rows() {
                    gone.add_rows(&self.schema, rows)?;
                }
                kept.push(staying);
            }
            for rows in &kept {
                stays.add_rows(&self.schema, rows)?;
            }
            if file.is_current {
                before = Some(concat_batches(&self.schema.arrow_schema(), &file.batches).map_err(failed)?);
            }
        }
        let winners = self.winners.get(&month).map_or(&[][..], Vec::as_slice);
        let settled: Vec<u32> =
            winners.iter().copied().filter(|row| !self.arriving.contains(&(*row as usize))).collect();
        let has_leaving = self.left.contains(&month);
        let mut interim = None;
        if has_leaving && settled.len() < winners.len() {
            let mut parts = kept.clone();
            parts.push(self.incoming(&settled)?);
            interim = Some(sorted(&self.schema, &parts)?);
        }
        let winning = self.incoming(winners)?;
        let mut added = Hashes::default();
        added.add_rows(&self.schema, &winning)?;
        let gone = gone.without(&stays);
        kept.push(winning);
        let after = sorted(&self.schema, &kept)?;
        Ok(MergedPartition { before, after, interim, has_leaving, has_stood, gone, added })
    }

    fn incoming(&self, rows: &[u32]) -> Result<RecordBatch, LakeError> {
        take_record_batch(&self.rows, &UInt32Array::from(rows.to_vec()))
            .map_err(|cause| LakeError::rows("merge", &self.schema.name, cause))
    }

    /// Which published rows stay: not retracted, and no incoming row takes their place.
    fn stays(&self, rows: &RecordBatch) -> Result<BooleanArray, LakeError> {
        let sources: &StringArray = typed(&self.schema.name, rows, SOURCE_COLUMN)?;
        let mut mask = Vec::with_capacity(rows.num_rows());
        for (row, key) in keys_of(&self.schema, rows)?.iter().enumerate() {
            let is_replaced = self.contenders.get(key).is_some_and(|contender| !contender.beaten);
            mask.push(!is_replaced && !self.retracted.contains(sources.value(row)));
        }
        Ok(BooleanArray::from(mask))
    }
}
