//! Rows sorted in runs: what fits in memory stays there, more goes to temporary files in the staging area.

use std::path::PathBuf;

use arrow::array::RecordBatch;
use arrow::compute::interleave_record_batch;
use files::SealedFile;
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_reader::{
    ArrowReaderMetadata, ArrowReaderOptions, ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder,
};
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use shot::{Month, TableSchema};

use crate::LakeError;
use crate::bounds::{HeldRows, MergeBounds, RowCounter};
use crate::keys::RowOrder;
use crate::store::Store;

/// What rows of a run are kept apart by, before their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Group {
    pub(crate) month: Option<Month>,
    /// Whether the row arrives from another month.
    pub(crate) arrives: bool,
}

/// Gathers rows until there are as many as memory may hold, then sorts them into a run.
pub(crate) struct RowSorter<'a> {
    store: &'a Store,
    schema: &'a TableSchema,
    order: &'a RowOrder,
    bounds: MergeBounds,
    counter: RowCounter,
    waiting: Vec<(HeldRows, Vec<Group>)>,
    waiting_rows: usize,
    runs: Vec<Run>,
}

impl<'a> RowSorter<'a> {
    pub(crate) fn new(
        store: &'a Store,
        schema: &'a TableSchema,
        order: &'a RowOrder,
        bounds: MergeBounds,
        counter: &RowCounter,
    ) -> RowSorter<'a> {
        let counter = counter.clone();
        RowSorter { store, schema, order, bounds, counter, waiting: Vec::new(), waiting_rows: 0, runs: Vec::new() }
    }

    /// Adds rows, each with its group.
    pub(crate) fn push(&mut self, rows: HeldRows, groups: Vec<Group>) -> Result<(), LakeError> {
        if rows.num_rows() == 0 {
            return Ok(());
        }
        if self.waiting_rows > 0 && self.waiting_rows + rows.num_rows() > self.bounds.rows_sorted_in_memory {
            let run = self.spill()?;
            self.runs.push(run);
        }
        self.waiting_rows += rows.num_rows();
        self.waiting.push((rows, groups));
        Ok(())
    }

    pub(crate) fn finish(mut self) -> Result<SortedRuns, LakeError> {
        if self.waiting_rows > 0 {
            let Sorted { places, groups } = self.sort()?;
            let rows = self.counter.hold(self.pick(&places)?);
            self.waiting.clear();
            self.runs.push(Run::Held { rows, groups });
        }
        Ok(SortedRuns { runs: self.runs })
    }

    fn sort(&self) -> Result<Sorted, LakeError> {
        let mut comparable = Vec::with_capacity(self.waiting.len());
        let mut places: Vec<(usize, usize)> = Vec::with_capacity(self.waiting_rows);
        for (batch, (rows, _)) in self.waiting.iter().enumerate() {
            comparable.push(self.order.rows(rows)?);
            places.extend((0..rows.num_rows()).map(|row| (batch, row)));
        }
        let group_at = |place: &(usize, usize)| self.waiting[place.0].1[place.1];
        places.sort_by(|left, right| {
            let by_group = group_at(left).cmp(&group_at(right));
            by_group.then_with(|| comparable[left.0].row(left.1).cmp(&comparable[right.0].row(right.1)))
        });
        let mut groups: Vec<(Group, usize)> = Vec::new();
        for place in &places {
            let group = group_at(place);
            match groups.last_mut() {
                Some((latest, count)) if *latest == group => *count += 1,
                _ => groups.push((group, 1)),
            }
        }
        Ok(Sorted { places, groups })
    }

    fn pick(&self, places: &[(usize, usize)]) -> Result<RecordBatch, LakeError> {
        let batches: Vec<&RecordBatch> = self.waiting.iter().map(|(rows, _)| &**rows).collect();
        interleave_record_batch(&batches, places).map_err(|cause| LakeError::rows("sort", &self.schema.name, cause))
    }

    /// Writes the waiting rows as a run, one row group for each group.
    fn spill(&mut self) -> Result<Run, LakeError> {
        let Sorted { places, groups } = self.sort()?;
        // Temporary names in this folder go when the lake is opened, and when the run is dropped.
        let path = self.store.segments_folder().join("sorted-run");
        let failed = |cause| LakeError::writing(&path, cause);
        let properties = WriterProperties::builder()
            .set_statistics_enabled(EnabledStatistics::None)
            .set_max_row_group_row_count(None)
            .build();
        let file = self.store.writer(&path)?;
        let mut writer = ArrowWriter::try_new(file, self.schema.arrow_schema(), Some(properties)).map_err(failed)?;
        let mut rest = places.as_slice();
        for (_, count) in &groups {
            let (of_group, others) = rest.split_at(*count);
            rest = others;
            for piece in of_group.chunks(self.bounds.rows_per_batch.max(1)) {
                let rows = self.counter.hold(self.pick(piece)?);
                writer.write(&rows).map_err(failed)?;
            }
            writer.flush().map_err(failed)?;
        }
        let sealed = writer.into_inner().map_err(failed)?.seal()?;
        self.waiting.clear();
        self.waiting_rows = 0;
        let path = sealed.temporary_path().to_owned();
        let metadata = ArrowReaderMetadata::load(&self.store.files.open(&path)?, ArrowReaderOptions::default())
            .map_err(|cause| LakeError::reading(&path, cause))?;
        Ok(Run::Spilled { file: sealed, metadata, groups })
    }
}

/// The order of rows that wait: batch and row of each, and how many each group has.
struct Sorted {
    places: Vec<(usize, usize)>,
    groups: Vec<(Group, usize)>,
}

enum Run {
    Held { rows: HeldRows, groups: Vec<(Group, usize)> },
    Spilled { file: SealedFile, metadata: ArrowReaderMetadata, groups: Vec<(Group, usize)> },
}

/// All rows, sorted within each run.
#[derive(Default)]
pub(crate) struct SortedRuns {
    runs: Vec<Run>,
}

impl SortedRuns {
    /// The rows of some groups, each in order.
    pub(crate) fn read(&self, is_wanted: impl Fn(Group) -> bool) -> Vec<RunPart<'_>> {
        let mut parts = Vec::new();
        for run in &self.runs {
            let (Run::Held { groups, .. } | Run::Spilled { groups, .. }) = run;
            let mut start = 0;
            for (position, (group, count)) in groups.iter().enumerate() {
                if is_wanted(*group) {
                    parts.push(RunPart { run, position, start, count: *count });
                }
                start += count;
            }
        }
        parts
    }
}

/// The rows of one group in one run.
pub(crate) struct RunPart<'r> {
    run: &'r Run,
    /// Of the group within the run.
    position: usize,
    start: usize,
    count: usize,
}

impl RunPart<'_> {
    pub(crate) fn open(&self, store: &Store, rows_per_batch: usize) -> Result<RunReader, LakeError> {
        match self.run {
            Run::Held { rows, .. } => Ok(RunReader::Held { rows: Some(rows.slice(self.start, self.count)) }),
            Run::Spilled { file, metadata, .. } => {
                let path = file.temporary_path().to_owned();
                let opened = store.files.open(&path)?;
                let reader = ParquetRecordBatchReaderBuilder::new_with_metadata(opened, metadata.clone())
                    .with_row_groups(vec![self.position])
                    .with_batch_size(rows_per_batch)
                    .build()
                    .map_err(|cause| LakeError::reading(&path, cause))?;
                Ok(RunReader::Spilled { reader: Box::new(reader), path })
            }
        }
    }
}

/// Rows of a run, read in order.
pub(crate) enum RunReader {
    Held { rows: Option<RecordBatch> },
    Spilled { reader: Box<ParquetRecordBatchReader>, path: PathBuf },
}

impl RunReader {
    pub(crate) fn next_batch(&mut self) -> Result<Option<RecordBatch>, LakeError> {
        match self {
            RunReader::Held { rows } => Ok(rows.take()),
            RunReader::Spilled { reader, path } => match reader.next() {
                None => Ok(None),
                Some(batch) => batch.map(Some).map_err(|cause| LakeError::reading(path, cause.into())),
            },
        }
    }
}
