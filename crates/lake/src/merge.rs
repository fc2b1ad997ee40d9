//! Which rows stand after a publication: incoming rows against each other and against what is published in any month.
//!
//! In memory are the keys of the incoming rows, never the rows of a partition.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use arrow::array::{BooleanArray, Int64Array, RecordBatch, StringArray};
use arrow::compute::filter_record_batch;
use shot::{Month, TableSchema};

use crate::bounds::{HeldRows, MergeBounds, RowCounter};
use crate::incoming::Incoming;
use crate::index::KeyIndex;
use crate::index_entry::{Found, Hashes};
use crate::keys::{Key, Rank, RowOrder, SEQUENCE_COLUMN, SOURCE_COLUMN, hash64, keys_of, months_of, typed};
use crate::profile;
use crate::runs::{Group, RowSorter, SortedRuns};
use crate::store::Store;
use crate::{LakeError, Manifest};

/// The incoming row that wins among the incoming rows of its key, and what is published under that key.
#[derive(Debug)]
pub(crate) struct Contender {
    /// Its number among all incoming rows.
    row: usize,
    /// Position of its segment.
    segment: usize,
    /// Position of its rank in [`Merge::ranks`].
    rank: usize,
    month: Option<Month>,
    /// It stands instead of a row of another import.
    replaces: bool,
    /// A published row of a later import stays.
    pub(crate) beaten: bool,
    /// This very import's row is published already: an earlier attempt got this far.
    published_before: bool,
    published_in: Vec<Option<Month>>,
}

/// How many rows of a segment became what.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct RowFates {
    pub(crate) new: i64,
    pub(crate) replaced: i64,
    pub(crate) superseded: i64,
}

/// What happens to one month.
#[derive(Debug, Default)]
pub(crate) struct MonthChange {
    /// Rows that come in.
    pub(crate) winners: i64,
    /// Those of them that stand in another month so far.
    pub(crate) arriving: i64,
    /// Whether a row leaves for another month.
    pub(crate) has_leaving: bool,
    /// Hashes of what comes in.
    pub(crate) added: Hashes,
}

/// All incoming rows of one dataset, and the source files whose published rows go.
pub(crate) struct Merge<'a> {
    pub(crate) schema: TableSchema,
    pub(crate) order: RowOrder,
    pub(crate) bounds: MergeBounds,
    pub(crate) counter: RowCounter,
    pub(crate) retracted: &'a HashSet<&'a str>,
    ranks: Vec<Rank>,
    pub(crate) contenders: HashMap<Key, Contender>,
    rows_of_segment: BTreeMap<usize, i64>,
    pub(crate) found: Found,
    months: BTreeMap<Option<Month>, MonthChange>,
    pub(crate) winners: SortedRuns,
}

impl<'a> Merge<'a> {
    /// Reads the incoming rows, settles them among themselves and against the published ones, and sorts those that stand.
    pub(crate) fn settle(
        store: &Store,
        manifest: &Manifest,
        index: &mut KeyIndex<'_>,
        incoming: &Incoming,
        retracted: &'a HashSet<&'a str>,
        bounds: MergeBounds,
        counter: &RowCounter,
    ) -> Result<Merge<'a>, LakeError> {
        let mut merge = Merge {
            order: RowOrder::new(&incoming.schema)?,
            schema: incoming.schema.clone(),
            bounds,
            counter: counter.clone(),
            retracted,
            ranks: Vec::new(),
            contenders: HashMap::new(),
            rows_of_segment: BTreeMap::new(),
            found: Found::default(),
            months: BTreeMap::new(),
            winners: SortedRuns::default(),
        };
        let kept = merge.gather(store, incoming)?;
        merge.compare_with_published(store, manifest, index)?;
        merge.winners = merge.sort_winners(store, incoming, kept)?;
        Ok(merge)
    }

    /// Settles incoming rows among themselves. Answers the rows themselves where they are few enough to stay in memory.
    fn gather(&mut self, store: &Store, incoming: &Incoming) -> Result<Option<Vec<HeldRows>>, LakeError> {
        let mut kept = (incoming.rows() <= self.bounds.rows_sorted_in_memory).then(Vec::new);
        let mut known_ranks: HashMap<Rank, usize> = HashMap::new();
        let mut rows_before = 0;
        incoming.each_batch(store, self.bounds.rows_per_batch, |segment, rows| {
            let rows = self.counter.hold(rows);
            *self.rows_of_segment.entry(segment).or_default() += crate::keys::row_count(&rows);
            let months = months_of(&self.schema, &rows)?;
            let sequences: &Int64Array = typed(&self.schema.name, &rows, SEQUENCE_COLUMN)?;
            let sources: &StringArray = typed(&self.schema.name, &rows, SOURCE_COLUMN)?;
            let mut rank = 0;
            for (row, key) in keys_of(&self.schema, &rows)?.into_iter().enumerate() {
                let (sequence, source) = (sequences.value(row), sources.value(row));
                let is_as_before = self.ranks.get(rank).is_some_and(|rank| rank.compare(sequence, source).is_eq());
                if !is_as_before {
                    let new = Rank { import_sequence: sequence, source_file_id: source.to_owned() };
                    rank = *known_ranks.entry(new).or_insert_with_key(|new| {
                        self.ranks.push(new.clone());
                        self.ranks.len() - 1
                    });
                }
                let mut replaces = false;
                if let Some(rival) = self.contenders.get_mut(&key) {
                    match self.ranks[rival.rank].compare(sequence, source) {
                        Ordering::Greater => rival.replaces = true,
                        // Two rows of one import and one key: the first stands, as in the order of the file.
                        Ordering::Equal => {}
                        Ordering::Less => replaces = true,
                    }
                    if !replaces {
                        continue;
                    }
                }
                let contender = Contender {
                    row: rows_before + row,
                    segment,
                    rank,
                    month: months[row],
                    replaces,
                    beaten: false,
                    published_before: false,
                    published_in: Vec::new(),
                };
                self.contenders.insert(key, contender);
            }
            rows_before += rows.num_rows();
            if let Some(kept) = &mut kept {
                kept.push(rows);
            }
            Ok(())
        })?;
        Ok(kept)
    }

    fn compare_with_published(
        &mut self,
        store: &Store,
        manifest: &Manifest,
        index: &mut KeyIndex<'_>,
    ) -> Result<(), LakeError> {
        let wanted = Hashes {
            keys: self.contenders.keys().map(|key| hash64(key)).collect(),
            sources: self.retracted.iter().map(|source| hash64(source.as_bytes())).collect(),
        };
        let standing = store.partitions(&self.schema.name)?;
        self.found = index.look_up(manifest, &self.schema, &standing, &wanted)?;
        for contender in self.contenders.values() {
            self.months.entry(contender.month).or_default();
        }
        // An interrupted publication may have removed a file that the manifest still names, or shown one it does not know:
        // whatever the manifest has wrong about this dataset is put right with this publication.
        let gone =
            manifest.of_dataset(&self.schema.name).map(|file| file.month).filter(|file| !standing.contains(file));
        let found = [&self.found.untold, &self.found.with_source, &self.found.with_key];
        for month in gone.chain(found.into_iter().flatten().copied()) {
            self.months.entry(month).or_default();
        }
        for month in self.found.with_key.clone() {
            self.survey(store, month)?;
        }
        for (key, contender) in self.contenders.iter().filter(|(_, contender)| !contender.beaten) {
            for month in contender.published_in.iter().filter(|month| **month != contender.month) {
                self.months.entry(*month).or_default().has_leaving = true;
            }
            let month = self.months.entry(contender.month).or_default();
            month.winners += 1;
            month.arriving += i64::from(contender.arrives());
            month.added.keys.insert(hash64(key));
            month.added.sources.insert(hash64(self.ranks[contender.rank].source_file_id.as_bytes()));
        }
        Ok(())
    }

    /// Looks at a published partition's keys and ranks only.
    fn survey(&mut self, store: &Store, month: Option<Month>) -> Result<(), LakeError> {
        let path = store.partition_path(&self.schema.name, month);
        let columns = self.identifying_columns();
        let counter = self.counter.clone();
        let rows_per_batch = self.bounds.rows_per_batch;
        profile::read_columns_in_batches(store, &path, &columns, rows_per_batch, |rows| {
            let _held = counter.hold(rows.clone());
            let sequences: &Int64Array = typed(&self.schema.name, rows, SEQUENCE_COLUMN)?;
            let sources: &StringArray = typed(&self.schema.name, rows, SOURCE_COLUMN)?;
            for (row, key) in keys_of(&self.schema, rows)?.iter().enumerate() {
                let Some(contender) = self.contenders.get_mut(key) else { continue };
                let source = sources.value(row);
                contender.published_in.push(month);
                match self.ranks[contender.rank].compare(sequences.value(row), source) {
                    Ordering::Equal => contender.published_before = true,
                    Ordering::Less if !self.retracted.contains(source) => contender.beaten = true,
                    _ => contender.replaces = true,
                }
            }
            Ok(())
        })
    }

    pub(crate) fn identifying_columns(&self) -> Vec<String> {
        let mut columns = self.schema.key.clone();
        columns.extend([SEQUENCE_COLUMN.to_owned(), SOURCE_COLUMN.to_owned()]);
        columns
    }

    fn sort_winners(
        &self,
        store: &Store,
        incoming: &Incoming,
        kept: Option<Vec<HeldRows>>,
    ) -> Result<SortedRuns, LakeError> {
        let mut groups: Vec<Option<Group>> = vec![None; incoming.rows()];
        for contender in self.contenders.values().filter(|contender| !contender.beaten) {
            groups[contender.row] = Some(Group { month: contender.month, arrives: contender.arrives() });
        }
        let mut sorter = RowSorter::new(store, &self.schema, &self.order, self.bounds, &self.counter);
        let mut rows_before = 0;
        let mut take = |rows: &RecordBatch| -> Result<(), LakeError> {
            let of_batch = &groups[rows_before..rows_before + rows.num_rows()];
            rows_before += rows.num_rows();
            let mask: BooleanArray = of_batch.iter().map(|group| Some(group.is_some())).collect();
            let standing =
                filter_record_batch(rows, &mask).map_err(|cause| LakeError::rows("merge", &self.schema.name, cause))?;
            sorter.push(self.counter.hold(standing), of_batch.iter().flatten().copied().collect())
        };
        match kept {
            Some(kept) => kept.into_iter().try_for_each(|rows| take(&rows))?,
            None => incoming.each_batch(store, self.bounds.rows_per_batch, |_, rows| take(&rows))?,
        }
        sorter.finish()
    }

    /// The partitions that the publication concerns, and what happens to each.
    pub(crate) fn months(&self) -> impl Iterator<Item = (Option<Month>, &MonthChange)> {
        self.months.iter().map(|(month, change)| (*month, change))
    }

    /// What became of each segment's rows in this dataset.
    pub(crate) fn fates(&self) -> BTreeMap<usize, RowFates> {
        let mut fates: BTreeMap<usize, RowFates> = BTreeMap::new();
        for (segment, rows) in &self.rows_of_segment {
            fates.entry(*segment).or_default().superseded = *rows;
        }
        for contender in self.contenders.values().filter(|contender| !contender.beaten) {
            let of_segment = fates.entry(contender.segment).or_default();
            of_segment.superseded -= 1;
            if contender.replaces {
                of_segment.replaced += 1;
            } else {
                of_segment.new += 1;
            }
        }
        fates
    }

    /// The segments of which some row is published already.
    pub(crate) fn seen_before(&self) -> BTreeSet<usize> {
        let seen = self.contenders.values().filter(|contender| contender.published_before);
        seen.map(|contender| contender.segment).collect()
    }

    /// Whether a month's published rows do not stand in today's order.
    pub(crate) fn is_unsorted(&self, month: Option<Month>) -> bool {
        self.found.unsorted.contains(&month)
    }
}

impl Contender {
    fn arrives(&self) -> bool {
        self.published_in.iter().any(|month| *month != self.month)
    }
}
