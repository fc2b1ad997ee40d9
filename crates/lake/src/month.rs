//! One month of a publication: its new file, written as a stream of published and incoming rows, or the finding that it stays.

use std::cell::RefCell;

use files::SealedFile;
use shot::Month;

use crate::LakeError;
use crate::bounds::HeldRows;
use crate::index_entry::{EntryChange, Hashes, layout};
use crate::merge::{Merge, MonthChange};
use crate::merge_rows::{Departures, Winners};
use crate::prepare::{Act, Prepared};
use crate::profile::{RowReader, RowWriter};
use crate::runs::SortedRuns;
use crate::store::Store;
use crate::stream::MergedRows;

type Facts = [(String, String)];

/// Prepares a month's file, and what the key index is to hold of it.
pub(crate) fn prepare_month(
    store: &Store,
    merge: &Merge<'_>,
    month: Option<Month>,
    change: &MonthChange,
    facts: &Facts,
) -> Result<(Prepared, Option<EntryChange>), LakeError> {
    let schema = &merge.schema;
    let path = store.partition_path(&schema.name, month);
    let has_stood = store.bytes_of(&path)?.is_some();
    let (mut rows_before, mut is_current) = (0, false);
    let mut departures = Departures::default();
    if has_stood {
        let file = RowReader::open(store, &path, schema, merge.bounds.rows_per_batch)?;
        (rows_before, is_current) = (file.rows, file.is_current);
        departures = merge.departures(store, month)?;
    }
    let rows = rows_before - departures.rows + change.winners;
    if rows == 0 {
        let mut prepared = Prepared::removal(schema, month);
        prepared.shows_first = change.has_leaving;
        return Ok((prepared, Some(EntryChange::removal(schema, month))));
    }
    let gone = RefCell::new(departures.hashes);
    let resorted = if merge.is_unsorted(month) { Some(merge.resort(store, month, &gone)?) } else { None };
    let plan = Plan { store, merge, month, resorted, gone: &gone };
    let mut prepared = Prepared {
        schema: schema.clone(),
        month,
        rows,
        act: Act::Keep,
        shows_first: change.has_leaving,
        interim: None,
    };
    // As many come as go: perhaps the very same, as when an interrupted publication is repeated.
    if is_current && rows == rows_before && plan.holds_already()? {
        return Ok((prepared, None));
    }
    let sealed = plan.write(Winners::All, facts)?;
    let sha256 = Some(sealed.written().sha256.clone());
    prepared.act = Act::Show(sealed);
    if change.has_leaving && change.arriving > 0 {
        prepared.interim = Some(plan.write(Winners::Settled, facts)?);
    }
    drop(plan);
    let entry = EntryChange {
        dataset: schema.name.clone(),
        month,
        layout: layout(schema),
        sha256,
        builds_on_entry: has_stood,
        gone: gone.into_inner(),
        added: Hashes { keys: change.added.keys.clone(), sources: change.added.sources.clone() },
    };
    Ok((prepared, Some(entry)))
}

struct Plan<'a> {
    store: &'a Store,
    merge: &'a Merge<'a>,
    month: Option<Month>,
    resorted: Option<SortedRuns>,
    gone: &'a RefCell<Hashes>,
}

impl Plan<'_> {
    fn rows(&self, winners: Winners) -> Result<MergedRows<'_>, LakeError> {
        self.merge.rows(self.store, self.month, winners, self.resorted.as_ref(), self.gone)
    }

    fn write(&self, winners: Winners, facts: &Facts) -> Result<SealedFile, LakeError> {
        let schema = &self.merge.schema;
        let path = self.store.partition_path(&schema.name, self.month);
        let mut rows = self.rows(winners)?;
        let mut writer = RowWriter::begin(self.store, &path, schema, true, facts)?;
        while let Some(batch) = rows.next_batch()? {
            writer.write(&batch)?;
        }
        writer.seal()
    }

    /// Whether the file holds these very rows in this order. Stops at the first difference.
    fn holds_already(&self) -> Result<bool, LakeError> {
        let path = self.store.partition_path(&self.merge.schema.name, self.month);
        let counter = &self.merge.counter;
        let mut file = RowReader::open(self.store, &path, &self.merge.schema, self.merge.bounds.rows_per_batch)?;
        let mut wanted = self.rows(Winners::All)?;
        let mut theirs = Rest::default();
        let mut ours = Rest::default();
        loop {
            if theirs.is_used_up() {
                theirs = Rest::of(file.next_batch()?.map(|rows| counter.hold(rows)));
            }
            if ours.is_used_up() {
                ours = Rest::of(wanted.next_batch()?);
            }
            let (Some(left), Some(right)) = (&theirs.rows, &ours.rows) else {
                return Ok(theirs.rows.is_none() && ours.rows.is_none());
            };
            let count = (left.num_rows() - theirs.start).min(right.num_rows() - ours.start);
            let left = left.slice(theirs.start, count);
            if left.columns() != right.slice(ours.start, count).columns() {
                return Ok(false);
            }
            theirs.start += count;
            ours.start += count;
        }
    }
}

/// What is left of a batch.
#[derive(Default)]
struct Rest {
    rows: Option<HeldRows>,
    start: usize,
}

impl Rest {
    fn of(rows: Option<HeldRows>) -> Rest {
        Rest { rows, start: 0 }
    }

    fn is_used_up(&self) -> bool {
        self.rows.as_ref().is_none_or(|rows| self.start >= rows.num_rows())
    }
}
