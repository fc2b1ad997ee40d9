//! Typed rows out of published record batches. Columns are found by name; a missing column or dataset reads as nulls.

use arrow::array::TimestampMicrosecondArray;
use arrow::array::{Array, BooleanArray, Date32Array, Float64Array, Int64Array, RecordBatch, StringArray};
use arrow::datatypes::{DataType, TimeUnit};

use crate::DigestError;

/// One batch of one dataset, read by column name.
pub struct Table<'a> {
    dataset: &'a str,
    batch: &'a RecordBatch,
}

impl<'a> Table<'a> {
    /// Wraps a batch.
    pub fn new(dataset: &'a str, batch: &'a RecordBatch) -> Table<'a> {
        Table { dataset, batch }
    }

    /// Rows of the batch.
    pub fn rows(&self) -> usize {
        self.batch.num_rows()
    }

    /// A text column.
    pub fn texts(&self, column: &str) -> Result<Vec<Option<String>>, DigestError> {
        let found: Option<&StringArray> = self.typed(column, "text")?;
        Ok(self.collect(found, |array, row| array.value(row).to_owned()))
    }

    /// A column of numbers; what is not finite reads as missing.
    pub fn reals(&self, column: &str) -> Result<Vec<Option<f64>>, DigestError> {
        let found: Option<&Float64Array> = self.typed(column, "real")?;
        let values = self.collect(found, Float64Array::value);
        Ok(values.into_iter().map(|value| value.filter(|number| number.is_finite())).collect())
    }

    /// A column of whole numbers.
    pub fn integers(&self, column: &str) -> Result<Vec<Option<i64>>, DigestError> {
        let found: Option<&Int64Array> = self.typed(column, "integer")?;
        Ok(self.collect(found, Int64Array::value))
    }

    /// A column of flags.
    pub fn flags(&self, column: &str) -> Result<Vec<Option<bool>>, DigestError> {
        let found: Option<&BooleanArray> = self.typed(column, "flag")?;
        Ok(self.collect(found, BooleanArray::value))
    }

    /// A column of calendar days since 1970.
    pub fn days(&self, column: &str) -> Result<Vec<Option<i32>>, DigestError> {
        let found: Option<&Date32Array> = self.typed(column, "day")?;
        Ok(self.collect(found, Date32Array::value))
    }

    /// A column of UTC microseconds since 1970.
    pub fn instants(&self, column: &str) -> Result<Vec<Option<i64>>, DigestError> {
        if let Some(array) = self.batch.column_by_name(column)
            && !matches!(array.data_type(), DataType::Timestamp(TimeUnit::Microsecond, _))
        {
            return Err(self.wrong_type(column, "instant", array.data_type()));
        }
        let found: Option<&TimestampMicrosecondArray> = self.typed(column, "instant")?;
        Ok(self.collect(found, TimestampMicrosecondArray::value))
    }

    fn typed<T: Array + 'static>(&self, column: &str, expected: &'static str) -> Result<Option<&T>, DigestError> {
        let Some(array) = self.batch.column_by_name(column) else { return Ok(None) };
        match array.as_any().downcast_ref::<T>() {
            Some(typed) => Ok(Some(typed)),
            None => Err(self.wrong_type(column, expected, array.data_type())),
        }
    }

    fn wrong_type(&self, column: &str, expected: &'static str, found: &DataType) -> DigestError {
        DigestError::ColumnType {
            dataset: self.dataset.to_owned(),
            column: column.to_owned(),
            expected,
            found: found.to_string(),
        }
    }

    fn collect<T: Array, V>(&self, array: Option<&T>, value: impl Fn(&T, usize) -> V) -> Vec<Option<V>> {
        let mut values = Vec::with_capacity(self.rows());
        for row in 0..self.rows() {
            values.push(array.filter(|array| array.is_valid(row)).map(|array| value(array, row)));
        }
        values
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use arrow::array::ArrayRef;

    use super::*;

    #[test]
    fn missing_columns_read_as_nulls_and_wrong_types_are_named() {
        let column: ArrayRef = Arc::new(Float64Array::from(vec![Some(1.5), None, Some(f64::NAN)]));
        let batch = RecordBatch::try_from_iter([("carry_m", column)]).expect("one column");
        let table = Table::new("shot_verdicts", &batch);
        assert_eq!(table.reals("carry_m").expect("reals"), [Some(1.5), None, None]);
        assert_eq!(table.texts("reason").expect("no such column"), [None, None, None]);
        let error = table.texts("carry_m").expect_err("a number is no text").to_string();
        assert!(error.contains("dataset shot_verdicts, column carry_m: expected text, found Float64"), "{error}");
    }
}
