//! Each rule of the Parquet profile, read from the footer and the pages of a published file.

use std::fs::File;
use std::path::Path;

use lake::ROWS_PER_GROUP;
use parquet::basic::{Compression, LogicalType, Repetition, TimeUnit, Type};
use parquet::column::page::Page;
use parquet::file::metadata::RowGroupMetaData;
use parquet::file::reader::{FileReader, SerializedFileReader};
use shot::ColumnKind;

use crate::support::*;

fn reader(path: &Path) -> SerializedFileReader<File> {
    SerializedFileReader::new(File::open(path).expect("opened")).expect("a Parquet file")
}

fn published() -> (Place, lake::Lake) {
    let place = Place::new();
    let lake = place.lake();
    let hits: Vec<Hit> = (0..100).map(|n| hit(&format!("s{n}"), JANUARY + n % 20, 60.0 + f64::from(n))).collect();
    lake.publish(&[stage(&lake, 1, "f1", &hits)], &[], &provenance()).expect("published");
    (place, lake)
}

#[test]
fn types_and_repetition_follow_the_profile() {
    let (_place, lake) = published();
    let reader = reader(&lake.partition_path("shots", month(1)));
    let footer = reader.metadata().file_metadata();
    let described = footer.schema_descr();
    let schema = shot::shots();
    assert_eq!(described.num_columns(), schema.columns.len(), "every column, and none nested");
    for (found, column) in described.columns().iter().zip(&schema.columns) {
        assert_eq!(found.name(), column.name);
        let expected = match column.kind {
            ColumnKind::Text => (Type::BYTE_ARRAY, Some(LogicalType::String)),
            ColumnKind::Integer => (Type::INT64, None),
            ColumnKind::Real => (Type::DOUBLE, None),
            ColumnKind::Flag => (Type::BOOLEAN, None),
            ColumnKind::Day => (Type::INT32, Some(LogicalType::Date)),
            ColumnKind::Instant => (Type::INT64, Some(LogicalType::timestamp(true, TimeUnit::MICROS))),
        };
        assert_eq!((found.physical_type(), found.logical_type_ref().cloned()), expected, "{}", column.name);
        let repetition = if column.required { Repetition::REQUIRED } else { Repetition::OPTIONAL };
        assert_eq!(found.self_type().get_basic_info().repetition(), repetition, "{}", column.name);
    }
}

#[test]
fn pages_are_version_1_zstd_with_page_index_and_declared_order() {
    let (_place, lake) = published();
    let reader = reader(&lake.partition_path("shots", month(1)));
    assert_eq!(reader.metadata().file_metadata().version(), 1);
    for position in 0..reader.num_row_groups() {
        let group = reader.get_row_group(position).expect("a row group");
        let schema = shot::shots();
        let sorting = group.metadata().sorting_columns().expect("a declared order");
        let names: Vec<&str> = sorting.iter().map(|s| schema.columns[s.column_idx as usize].name.as_str()).collect();
        assert_eq!(names, ["player_id", "struck_at", "shot_id"]);
        assert!(sorting.iter().all(|s| !s.descending && s.nulls_first));
        for (number, column) in group.metadata().columns().iter().enumerate() {
            assert!(matches!(column.compression(), Compression::ZSTD(_)), "{}", column.column_path());
            assert!(column.column_index_offset().is_some() && column.offset_index_offset().is_some());
            assert!(column.bloom_filter_offset().is_none());
            for page in group.get_column_page_reader(number).expect("pages") {
                assert!(!matches!(page.expect("a page"), Page::DataPageV2 { .. }), "{}", column.column_path());
            }
        }
    }
}

#[test]
fn the_footer_tells_who_wrote_what() {
    let (_place, lake) = published();
    let reader = reader(&lake.partition_path("shots", month(1)));
    let pairs = reader.metadata().file_metadata().key_value_metadata().expect("metadata").clone();
    let value = |name: &str| pairs.iter().find(|pair| pair.key == name).and_then(|pair| pair.value.clone());
    let expected = [
        ("strikemill.dataset", "shots"),
        ("strikemill.schema_version", "2"),
        ("strikemill.site_id", "north"),
        ("strikemill.generation", "1"),
        ("strikemill.writer", "strikemill test"),
        ("strikemill.run_id", "run-1"),
        ("strikemill.created_micros", "1767225600000000"),
        ("strikemill.inputs", "none"),
    ];
    for (name, text) in expected {
        assert_eq!(value(name).as_deref(), Some(text), "{name}");
    }
    // The Arrow schema carries units and descriptions; it must never name a type that is outside the profile.
    let arrow_schema = lake.read_partition(&shot::shots(), month(1)).expect("read")[0].schema();
    assert_eq!(arrow_schema, shot::shots().arrow_schema());
}

#[test]
fn row_groups_are_capped() {
    let place = Place::new();
    let lake = place.lake();
    let schema = shot::TableSchema {
        name: "many".into(),
        version: 1,
        description: "numbers".into(),
        columns: vec![shot::Column::required("number", ColumnKind::Integer, "", "a number")],
        key: Vec::new(),
        sort: vec!["number".into()],
        partition_day: None,
    };
    let most = i64::try_from(ROWS_PER_GROUP).expect("a small number");
    let numbers = arrow::array::Int64Array::from_iter_values((0..most + 10).rev());
    let batch = arrow::array::RecordBatch::try_new(schema.arrow_schema(), vec![std::sync::Arc::new(numbers)]);
    lake.replace_partition(&schema, None, &[batch.expect("a batch")], &provenance()).expect("replaced");
    let reader = reader(&place.root().join("many/site=north/many.parquet"));
    let rows: Vec<i64> = reader.metadata().row_groups().iter().map(RowGroupMetaData::num_rows).collect();
    assert_eq!(rows, [most, 10]);
    let first = lake.read_partition(&schema, None).expect("read").remove(0);
    assert_eq!(
        first.slice(0, 1).column(0).as_ref(),
        &arrow::array::Int64Array::from(vec![0]) as &dyn arrow::array::Array
    );
}
