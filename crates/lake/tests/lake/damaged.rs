//! A segment that a disk or a person spoilt holds up nobody else.

use std::fs;
use std::io::ErrorKind;
use std::path::Path;

use files::{FaultPlan, Files};

use crate::support::*;

fn edit(path: &Path, edit: impl FnOnce(&mut serde_json::Value)) {
    let mut document = serde_json::from_slice(&fs::read(path).expect("read")).expect("JSON");
    edit(&mut document);
    fs::write(path, document.to_string()).expect("written");
}

fn without_hash(folder: &Path) {
    edit(&folder.join("segment.json"), |description| {
        for table in description["tables"].as_array_mut().expect("tables") {
            table.as_object_mut().expect("an object").remove("sha256").expect("a hash");
        }
    });
}

fn cut(path: &Path) {
    let bytes = fs::read(path).expect("read");
    fs::write(path, &bytes[..bytes.len() / 2]).expect("written");
}

fn flip(path: &Path, position: usize) {
    let mut bytes = fs::read(path).expect("read");
    bytes[position] ^= 0x10;
    fs::write(path, bytes).expect("written");
}

/// A word of the problem, and how the segment's folder is spoilt.
type Damage = (&'static str, fn(&Path));

const DAMAGES: [Damage; 12] = [
    ("is missing", |folder| fs::remove_file(folder.join("segment.json")).expect("removed")),
    ("is no segment description", |folder| cut(&folder.join("segment.json"))),
    ("is no segment description", |folder| fs::write(folder.join("segment.json"), "").expect("written")),
    ("format version", |folder| edit(&folder.join("segment.json"), |it| it["format_version"] = serde_json::json!(99))),
    ("outside its folder", |folder| {
        edit(&folder.join("segment.json"), |it| it["tables"][0]["file"] = serde_json::json!("../0-shots.parquet"));
    }),
    ("0-shots.parquet", |folder| fs::remove_file(folder.join("0-shots.parquet")).expect("removed")),
    ("other bytes", |folder| cut(&folder.join("0-shots.parquet"))),
    // The first page of the file: nothing in Parquet itself would tell.
    ("other bytes", |folder| flip(&folder.join("0-shots.parquet"), 60)),
    ("cannot read", |folder| {
        without_hash(folder);
        cut(&folder.join("0-shots.parquet"));
    }),
    ("holds 1 rows where its description tells 7", |folder| {
        edit(&folder.join("segment.json"), |it| it["tables"][0]["rows"] = serde_json::json!(7));
    }),
    ("differs from the segment's header", |folder| {
        edit(&folder.join("segment.json"), |it| it["header"]["source_file_id"] = serde_json::json!("f9"));
    }),
    ("0-shots.parquet", |folder| {
        fs::remove_file(folder.join("0-shots.parquet")).expect("removed");
        fs::create_dir(folder.join("0-shots.parquet")).expect("a folder in its place");
    }),
];

#[test]
fn every_kind_of_damage_is_set_aside_and_the_others_are_published() {
    for (number, (word, spoil)) in DAMAGES.iter().enumerate() {
        let place = Place::new();
        let lake = place.lake();
        stage(&lake, 1, "f1", &[hit("a", JANUARY, 1.0)]);
        let spoilt = stage(&lake, 2, "f2", &[hit("b", JANUARY, 2.0)]);
        stage(&lake, 3, "f3", &[hit("c", MARCH, 3.0)]);
        spoil(&spoilt.folder);
        let context = format!("damage {number}, {word}");
        lake.segments().expect("the sound ones are listed whatever stands beside them");

        let damaged = lake.set_aside_damaged_segments().expect(&context);
        assert_eq!(damaged.len(), 1, "{context}");
        assert!(damaged[0].problem.contains(word), "{context}: {}", damaged[0].problem);
        assert!(damaged[0].problem.contains("\nhint: "), "{context}: {}", damaged[0].problem);
        assert!(damaged[0].folder.is_dir() && damaged[0].folder.starts_with(place.staging().join("damaged")));
        assert!(!spoilt.folder.exists(), "{context}");
        assert_eq!(lake.set_aside_damaged_segments().expect("a second look"), [], "{context}");

        let again = stage(&lake, 4, "f2", &[hit("b", JANUARY, 2.0)]);
        let segments = lake.segments().expect("listed");
        assert_eq!((segments.len(), &segments[2]), (3, &again), "{context}");
        lake.publish(&segments, &[], &provenance()).expect("published");
        assert_eq!(shots(&lake), ["2026-01 a 1 1", "2026-01 b 4 2", "2026-03 c 3 3"], "{context}");
        assert_eq!(lake.discard_damaged_segments().expect("discarded"), 1);
        assert!(!damaged[0].folder.exists(), "{context}");
    }
}

#[test]
fn a_segment_of_an_older_version_without_hashes_is_sound() {
    let place = Place::new();
    let lake = place.lake();
    let segment = stage(&lake, 1, "f1", &[hit("a", JANUARY, 1.0)]);
    without_hash(&segment.folder);
    assert_eq!(lake.set_aside_damaged_segments().expect("looked"), []);
    lake.publish(&lake.segments().expect("listed"), &[], &provenance()).expect("published");
    assert_eq!(shots(&lake), ["2026-01 a 1 1"]);
}

#[test]
fn two_damaged_segments_of_one_name_stand_beside_each_other() {
    let place = Place::new();
    let lake = place.lake();
    for _ in 0..3 {
        let segment = stage(&lake, 1, "f1", &[hit("a", JANUARY, 1.0)]);
        cut(&segment.folder.join("segment.json"));
        assert_eq!(lake.set_aside_damaged_segments().expect("looked").len(), 1);
    }
    let names: Vec<_> = fs::read_dir(place.staging().join("damaged")).expect("a folder").collect();
    assert_eq!(names.len(), 3);
    assert_eq!(lake.discard_damaged_segments().expect("discarded"), 3);
}

/// A share that is away or a disk that is full says nothing about a segment.
#[test]
fn a_passing_fault_or_a_crash_sets_no_sound_segment_aside() {
    for kind in [ErrorKind::StorageFull, ErrorKind::TimedOut, ErrorKind::PermissionDenied] {
        for nth in 1.. {
            let place = Place::new();
            let files = Files::new();
            let lake = place.open(files.clone());
            let sound = stage(&lake, 1, "f1", &[hit("a", JANUARY, 1.0)]);
            let spoilt = stage(&lake, 2, "f2", &[hit("b", JANUARY, 2.0)]);
            cut(&spoilt.folder.join("1-rejects.parquet"));
            files.set_faults(Some(FaultPlan::FailOnce { nth, kind }));
            let outcome = lake.set_aside_damaged_segments();
            let was_reached = files.operations() >= nth;
            files.set_faults(None);
            assert_eq!(outcome.is_err(), was_reached, "operation {nth}");
            lake.set_aside_damaged_segments().expect("the next try");
            assert_eq!(lake.segments().expect("listed"), std::slice::from_ref(&sound), "operation {nth}");
            if !was_reached {
                break;
            }
        }
    }
}
