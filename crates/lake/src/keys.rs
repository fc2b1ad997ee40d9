//! Keys of rows as bytes, months of rows, and the order rows are published in.

use std::cmp::Ordering;

use arrow::array::{
    Array, BooleanArray, Date32Array, Float64Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray,
};
use arrow::compute::{SortColumn, SortOptions, concat_batches, lexsort_to_indices, take_record_batch};
use shot::{Month, TableSchema};

use crate::LakeError;

/// The column by which the later import wins.
pub(crate) const SEQUENCE_COLUMN: &str = "import_sequence";
/// The column that says which file a row came from.
pub(crate) const SOURCE_COLUMN: &str = "source_file_id";

/// A row's key: its key columns' values, each with a tag or length so that different values never give equal bytes.
pub(crate) type Key = Vec<u8>;

/// A typed column of a batch that conforms to its schema.
pub(crate) fn typed<'a, A: Array + 'static>(
    dataset: &str,
    batch: &'a RecordBatch,
    column: &str,
) -> Result<&'a A, LakeError> {
    batch.column_by_name(column).and_then(|array| array.as_any().downcast_ref::<A>()).ok_or_else(|| {
        let hint = "publish imports only into datasets that have the columns import_sequence and source_file_id";
        LakeError::column(dataset, column, "is missing or has another type", hint)
    })
}

/// Rows of a batch, as counts are published.
pub(crate) fn row_count(rows: &RecordBatch) -> i64 {
    i64::try_from(rows.num_rows()).unwrap_or(i64::MAX)
}

/// The keys of all rows.
pub(crate) fn keys_of(schema: &TableSchema, batch: &RecordBatch) -> Result<Vec<Key>, LakeError> {
    let mut keys: Vec<Key> = vec![Vec::with_capacity(40); batch.num_rows()];
    for name in &schema.key {
        let Some(array) = batch.column_by_name(name) else {
            return Err(LakeError::column(&schema.name, name, "is missing", "a key column must be in every row"));
        };
        for (row, key) in keys.iter_mut().enumerate() {
            if array.is_null(row) {
                key.push(0);
                continue;
            }
            key.push(1);
            push_value(array.as_ref(), row, key);
        }
    }
    Ok(keys)
}

fn push_value(array: &dyn Array, row: usize, key: &mut Key) {
    let any = array.as_any();
    if let Some(texts) = any.downcast_ref::<StringArray>() {
        let text = texts.value(row).as_bytes();
        key.extend_from_slice(&(text.len() as u64).to_le_bytes());
        key.extend_from_slice(text);
    } else if let Some(numbers) = any.downcast_ref::<Int64Array>() {
        key.extend_from_slice(&numbers.value(row).to_le_bytes());
    } else if let Some(instants) = any.downcast_ref::<TimestampMicrosecondArray>() {
        key.extend_from_slice(&instants.value(row).to_le_bytes());
    } else if let Some(days) = any.downcast_ref::<Date32Array>() {
        key.extend_from_slice(&days.value(row).to_le_bytes());
    } else if let Some(numbers) = any.downcast_ref::<Float64Array>() {
        key.extend_from_slice(&numbers.value(row).to_bits().to_le_bytes());
    } else if let Some(flags) = any.downcast_ref::<BooleanArray>() {
        key.push(u8::from(flags.value(row)));
    }
}

/// 64-bit FNV-1a, written out because the index files need the same hash in every version of the program.
pub(crate) fn hash64(bytes: &[u8]) -> u64 {
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    for byte in bytes {
        hash = (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
    }
    hash
}

/// The month each row belongs to; `None` for a dataset without months.
pub(crate) fn months_of(schema: &TableSchema, batch: &RecordBatch) -> Result<Vec<Option<Month>>, LakeError> {
    let Some(day_column) = &schema.partition_day else { return Ok(vec![None; batch.num_rows()]) };
    let days: &Date32Array = typed(&schema.name, batch, day_column)?;
    Ok(days.values().iter().map(|day| Some(Month::of_day(*day))).collect())
}

/// One batch of all rows, in the dataset's order: sort columns, then key columns, ascending, nulls first.
pub(crate) fn sorted(schema: &TableSchema, batches: &[RecordBatch]) -> Result<RecordBatch, LakeError> {
    let failed = |cause| LakeError::rows("sort", &schema.name, cause);
    let rows = concat_batches(&schema.arrow_schema(), batches).map_err(failed)?;
    let mut order: Vec<SortColumn> = Vec::new();
    let options = Some(SortOptions { descending: false, nulls_first: true });
    for (position, name) in schema.sort.iter().chain(&schema.key).enumerate() {
        let seen_before = schema.sort.iter().chain(&schema.key).take(position).any(|earlier| earlier == name);
        if let (false, Some(values)) = (seen_before, rows.column_by_name(name)) {
            order.push(SortColumn { values: values.clone(), options });
        }
    }
    if order.is_empty() || rows.num_rows() < 2 {
        return Ok(rows);
    }
    let indices = lexsort_to_indices(&order, None).map_err(failed)?;
    take_record_batch(&rows, &indices).map_err(failed)
}

/// Who wins between rows of one key: the later import; between files of one sequence number, the larger file hash, so that
/// the order of publication never matters.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Rank {
    pub(crate) import_sequence: i64,
    pub(crate) source_file_id: String,
}

impl Rank {
    /// Compares with a rank given by its parts, without making one.
    pub(crate) fn compare(&self, import_sequence: i64, source_file_id: &str) -> Ordering {
        self.import_sequence.cmp(&import_sequence).then_with(|| self.source_file_id.as_str().cmp(source_file_id))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_fnv_1a() {
        // [source: FNV reference test vectors, 64-bit FNV-1a of "", "a" and "foobar"]
        assert_eq!(hash64(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(hash64(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(hash64(b"foobar"), 0x8594_4171_f739_67e8);
    }
}
