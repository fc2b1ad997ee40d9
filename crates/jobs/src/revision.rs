//! What became of the published rows: equal, new, or a week that was told already and now reads otherwise.

use std::collections::BTreeMap;
use std::sync::Arc;

use arrow::array::{ArrayRef, AsArray, Int64Array, RecordBatch, UInt32Array};
use arrow::compute::{concat_batches, take_record_batch};
use arrow::datatypes::{Date32Type, Float64Type, Int64Type};
use shot::{ColumnKind, LocalDay, TableSchema};

use crate::contract::sorted;
use crate::error::JobsError;

/// The column that counts how often a closed week changed.
pub(crate) const REVISION: &str = "revision";

/// Sums of floating-point numbers depend on the order in which parallel workers deliver them; a difference this small
/// (relative to the larger number, or absolute below 1) is no news.
const TOLERANCE: f64 = 1e-9;

/// Whether two sets of rows in the contract's order say the same, one column left out.
pub(crate) fn equal_rows(
    old: &RecordBatch,
    new: &RecordBatch,
    contract: &TableSchema,
    leave_out: Option<&str>,
) -> bool {
    if old.num_rows() != new.num_rows() {
        return false;
    }
    for column in &contract.columns {
        if leave_out == Some(column.name.as_str()) {
            continue;
        }
        let (Some(old), Some(new)) = (old.column_by_name(&column.name), new.column_by_name(&column.name)) else {
            return false;
        };
        let equal = if column.kind == ColumnKind::Real { equal_reals(old, new) } else { old.as_ref() == new.as_ref() };
        if !equal {
            return false;
        }
    }
    true
}

fn equal_reals(old: &ArrayRef, new: &ArrayRef) -> bool {
    let (Some(old), Some(new)) = (old.as_primitive_opt::<Float64Type>(), new.as_primitive_opt::<Float64Type>()) else {
        return false;
    };
    old.iter().zip(new.iter()).all(|pair| match pair {
        (None, None) => true,
        (Some(old), Some(new)) => (old - new).abs() <= TOLERANCE * old.abs().max(new.abs()).max(1.0),
        _ => false,
    })
}

/// Gives the new rows of each week their revision, against the published rows of the same weeks.
///
/// Equal rows keep what was published. Other rows of a week that had ended when it was published last get one more than
/// before; those of a week that was still running keep their number; a week never published starts at 0.
/// `published_on` is the local day of the last publication.
pub(crate) fn with_revisions(
    old: &RecordBatch,
    new: &RecordBatch,
    contract: &TableSchema,
    revision_by: &str,
    published_on: LocalDay,
) -> Result<RecordBatch, JobsError> {
    let old_weeks = rows_by_day(old, revision_by)?;
    let mut parts = Vec::new();
    for (week, rows) in rows_by_day(new, revision_by)? {
        let fresh = sorted(&take_record_batch(new, &rows)?, contract)?;
        let Some(old_rows) = old_weeks.get(&week) else {
            parts.push(with_number(&fresh, 0)?);
            continue;
        };
        let told = sorted(&take_record_batch(old, old_rows)?, contract)?;
        if equal_rows(&told, &fresh, contract, Some(REVISION)) {
            parts.push(told);
            continue;
        }
        let ended = week.saturating_add(6) < published_on;
        let highest = highest_revision(&told);
        parts.push(with_number(&fresh, if ended { highest + 1 } else { highest })?);
    }
    Ok(concat_batches(&new.schema(), &parts)?)
}

/// The positions of the rows of each day.
pub(crate) fn rows_by_day(rows: &RecordBatch, column: &str) -> Result<BTreeMap<LocalDay, UInt32Array>, JobsError> {
    let mut positions: BTreeMap<LocalDay, Vec<u32>> = BTreeMap::new();
    if rows.num_rows() > 0 {
        let days = rows.column(rows.schema().index_of(column)?).as_primitive::<Date32Type>();
        for (row, day) in days.iter().enumerate() {
            positions.entry(day.unwrap_or_default()).or_default().push(row as u32);
        }
    }
    Ok(positions.into_iter().map(|(day, rows)| (day, UInt32Array::from(rows))).collect())
}

fn highest_revision(rows: &RecordBatch) -> i64 {
    let column = rows.column_by_name(REVISION).and_then(|column| column.as_primitive_opt::<Int64Type>());
    column.and_then(arrow::compute::max).unwrap_or(0)
}

fn with_number(rows: &RecordBatch, revision: i64) -> Result<RecordBatch, JobsError> {
    let position = rows.schema().index_of(REVISION)?;
    let mut columns = rows.columns().to_vec();
    columns[position] = Arc::new(Int64Array::from(vec![revision; rows.num_rows()]));
    Ok(RecordBatch::try_new(rows.schema(), columns)?)
}

#[cfg(test)]
mod tests {
    use arrow::array::{Date32Array, Float64Array, StringArray};
    use shot::Column;

    use super::*;

    fn contract() -> TableSchema {
        TableSchema {
            name: "weekly".into(),
            version: 1,
            description: "rows".into(),
            columns: vec![
                Column::required("player_id", ColumnKind::Text, "", "alias"),
                Column::required("week", ColumnKind::Day, "", "Monday"),
                Column::optional("loss_m", ColumnKind::Real, "m", "loss"),
                Column::required("revision", ColumnKind::Integer, "", "changes of a closed week"),
            ],
            key: vec!["player_id".into(), "week".into()],
            sort: vec!["player_id".into(), "week".into()],
            partition_day: Some("week".into()),
        }
    }

    fn rows(rows: &[(&str, LocalDay, f64, i64)]) -> RecordBatch {
        RecordBatch::try_new(
            contract().arrow_schema(),
            vec![
                Arc::new(StringArray::from_iter_values(rows.iter().map(|row| row.0))),
                Arc::new(Date32Array::from_iter_values(rows.iter().map(|row| row.1))),
                Arc::new(Float64Array::from_iter_values(rows.iter().map(|row| row.2))),
                Arc::new(Int64Array::from_iter_values(rows.iter().map(|row| row.3))),
            ],
        )
        .expect("a batch")
    }

    const MONDAY: LocalDay = 20_514; // 2026-03-02
    const SUNDAY: LocalDay = MONDAY + 6;

    fn revised(old: &RecordBatch, new: &RecordBatch, published_on: LocalDay) -> RecordBatch {
        assert_eq!(shot::monday_of(MONDAY), MONDAY);
        sorted(&with_revisions(old, new, &contract(), "week", published_on).expect("it works"), &contract())
            .expect("it sorts")
    }

    #[test]
    fn a_new_week_starts_at_zero() {
        let new = rows(&[("wren", MONDAY, 1.0, 0)]);
        assert_eq!(revised(&rows(&[]), &new, SUNDAY + 1), new);
    }

    #[test]
    fn equal_rows_keep_their_revision_whatever_the_query_says() {
        let old = rows(&[("kite", MONDAY, 2.0, 3), ("wren", MONDAY, 1.0, 3)]);
        let new = rows(&[("wren", MONDAY, 1.0 + 1e-12, 0), ("kite", MONDAY, 2.0, 0)]);
        assert_eq!(revised(&old, &new, SUNDAY + 1), old);
    }

    #[test]
    fn a_change_of_an_ended_week_raises_the_revision_of_all_its_rows() {
        let old = rows(&[("kite", MONDAY, 2.0, 1), ("wren", MONDAY, 1.0, 1), ("wren", MONDAY + 7, 5.0, 0)]);
        let new = rows(&[("kite", MONDAY, 2.0, 0), ("wren", MONDAY, 1.5, 0), ("wren", MONDAY + 7, 5.0, 0)]);
        let expected = rows(&[("kite", MONDAY, 2.0, 2), ("wren", MONDAY, 1.5, 2), ("wren", MONDAY + 7, 5.0, 0)]);
        assert_eq!(revised(&old, &new, SUNDAY + 1), expected);
    }

    #[test]
    fn a_change_of_a_running_week_is_no_revision() {
        let old = rows(&[("wren", MONDAY, 1.0, 0)]);
        let new = rows(&[("wren", MONDAY, 1.5, 0)]);
        assert_eq!(revised(&old, &new, SUNDAY), new);
    }

    #[test]
    fn a_missing_number_differs_from_zero() {
        let old = rows(&[("wren", MONDAY, 0.0, 0)]);
        let mut columns = old.columns().to_vec();
        columns[2] = Arc::new(Float64Array::from(vec![None]));
        let new = RecordBatch::try_new(old.schema(), columns).expect("a batch");
        assert!(!equal_rows(&old, &new, &contract(), None));
        assert!(equal_rows(&old, &old, &contract(), None));
    }
}
