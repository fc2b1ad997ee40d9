//! Retry and reprocess.

use std::path::Path;
use std::sync::Arc;

use files::{FaultPlan, Files};
use formats::PackSet;
use intake::FileOutcome;

use crate::site::{Site, at, export, packs_folder};

/// The shipped pack `plain-imperial` under another version that knows the club by another word.
fn newer_packs(folder: &Path, version: &str, club: &str) -> PackSet {
    let target = folder.join("plain-imperial");
    std::fs::create_dir_all(&target).expect("a folder");
    let text = std::fs::read_to_string(packs_folder().join("plain-imperial/format.toml")).expect("the pack");
    let version_line = text.lines().find(|line| line.starts_with("version = ")).expect("its version").to_owned();
    let text = text.replace(&version_line, &format!("version = \"{version}\""));
    let text = text.replace("clubId = \"driver\"", &format!("clubId = \"{club}\""));
    std::fs::write(target.join("format.toml"), text).expect("a pack");
    let (packs, faults) = PackSet::load(folder);
    assert_eq!(faults, []);
    packs
}

#[test]
fn a_refused_file_is_taken_after_the_pack_is_mended() {
    let mut site = Site::with_packs(PackSet::default());
    let text = export(1..4);
    site.drop_file("session_1_bay2.csv", &text);
    site.drop_file("session_1_bay2 twin.csv", &text);
    let running = site.start();
    running.intake.scan_once(at(0)).expect("a look");
    assert_eq!(running.intake.scan_once(at(4)).expect("a look").quarantined, 2);
    let outcomes = running.intake.retry("", at(5)).expect("a retry in vain");
    assert!(matches!(outcomes[..], [(_, FileOutcome::Quarantined { .. })]), "{outcomes:?}");
    // Named by hand and refused again, a copy in an import folder joins the one in quarantine.
    let again = site.drop_file("session_1_bay2 again.csv", &text);
    let outcomes = running.intake.import_now(std::slice::from_ref(&again), at(6)).expect("an import in vain");
    assert!(matches!(outcomes[..], [(_, FileOutcome::Quarantined { .. })]), "{outcomes:?}");
    assert!(!again.exists() && site.tree("quarantine").iter().any(|path| path.contains("again.csv")));
    drop(running);

    site.packs = Site::new().packs;
    let running = site.start();
    let hash = files::sha256_of_bytes(text.as_bytes());
    assert_eq!(running.intake.retry("ffff", at(9)).expect("another file").len(), 0);
    let outcomes = running.intake.retry(&hash[..8], at(10)).expect("a retry");
    assert!(matches!(outcomes[..], [(_, FileOutcome::Imported { shots: 3, .. })]), "{outcomes:?}");
    assert_eq!(running.shot_ids().len(), 3);
    assert_eq!(site.tree("quarantine"), Vec::<String>::new());
    assert_eq!(site.tree("archive").len(), 3, "the file and its twins: {:?}", site.tree("archive"));
    assert_eq!(std::fs::read_dir(site.home.join("quarantine")).expect("the folder").count(), 0);
}

#[test]
fn reprocessing_replaces_rows_and_survives_a_power_cut_anywhere() {
    let mut nth = 1;
    loop {
        let mut site = Site::new();
        site.drop_file("session_1_bay2.csv", export(1..4));
        site.drop_file("session_2_bay2.csv", export(3..6));
        let running = site.start();
        running.settle_and_scan(0);
        let ids = running.shot_ids();
        assert_eq!(running.intake.reprocess("plain-imperial", None, at(9)).expect("up to date").len(), 0);
        drop(running);

        let folder = tempfile::tempdir().expect("a folder");
        site.packs = Arc::new(newer_packs(folder.path(), "9.9.9", "big-stick"));
        let files = Files::with_faults(FaultPlan::CrashAfter { nth });
        if let Ok(running) = site.try_start(&files) {
            let _ = running.intake.reprocess("plain-imperial", None, at(20));
        }
        let came_through = files.operations() <= nth;

        let running = site.start();
        running.intake.recover(at(30)).expect("a recovery");
        assert_eq!(running.shot_ids(), ids, "after operation {nth} every shot exactly once");
        running.intake.reprocess("plain-imperial", None, at(40)).expect("a reprocess");
        assert_eq!(running.shot_ids(), ids, "the same shots, after operation {nth}");
        assert_eq!(running.texts(&shot::shots(), "club_id"), vec!["big-stick"; 5]);
        assert_eq!(running.texts(&shot::imports(), "format_version"), vec!["9.9.9"; 2]);
        let counts = running.ledger.counts().expect("counts");
        assert_eq!((counts.archived, counts.staged, counts.published), (2, 0, 0));
        assert_eq!(site.tree("archive").len(), 2);
        if came_through {
            break;
        }
        nth += 1;
    }
    assert!(nth > 50, "only {nth} operations were tried");
}

#[test]
fn devices_of_an_earlier_pack_version_stay_known() {
    let mut site = Site::new();
    site.start().intake.publish_dimensions(at(0)).expect("dimensions");
    let folder = tempfile::tempdir().expect("a folder");
    site.packs = Arc::new(newer_packs(folder.path(), "9.9.9", "driver"));
    let running = site.start();
    for second in [10, 20] {
        running.intake.publish_dimensions(at(second)).expect("dimensions again");
    }
    let versions = running.texts(&shot::devices(), "format_version");
    let count = |version: &str| versions.iter().filter(|known| *known == version).count();
    let quantities = site.packs.pack("plain-imperial").expect("the pack").devices().len();
    assert_eq!(count("9.9.9"), quantities);
    assert!(count("1.0.0") > quantities, "what older shots rest on is still there: {versions:?}");
}
