//! Readers who want one exact moment across partitions.

use lake::{Lake, Manifest, RETIRED_STAY};
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use crate::support::*;

/// Shots by the files of a manifest, as a reader from outside finds them: ids and months.
fn read_moment(lake: &Lake, manifest: &Manifest) -> Vec<String> {
    let mut seen = Vec::new();
    for file in manifest.of_dataset("shots") {
        let path = lake.readable_path(file).expect("looked at").expect("it stands");
        assert_eq!(Some(&path), file.frozen.as_ref(), "the frozen name comes first");
        let reader = ParquetRecordBatchReaderBuilder::try_new(lake.open_published(file).expect("opened"));
        let mut rows = 0;
        for batch in reader.and_then(ParquetRecordBatchReaderBuilder::build).expect("Parquet") {
            let batch = batch.expect("rows");
            rows += batch.num_rows();
            let ids = batch.column_by_name("shot_id").expect("a column").clone();
            let ids = ids.as_any().downcast_ref::<arrow::array::StringArray>().expect("text").clone();
            seen.extend(ids.iter().flatten().map(|id| format!("{} {id}", file.month.expect("a month"))));
        }
        assert_eq!(i64::try_from(rows).expect("few"), file.rows);
    }
    seen.sort();
    seen
}

fn publish(lake: &Lake, sequence: i64, hits: &[Hit]) {
    let segment = stage(lake, sequence, &format!("f{sequence}"), hits);
    lake.publish(std::slice::from_ref(&segment), &[], &provenance()).expect("published");
    lake.discard_segment(&segment).expect("discarded");
}

const MANIFEST: &str = "site=north/manifest.json";

fn remove_frozen(place: &Place) {
    for key in frozen_files(place) {
        place.remove(&key);
    }
}

/// Changes the manifest by hand, as a clock or an older version would have left it.
fn edit_manifest(place: &Place, edit: impl FnOnce(&mut serde_json::Value)) {
    let mut manifest = serde_json::from_slice(&place.published(MANIFEST).expect("a manifest")).expect("JSON");
    edit(&mut manifest);
    place.put(MANIFEST, manifest.to_string().as_bytes());
}

/// Turns the clock: what was retired until now was retired long ago.
fn let_retired_grow_old(place: &Place) {
    edit_manifest(place, |manifest| {
        for file in manifest["retired"].as_array_mut().expect("a list") {
            let at = file["retired_at"].as_i64().expect("an instant");
            let stay = i64::try_from(RETIRED_STAY.as_micros()).expect("short");
            file["retired_at"] = serde_json::json!(at - stay);
        }
    });
}

#[test]
fn a_reader_of_a_manifest_sees_its_moment_whatever_is_published_meanwhile() {
    let place = Place::new();
    let lake = place.lake();
    publish(&lake, 1, &[hit("a", JANUARY, 1.0), hit("b", FEBRUARY, 2.0), hit("c", MARCH, 3.0)]);
    let first = lake.manifest().expect("a manifest");
    // `a` moves on, `b` comes to January, March goes with its only row.
    publish(&lake, 2, &[hit("a", FEBRUARY, 1.0), hit("b", JANUARY, 2.0), hit("c", JANUARY, 3.0)]);
    let second = lake.manifest().expect("a manifest");
    assert_eq!(read_moment(&lake, &first), ["2026-01 a", "2026-02 b", "2026-03 c"]);
    assert_eq!(read_moment(&lake, &second), ["2026-01 b", "2026-01 c", "2026-02 a"]);
    assert_eq!(place.published("shots/site=north/month=2026-03/shots.parquet"), None);
    // A daemon that starts anew keeps both.
    let lake = place.lake();
    assert_eq!(read_moment(&lake, &first), ["2026-01 a", "2026-02 b", "2026-03 c"]);
    assert_sound(&place, &lake, "two generations");
}

#[test]
fn a_retired_file_goes_with_the_first_publication_after_its_time() {
    let place = Place::new();
    let lake = place.lake();
    publish(&lake, 1, &[hit("a", JANUARY, 1.0)]);
    let first = lake.manifest().expect("a manifest");
    publish(&lake, 2, &[hit("a", JANUARY, 2.0)]);
    let retired = lake.manifest().expect("a manifest").retired;
    assert!(
        retired.iter().any(|file| Some(&file.path) == first.file("shots", month(1)).expect("a file").frozen.as_ref())
    );
    publish(&lake, 3, &[hit("b", MARCH, 3.0)]);
    assert_eq!(read_moment(&lake, &first), ["2026-01 a"], "a few seconds are not a quarter of an hour");
    let_retired_grow_old(&place);
    publish(&lake, 4, &[hit("b", MARCH, 4.0)]);
    for file in &retired {
        assert_eq!(place.published(&file.path), None, "{}", file.path);
    }
    assert_sound(&place, &lake, "after the removal");
    let_retired_grow_old(&place);
    publish(&lake, 4, &[hit("b", MARCH, 4.0)]);
    assert_eq!(lake.manifest().expect("a manifest").retired, [], "a publication that changes nothing clears away too");
    assert_eq!(frozen_files(&place).len(), lake.manifest().expect("a manifest").files.len());
}

#[test]
fn retired_files_can_go_at_once_and_no_copy_of_them_stays() {
    let place = Place::new();
    let lake = place.lake();
    publish(&lake, 1, &[hit("a", JANUARY, 1.0)]);
    publish(&lake, 2, &[hit("a", JANUARY, 2.0)]);
    place.put("site=north/moments/shots.2026-01.0123456789abcdef.pq", b"an interrupted publication");
    let generation = lake.manifest().expect("a manifest").generation;
    let retired = lake.manifest().expect("a manifest").retired.len();
    assert_eq!(lake.drop_retired_now().expect("dropped"), retired + 1);
    assert_eq!(lake.drop_retired_now().expect("dropped again"), 0);
    let manifest = lake.manifest().expect("a manifest");
    assert_eq!((manifest.generation, manifest.retired.len()), (generation, 0));
    assert_eq!(frozen_files(&place).len(), manifest.files.len());
    assert_sound(&place, &lake, "after the removal");
}

#[test]
fn a_lake_of_an_older_version_gets_its_frozen_names_with_the_next_publication() {
    let place = Place::new();
    let lake = place.lake();
    publish(&lake, 1, &[hit("a", JANUARY, 1.0), hit("b", FEBRUARY, 2.0)]);
    let segment = stage(&lake, 1, "f1", &[hit("a", JANUARY, 1.0), hit("b", FEBRUARY, 2.0)]);
    let age = || {
        remove_frozen(&place);
        edit_manifest(&place, |manifest| {
            manifest.as_object_mut().expect("an object").remove("retired");
            for file in manifest["files"].as_array_mut().expect("a list") {
                file.as_object_mut().expect("an object").remove("frozen");
            }
        });
    };
    age();
    let lake = place.lake();
    let manifest = lake.manifest().expect("it still reads");
    let january = manifest.file("shots", month(1)).expect("a file");
    assert_eq!(lake.readable_path(january).expect("looked at").as_ref(), Some(&january.path));
    // The same file again changes no partition.
    lake.publish(&[segment], &[], &provenance()).expect("published");
    assert_eq!(lake.manifest().expect("a manifest").generation, 1);
    assert_sound(&place, &lake, "names only");
    age();
    publish(&lake, 2, &[hit("c", MARCH, 3.0)]);
    assert_eq!(lake.manifest().expect("a manifest").generation, 2);
    assert_sound(&place, &lake, "names of partitions that the publication does not touch");
}

#[test]
fn a_partition_that_is_not_what_the_manifest_tells_gets_no_frozen_name_and_holds_nobody_up() {
    let place = Place::new();
    let lake = place.lake();
    publish(&lake, 1, &[hit("a", JANUARY, 1.0)]);
    let strange = "imports/site=north/month=2026-01/imports.parquet";
    remove_frozen(&place);
    edit_manifest(&place, |manifest| {
        for file in manifest["files"].as_array_mut().expect("a list") {
            file.as_object_mut().expect("an object").remove("frozen");
        }
    });
    place.put(strange, b"not what was published");
    let segment = lake.stage(header(2, "f2"), &tables(2, "f2", &[hit("b", MARCH, 1.0)])[..1]).expect("staged");
    lake.publish(&[segment], &[], &provenance()).expect("published");
    let manifest = lake.manifest().expect("a manifest");
    assert_eq!(manifest.file("imports", month(1)).expect("a file").frozen, None);
    assert!(manifest.of_dataset("shots").all(|file| file.frozen.is_some()));
    assert_eq!(place.published(strange).expect("it stands"), b"not what was published");
}

#[test]
fn a_frozen_file_that_somebody_removed_is_made_again_and_until_then_the_live_one_serves() {
    let place = Place::new();
    let lake = place.lake();
    publish(&lake, 1, &[hit("a", JANUARY, 1.0)]);
    remove_frozen(&place);
    let manifest = lake.manifest().expect("a manifest");
    let file = manifest.file("shots", month(1)).expect("a file");
    assert_eq!(lake.readable_path(file).expect("looked at").as_ref(), Some(&file.path));
    let segment = stage(&lake, 1, "f1", &[hit("a", JANUARY, 1.0)]);
    lake.publish(&[segment], &[], &provenance()).expect("published");
    assert_sound(&place, &lake, "made again");
}

#[test]
fn strays_go_when_the_writer_opens_the_lake_and_only_then() {
    let place = Place::new();
    let lake = place.lake();
    publish(&lake, 1, &[hit("a", JANUARY, 1.0)]);
    let stray = "site=north/moments/shots.2026-01.0123456789abcdef.pq";
    let foreign = "site=north/moments/notes.txt";
    place.put(stray, b"an interrupted publication");
    place.put(foreign, b"of a person");
    place.open_to_read();
    assert!(place.published(stray).is_some(), "a reader removes nothing");
    let manifest = place.published(MANIFEST).expect("a manifest");
    for broken in [None, Some(&b"{"[..])] {
        place.remove(MANIFEST);
        if let Some(bytes) = broken {
            place.put(MANIFEST, bytes);
        }
        place.lake();
        assert!(place.published(stray).is_some(), "without a manifest nobody knows what is live");
        place.put(MANIFEST, &manifest);
    }
    let lake = place.lake();
    assert_eq!(place.published(stray), None);
    assert!(place.published(foreign).is_some(), "what is not ours stays");
    place.remove(foreign);
    assert_sound(&place, &lake, "cleared");
}

#[test]
fn a_wrong_manifest_cannot_make_the_lake_remove_other_files() {
    let place = Place::new();
    let lake = place.lake();
    publish(&lake, 1, &[hit("a", JANUARY, 1.0)]);
    let outside = place.folder.path().join("treasure.pq");
    std::fs::write(&outside, "of a person").expect("written");
    edit_manifest(&place, |manifest| {
        let paths = [
            "../treasure.pq",
            "site=north/moments/../../../treasure.pq",
            "shots/site=north/month=2026-01/shots.parquet",
        ];
        manifest["retired"] = paths.iter().map(|path| serde_json::json!({ "path": path, "retired_at": 0 })).collect();
    });
    assert_eq!(lake.drop_retired_now().expect("dropped"), 3);
    assert!(outside.exists());
    assert_sound(&place, &lake, "nothing else went");
}

/// A frozen name costs no space: it is a second name of the same bytes.
#[cfg(unix)]
#[test]
fn a_frozen_file_is_a_second_name_of_the_live_one() {
    use std::os::unix::fs::MetadataExt;
    let place = Place::in_folder();
    let lake = place.lake();
    publish(&lake, 1, &[hit("a", JANUARY, 1.0)]);
    for file in lake.manifest().expect("a manifest").files {
        let inode = |path: &str| std::fs::metadata(place.root().join(path)).expect("it stands").ino();
        assert_eq!(inode(&file.path), inode(file.frozen.as_deref().expect("a frozen name")));
    }
}
