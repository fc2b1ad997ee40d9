//! What is published together, and what happens to files that cannot be, or that come from elsewhere.

use std::io::ErrorKind;
use std::sync::{Arc, Mutex};

use files::Files;
use intake::{BatchLimits, FileOutcome, Intake, ProgressStep};

use crate::site::{HEADER, Running, Site, at, export, row};

/// An intake with small batches, and how many files each publication held.
fn with_batches(site: &Site, running: &mut Running, batch: BatchLimits) -> Arc<Mutex<Vec<usize>>> {
    let published = Arc::new(Mutex::new(Vec::new()));
    let noted = Arc::clone(&published);
    let mut settings = site.settings();
    settings.batch = batch;
    let intake = Intake::open(
        settings,
        Files::new(),
        running.ledger.clone(),
        running.lake.clone(),
        site.packs.clone(),
        site.roster.clone(),
    );
    running.intake = intake.expect("open").with_progress(Arc::new(move |progress| {
        if progress.step == ProgressStep::Publishing && progress.files_done > 0 {
            noted.lock().expect("the list").push(progress.files_done);
        }
    }));
    published
}

#[test]
fn a_reprocess_in_batches_gives_the_same_rows() {
    let site = Site::new();
    let mut running = site.start();
    for number in 0..4 {
        // Each export repeats a row of the one before.
        site.drop_file(&format!("session_{number}_bay2.csv"), export(number * 2 + 1..number * 2 + 4));
    }
    running.settle_and_scan(0);
    let before = running.shot_ids();
    let published = with_batches(&site, &mut running, BatchLimits { files: 1, rows: 1_000 });
    // As after a reprocess that was cut off before its end: all files are read again, in the order of their arrival.
    running.ledger.remember("reprocess.plain-imperial", "under way").expect("a note");
    let outcomes = running.intake.reprocess("plain-imperial", None, at(100)).expect("a reprocess");
    assert_eq!(outcomes.len(), 4);
    assert!(outcomes.iter().all(|(_, outcome)| matches!(outcome, FileOutcome::Imported { .. })), "{outcomes:?}");
    assert_eq!(*published.lock().expect("the list"), [1, 1, 1, 1]);
    assert_eq!(running.shot_ids(), before);
    let again = running.intake.reprocess("plain-imperial", None, at(200)).expect("nothing left to do");
    assert_eq!(again.len(), 0);
}

#[test]
fn a_file_outside_the_import_folders_tells_what_stays_unknown() {
    let site = Site::new();
    let running = site.start();
    let outside = tempfile::tempdir().expect("a folder");
    let path = outside.path().join("session_1.csv"); // the pack reads the bay from names such as session_1_bay2.csv
    std::fs::write(&path, format!("{HEADER}{}", row(1, "Wren"))).expect("a file");
    let outcomes = running.intake.import_now(&[path], at(0)).expect("an import");
    let [(_, FileOutcome::Imported { note: Some(note), shots: 1, .. })] = &outcomes[..] else {
        panic!("{outcomes:?}");
    };
    assert!(note.contains("bay of 1 rows") && note.contains("hint:"), "{note}");
    let inside = site.drop_file("session_2_bay2.csv", export(5..6));
    let outcomes = running.intake.import_now(&[inside], at(10)).expect("an import");
    assert!(matches!(outcomes[..], [(_, FileOutcome::Imported { note: None, .. })]), "{outcomes:?}");
}

#[test]
fn files_are_not_staged_while_nothing_can_be_published() {
    let site = Site::new();
    let files = Files::new();
    let mut running = site.try_start(&files).expect("a start");
    let mut settings = site.settings();
    settings.batch.files = 2;
    running.intake = intake::Intake::open(
        settings,
        files.clone(),
        running.ledger.clone(),
        running.lake.clone(),
        site.packs.clone(),
        site.roster.clone(),
    )
    .expect("open");
    for number in 0..7 {
        site.drop_file(&format!("session_{number}_bay2.csv"), export(number * 10 + 1..number * 10 + 4));
    }
    running.intake.scan_once(at(0)).expect("the first look");
    let dataset = site.home.join("lake").join("shots");
    files.set_outage(&dataset, Some(ErrorKind::Other));
    for second in [4, 8, 12] {
        let report = running.intake.scan_once(at(second)).expect("a scan");
        assert!(!report.troubles.is_empty());
        let counts = running.ledger.counts().expect("counts");
        assert_eq!((counts.staged, counts.archived), (2, 0), "one batch waits, the others stay where they are");
    }
    files.set_outage(&dataset, None);
    let report = running.intake.scan_once(at(16)).expect("a scan");
    assert_eq!((report.files_published, report.shots), (7, 21));
}

#[test]
fn each_of_our_folders_is_guarded() {
    let room = |mib: u64| files::Volume {
        kind: "ext4".to_owned(),
        is_network: false,
        free_bytes: mib << 20,
        total_bytes: 1 << 40,
        device: 7,
    };
    for place in ["archive", "quarantine", "state/staging", "lake"] {
        let site = Site::new();
        let files = Files::new();
        let mut running = site.try_start(&files).expect("a start");
        let mut settings = site.settings();
        settings.least_free = 100 << 20;
        running.intake = Intake::open(
            settings,
            files.clone(),
            running.ledger.clone(),
            running.lake.clone(),
            site.packs.clone(),
            site.roster.clone(),
        )
        .expect("open");
        files.pretend_volume(&site.home, Some(room(500)));
        files.pretend_volume(&site.home.join(place), Some(room(99)));
        site.drop_file("session_1_bay2.csv", export(1..4));
        let report = running.settle_and_scan(0);
        assert_eq!(report.files_published, 0, "{place}");
        let paused = running.intake.vitals().paused.expect("it says why");
        assert!(paused.contains(&site.home.join(place).display().to_string()), "{place}: {paused}");
        let sightings = running.ledger.sightings().expect("sightings");
        assert!(sightings[0].note.contains("intake pauses"), "{place}: {sightings:?} {report:?}");
        files.pretend_volume(&site.home.join(place), Some(room(500)));
        assert_eq!(running.intake.scan_once(at(10)).expect("a scan with room again").shots, 3, "{place}");
        assert_eq!(running.intake.vitals().paused, None, "{place}");
    }
}
