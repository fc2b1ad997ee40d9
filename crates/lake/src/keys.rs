//! Keys of rows as bytes, months of rows, and the order rows are published in.

use std::cmp::Ordering;

use arrow::array::{
    Array, ArrayRef, BooleanArray, Date32Array, Float64Array, Int64Array, RecordBatch, StringArray,
    TimestampMicrosecondArray, UInt32Array, new_null_array,
};
use arrow::compute::{SortOptions, concat_batches, take_record_batch};
use arrow::datatypes::DataType;
use arrow::row::{OwnedRow, RowConverter, Rows, SortField};
use shot::{Month, TableSchema};

use crate::LakeError;

/// The column by which the later import wins.
pub(crate) const SEQUENCE_COLUMN: &str = "import_sequence";
/// The column that says which file a row came from.
pub(crate) const SOURCE_COLUMN: &str = "source_file_id";

/// Whether the rows of a dataset come from imported files and are merged, rather than written whole by a job.
pub(crate) fn comes_from_files(schema: &TableSchema) -> bool {
    schema.column(SEQUENCE_COLUMN).is_some() && schema.column(SOURCE_COLUMN).is_some()
}

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

/// 64-bit FNV-1a, written out because the key index needs the same hash in every version of the program.
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

/// The columns that rows are published in the order of: sort columns, then key columns, each once.
pub(crate) fn order_columns(schema: &TableSchema) -> Vec<&str> {
    let mut columns: Vec<&str> = Vec::with_capacity(schema.sort.len() + schema.key.len());
    for name in schema.sort.iter().chain(&schema.key) {
        if schema.column(name).is_some() && !columns.contains(&name.as_str()) {
            columns.push(name);
        }
    }
    columns
}

/// The dataset's order as byte strings that compare like the rows: ascending, nulls first.
#[derive(Debug)]
pub(crate) struct RowOrder {
    dataset: String,
    columns: Vec<(String, DataType)>,
    converter: RowConverter,
}

impl RowOrder {
    pub(crate) fn new(schema: &TableSchema) -> Result<RowOrder, LakeError> {
        let options = SortOptions { descending: false, nulls_first: true };
        let mut columns = Vec::new();
        let mut fields = Vec::new();
        for name in order_columns(schema) {
            let Some(column) = schema.column(name) else { continue };
            columns.push((name.to_owned(), column.kind.arrow_type()));
            fields.push(SortField::new_with_options(column.kind.arrow_type(), options));
        }
        let converter = RowConverter::new(fields).map_err(|cause| LakeError::rows("order", &schema.name, cause))?;
        Ok(RowOrder { dataset: schema.name.clone(), columns, converter })
    }

    /// One comparable row for each row of a batch. A column that the batch lacks counts as null.
    pub(crate) fn rows(&self, batch: &RecordBatch) -> Result<Rows, LakeError> {
        let mut arrays: Vec<ArrayRef> = Vec::with_capacity(self.columns.len());
        for (name, kind) in &self.columns {
            let array = batch.column_by_name(name).cloned();
            arrays.push(array.unwrap_or_else(|| new_null_array(kind, batch.num_rows())));
        }
        self.converter.convert_columns(&arrays).map_err(|cause| LakeError::rows("order", &self.dataset, cause))
    }

    fn is_empty(&self) -> bool {
        self.columns.is_empty()
    }
}

/// Sees whether rows that come batch by batch stand in their dataset's order.
#[derive(Debug)]
pub(crate) struct OrderCheck {
    order: RowOrder,
    latest: Option<OwnedRow>,
    is_sorted: bool,
}

impl OrderCheck {
    pub(crate) fn new(schema: &TableSchema) -> Result<OrderCheck, LakeError> {
        Ok(OrderCheck { order: RowOrder::new(schema)?, latest: None, is_sorted: true })
    }

    pub(crate) fn check(&mut self, batch: &RecordBatch) -> Result<(), LakeError> {
        if !self.is_sorted || batch.num_rows() == 0 || self.order.is_empty() {
            return Ok(());
        }
        let rows = self.order.rows(batch)?;
        let follows = self.latest.as_ref().is_none_or(|latest| latest.row() <= rows.row(0));
        self.is_sorted = follows && (1..rows.num_rows()).all(|row| rows.row(row - 1) <= rows.row(row));
        self.latest = Some(rows.row(rows.num_rows() - 1).owned());
        Ok(())
    }

    pub(crate) fn is_sorted(&self) -> bool {
        self.is_sorted
    }
}

/// One batch of all rows, in the dataset's order; rows that compare equal stay in the order they came in.
pub(crate) fn sorted(schema: &TableSchema, batches: &[RecordBatch]) -> Result<RecordBatch, LakeError> {
    let failed = |cause| LakeError::rows("sort", &schema.name, cause);
    let rows = concat_batches(&schema.arrow_schema(), batches).map_err(failed)?;
    let order = RowOrder::new(schema)?;
    if order.is_empty() || rows.num_rows() < 2 {
        return Ok(rows);
    }
    let comparable = order.rows(&rows)?;
    // Arrow's own batches end at the same number of rows.
    let mut positions: Vec<u32> = (0..rows.num_rows() as u32).collect();
    positions.sort_by(|left, right| comparable.row(*left as usize).cmp(&comparable.row(*right as usize)));
    take_record_batch(&rows, &UInt32Array::from(positions)).map_err(failed)
}

/// Who wins between rows of one key: the later import; between files of one sequence number, the larger file hash, so that
/// the order of publication never matters.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
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
