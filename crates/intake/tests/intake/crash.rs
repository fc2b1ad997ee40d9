//! Faults at every file operation: whatever breaks wherever, afterwards every shot is there exactly once and no file is lost.

use std::io::ErrorKind;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::Duration;

use files::{FaultPlan, Files};
use intake::Intake;
use lake::Provenance;
use ledger::FileState;

use crate::site::{Running, Site, at, export};

const JUNK: &[u8] = b"no export at all\n";

/// Two exports that overlap, a twin of the first, and a file that is none.
fn fill(site: &Site) {
    site.drop_file("session_1_bay2.csv", export(1..4));
    site.drop_file("session_1x_bay2.csv", export(1..4));
    site.drop_file("session_2_bay2.csv", export(3..6));
    site.drop_file("junk.bin", JUNK);
}

fn check(site: &Site, running: &Running, what: &str) {
    let ids = running.shot_ids();
    let apart: std::collections::HashSet<&String> = ids.iter().collect();
    assert_eq!((ids.len(), apart.len()), (5, 5), "{what}: every shot exactly once");
    assert_eq!(running.texts(&shot::imports(), "file_name").len(), 2, "{what}: one row an imported file");
    assert_eq!(site.tree("import"), Vec::<String>::new(), "{what}: everything was taken");
    let counts = running.ledger.counts().expect("counts");
    let open = (counts.claimed, counts.staged, counts.published);
    assert_eq!((open, counts.archived, counts.quarantined), ((0, 0, 0), 2, 1), "{what}");
    assert_eq!(running.lake.segments().expect("segments"), [], "{what}: staging is empty");
    assert_eq!(running.ledger.sightings().expect("sightings"), [], "{what}");

    // Each distinct content stands, whole, somewhere in our keeping.
    let mut kept: Vec<Vec<u8>> = Vec::new();
    for folder in ["archive", "quarantine"] {
        for name in site.tree(folder) {
            kept.push(std::fs::read(site.home.join(folder).join(name)).expect("a kept file"));
        }
    }
    for content in [export(1..4).as_bytes(), export(3..6).as_bytes(), JUNK] {
        assert!(kept.iter().any(|bytes| bytes == content), "{what}: a file was lost");
    }
    let reasons = site.tree("quarantine").into_iter().filter(|name| name.ends_with(".reason.json")).count();
    assert_eq!(reasons, 1, "{what}: the reason stands beside the refused file");
}

/// Runs two looks; what fails is the point of the exercise.
fn run(site: &Site, files: &Files, from: i64) {
    if let Ok(running) = site.try_start(files) {
        let _ = running.intake.recover(at(from));
        for second in [0, 4, 8] {
            let _ = running.intake.scan_once(at(from + second));
        }
    }
}

#[test]
fn a_power_cut_after_any_operation_loses_and_doubles_nothing() {
    let mut nth = 1;
    loop {
        let site = Site::new();
        fill(&site);
        let files = Files::with_faults(FaultPlan::CrashAfter { nth });
        run(&site, &files, 0);
        let came_through = files.operations() <= nth;

        let running = site.start();
        running.intake.recover(at(100)).expect("a recovery without faults");
        running.settle_and_scan(100);
        check(&site, &running, &format!("power cut after operation {nth}"));
        let report = running.settle_and_scan(200);
        assert_eq!(
            (report.files_published, report.archived, report.troubles.len()),
            (0, 0, 0),
            "nothing is left to do"
        );
        if came_through {
            break;
        }
        nth += 1;
    }
    assert!(nth > 100, "only {nth} operations were tried");
}

#[test]
fn a_single_failed_operation_is_mended_by_the_next_scans() {
    let mut nth = 1;
    loop {
        let site = Site::new();
        fill(&site);
        let files = Files::with_faults(FaultPlan::FailOnce { nth, kind: ErrorKind::Other });
        let Ok(running) = site.try_start(&files) else {
            nth += 1;
            continue;
        };
        for second in [0, 4, 8, 12] {
            let _ = running.intake.scan_once(at(second));
        }
        let came_through = files.operations() < nth;
        files.set_faults(None);
        let report = running.settle_and_scan(100);
        check(&site, &running, &format!("operation {nth} failed once: {report:?}"));
        if came_through {
            break;
        }
        nth += 1;
    }
    assert!(nth > 100, "only {nth} operations were tried");
}

/// A site that stopped when its files were staged and nothing more.
fn stopped_when_staged() -> (Site, Running) {
    for nth in 1.. {
        let site = Site::new();
        fill(&site);
        let files = Files::with_faults(FaultPlan::CrashAfter { nth });
        let Ok(running) = site.try_start(&files) else { continue };
        let _ = running.intake.scan_once(at(0));
        let _ = running.intake.scan_once(at(4));
        if running.ledger.counts().expect("counts").staged == 2 {
            drop(running);
            let running = site.start();
            return (site, running);
        }
    }
    unreachable!("both files are staged before they are published")
}

#[test]
fn a_publication_that_the_ledger_never_heard_of_is_repeated() {
    let (site, running) = stopped_when_staged();
    let segments = running.lake.segments().expect("segments");
    assert_eq!(segments.len(), 2);
    let provenance = Provenance { writer: "test".into(), run_id: "r".into(), created_micros: 0, extra: Vec::new() };
    running.lake.publish(&segments, &[], &provenance).expect("a publication");
    assert_eq!(running.ledger.counts().expect("counts").staged, 2, "then the power went");
    drop(running);
    let running = site.start();
    running.intake.recover(at(50)).expect("a recovery");
    running.settle_and_scan(60);
    check(&site, &running, "published, not noted");
}

#[test]
fn a_segment_without_note_and_a_note_without_segment_are_put_right() {
    let (site, running) = stopped_when_staged();
    let staged = running.ledger.files_in_state(FileState::Staged).expect("entries");
    running.ledger.unstage(&staged[0].source_file_id).expect("its note was never written");
    let segments = running.lake.segments().expect("segments");
    let other = segments.iter().find(|segment| segment.header.source_file_id == staged[1].source_file_id);
    running.lake.discard_segment(other.expect("its segment")).expect("its segment is lost");
    drop(running);
    let running = site.start();
    running.intake.recover(at(50)).expect("a recovery");
    running.settle_and_scan(60);
    check(&site, &running, "segments and notes apart");
}

#[test]
fn a_damaged_segment_is_set_aside_and_its_file_read_again() {
    for (description, table) in [(true, false), (false, true), (true, true)] {
        let (site, running) = stopped_when_staged();
        let segments = running.lake.segments().expect("segments");
        if description {
            std::fs::write(segments[0].folder.join("segment.json"), "{").expect("spoilt");
        }
        if table {
            let path = segments[1].folder.join(&segments[1].tables[0].file);
            let bytes = std::fs::read(&path).expect("a table");
            std::fs::write(path, &bytes[..bytes.len() - 9]).expect("cut off");
        }
        let report = running.intake.scan_once(at(50)).expect("the scan goes on");
        assert_eq!(report.troubles.len(), 0, "{report:?}");
        running.settle_and_scan(60);
        check(&site, &running, "damaged in staging");
        let aside = std::fs::read_dir(site.home.join("state/staging/damaged")).expect("set aside").count();
        assert_eq!(aside, usize::from(description) + usize::from(table));
    }
}

#[test]
fn an_archive_that_fails_is_tried_again_and_nothing_is_imported_twice() {
    let site = Site::new();
    let running = site.start();
    let obstacle = site.home.join("archive").join("2026");
    std::fs::write(&obstacle, "in the way").expect("a file where a folder must be");
    let path = site.drop_file("session_1_bay2.csv", export(1..4));
    let report = running.settle_and_scan(0);
    assert_eq!((report.files_published, report.archived, report.troubles.len()), (1, 0, 1), "{report:?}");
    assert!(path.exists());
    let report = running.settle_and_scan(10);
    assert_eq!((report.files_published, report.duplicates, report.troubles.len()), (0, 0, 1), "{report:?}");
    let entry = &running.ledger.files_in_state(FileState::Published).expect("entries")[0];
    assert!(entry.reason.as_deref().expect("told").contains("hint:"));
    std::fs::remove_file(&obstacle).expect("mended");
    let report = running.intake.scan_once(at(20)).expect("the next scan");
    assert_eq!((report.archived, report.troubles.len()), (1, 0), "{report:?}");
    assert!(!path.exists());
    assert_eq!(running.shot_ids().len(), 3);
}

#[test]
fn a_file_overwritten_before_it_was_archived_is_told_and_the_new_one_taken() {
    let site = Site::new();
    let running = site.start();
    let obstacle = site.home.join("archive").join("2026");
    std::fs::write(&obstacle, "in the way").expect("a file where a folder must be");
    let first = export(1..4);
    let path = site.drop_file("session_1_bay2.csv", &first);
    running.settle_and_scan(0);
    std::fs::remove_file(&obstacle).expect("mended");
    std::fs::write(&path, export(1..6)).expect("the device overwrites its export");
    running.settle_and_scan(10);
    assert_eq!(running.shot_ids().len(), 5);
    assert_eq!(site.tree("archive").len(), 1);
    let hash = files::sha256_of_bytes(first.as_bytes());
    let entry = running.ledger.file(&hash).expect("read").expect("entry");
    assert_eq!((entry.state, entry.archive_path.as_deref()), (FileState::Archived, None));
    assert!(entry.reason.expect("told").contains("overwrote"));
    // The old export turns up again: now the archive gets its copy.
    site.drop_file("session_1_bay2.csv", &first);
    assert_eq!(running.settle_and_scan(20).duplicates, 1);
    assert_eq!(site.tree("archive").len(), 2);
    assert_eq!(running.shot_ids().len(), 5);
}

#[test]
fn a_start_removes_what_a_crash_left_half_written() {
    let site = Site::new();
    let running = site.start();
    site.drop_file("session_1_bay2.csv", export(1..4));
    site.drop_file("junk.bin", "no export");
    running.settle_and_scan(0);
    drop(running);
    let refused = format!("quarantine/2026-11-20-{}", &files::sha256_of_bytes(b"no export")[..12]);
    let mut strays = Vec::new();
    for folder in ["archive/2026/11", "archive/2026/10", "archive/duplicates", refused.as_str()] {
        let folder = site.home.join(folder);
        std::fs::create_dir_all(&folder).expect("a folder");
        for (name, is_ours) in [(".a.csv.77-3.part", true), (".somebody.part", false)] {
            std::fs::write(folder.join(name), "half").expect("a stray");
            strays.push((folder.join(name), is_ours));
        }
    }
    // A folder in which nothing but the stray stands.
    let emptied = site.home.join("quarantine/2026-11-19-0123456789ab");
    std::fs::create_dir_all(&emptied).expect("a folder");
    std::fs::write(emptied.join(".b.csv.reason.json.77-4.part"), "half").expect("a stray");
    let kept = (site.tree("archive"), site.tree("quarantine"));
    site.start().intake.recover(at(100)).expect("a recovery");
    for (path, is_ours) in strays {
        assert_eq!(path.exists(), !is_ours, "{}", path.display());
    }
    assert!(!emptied.exists());
    assert_eq!((site.tree("archive"), site.tree("quarantine")), kept);
}

const CHILD_HOME: &str = "INTAKE_TEST_CHILD_HOME";
const CHILD_FILES: u32 = 24;

/// The process that is killed: imports as a daemon does until there is nothing left to do.
fn be_the_child(home: PathBuf) {
    let site = Site::in_home(home);
    let running = site.start();
    let mut settings = site.settings();
    settings.quiet_period = Duration::ZERO;
    let intake = Intake::open(
        settings,
        Files::new(),
        running.ledger.clone(),
        running.lake.clone(),
        site.packs.clone(),
        site.roster.clone(),
    )
    .expect("open");
    while running.ledger.counts().expect("counts").archived < i64::from(CHILD_FILES) {
        intake.scan_once(chrono::Utc::now()).expect("a scan");
    }
}

#[test]
fn a_process_killed_at_any_moment_loses_and_doubles_nothing() {
    if let Ok(home) = std::env::var(CHILD_HOME) {
        return be_the_child(PathBuf::from(home));
    }
    let site = Site::new();
    // Each export repeats the last two shots of the one before.
    for number in 0..CHILD_FILES {
        site.drop_file(&format!("session_{number}_bay2.csv"), export(number * 2 + 1..number * 2 + 5));
    }
    let mut kills = 0;
    let mut delay = 10;
    loop {
        let mut child = Command::new(std::env::current_exe().expect("this program"))
            .args(["--exact", "crash::a_process_killed_at_any_moment_loses_and_doubles_nothing"])
            .env(CHILD_HOME, &site.home)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("a child");
        std::thread::sleep(Duration::from_millis(delay));
        if let Some(status) = child.try_wait().expect("the child's state") {
            assert!(status.success(), "the child ended by itself: {status}");
            break;
        }
        child.kill().expect("kill -9");
        child.wait().expect("the child is gone");
        kills += 1;
        delay += 7; // later each time, so that the kills fall on different steps
        assert!(kills < 1_000, "the import never comes to an end");
    }
    assert!(kills > 3, "only {kills} kills");
    let running = site.start();
    let ids = running.shot_ids();
    let apart: std::collections::HashSet<&String> = ids.iter().collect();
    let expected = CHILD_FILES as usize * 2 + 2;
    assert_eq!((ids.len(), apart.len()), (expected, expected), "after {kills} kills every shot exactly once");
    assert_eq!(site.tree("import"), Vec::<String>::new());
    assert_eq!(site.tree("archive").len(), CHILD_FILES as usize);
}
