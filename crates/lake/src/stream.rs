//! Sorted rows of several sources as one stream in order, of which only a batch a source is in memory.

use arrow::array::RecordBatch;
use arrow::compute::interleave_record_batch;
use arrow::row::Rows;
use shot::TableSchema;

use crate::LakeError;
use crate::bounds::{HeldRows, RowCounter};
use crate::keys::RowOrder;

/// Gives rows in order, batch by batch; `None` at the end.
pub(crate) type Source<'a> = Box<dyn FnMut() -> Result<Option<RecordBatch>, LakeError> + 'a>;

struct Cursor<'a> {
    source: Source<'a>,
    current: Option<(HeldRows, Rows)>,
    row: usize,
    /// Which of the batches of the output at hand the current one is.
    place: Option<usize>,
}

/// Rows of all sources, merged.
pub(crate) struct MergedRows<'a> {
    schema: &'a TableSchema,
    order: &'a RowOrder,
    counter: RowCounter,
    rows_per_batch: usize,
    cursors: Vec<Cursor<'a>>,
}

impl<'a> MergedRows<'a> {
    pub(crate) fn new(
        schema: &'a TableSchema,
        order: &'a RowOrder,
        counter: &RowCounter,
        rows_per_batch: usize,
        sources: Vec<Source<'a>>,
    ) -> MergedRows<'a> {
        let cursors = sources.into_iter().map(|source| Cursor { source, current: None, row: 0, place: None }).collect();
        MergedRows { schema, order, counter: counter.clone(), rows_per_batch: rows_per_batch.max(1), cursors }
    }

    /// The next rows; all batches but the last have the same number.
    pub(crate) fn next_batch(&mut self) -> Result<Option<HeldRows>, LakeError> {
        let mut batches: Vec<HeldRows> = Vec::new();
        let mut picks: Vec<(usize, usize)> = Vec::with_capacity(self.rows_per_batch);
        for cursor in &mut self.cursors {
            cursor.place = None;
        }
        while picks.len() < self.rows_per_batch {
            self.refill()?;
            let Some((first, second)) = self.smallest_two() else { break };
            let count = self.run_length(first, second).min(self.rows_per_batch - picks.len());
            let cursor = &mut self.cursors[first];
            let Some((rows, _)) = &cursor.current else { break };
            let place = *cursor.place.get_or_insert_with(|| {
                batches.push(rows.clone());
                batches.len() - 1
            });
            picks.extend((cursor.row..cursor.row + count).map(|row| (place, row)));
            cursor.row += count;
        }
        let (Some((_, first)), Some(only)) = (picks.first(), batches.first()) else { return Ok(None) };
        let rows = if batches.len() == 1 {
            // Rows of one source that follow each other need no copying.
            only.slice(*first, picks.len())
        } else {
            let batches: Vec<&RecordBatch> = batches.iter().map(|rows| &**rows).collect();
            interleave_record_batch(&batches, &picks)
                .map_err(|cause| LakeError::rows("merge", &self.schema.name, cause))?
        };
        Ok(Some(self.counter.hold(rows)))
    }

    /// Reads on where a batch is used up; cursors at the end go.
    fn refill(&mut self) -> Result<(), LakeError> {
        let mut position = 0;
        while position < self.cursors.len() {
            let cursor = &mut self.cursors[position];
            let mut is_at_end = false;
            while cursor.current.as_ref().is_none_or(|(rows, _)| cursor.row >= rows.num_rows()) {
                // The old batch goes first, unless the output at hand still needs it.
                cursor.current = None;
                cursor.place = None;
                cursor.row = 0;
                let Some(rows) = (cursor.source)()? else {
                    is_at_end = true;
                    break;
                };
                let comparable = self.order.rows(&rows)?;
                cursor.current = Some((self.counter.hold(rows), comparable));
            }
            if is_at_end {
                self.cursors.remove(position);
            } else {
                position += 1;
            }
        }
        Ok(())
    }

    /// The cursor whose row comes first, and the one whose row comes next among the others.
    fn smallest_two(&self) -> Option<(usize, Option<usize>)> {
        let mut first = None;
        let mut second = None;
        for position in 0..self.cursors.len() {
            if first.is_none_or(|other| self.is_before(position, other)) {
                second = first;
                first = Some(position);
            } else if second.is_none_or(|other| self.is_before(position, other)) {
                second = Some(position);
            }
        }
        first.map(|first| (first, second))
    }

    fn is_before(&self, left: usize, right: usize) -> bool {
        let (left, right) = (&self.cursors[left], &self.cursors[right]);
        match (&left.current, &right.current) {
            (Some((_, left_rows)), Some((_, right_rows))) => left_rows.row(left.row) < right_rows.row(right.row),
            _ => false,
        }
    }

    /// How many rows of the first cursor come before the second one's: by steps that double, then by halves.
    fn run_length(&self, first: usize, second: Option<usize>) -> usize {
        let cursor = &self.cursors[first];
        let Some((held, rows)) = &cursor.current else { return 0 };
        let rest = held.num_rows() - cursor.row;
        let Some(rival) = second.map(|position| &self.cursors[position]) else { return rest };
        let Some((_, rival_rows)) = &rival.current else { return rest };
        let limit = rival_rows.row(rival.row);
        let comes_before = |count: usize| rows.row(cursor.row + count) <= limit;
        let (mut known, mut step) = (1, 1);
        while known + step < rest && comes_before(known + step) {
            known += step;
            step *= 2;
        }
        let (mut low, mut high) = (known, rest.min(known + step));
        while low < high {
            let middle = low + (high - low) / 2;
            if comes_before(middle) {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        low
    }
}
