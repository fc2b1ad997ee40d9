//! One value of a column as text and number, whatever its Arrow type.

use arrow::array::{
    Array, ArrayRef, AsArray, Decimal32Array, Decimal64Array, Decimal128Array, Decimal256Array, DictionaryArray,
    FixedSizeListArray, GenericListArray, OffsetSizeTrait, RunArray,
};
use arrow::datatypes::{
    ArrowDictionaryKeyType, ArrowPrimitiveType, DataType, Date32Type, Date64Type, Decimal32Type, Decimal64Type,
    Decimal128Type, Decimal256Type, DurationMicrosecondType, DurationMillisecondType, DurationNanosecondType,
    DurationSecondType, Float16Type, Float32Type, Float64Type, Int8Type, Int16Type, Int32Type, Int64Type,
    RunEndIndexType, Time32MillisecondType, Time32SecondType, Time64MicrosecondType, Time64NanosecondType, TimeUnit,
    TimestampMicrosecondType, TimestampMillisecondType, TimestampNanosecondType, TimestampSecondType, UInt8Type,
    UInt16Type, UInt32Type, UInt64Type,
};
use chrono::{DateTime, NaiveDateTime, NaiveTime, TimeDelta, Timelike};

use crate::column_path::Step;

/// What a place holds.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Value {
    /// Nothing, or no number.
    Missing,
    Text(String),
    /// A number, and its shortest text that gives it back.
    Number(String, f64),
    /// Something that is neither text nor number, and what it is.
    Unreadable(String),
}

/// The value behind the steps from an item of an array. Texts longer than `longest` bytes are not copied.
pub(crate) fn value_at(array: &ArrayRef, index: usize, steps: &[Step], longest: usize) -> Value {
    if index >= array.len() || array.is_null(index) {
        return Value::Missing;
    }
    let Some((step, rest)) = steps.split_first() else { return plain_value(array, index, longest) };
    match (array.data_type(), step) {
        (DataType::Struct(_), Step::Member(member)) => {
            let members = array.as_struct().columns();
            members.get(*member).map_or(Value::Missing, |member| value_at(member, index, rest, longest))
        }
        (DataType::List(_), Step::Item(item)) => item_at::<i32>(array.as_list(), index, *item, rest, longest),
        (DataType::LargeList(_), Step::Item(item)) => item_at::<i64>(array.as_list(), index, *item, rest, longest),
        (DataType::FixedSizeList(..), Step::Item(item)) => {
            let list: &FixedSizeListArray = array.as_fixed_size_list();
            let length = usize::try_from(list.value_length()).unwrap_or(0);
            if *item < length {
                value_at(list.values(), list.value_offset(index) as usize + item, rest, longest)
            } else {
                Value::Missing
            }
        }
        _ => Value::Missing,
    }
}

fn item_at<O: OffsetSizeTrait>(
    list: &GenericListArray<O>,
    index: usize,
    item: usize,
    rest: &[Step],
    longest: usize,
) -> Value {
    let offsets = list.value_offsets();
    let (start, end) = (offsets[index].as_usize(), offsets[index + 1].as_usize());
    if item < end - start { value_at(list.values(), start + item, rest, longest) } else { Value::Missing }
}

/// Items of the list behind the steps.
pub(crate) fn length_at(array: &ArrayRef, index: usize, steps: &[Step]) -> usize {
    if index >= array.len() || array.is_null(index) {
        return 0;
    }
    match (array.data_type(), steps.split_first()) {
        (DataType::Struct(_), Some((Step::Member(member), rest))) => {
            array.as_struct().columns().get(*member).map_or(0, |member| length_at(member, index, rest))
        }
        (DataType::List(_), None) => array.as_list::<i32>().value(index).len(),
        (DataType::LargeList(_), None) => array.as_list::<i64>().value(index).len(),
        _ => 0,
    }
}

fn plain_value(array: &ArrayRef, index: usize, longest: usize) -> Value {
    match array.data_type() {
        DataType::Null => Value::Missing,
        DataType::Boolean => Value::Text(array.as_boolean().value(index).to_string()),
        DataType::Int8 => integer::<Int8Type>(array, index),
        DataType::Int16 => integer::<Int16Type>(array, index),
        DataType::Int32 => integer::<Int32Type>(array, index),
        DataType::Int64 => integer::<Int64Type>(array, index),
        DataType::UInt8 => integer::<UInt8Type>(array, index),
        DataType::UInt16 => integer::<UInt16Type>(array, index),
        DataType::UInt32 => integer::<UInt32Type>(array, index),
        DataType::UInt64 => integer::<UInt64Type>(array, index),
        DataType::Float16 => single(f32::from(array.as_primitive::<Float16Type>().value(index))),
        DataType::Float32 => single(array.as_primitive::<Float32Type>().value(index)),
        DataType::Float64 => {
            let number = array.as_primitive::<Float64Type>().value(index);
            if number.is_nan() { Value::Missing } else { Value::Number(number.to_string(), number) }
        }
        DataType::Decimal32(..) => {
            decimal(array.as_primitive::<Decimal32Type>(), index, Decimal32Array::value_as_string)
        }
        DataType::Decimal64(..) => {
            decimal(array.as_primitive::<Decimal64Type>(), index, Decimal64Array::value_as_string)
        }
        DataType::Decimal128(..) => {
            decimal(array.as_primitive::<Decimal128Type>(), index, Decimal128Array::value_as_string)
        }
        DataType::Decimal256(..) => {
            decimal(array.as_primitive::<Decimal256Type>(), index, Decimal256Array::value_as_string)
        }
        DataType::Utf8 => text(array.as_string::<i32>().value(index), longest),
        DataType::LargeUtf8 => text(array.as_string::<i64>().value(index), longest),
        DataType::Utf8View => text(array.as_string_view().value(index), longest),
        DataType::Date32 => {
            let days = i64::from(array.as_primitive::<Date32Type>().value(index));
            date(i128::from(days) * 86_400_000_000_000)
        }
        DataType::Date64 => date(i128::from(array.as_primitive::<Date64Type>().value(index)) * 1_000_000),
        DataType::Time32(_) | DataType::Time64(_) => time_of_day(array, index),
        DataType::Timestamp(unit, zone) => instant(timestamp(array, *unit, index), zone.is_some()),
        DataType::Duration(unit) => duration(array, *unit, index),
        DataType::Dictionary(keys, _) => match keys.as_ref() {
            DataType::Int8 => word::<Int8Type>(array, index, longest),
            DataType::Int16 => word::<Int16Type>(array, index, longest),
            DataType::Int32 => word::<Int32Type>(array, index, longest),
            DataType::Int64 => word::<Int64Type>(array, index, longest),
            DataType::UInt8 => word::<UInt8Type>(array, index, longest),
            DataType::UInt16 => word::<UInt16Type>(array, index, longest),
            DataType::UInt32 => word::<UInt32Type>(array, index, longest),
            _ => word::<UInt64Type>(array, index, longest),
        },
        DataType::RunEndEncoded(ends, _) => match ends.data_type() {
            DataType::Int16 => run::<Int16Type>(array, index, longest),
            DataType::Int32 => run::<Int32Type>(array, index, longest),
            _ => run::<Int64Type>(array, index, longest),
        },
        DataType::Binary | DataType::LargeBinary | DataType::BinaryView | DataType::FixedSizeBinary(_) => {
            Value::Unreadable("bytes, which are no text".to_owned())
        }
        DataType::Struct(_) => Value::Unreadable("a structure: name one of its members, as in ball.speed".to_owned()),
        DataType::List(_) | DataType::LargeList(_) | DataType::FixedSizeList(..) => {
            Value::Unreadable("a list: name one of its items, as in speeds.0".to_owned())
        }
        other => Value::Unreadable(format!("a value of the type {other}, which is not read")),
    }
}

fn integer<T: ArrowPrimitiveType>(array: &ArrayRef, index: usize) -> Value
where
    T::Native: std::fmt::Display,
{
    let text = array.as_primitive::<T>().value(index).to_string();
    let number = text.parse().unwrap_or(f64::NAN);
    Value::Number(text, number)
}

/// Shown by its shortest text, which a person wrote into the device; as a number it is what the file holds.
fn single(number: f32) -> Value {
    if number.is_nan() { Value::Missing } else { Value::Number(number.to_string(), f64::from(number)) }
}

fn decimal<A>(array: &A, index: usize, show: impl Fn(&A, usize) -> String) -> Value {
    let text = show(array, index);
    match text.parse() {
        Ok(number) => Value::Number(text, number),
        Err(_) => Value::Text(text),
    }
}

fn text(text: &str, longest: usize) -> Value {
    if text.len() > longest {
        return Value::Unreadable(format!("a text of {} bytes, the limit is {longest}", text.len()));
    }
    Value::Text(text.to_owned())
}

fn word<K: ArrowDictionaryKeyType>(array: &ArrayRef, index: usize, longest: usize) -> Value {
    let Some(words) = array.as_any().downcast_ref::<DictionaryArray<K>>() else { return Value::Missing };
    words.key(index).map_or(Value::Missing, |key| value_at(words.values(), key, &[], longest))
}

fn run<E: RunEndIndexType>(array: &ArrayRef, index: usize, longest: usize) -> Value {
    let Some(runs) = array.as_any().downcast_ref::<RunArray<E>>() else { return Value::Missing };
    value_at(runs.values(), runs.get_physical_index(index), &[], longest)
}

/// At least milliseconds, and further digits only where there are some.
fn clock_format(nanoseconds: u32) -> &'static str {
    match nanoseconds {
        whole if whole % 1_000_000 == 0 => "%H:%M:%S%.3f",
        whole if whole % 1_000 == 0 => "%H:%M:%S%.6f",
        _ => "%H:%M:%S%.9f",
    }
}

fn beyond() -> Value {
    Value::Unreadable("a time beyond the calendar".to_owned())
}

/// Nanoseconds since 1970 as a calendar's instant.
fn calendar(nanoseconds: i128) -> Option<NaiveDateTime> {
    let seconds = i64::try_from(nanoseconds.div_euclid(1_000_000_000)).ok()?;
    let rest = u32::try_from(nanoseconds.rem_euclid(1_000_000_000)).ok()?;
    let instant = DateTime::from_timestamp(seconds, rest)?.naive_utc();
    // Years of more than four digits have no common text form.
    (0..=9_999).contains(&chrono::Datelike::year(&instant)).then_some(instant)
}

fn date(nanoseconds: i128) -> Value {
    calendar(nanoseconds).map_or_else(beyond, |instant| Value::Text(instant.format("%Y-%m-%d").to_string()))
}

/// Instants of a known zone are given in UTC with that said; others are local times of a zone that the file does not name.
fn instant(nanoseconds: i128, has_zone: bool) -> Value {
    let Some(instant) = calendar(nanoseconds) else { return beyond() };
    let zone = if has_zone { "+00:00" } else { "" };
    Value::Text(format!("{}T{}{zone}", instant.format("%Y-%m-%d"), instant.format(clock_format(instant.nanosecond()))))
}

fn scale(unit: TimeUnit) -> i128 {
    match unit {
        TimeUnit::Second => 1_000_000_000,
        TimeUnit::Millisecond => 1_000_000,
        TimeUnit::Microsecond => 1_000,
        TimeUnit::Nanosecond => 1,
    }
}

fn timestamp(array: &ArrayRef, unit: TimeUnit, index: usize) -> i128 {
    let count = match unit {
        TimeUnit::Second => array.as_primitive::<TimestampSecondType>().value(index),
        TimeUnit::Millisecond => array.as_primitive::<TimestampMillisecondType>().value(index),
        TimeUnit::Microsecond => array.as_primitive::<TimestampMicrosecondType>().value(index),
        TimeUnit::Nanosecond => array.as_primitive::<TimestampNanosecondType>().value(index),
    };
    i128::from(count) * scale(unit)
}

fn time_of_day(array: &ArrayRef, index: usize) -> Value {
    let (count, unit) = match array.data_type() {
        DataType::Time32(TimeUnit::Second) => {
            (i64::from(array.as_primitive::<Time32SecondType>().value(index)), TimeUnit::Second)
        }
        DataType::Time32(_) => {
            (i64::from(array.as_primitive::<Time32MillisecondType>().value(index)), TimeUnit::Millisecond)
        }
        DataType::Time64(TimeUnit::Microsecond) => {
            (array.as_primitive::<Time64MicrosecondType>().value(index), TimeUnit::Microsecond)
        }
        _ => (array.as_primitive::<Time64NanosecondType>().value(index), TimeUnit::Nanosecond),
    };
    let nanoseconds = i128::from(count) * scale(unit);
    if !(0..86_400_000_000_000).contains(&nanoseconds) {
        return beyond();
    }
    let time = NaiveTime::MIN + TimeDelta::nanoseconds(nanoseconds as i64);
    Value::Text(time.format(clock_format(time.nanosecond())).to_string())
}

/// Written like the durations of workbooks, with more digits where there are some.
fn duration(array: &ArrayRef, unit: TimeUnit, index: usize) -> Value {
    let count = match unit {
        TimeUnit::Second => array.as_primitive::<DurationSecondType>().value(index),
        TimeUnit::Millisecond => array.as_primitive::<DurationMillisecondType>().value(index),
        TimeUnit::Microsecond => array.as_primitive::<DurationMicrosecondType>().value(index),
        TimeUnit::Nanosecond => array.as_primitive::<DurationNanosecondType>().value(index),
    };
    let nanoseconds = i128::from(count) * scale(unit);
    let all = nanoseconds.unsigned_abs();
    let (seconds, rest) = (all / 1_000_000_000, all % 1_000_000_000);
    let fraction = match rest {
        whole if whole % 1_000_000 == 0 => format!("{:03}", whole / 1_000_000),
        whole if whole % 1_000 == 0 => format!("{:06}", whole / 1_000),
        whole => format!("{whole:09}"),
    };
    let sign = if nanoseconds < 0 { "-" } else { "" };
    let (hours, minutes) = (seconds / 3_600, seconds / 60 % 60);
    Value::Text(format!("{sign}{hours:02}:{minutes:02}:{:02}.{fraction}", seconds % 60))
}
