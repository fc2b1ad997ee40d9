//! How much of a merge is in memory at once, and the count that shows it.

use std::ops::Deref;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use arrow::array::RecordBatch;

/// Bounds of a publication's memory. Whatever they are, the same files come out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MergeBounds {
    /// Incoming rows of one dataset that are sorted in memory; more are sorted in runs beside the segments.
    pub rows_sorted_in_memory: usize,
    /// Rows of one batch that is read, merged or written.
    pub rows_per_batch: usize,
}

impl Default for MergeBounds {
    fn default() -> MergeBounds {
        // A shot takes about half a kilobyte. Batches are a multiple of Parquet's write batch of 1,024 rows, so that pages
        // end where they would if all rows were written at once.
        MergeBounds { rows_sorted_in_memory: 64 * 1024, rows_per_batch: 8 * 1024 }
    }
}

/// Counts the rows in memory. Clones count together.
#[derive(Debug, Clone, Default)]
pub(crate) struct RowCounter {
    counts: Arc<Counts>,
}

#[derive(Debug, Default)]
struct Counts {
    now: AtomicUsize,
    most: AtomicUsize,
}

impl RowCounter {
    /// Counts a batch for as long as it is held.
    pub(crate) fn hold(&self, rows: RecordBatch) -> HeldRows {
        let now = self.counts.now.fetch_add(rows.num_rows(), Ordering::Relaxed) + rows.num_rows();
        self.counts.most.fetch_max(now, Ordering::Relaxed);
        HeldRows { held: Arc::new(Held { rows, counter: self.clone() }) }
    }

    /// The most rows that were held at once.
    pub(crate) fn most(&self) -> usize {
        self.counts.most.load(Ordering::Relaxed)
    }
}

/// Rows that are counted as long as a clone of them lives.
#[derive(Debug, Clone)]
pub(crate) struct HeldRows {
    held: Arc<Held>,
}

#[derive(Debug)]
struct Held {
    rows: RecordBatch,
    counter: RowCounter,
}

impl Deref for HeldRows {
    type Target = RecordBatch;

    fn deref(&self) -> &RecordBatch {
        &self.held.rows
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        self.counter.counts.now.fetch_sub(self.rows.num_rows(), Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_count_while_any_clone_lives() {
        let counter = RowCounter::default();
        let rows = shot::shots_batch(&[]).expect("no rows");
        let rows = arrow::array::RecordBatch::try_new_with_options(
            Arc::new(arrow::datatypes::Schema::empty()),
            Vec::new(),
            &arrow::array::RecordBatchOptions::new().with_row_count(Some(rows.num_rows() + 7)),
        )
        .expect("a batch without columns");
        let first = counter.hold(rows.clone());
        let clone = first.clone();
        drop(first);
        let second = counter.hold(rows.clone());
        drop((clone, second));
        let _third = counter.hold(rows);
        assert_eq!((counter.counts.now.load(Ordering::Relaxed), counter.most()), (7, 14));
    }
}
