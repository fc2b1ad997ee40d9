//! Reading published files: only those the manifest names, only the months asked for.

use arrow::array::RecordBatch;
use lake::Lake;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use shot::{LocalDay, Month};

use crate::DigestError;

/// Record batches of one dataset.
pub type Batches = Vec<RecordBatch>;

/// Local days from first to last, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// First day.
    pub first: LocalDay,
    /// Last day.
    pub last: LocalDay,
}

impl Span {
    /// Every day.
    pub const ALL: Span = Span { first: LocalDay::MIN, last: LocalDay::MAX };

    fn holds(self, month: Month) -> bool {
        (Month::of_day(self.first)..=Month::of_day(self.last)).contains(&month)
    }
}

/// The rows of the files that may hold days of the span; `None` where the dataset has never been published.
pub fn read(lake: &Lake, dataset: &str, span: Span) -> Result<Option<Batches>, DigestError> {
    let manifest = lake.manifest()?;
    let mut published = false;
    let mut batches = Vec::new();
    for entry in manifest.of_dataset(dataset) {
        published = true;
        if entry.month.is_some_and(|month| !span.holds(month)) {
            continue;
        }
        // A partition that is just being replaced is read as the manifest told it.
        let path = lake.root().join(&entry.path);
        let broken = |message: String| DigestError::File { path: path.clone(), message };
        let file = lake.open_published(entry)?;
        let reader = ParquetRecordBatchReaderBuilder::try_new(file)
            .and_then(ParquetRecordBatchReaderBuilder::build)
            .map_err(|error| broken(error.to_string()))?;
        for batch in reader {
            batches.push(batch.map_err(|error| broken(error.to_string()))?);
        }
    }
    Ok(published.then_some(batches))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_span_holds_the_months_it_touches() {
        let span = Span { first: 20_787, last: 20_793 }; // 30 November to 6 December 2026
        let holds = |text: &str| span.holds(Month::parse(text).expect("a month"));
        assert!(!holds("2026-10") && holds("2026-11") && holds("2026-12") && !holds("2027-01"));
        assert!(Span::ALL.holds(Month { year: 2026, month: 1 }));
    }
}
