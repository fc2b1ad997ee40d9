//! What must go well while nobody looks: full disks, a ledger that fails, clocks that are set, stops, floods, long idling.

use std::io::ErrorKind;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use chrono::TimeDelta;
use files::{Files, Volume};
use intake::{BatchLimits, FileOutcome, Moment};
use ledger::{FileState, SightingState};

use crate::shares::reopen;
use crate::site::{Site, at, export, row};

#[test]
fn intake_pauses_before_a_disk_is_full_and_goes_on_by_itself() {
    let site = Site::new();
    let files = Files::new();
    let mut running = site.try_start(&files).expect("a start");
    let mut settings = site.settings();
    settings.least_free = 100 << 20;
    reopen(&site, &mut running, &files, settings);
    let room = |mib: u64| Volume {
        kind: "ext4".into(),
        is_network: false,
        free_bytes: mib << 20,
        total_bytes: 1 << 40,
        device: 5,
    };
    site.drop_file("session_1_bay2.csv", export(1..3));
    files.pretend_volume(&site.home.join("lake"), Some(room(99)));
    let report = running.settle_and_scan(0);
    assert_eq!((report.files_published, report.settling), (0, 1), "it still looks");
    let paused = running.intake.vitals().paused.expect("paused");
    assert!(paused.contains("99 MiB free, it must have 100\nhint:"), "{paused}");
    assert_eq!(running.ledger.counts().expect("counts").staged, 0, "nothing was begun");
    let outcomes = running.intake.import_now(&[site.home.join("import")], at(5)).expect("an import");
    assert!(matches!(&outcomes[0].1, FileOutcome::Failed { message } if message.contains("pauses")), "{outcomes:?}");

    // Room for small files only: the pause is over, and a large file waits for its own reason.
    files.pretend_volume(&site.home.join("lake"), Some(room(100)));
    let report = running.intake.scan_once(at(10)).expect("a scan");
    assert_eq!((report.files_published, running.intake.vitals().paused), (0, None), "{report:?}");
    assert!(report.troubles[0].message.contains("it must have 101"), "{report:?}");
    files.pretend_volume(&site.home.join("lake"), Some(room(101)));
    assert_eq!(running.intake.scan_once(at(20)).expect("a scan").files_published, 1);
}

#[test]
fn a_disk_that_is_full_at_any_step_is_a_pause_and_loses_nothing() {
    for full in ["state/staging", "lake", "archive", "quarantine"] {
        let site = Site::new();
        let files = Files::new();
        let running = site.try_start(&files).expect("a start");
        site.drop_file("session_1_bay2.csv", export(1..4));
        site.drop_file("junk.bin", b"no export\n");
        files.set_outage(&site.home.join(full), Some(ErrorKind::StorageFull));
        running.intake.scan_once(at(0)).expect("a look");
        let report = running.intake.scan_once(at(100)).expect("a scan");
        assert!(report.paused.is_some(), "{full}: {report:?}");
        assert!(running.intake.vitals().paused.expect("paused").contains("free space"), "{full}");
        files.set_outage(&site.home.join(full), None);
        for second in [110, 120] {
            running.intake.scan_once(at(second)).expect("a scan");
        }
        assert_eq!(running.intake.vitals().paused, None, "{full}");
        let counts = running.ledger.counts().expect("counts");
        assert_eq!((counts.archived, counts.quarantined, running.shot_ids().len()), (1, 1, 3), "{full}");
        assert_eq!(site.tree("import"), Vec::<String>::new(), "{full}");
    }
}

#[test]
fn a_ledger_that_cannot_be_written_stops_everything_until_it_can() {
    let site = Site::new();
    let running = site.start();
    let path = site.drop_file("session_1_bay2.csv", export(1..4));
    running.intake.scan_once(at(0)).expect("a look");
    running.ledger.refuse_writes(true).expect("read-only");
    let error = running.intake.scan_once(at(4)).expect_err("the ledger refuses");
    assert!(error.to_string().contains("hint:"), "{error}");
    let vitals = running.intake.vitals();
    assert!(vitals.failing.as_deref().is_some_and(|why| why.contains("ledger")) && vitals.scan_finished.is_some());
    assert!(path.exists(), "the file stays where it is");
    assert!(running.intake.scan_once(at(6)).is_err(), "it is tried again");
    running.ledger.refuse_writes(false).expect("writable");
    let report = running.intake.scan_once(at(8)).expect("it works again");
    assert_eq!((report.files_published, running.intake.vitals().failing), (1, None));
}

#[test]
fn setting_the_clock_neither_hurries_nor_delays_a_file() {
    let site = Site::new();
    let running = site.start();
    let moment = |seconds: i64, set_by: TimeDelta| Moment::from(at(seconds)).with_wall_set_by(set_by);
    site.drop_file("session_1_bay2.csv", export(1..3));
    running.intake.scan_once(moment(0, TimeDelta::zero())).expect("a look");
    let report = running.intake.scan_once(moment(1, TimeDelta::hours(5))).expect("a look");
    assert_eq!((report.files_published, report.settling), (0, 1), "a second is a second, whatever the clock says");
    let sighting = running.ledger.sightings().expect("sightings").remove(0);
    assert_eq!(sighting.state, SightingState::Settling);
    let age = at(1).timestamp_micros() + TimeDelta::hours(5).num_microseconds().expect("hours") - sighting.first_seen;
    assert_eq!(age, 1_000_000, "people see its age by the clock they have");
    let report = running.intake.scan_once(moment(4, TimeDelta::hours(-5))).expect("a look");
    assert_eq!(report.files_published, 1, "and a clock set back holds nothing up");
}

#[test]
fn a_stop_ends_after_the_file_at_hand_and_the_next_start_finishes() {
    let site = Site::new();
    let mut running = site.start();
    for number in 0..6 {
        site.drop_file(&format!("session_{number}_bay2.csv"), export(number * 2..number * 2 + 2));
    }
    running.intake.scan_once(at(0)).expect("a look");
    let files_read = Arc::new(AtomicUsize::new(0));
    let (handle, count) = (running.intake.stop_handle(), Arc::clone(&files_read));
    running.intake = running.intake.with_progress(Arc::new(move |_| {
        if count.fetch_add(1, Ordering::SeqCst) == 1 {
            handle.stop();
        }
    }));
    let report = running.intake.scan_once(at(4)).expect("a scan");
    assert!(report.stopped && report.files_published == 0, "{report:?}");
    assert_eq!(running.ledger.counts().expect("counts").staged, 2, "the file at hand was finished, no more begun");
    let outcomes = running.intake.import_now(&[site.home.join("import")], at(5)).expect("an import");
    assert!(outcomes.iter().all(|(_, outcome)| matches!(outcome, FileOutcome::Waiting { .. })), "{outcomes:?}");
    let outcomes = running.intake.retry("", at(5)).expect("a retry");
    assert_eq!(outcomes, []);
    drop(running);
    let running = site.start();
    assert_eq!(running.intake.recover(at(10)).expect("a recovery").files_published, 2);
    running.settle_and_scan(12);
    assert_eq!(running.shot_ids().len(), 12);
    assert_eq!(site.tree("import"), Vec::<String>::new());
}

#[test]
fn a_flood_is_published_in_batches_of_files_and_of_rows() {
    for (limits, publications) in [
        (BatchLimits { files: 4, rows: 1_000 }, 3),
        (BatchLimits { files: 1_000, rows: 6 }, 4),
        (BatchLimits::default(), 1),
    ] {
        let site = Site::new();
        let files = Files::new();
        let mut running = site.try_start(&files).expect("a start");
        reopen(&site, &mut running, &files, intake::IntakeSettings { batch: limits, ..site.settings() });
        for number in 0..10 {
            site.drop_file(&format!("session_{number}_bay2.csv"), export(number * 2..number * 2 + 2));
        }
        let report = running.settle_and_scan(0);
        assert_eq!((report.files_published, report.archived), (10, 10));
        assert_eq!(running.lake.manifest().expect("manifest").generation, publications, "{limits:?}");
        assert_eq!(running.shot_ids().len(), 20);
    }
}

#[test]
fn an_idle_scan_costs_the_same_however_much_is_archived() {
    let site = Site::new();
    let files = Files::new();
    let running = site.try_start(&files).expect("a start");
    running.intake.scan_once(at(0)).expect("the first look");
    let acts = || {
        let before = files.operations();
        running.intake.scan_once(at(200_000)).expect("an idle look");
        files.operations() - before
    };
    let with_nothing = acts();
    for number in 0..40 {
        site.drop_file(&format!("session_{number}_bay2.csv"), export(number * 2..number * 2 + 2));
    }
    assert_eq!(running.settle_and_scan(200_010).archived, 40);
    running.intake.scan_once(at(200_020)).expect("looks at what was just archived");
    running.intake.scan_once(at(300_000)).expect("and for the last time");
    let log = site.home.join("state/ledger.sqlite-wal");
    let written = |path: &std::path::Path| std::fs::metadata(path).expect("the log").modified().expect("a time");
    let before = written(&log);
    for second in 0..5 {
        let operations = files.operations();
        running.intake.scan_once(at(300_010 + second * 30)).expect("an idle look");
        assert_eq!(files.operations() - operations, with_nothing);
    }
    assert_eq!(written(&log), before, "nothing was written");
}

#[test]
fn a_file_that_waits_is_written_down_once() {
    let site = Site::new();
    let running = site.start();
    site.drop_file("session_1_bay2.csv", "");
    running.intake.scan_once(at(0)).expect("a look");
    let log = site.home.join("state/ledger.sqlite-wal");
    let written = || std::fs::metadata(&log).expect("the log").modified().expect("a time");
    let before = written();
    for second in 1..500 {
        running.intake.scan_once(at(second)).expect("a look");
    }
    assert_eq!(written(), before);
    running.intake.scan_once(at(600)).expect("too long");
    assert_eq!(running.ledger.sightings().expect("sightings")[0].state, SightingState::Waiting);
    assert!(written() > before);
}

#[test]
fn names_of_refused_bytes_that_come_again_are_told() {
    let site = Site::new();
    let running = site.start();
    site.drop_file("a.bin", b"no export\n");
    running.settle_and_scan(0);
    site.drop_file("b.bin", b"no export\n");
    assert_eq!(running.settle_and_scan(10).quarantined, 1);
    let told = |running: &crate::site::Running| -> serde_json::Value {
        let entry = running.ledger.files_in_state(FileState::Quarantined).expect("entries").remove(0);
        let reason = format!("{}.reason.json", entry.quarantine_path.expect("a place"));
        serde_json::from_slice(&std::fs::read(reason).expect("the reason")).expect("JSON")
    };
    let reason = told(&running);
    assert_eq!(reason["name"], "a.bin");
    assert_eq!(reason["also_arrived_as"][0]["name"], "b.bin");
    assert_eq!(reason["also_arrived_as"].as_array().expect("a list").len(), 1);
    running.intake.retry("", at(20)).expect("a retry that fails again");
    assert_eq!(told(&running)["also_arrived_as"][0]["name"], "b.bin", "a new reason keeps the names");
}

#[test]
fn a_growing_file_becomes_one_that_waits_too_long() {
    let site = Site::new();
    let running = site.start();
    let mut text = export(1..3);
    for minute in 0..60 {
        text.push_str(&row(100 + minute, "Wren"));
        site.drop_file("session_1_bay2.csv", &text);
        let report = running.intake.scan_once(at(i64::from(minute) * 60)).expect("a look");
        assert_eq!(report.files_published, 0, "minute {minute}");
        let expected = if minute < 10 { (1, 0) } else { (0, 1) };
        assert_eq!((report.settling, report.waiting), expected, "minute {minute}");
    }
    let sighting = running.ledger.sightings().expect("sightings").remove(0);
    assert_eq!(sighting.note, "it is still being written to");
    assert_eq!(running.intake.scan_once(at(3_640)).expect("a look").shots, 62);
}

#[cfg(unix)]
#[test]
fn odd_names_and_things_that_are_no_files_are_visible() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt as _;
    let site = Site::new();
    let running = site.start();
    let import = site.home.join("import");
    let outside = site.home.join("elsewhere.csv");
    std::fs::write(&outside, export(1..3)).expect("a file");
    std::os::unix::fs::symlink(&outside, import.join("link.csv")).expect("a link");
    let socket = std::os::unix::net::UnixListener::bind(import.join("socket")).expect("a socket");
    for bytes in [b"a\xFF.csv", b"a\xFE.csv"] {
        std::fs::write(import.join(OsStr::from_bytes(bytes)), export(1..3)).expect("a file");
    }
    site.drop_file("session_1\nhint: delete everything_bay2.csv", export(5..8));
    let deep = import.join("1/2/3/4/5/6/7/8/9");
    std::fs::create_dir_all(&deep).expect("folders");
    let report = running.settle_and_scan(0);
    assert_eq!((report.files_published, report.settling), (1, 5), "{report:?}");
    let archived = site.tree("archive");
    assert!(archived[0].ends_with("-session_1_hint: delete everything_bay2.csv"), "{archived:?}");
    let sightings = running.ledger.sightings().expect("sightings");
    let notes: Vec<&str> = sightings.iter().map(|sighting| sighting.note.as_str()).collect();
    for word in ["symbolic link", "pipe or device", "8 deep"] {
        assert_eq!(notes.iter().filter(|note| note.contains(word)).count(), 1, "{notes:?}");
    }
    assert_eq!(notes.iter().filter(|note| note.contains("Unicode")).count(), 2, "{notes:?}");
    assert_eq!(running.intake.scan_once(at(700)).expect("much later").waiting, 5);
    drop(socket);
}

#[cfg(unix)]
#[test]
fn a_file_that_replaces_another_starts_anew_and_a_locked_one_waits() {
    let site = Site::new();
    let running = site.start();
    let path = site.drop_file("session_1_bay2.csv", export(1..3));
    let modified = std::fs::metadata(&path).expect("the file").modified().expect("a time");
    running.intake.scan_once(at(0)).expect("a look");
    let other = site.home.join("other");
    std::fs::write(&other, export(5..7)).expect("as many bytes");
    std::fs::File::options().write(true).open(&other).expect("open").set_modified(modified).expect("the same time");
    std::fs::rename(&other, &path).expect("replaced");
    assert_eq!(running.intake.scan_once(at(4)).expect("a look").files_published, 0, "another file by now");

    let writer = std::fs::File::options().append(true).open(&path).expect("the writer");
    writer.lock().expect("a lock");
    assert_eq!(running.intake.scan_once(at(9)).expect("a look").files_published, 0);
    assert_eq!(running.ledger.sightings().expect("sightings")[0].note, "the program that writes it has locked it");
    drop(writer);
    assert_eq!(running.intake.scan_once(at(10)).expect("a look").shots, 2);
}
