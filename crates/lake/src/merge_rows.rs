//! A partition's rows after a publication: the published ones that stay, and the incoming ones that stand.

use std::cell::RefCell;

use arrow::array::{BooleanArray, RecordBatch, StringArray};
use arrow::compute::filter_record_batch;
use shot::Month;

use crate::LakeError;
use crate::index_entry::Hashes;
use crate::keys::{Key, SOURCE_COLUMN, hash64, keys_of, typed};
use crate::merge::Merge;
use crate::profile::{self, RowReader};
use crate::runs::{Group, RowSorter, SortedRuns};
use crate::store::Store;
use crate::stream::{MergedRows, Source};

/// What a month loses.
#[derive(Debug, Default)]
pub(crate) struct Departures {
    pub(crate) rows: i64,
    pub(crate) hashes: Hashes,
}

/// The part of the winners that a partition's version holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Winners {
    All,
    /// Without those that arrive from other months.
    Settled,
}

impl Merge<'_> {
    /// Whether rows of a month may go. Of all other months the index says that they hold nothing of what comes or goes.
    fn may_lose_rows(&self, month: Option<Month>) -> bool {
        self.found.with_key.contains(&month) || self.found.with_source.contains(&month)
    }

    /// Which published rows of a month go, from its keys only.
    pub(crate) fn departures(&self, store: &Store, month: Option<Month>) -> Result<Departures, LakeError> {
        let mut departures = Departures::default();
        if !self.may_lose_rows(month) {
            return Ok(departures);
        }
        let path = store.partition_path(&self.schema.name, month);
        let rows_per_batch = self.bounds.rows_per_batch;
        profile::read_columns_in_batches(store, &path, &self.identifying_columns(), rows_per_batch, |rows| {
            let _held = self.counter.hold(rows.clone());
            let sources: &StringArray = typed(&self.schema.name, rows, SOURCE_COLUMN)?;
            for (row, key) in keys_of(&self.schema, rows)?.iter().enumerate() {
                let source = sources.value(row);
                if self.stays(key, source) {
                    continue;
                }
                departures.rows += 1;
                departures.hashes.keys.insert(hash64(key));
                if self.retracted.contains(source) {
                    departures.hashes.sources.insert(hash64(source.as_bytes()));
                }
            }
            Ok(())
        })?;
        Ok(departures)
    }

    /// Whether a published row stays: not retracted, and no incoming row takes its place.
    fn stays(&self, key: &Key, source: &str) -> bool {
        let is_replaced = self.contenders.get(key).is_some_and(|contender| !contender.beaten);
        !is_replaced && !self.retracted.contains(source)
    }

    /// A month's rows as they will stand, in order. What stays is taken out of `gone`, in case a row that stays has the hash of
    /// one that goes.
    pub(crate) fn rows<'m>(
        &'m self,
        store: &'m Store,
        month: Option<Month>,
        winners: Winners,
        resorted: Option<&'m SortedRuns>,
        gone: &'m RefCell<Hashes>,
    ) -> Result<MergedRows<'m>, LakeError> {
        let wanted = |group: Group| group.month == month && (winners == Winners::All || !group.arrives);
        let mut runs = self.winners.read(wanted);
        let mut sources: Vec<Source<'m>> = Vec::new();
        if let Some(resorted) = resorted {
            runs.extend(resorted.read(|_| true));
        } else if let Some(mut published) = self.published_rows(store, month, gone)? {
            sources.push(Box::new(move || published.next_batch()));
        }
        // However many runs there are, their batches together are no more than may be sorted in memory.
        let share = self.bounds.rows_sorted_in_memory / runs.len().max(1);
        let rows_per_batch = share.clamp(64, self.bounds.rows_per_batch.max(64));
        for run in runs {
            let mut reader = run.open(store, rows_per_batch)?;
            sources.push(Box::new(move || reader.next_batch()));
        }
        let bounds = self.bounds;
        Ok(MergedRows::new(&self.schema, &self.order, &self.counter, bounds.rows_per_batch, sources))
    }

    /// A month's published rows that stay, sorted anew: for a file of another order.
    pub(crate) fn resort(
        &self,
        store: &Store,
        month: Option<Month>,
        gone: &RefCell<Hashes>,
    ) -> Result<SortedRuns, LakeError> {
        let mut sorter = RowSorter::new(store, &self.schema, &self.order, self.bounds, &self.counter);
        if let Some(mut published) = self.published_rows(store, month, gone)? {
            while let Some(rows) = published.next_batch()? {
                let groups = vec![Group { month, arrives: false }; rows.num_rows()];
                sorter.push(self.counter.hold(rows), groups)?;
            }
        }
        sorter.finish()
    }

    fn published_rows<'m>(
        &'m self,
        store: &Store,
        month: Option<Month>,
        gone: &'m RefCell<Hashes>,
    ) -> Result<Option<PublishedRows<'m>>, LakeError> {
        let path = store.partition_path(&self.schema.name, month);
        if store.bytes_of(&path)?.is_none() {
            return Ok(None);
        }
        let reader = RowReader::open(store, &path, &self.schema, self.bounds.rows_per_batch)?;
        Ok(Some(PublishedRows { merge: self, reader, all_stay: !self.may_lose_rows(month), gone }))
    }
}

/// The rows of a published file that stay.
struct PublishedRows<'m> {
    merge: &'m Merge<'m>,
    reader: RowReader<'m>,
    all_stay: bool,
    gone: &'m RefCell<Hashes>,
}

impl PublishedRows<'_> {
    fn next_batch(&mut self) -> Result<Option<RecordBatch>, LakeError> {
        let Some(rows) = self.reader.next_batch()? else { return Ok(None) };
        if self.all_stay {
            return Ok(Some(rows));
        }
        let schema = &self.merge.schema;
        let sources: &StringArray = typed(&schema.name, &rows, SOURCE_COLUMN)?;
        let mut gone = self.gone.borrow_mut();
        let mut mask = Vec::with_capacity(rows.num_rows());
        for (row, key) in keys_of(schema, &rows)?.iter().enumerate() {
            let stays = self.merge.stays(key, sources.value(row));
            if stays && !gone.keys.is_empty() {
                gone.keys.remove(&hash64(key));
            }
            if stays && !gone.sources.is_empty() {
                gone.sources.remove(&hash64(sources.value(row).as_bytes()));
            }
            mask.push(stays);
        }
        filter_record_batch(&rows, &BooleanArray::from(mask))
            .map(Some)
            .map_err(|cause| LakeError::rows("merge", &schema.name, cause))
    }
}
