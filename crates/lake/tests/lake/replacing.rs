//! Whole partitions: job outputs and dimensions.

use std::fs;
use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, Int64Array, RecordBatch, StringViewArray};
use arrow::datatypes::{Field, Schema};
use files::{FaultPlan, Files};
use lake::Replacement;
use shot::ColumnKind::{Day, Integer, Real, Text};
use shot::{Column, TableSchema};

use crate::support::*;

const LOSSES_OF_JANUARY: &str = "carry_loss/site=north/month=2026-01/carry_loss.parquet";
const PACKAGE: &str = "north.datapackage.json";

fn losses() -> TableSchema {
    TableSchema {
        name: "carry_loss".into(),
        version: 1,
        description: "one row a player and week".into(),
        columns: vec![
            Column::required("player_id", Text, "", "alias of the player"),
            Column::required("week", Day, "", "Monday of the week"),
            Column::optional("loss_m", Real, "m", "carry lost to the strike"),
            Column::required("shots", Integer, "", "shots counted"),
        ],
        key: vec!["player_id".into(), "week".into()],
        sort: vec!["player_id".into(), "week".into()],
        partition_day: Some("week".into()),
    }
}

/// Rows as an engine hands them over: views for text, no metadata, everything nullable, columns in another order.
fn rows(values: &[(&str, i32, f64)]) -> RecordBatch {
    let columns: Vec<(&str, ArrayRef)> = vec![
        ("loss_m", Arc::new(Float64Array::from_iter_values(values.iter().map(|v| v.2)))),
        ("shots", Arc::new(Int64Array::from_iter_values(values.iter().map(|_| 5)))),
        ("week", Arc::new(arrow::array::Date32Array::from_iter_values(values.iter().map(|v| v.1)))),
        ("player_id", Arc::new(StringViewArray::from_iter_values(values.iter().map(|v| v.0)))),
    ];
    let fields: Vec<Field> = columns.iter().map(|(name, a)| Field::new(*name, a.data_type().clone(), true)).collect();
    let arrays = columns.into_iter().map(|(_, array)| array).collect();
    RecordBatch::try_new(Arc::new(Schema::new(fields)), arrays).expect("a batch")
}

#[test]
fn equal_rows_leave_the_file_and_the_generation_alone() {
    let place = Place::new();
    let lake = place.lake();
    let schema = losses();
    let batch = rows(&[("wren", JANUARY, 3.0), ("lark", JANUARY, 4.0)]);
    let first = lake.replace_partition(&schema, month(1), &[batch], &provenance()).expect("replaced");
    assert_eq!((first.rows, first.generation, first.unchanged), (2, 1, false));
    let read = lake.read_partition(&schema, month(1)).expect("read");
    assert_eq!(read[0].schema(), schema.arrow_schema());
    assert_eq!(lines(&lake, &schema, &["player_id", "loss_m"]), ["2026-01 lark 4", "2026-01 wren 3"]);
    let before = place.published(LOSSES_OF_JANUARY);
    let split = [rows(&[("lark", JANUARY, 4.0)]), rows(&[("wren", JANUARY, 3.0)])];
    let second = lake.replace_partition(&schema, month(1), &split, &provenance()).expect("replaced");
    assert_eq!((second.generation, second.unchanged), (1, true));
    assert_eq!(lake.manifest().expect("a manifest").generation, 1);
    assert_eq!(place.published(LOSSES_OF_JANUARY), before);
    let third = lake.replace_partition(&schema, month(1), &[rows(&[("lark", JANUARY, 4.5)])], &provenance());
    let third = third.expect("replaced");
    assert_eq!((third.generation, third.rows, third.unchanged), (2, 1, false));
    assert_sound(&place, &lake, "after all");
}

#[test]
fn no_rows_give_a_file_without_rows_and_removal_takes_it_away() {
    let place = Place::new();
    let lake = place.lake();
    let change = lake.replace_partition(&losses(), month(1), &[], &provenance()).expect("replaced");
    assert_eq!((change.rows, change.unchanged), (0, false));
    assert!(place.published(LOSSES_OF_JANUARY).is_some());
    let change = lake.remove_partition(&losses(), month(1)).expect("removed");
    assert_eq!((change.generation, change.unchanged), (2, false));
    let change = lake.remove_partition(&losses(), month(1)).expect("removed again");
    assert_eq!((change.generation, change.unchanged), (2, true));
    assert!(lake.manifest().expect("a manifest").files.is_empty());
    assert_sound(&place, &lake, "after all");
}

#[test]
fn wrong_rows_are_refused_and_nothing_shows() {
    let place = Place::new();
    let lake = place.lake();
    let good = rows(&[("wren", JANUARY, 3.0)]);
    let cases = [
        (month(1), rows(&[("wren", JANUARY, f64::NAN)]), "column \"loss_m\""),
        (month(1), rows(&[("wren", JANUARY, 1.0), ("wren", JANUARY, 2.0)]), "same key"),
        (month(1), rows(&[("wren", FEBRUARY, 1.0)]), "column \"week\""),
        (None, rows(&[("wren", JANUARY, 1.0)]), "needs a month"),
    ];
    for (bad_month, bad, word) in cases {
        let first = Replacement { schema: losses(), month: month(2), batches: vec![rows(&[("a", FEBRUARY, 1.0)])] };
        let second = Replacement { schema: losses(), month: bad_month, batches: vec![bad] };
        let error = lake.replace_many(&[first, second], &provenance()).expect_err(word).to_string();
        assert!(error.contains(word) && error.contains("\nhint: "), "{error}");
    }
    assert!(place.keys().is_empty(), "nothing shows, nothing strays");
    let twice = Replacement { schema: losses(), month: month(1), batches: vec![good] };
    let error = lake.replace_many(&[twice.clone(), twice], &provenance()).expect_err("twice").to_string();
    assert!(error.contains("replaced twice"), "{error}");
}

#[test]
fn a_crash_at_any_operation_of_a_replacement_heals_on_replay() {
    let schema = losses();
    let replacements = [
        Replacement { schema: schema.clone(), month: month(1), batches: vec![rows(&[("wren", JANUARY, 3.5)])] },
        Replacement { schema: schema.clone(), month: month(2), batches: vec![rows(&[("wren", FEBRUARY, 2.0)])] },
    ];
    for nth in 0.. {
        let place = Place::new();
        place
            .lake()
            .replace_partition(&schema, month(1), &[rows(&[("wren", JANUARY, 3.0)])], &provenance())
            .expect("replaced");
        let files = Files::new();
        let lake = place.open(files.clone());
        files.set_faults(Some(FaultPlan::CrashAfter { nth }));
        let outcome = lake.replace_many(&replacements, &provenance());
        let lake = place.lake();
        let seen = lines(&lake, &schema, &["loss_m"]);
        assert!(seen[0] == "2026-01 3" || seen[0] == "2026-01 3.5", "crash after {nth}: {seen:?}");
        if outcome.is_ok() {
            break;
        }
        lake.replace_many(&replacements, &provenance()).expect("the second try");
        assert_eq!(lines(&lake, &schema, &["loss_m"]), ["2026-01 3.5", "2026-02 2"]);
        assert_eq!(lake.manifest().expect("a manifest").generation, 2);
        assert_sound(&place, &lake, &format!("crash after {nth}"));
    }
}

#[test]
fn columns_that_came_later_read_as_null_and_the_file_is_renewed() {
    let place = Place::new();
    let lake = place.lake();
    let batch = rows(&[("wren", JANUARY, 3.0)]);
    lake.replace_partition(&losses(), month(1), &[batch], &provenance()).expect("replaced");
    let mut grown = losses();
    grown.version = 2;
    grown.columns.push(Column::optional("share", Real, "%", "share of the shots"));
    let read = lake.read_partition(&grown, month(1)).expect("read");
    assert_eq!(read[0].column_by_name("share").expect("a column").null_count(), 1);
    let change = lake.replace_partition(&grown, month(1), &read, &provenance()).expect("replaced");
    assert!(!change.unchanged, "a file must have all columns of its dataset");
    assert_eq!(lake.manifest().expect("a manifest").files[0].schema_version, 2);
}

#[test]
fn the_data_package_tells_columns_units_keys_and_files() {
    let place = Place::new();
    let lake = place.lake();
    lake.replace_partition(&losses(), month(1), &[rows(&[("wren", JANUARY, 3.0)])], &provenance()).expect("replaced");
    lake.publish(&[stage(&lake, 1, "f1", &[hit("a", MARCH, 60.0)])], &[], &provenance()).expect("published");
    let text = place.published(PACKAGE).expect("it stands");
    let package: serde_json::Value = serde_json::from_slice(&text).expect("JSON");
    let resources = package["resources"].as_array().expect("resources");
    let names: Vec<_> = resources.iter().filter_map(|resource| resource["name"].as_str()).collect();
    assert_eq!(names, ["carry_loss", "imports", "rejects", "shots"]);
    let losses = &resources[0];
    assert_eq!(losses["schema"]["primaryKey"], serde_json::json!(["player_id", "week"]));
    assert_eq!(losses["schema"]["fields"][2]["unit"], "m");
    assert_eq!(losses["schema"]["fields"][0]["constraints"]["required"], true);
    for resource in resources {
        for path in resource["path"].as_array().expect("paths") {
            let path = path.as_str().expect("text");
            // [source: Data Package standard 2.0, Data Resource, path: "/" (absolute) and "../" are forbidden]
            assert!(!path.starts_with('/') && !path.contains(".."), "{path} stays below the document");
            assert!(place.published(path).is_some(), "{path} resolves from the document");
        }
    }
}

#[test]
fn a_data_package_of_an_older_version_moves_to_the_root_with_its_descriptions() {
    let place = Place::new();
    let lake = place.lake();
    lake.replace_partition(&losses(), month(1), &[rows(&[("wren", JANUARY, 3.0)])], &provenance()).expect("replaced");
    let old = "site=north/datapackage.json";
    let text = String::from_utf8(place.published(PACKAGE).expect("it stands")).expect("text");
    let earlier = text.replace("\"carry_loss/", "\"../carry_loss/").replace("lost to the strike", "lost to it");
    place.put(old, earlier.as_bytes());
    place.remove(PACKAGE);
    // Another dataset is published: what is known of the first one comes from the old document.
    lake.publish(&[stage(&lake, 1, "f1", &[hit("a", MARCH, 60.0)])], &[], &provenance()).expect("published");
    assert_eq!(place.published(old), None);
    let package: serde_json::Value =
        serde_json::from_slice(&place.published(PACKAGE).expect("it stands")).expect("JSON");
    let losses = &package["resources"][0];
    assert_eq!(losses["schema"]["fields"][2]["description"], "carry lost to it");
    assert_eq!(losses["path"], serde_json::json!(["carry_loss/site=north/month=2026-01/carry_loss.parquet"]));
    assert_eq!(package["resources"].as_array().expect("resources").len(), 4);
}

#[test]
fn opening_clears_our_unfinished_package_at_the_root_and_leaves_that_of_other_sites() {
    let place = Place::in_folder();
    fs::create_dir_all(place.root()).expect("a folder");
    let ours = place.root().join(".north.datapackage.json.7-1.part");
    let theirs = place.root().join(".north-hall.datapackage.json.7-1.part");
    fs::write(&ours, "unfinished").expect("written");
    fs::write(&theirs, "unfinished").expect("written");
    place.lake();
    assert_eq!((ours.exists(), theirs.exists()), (false, true));
}
