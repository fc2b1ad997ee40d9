//! The dataset `job_runs`: what ran when, why, and how it ended.

use std::sync::Arc;

use arrow::array::{ArrayRef, Date32Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray};
use chrono::DateTime;
use chrono_tz::Tz;
use lake::{Lake, Provenance, Replacement};
use ledger::RunOutcome;
use shot::ColumnKind::{Day, Instant, Integer, Text};
use shot::{Column, LocalDay, Month, TableSchema};

use crate::error::JobsError;
use crate::scope::day_of;

/// What one run did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunRecord {
    /// Identity of the run.
    pub run_id: String,
    /// Name of the job.
    pub job: String,
    /// Version of its pack.
    pub job_version: String,
    /// What set it off: schedule, import, job, person, refit.
    pub trigger: String,
    /// The planned instant it stands for, UTC microseconds.
    pub nominal_at: Option<i64>,
    /// Begin, UTC microseconds.
    pub started_at: i64,
    /// End, UTC microseconds.
    pub finished_at: i64,
    /// How it ended.
    pub outcome: RunOutcome,
    /// The error, or what there is to say.
    pub message: Option<String>,
    /// Rows computed.
    pub rows: i64,
    /// Output partitions that were replaced or removed.
    pub partitions_written: i64,
    /// Output partitions that were computed and found equal.
    pub partitions_unchanged: i64,
    /// What was read, as JSON.
    pub input_generations: String,
    /// Local day of the begin.
    pub local_date: LocalDay,
}

/// The columns of `job_runs`.
pub fn job_runs() -> TableSchema {
    let columns = vec![
        Column::required("run_id", Text, "", "identity of the run"),
        Column::required("site_id", Text, "", "site whose daemon ran the job"),
        Column::required("job", Text, "", "name of the job pack"),
        Column::required("job_version", Text, "", "version of the job pack"),
        Column::required("trigger", Text, "", "what set it off: schedule, import, job, person or refit"),
        Column::optional("nominal_at", Instant, "", "planned instant the run stands for, UTC"),
        Column::required("started_at", Instant, "", "begin, UTC"),
        Column::required("finished_at", Instant, "", "end, UTC"),
        Column::required("outcome", Text, "", "succeeded, failed, unchanged or interrupted"),
        Column::optional("message", Text, "", "the error of a failed run"),
        Column::required("rows", Integer, "", "rows computed"),
        Column::required("partitions_written", Integer, "", "output partitions replaced or removed"),
        Column::required("partitions_unchanged", Integer, "", "output partitions computed and found equal"),
        Column::required("input_generations", Text, "", "input partitions read, as of which content, as JSON"),
        Column::required("local_date", Day, "", "calendar day of the begin in the site's zone"),
    ];
    TableSchema {
        name: "job_runs".into(),
        version: 1,
        description: "one row a run of a job".into(),
        columns,
        key: vec!["run_id".into()],
        sort: vec!["started_at".into(), "run_id".into()],
        partition_day: Some("local_date".into()),
    }
}

/// The local day of an instant.
pub(crate) fn local_day(instant_micros: i64, zone: Tz) -> LocalDay {
    let instant = DateTime::from_timestamp_micros(instant_micros).unwrap_or_default();
    day_of(instant.with_timezone(&zone).date_naive())
}

/// Adds runs to the published `job_runs`.
pub(crate) fn publish(lake: &Lake, records: &[RunRecord], provenance: &Provenance) -> Result<(), JobsError> {
    let schema = job_runs();
    let mut months: Vec<Month> = records.iter().map(|record| Month::of_day(record.local_date)).collect();
    months.sort_unstable();
    months.dedup();
    let mut replacements = Vec::with_capacity(months.len());
    for month in months {
        let mut batches = lake.read_partition(&schema, Some(month))?;
        let added: Vec<&RunRecord> =
            records.iter().filter(|record| Month::of_day(record.local_date) == month).collect();
        batches.push(batch(&schema, lake.site_id(), &added)?);
        replacements.push(Replacement { schema: schema.clone(), month: Some(month), batches });
    }
    lake.replace_many(&replacements, provenance)?;
    Ok(())
}

fn batch(schema: &TableSchema, site_id: &str, records: &[&RunRecord]) -> Result<RecordBatch, JobsError> {
    let text = |of: fn(&RunRecord) -> &str| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(records.iter().map(|record| of(record))))
    };
    let integer = |of: fn(&RunRecord) -> i64| -> ArrayRef {
        Arc::new(Int64Array::from_iter_values(records.iter().map(|record| of(record))))
    };
    let instant = |of: fn(&RunRecord) -> Option<i64>| -> ArrayRef {
        let values: TimestampMicrosecondArray = records.iter().map(|record| of(record)).collect();
        Arc::new(values.with_timezone("UTC"))
    };
    let messages: StringArray = records.iter().map(|record| record.message.as_deref()).collect();
    let columns: Vec<ArrayRef> = vec![
        text(|record| &record.run_id),
        Arc::new(StringArray::from_iter_values(records.iter().map(|_| site_id))),
        text(|record| &record.job),
        text(|record| &record.job_version),
        text(|record| &record.trigger),
        instant(|record| record.nominal_at),
        instant(|record| Some(record.started_at)),
        instant(|record| Some(record.finished_at)),
        text(|record| record.outcome.word()),
        Arc::new(messages),
        integer(|record| record.rows),
        integer(|record| record.partitions_written),
        integer(|record| record.partitions_unchanged),
        text(|record| &record.input_generations),
        Arc::new(Date32Array::from_iter_values(records.iter().map(|record| record.local_date))),
    ];
    Ok(RecordBatch::try_new(schema.arrow_schema(), columns)?)
}
