//! Each kind of damage to a lake is found, named with its file, and a sound lake gives no fault.

use std::fs;
use std::path::Path;
use std::time::Duration;

use arrow::compute::{concat_batches, take_record_batch};
use lake::{Examination, Lake, LakeFaultKind};

use crate::support::*;

fn examine(lake: &Lake) -> Examination {
    lake.examine(&shot::published_datasets(), Duration::ZERO, &|_| {}).expect("a disk without faults")
}

fn kinds(lake: &Lake) -> Vec<(LakeFaultKind, String)> {
    examine(lake).faults.into_iter().map(|fault| (fault.kind, fault.dataset)).collect()
}

fn two_months() -> (Place, Lake) {
    let place = Place::new();
    let lake = place.lake();
    let first: Vec<Hit> = (0..40).map(|n| hit(&format!("a{n}"), JANUARY + n % 20, 60.0)).collect();
    let second: Vec<Hit> = (0..30).map(|n| hit(&format!("b{n}"), FEBRUARY + n % 20, 61.0)).collect();
    let segments = [stage(&lake, 1, "f1", &first), stage(&lake, 2, "f2", &second)];
    lake.publish(&segments, &[], &provenance()).expect("published");
    (place, lake)
}

/// Writes a file in place of another and tells the manifest of it, as no program should.
fn smuggle(lake: &Lake, target: &Path, bytes: &[u8], rows: usize) {
    let before = files::sha256_of_bytes(&fs::read(target).expect("a file"));
    fs::write(target, bytes).expect("written");
    let path = lake.root().join("site=north/manifest.json");
    let mut manifest: serde_json::Value = serde_json::from_slice(&fs::read(&path).expect("a manifest")).expect("JSON");
    for file in manifest["files"].as_array_mut().expect("files") {
        if file["sha256"] == before.as_str() {
            file["sha256"] = files::sha256_of_bytes(bytes).into();
            file["bytes"] = bytes.len().into();
            file["rows"] = rows.into();
        }
    }
    fs::write(&path, manifest.to_string()).expect("written");
}

#[test]
fn a_sound_lake_gives_counts_and_no_fault() {
    let (_place, lake) = two_months();
    let found = examine(&lake);
    assert_eq!(found.faults, []);
    // Two months of shots, rejects and imports: 40 + 30 shots, and one reject and one import row a file.
    assert_eq!((found.files, found.rows, found.generation), (6, 74, 1));
    assert_eq!((found.rows_of("f1", "shots"), found.rows_of("f2", "shots"), found.rows_of("f3", "shots")), (40, 30, 0));
    assert_eq!(found.bytes, lake.manifest().expect("read").files.iter().map(|file| file.bytes as u64).sum::<u64>());
}

#[test]
fn missing_altered_cut_and_unnamed_files_are_told() {
    let (_place, lake) = two_months();
    let january = lake.partition_path("shots", month(1));
    let sound = fs::read(&january).expect("a partition");

    let mut flipped = sound.clone();
    flipped[sound.len() / 2] ^= 1;
    fs::write(&january, &flipped).expect("written");
    assert_eq!(kinds(&lake), [(LakeFaultKind::Altered, "shots".to_owned())], "one bit");

    fs::write(&january, &sound[..sound.len() - 9]).expect("written");
    assert_eq!(kinds(&lake), [(LakeFaultKind::Altered, "shots".to_owned())], "cut off");

    fs::write(&january, &sound).expect("written");
    smuggle(&lake, &january, &sound[..sound.len() - 9], 40);
    assert_eq!(kinds(&lake), [(LakeFaultKind::Unreadable, "shots".to_owned())], "cut off before it was published");

    fs::remove_file(&january).expect("removed");
    assert_eq!(kinds(&lake), [(LakeFaultKind::Missing, "shots".to_owned())]);

    let march = lake.partition_path("shots", month(3));
    fs::create_dir_all(march.parent().expect("a folder")).expect("made");
    fs::write(&march, &sound).expect("written");
    assert!(kinds(&lake).contains(&(LakeFaultKind::Unnamed, "shots".to_owned())));
}

#[test]
fn a_file_that_breaks_the_rules_of_its_dataset_is_told_with_each_of_them() {
    let (place, lake) = two_months();
    let january = lake.partition_path("shots", month(1));
    let batches = lake.read_partition(&shot::shots(), month(1)).expect("read");
    let rows = concat_batches(&shot::shots().arrow_schema(), &batches).expect("one batch");
    let backwards = arrow::array::UInt32Array::from_iter_values((0..40).rev());
    let rows = take_record_batch(&rows, &backwards).expect("taken");
    let mut bytes = Vec::new();
    let mut writer = parquet::arrow::ArrowWriter::try_new(&mut bytes, rows.schema(), None).expect("a writer");
    writer.write(&rows).expect("written");
    writer.close().expect("closed");
    smuggle(&lake, &january, &bytes, 41);
    let told: Vec<String> = examine(&lake).faults.iter().map(ToString::to_string).collect();
    for word in ["has 40 rows where the manifest tells 41", "as its dataset", "as its site_id", "generation", "order"] {
        assert!(told.iter().any(|fault| fault.contains(word)), "{word}: {told:?}");
    }

    // Rows of January in the file of February.
    let copy = Place::copy_of(&place);
    let other = copy.lake();
    let february = other.partition_path("shots", month(2));
    smuggle(&other, &february, &bytes, 40);
    let told: Vec<String> = examine(&other).faults.iter().map(ToString::to_string).collect();
    assert!(told.iter().any(|fault| fault.contains("rows of other months; the first is row 1")), "{told:?}");
}

#[test]
fn a_row_that_stands_in_two_months_is_told() {
    let (_place, lake) = two_months();
    let twice = shot_rows(2, "f2", &[hit("a7", FEBRUARY, 60.0), hit("b1", FEBRUARY, 61.0)]);
    lake.replace_partition(&shot::shots(), month(2), &[twice], &provenance()).expect("each file is sound by itself");
    let faults = examine(&lake).faults;
    assert_eq!(faults.len(), 1, "{faults:?}");
    assert_eq!(faults[0].kind, LakeFaultKind::Doubled);
    assert!(faults[0].to_string().contains("month=2026-01") && faults[0].to_string().contains("month=2026-02"));
}

#[test]
fn a_partition_that_is_replaced_meanwhile_is_looked_at_again() {
    let (_place, lake) = two_months();
    let january = lake.partition_path("shots", month(1));
    let sound = fs::read(&january).expect("a partition");
    fs::write(&january, b"half a file").expect("written");
    let mended = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(200));
        fs::write(&january, &sound).expect("written");
    });
    let found = lake.examine(&shot::published_datasets(), Duration::from_mins(1), &|_| {}).expect("examined");
    mended.join().expect("no panic");
    assert_eq!(found.faults, []);
}
