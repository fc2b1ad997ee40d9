//! Repair and erasure against real folders, with the power failing after every single file operation.

use std::fs;
use std::time::Duration;

use arrow::array::{Array, StringArray};
use files::{FaultPlan, Files};
use lake::{Lake, LakeError, LakeFault};

use crate::support::*;

fn faults(lake: &Lake) -> Vec<LakeFault> {
    lake.examine(&shot::published_datasets(), Duration::ZERO, &|_| {}).expect("a disk without faults").faults
}

fn published() -> Place {
    let place = Place::new();
    let lake = place.lake();
    let segments = [
        stage(&lake, 1, "f1", &[hit("a", JANUARY, 1.0), hit("b", JANUARY + 1, 2.0)]),
        stage(&lake, 2, "f2", &[hit("c", FEBRUARY, 3.0)]),
        stage(&lake, 3, "f3", &[hit("d", MARCH, 4.0)]),
    ];
    lake.publish(&segments, &[], &provenance()).expect("published");
    for segment in &segments {
        lake.discard_segment(segment).expect("discarded");
    }
    place
}

fn repair(lake: &Lake) -> Result<lake::LakeRepair, LakeError> {
    let found = if lake.has_sound_manifest()? {
        lake.examine(&shot::published_datasets(), Duration::ZERO, &|_| {})?.faults
    } else {
        Vec::new()
    };
    lake.repair(&found, &shot::published_datasets(), "damaged-test", 0)
}

#[test]
fn each_damage_is_mended_by_the_nearest_means_and_nothing_is_deleted() {
    let place = published();
    let lake = place.lake();
    let had = shots(&lake);
    let january = lake.partition_path("shots", month(1));
    let february = lake.partition_path("shots", month(2));

    fs::remove_file(&january).expect("removed");
    let done = repair(&lake).expect("repaired");
    assert_eq!(
        (done.restored, done.set_aside),
        (vec![("shots".to_owned(), month(1))], vec![]),
        "its second name holds it"
    );
    assert_eq!((shots(&lake), faults(&lake)), (had.clone(), vec![]));

    // Both names lead to one file: its bytes are lost, and are kept as they are.
    let mut torn = fs::read(&february).expect("a partition");
    torn[10] ^= 1;
    fs::write(&february, &torn).expect("written in place");
    let done = repair(&lake).expect("repaired");
    assert_eq!(done.set_aside, [("shots".to_owned(), month(2))]);
    assert_eq!(fs::read(&done.aside[0]).expect("set aside"), torn);
    assert_eq!(faults(&lake), []);
    assert_eq!(shots(&lake).len(), had.len() - 1, "what was set aside is to be read again by the caller");
    // Publishing its import again, under its own number, completes the lake.
    let again = stage(&lake, 2, "f2", &[hit("c", FEBRUARY, 3.0)]);
    lake.publish(std::slice::from_ref(&again), &[], &provenance()).expect("published");
    assert_eq!((shots(&lake), faults(&lake)), (had.clone(), vec![]));

    // A manifest that cannot be read, and then one that is gone.
    let before = lake.manifest().expect("a manifest");
    fs::write(lake.root().join("site=north/manifest.json"), "noise").expect("written");
    assert!(repair(&lake).expect("repaired").manifest_rebuilt);
    fs::remove_file(lake.root().join("site=north/manifest.json")).expect("removed");
    repair(&lake).expect("repaired");
    let after = lake.manifest().expect("a manifest");
    let told = |manifest: &lake::Manifest| -> Vec<(String, i64)> {
        manifest.files.iter().map(|file| (file.sha256.clone(), file.rows)).collect()
    };
    assert_eq!(told(&after), told(&before));
    assert!(after.generation > before.generation, "readers see that something happened");
    assert_eq!((shots(&lake), faults(&lake)), (had, vec![]));
    let aside = all_files(&lake.root().join("site=north/damaged-test"));
    assert!(aside.iter().any(|name| name.contains("manifest.json")), "{aside:?}");
}

#[test]
fn a_sound_lake_is_left_as_it_is() {
    let lake_place = published();
    let lake = lake_place.lake();
    let before = (lake.manifest().expect("read"), all_files(lake.root()));
    repair(&lake).expect("nothing to do");
    assert_eq!((lake.manifest().expect("read"), all_files(lake.root())), before);
}

#[test]
fn a_power_cut_at_any_operation_of_a_repair_leaves_a_lake_that_can_be_repaired() {
    let origin = published();
    let lake = origin.lake();
    fs::remove_file(lake.partition_path("shots", month(1))).expect("removed");
    let february = lake.partition_path("shots", month(2));
    fs::write(&february, b"no Parquet").expect("written in place");
    fs::write(lake.root().join("site=north/datapackage.json"), "x").expect("written");
    drop(lake);
    let mut cuts = 0;
    for nth in 0.. {
        let place = Place::copy_of(&origin);
        let files = Files::new();
        let lake = place.open(files.clone());
        files.set_faults(Some(FaultPlan::CrashAfter { nth }));
        let outcome = repair(&lake);
        drop(lake);
        let lake = place.lake();
        repair(&lake).unwrap_or_else(|error| panic!("after a cut at {nth}: {error}"));
        assert_eq!(faults(&lake), [], "after a cut at {nth}");
        let ids: Vec<String> = shots(&lake).iter().map(|line| line[8..9].to_owned()).collect();
        assert_eq!(ids, ["a", "b", "d"], "after a cut at {nth}: what could be kept is there");
        if outcome.is_ok() {
            break;
        }
        cuts += 1;
    }
    assert!(cuts > 20, "only {cuts} operations were tried");
}

/// The tests' shots of even positions are wren's.
fn is_wrens(batch: &arrow::array::RecordBatch) -> Vec<bool> {
    let players = batch.column_by_name("player_id").and_then(|array| array.as_any().downcast_ref::<StringArray>());
    let Some(players) = players else { return vec![false; batch.num_rows()] };
    (0..batch.num_rows()).map(|row| players.is_valid(row) && players.value(row) == "wren").collect()
}

#[test]
fn erased_rows_are_gone_from_every_name_and_a_power_cut_only_delays_it() {
    let origin = published();
    let mut cuts = 0;
    for nth in 0.. {
        let place = Place::copy_of(&origin);
        let files = Files::new();
        let lake = place.open(files.clone());
        files.set_faults(Some(FaultPlan::CrashAfter { nth }));
        let erase = |lake: &Lake| -> Result<lake::Erased, LakeError> {
            let erased = lake.erase(&shot::published_datasets(), &["player_id"], &is_wrens, &provenance())?;
            lake.drop_retired_now()?;
            Ok(erased)
        };
        let outcome = erase(&lake);
        drop(lake);
        let lake = place.lake();
        erase(&lake).unwrap_or_else(|error| panic!("after a cut at {nth}: {error}"));
        let ids: Vec<String> = shots(&lake).iter().map(|line| line[8..9].to_owned()).collect();
        assert_eq!(ids, ["b"], "after a cut at {nth}");
        assert_eq!(faults(&lake), [], "after a cut at {nth}");
        let frozen: Vec<String> =
            all_files(lake.root()).into_iter().filter(|name| name.contains("/moments/")).collect();
        assert_eq!(frozen.len(), lake.manifest().expect("read").files.len(), "no earlier file stays: {frozen:?}");
        if let Ok(erased) = outcome {
            assert_eq!((erased.rows, erased.rows_by_source["f1"]["shots"]), (3, 1));
            break;
        }
        cuts += 1;
    }
    assert!(cuts > 20, "only {cuts} operations were tried");
}
