//! Outputs whose rows stay: what stands is kept, what is new is added.
//!
//! A row younger than the settling time still follows its inputs, so that a backlog which is imported over hours freezes nothing
//! half-known. It keeps the moment it was made first at: late data cannot put its settling off for ever.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, Int64Array, RecordBatch, TimestampMicrosecondArray, UInt32Array};
use arrow::compute::{concat_batches, take_record_batch};
use arrow::datatypes::{Int64Type, TimestampMicrosecondType};
use arrow::row::{OwnedRow, RowConverter, SortField};
use lake::Lake;
use shot::TableSchema;

use crate::error::JobsError;
use crate::pack::{AppendOnly, JobPack};
use crate::run::{FIRST_SERIES, RunFacts, SERIES};

const HOUR_MICROS: i64 = 3_600_000_000;

/// The published rows and the rows of a run made one: `old` are the published rows of the run's window, `new` what the run
/// made. `consents` are the players who agreed, `None` where that matters to no row.
pub(crate) fn kept_and_added(
    old: &RecordBatch,
    new: &RecordBatch,
    contract: &TableSchema,
    rule: &AppendOnly,
    facts: RunFacts,
    consents: Option<&HashSet<String>>,
) -> Result<RecordBatch, JobsError> {
    let settled_before = facts.run_at.saturating_sub(i64::from(rule.settles_after_h).saturating_mul(HOUR_MICROS));
    let series = integers(old, SERIES)?;
    let made_at = instants(old, &rule.made_at)?;
    let old_keys = keys(old, contract)?;
    let mut places: HashMap<&OwnedRow, usize> = HashMap::with_capacity(new.num_rows());
    let new_keys = keys(new, contract)?;
    for (row, key) in new_keys.iter().enumerate() {
        places.insert(key, row);
    }
    // Rows are taken from both, old ones first.
    let mut chosen: Vec<u32> = Vec::new();
    let mut first_made: Vec<i64> = Vec::new();
    let mut is_replaced = vec![false; new.num_rows()];
    for (row, key) in old_keys.iter().enumerate() {
        if !may_stay(old, row, rule, consents)? {
            continue;
        }
        let is_settled = made_at.value(row) <= settled_before || series.value(row) != facts.series;
        match places.get(key) {
            Some(place) => {
                is_replaced[*place] = true;
                chosen.push(if is_settled { row as u32 } else { (old.num_rows() + place) as u32 });
            }
            // Its inputs are gone before it settled: it was made of what turned out wrong.
            None if !is_settled => continue,
            None => chosen.push(row as u32),
        }
        first_made.push(made_at.value(row));
    }
    let made_now = instants(new, &rule.made_at)?;
    for (row, is_replaced) in is_replaced.iter().enumerate() {
        if !is_replaced {
            chosen.push((old.num_rows() + row) as u32);
            first_made.push(made_now.value(row));
        }
    }
    let both = concat_batches(&new.schema(), [old, new])?;
    let rows = take_record_batch(&both, &UInt32Array::from(chosen))?;
    let mut columns: Vec<ArrayRef> = rows.columns().to_vec();
    let position = rows.schema().index_of(&rule.made_at)?;
    columns[position] = Arc::new(TimestampMicrosecondArray::from(first_made).with_timezone("UTC"));
    Ok(RecordBatch::try_new(rows.schema(), columns)?)
}

/// Whether the player whom a row is about still agrees.
fn may_stay(
    old: &RecordBatch,
    row: usize,
    rule: &AppendOnly,
    consents: Option<&HashSet<String>>,
) -> Result<bool, JobsError> {
    let (Some(column), Some(consents)) = (&rule.consent_of, consents) else { return Ok(true) };
    let players = old.column(old.schema().index_of(column)?).as_string::<i32>();
    Ok(consents.contains(players.value(row)))
}

fn keys(rows: &RecordBatch, contract: &TableSchema) -> Result<Vec<OwnedRow>, JobsError> {
    let mut fields = Vec::new();
    let mut columns = Vec::new();
    for name in &contract.key {
        let column = rows.column(rows.schema().index_of(name)?);
        fields.push(SortField::new(column.data_type().clone()));
        columns.push(Arc::clone(column));
    }
    let keys = RowConverter::new(fields)?.convert_columns(&columns)?;
    Ok(keys.iter().map(|key| key.owned()).collect())
}

fn integers<'rows>(rows: &'rows RecordBatch, name: &str) -> Result<&'rows Int64Array, JobsError> {
    Ok(rows.column(rows.schema().index_of(name)?).as_primitive::<Int64Type>())
}

fn instants<'rows>(rows: &'rows RecordBatch, name: &str) -> Result<&'rows TimestampMicrosecondArray, JobsError> {
    Ok(rows.column(rows.schema().index_of(name)?).as_primitive::<TimestampMicrosecondType>())
}

/// The highest series that a job's output has, the first where it has none.
pub(crate) fn current_series(lake: &Lake, pack: &JobPack) -> Result<i64, JobsError> {
    let mut highest = FIRST_SERIES;
    for month in lake.partitions(&pack.output.name)? {
        for batch in lake.read_partition(&pack.output, month)? {
            highest = arrow::compute::max(integers(&batch, SERIES)?).map_or(highest, |series| series.max(highest));
        }
    }
    Ok(highest)
}

/// The players who agreed to be analysed; `None` where the roster was not published yet, which takes nothing back.
pub(crate) fn consenting(lake: &Lake, rule: &AppendOnly) -> Result<Option<HashSet<String>>, JobsError> {
    let players = shot::players();
    if rule.consent_of.is_none() || lake.manifest()?.of_dataset(&players.name).next().is_none() {
        return Ok(None);
    }
    let mut found = HashSet::new();
    for batch in lake.read_partition(&players, None)? {
        let aliases = batch.column(batch.schema().index_of("player_id")?).as_string::<i32>();
        let consents = batch.column(batch.schema().index_of("consent")?).as_boolean();
        for row in 0..batch.num_rows() {
            if consents.is_valid(row) && consents.value(row) {
                found.insert(aliases.value(row).to_owned());
            }
        }
    }
    Ok(Some(found))
}
