//! Devices that keep a file open and write on when it suits them.

use std::io::Write as _;
use std::path::Path;

use ledger::{FileState, SightingState};

use crate::site::{HEADER, Site, at, export, row};

fn open_to_append(path: &Path) -> std::fs::File {
    std::fs::OpenOptions::new().append(true).open(path).expect("the device's handle")
}

#[test]
fn an_export_with_its_header_only_waits_for_its_first_row() {
    let site = Site::new();
    let running = site.start();
    let path = site.drop_file("session_1_bay2.csv", HEADER);
    let mut handle = open_to_append(&path);
    for second in [0, 4, 8, 70, 200] {
        let report = running.intake.scan_once(at(second)).expect("a scan");
        assert_eq!((report.quarantined, report.files_published, report.settling), (0, 0, 1), "second {second}");
    }
    let note = running.ledger.sightings().expect("sightings").remove(0).note;
    assert!(note.contains("no rows yet"), "{note}");
    // Not even after very long, but then it is told.
    let report = running.intake.scan_once(at(90_000)).expect("a day later");
    assert_eq!((report.quarantined, report.waiting), (0, 1));
    let sighting = running.ledger.sightings().expect("sightings").remove(0);
    assert_eq!(sighting.state, SightingState::Waiting);
    assert!(sighting.note.contains("no rows yet"), "{}", sighting.note);

    handle.write_all(row(1, "Wren").as_bytes()).expect("the first shot");
    let report = running.settle_and_scan(90_010);
    assert_eq!((report.files_published, report.shots), (1, 1));
    assert_eq!(site.tree("quarantine"), Vec::<String>::new());
}

#[test]
fn a_refused_file_that_its_device_writes_on_is_looked_at_again() {
    let site = Site::new();
    let running = site.start();
    let whole = export(1..4);
    // Only a part of the first line was written when the device paused: nothing that any pack knows.
    let (begin, rest) = whole.split_at(5);
    let path = site.drop_file("session_1_bay2.csv", begin);
    let mut handle = open_to_append(&path);
    assert_eq!(running.settle_and_scan(0).quarantined, 1);
    assert!(!path.exists(), "it went to quarantine");

    handle.write_all(rest.as_bytes()).expect("the device goes on");
    running.intake.scan_once(at(10)).expect("the scan that notices");
    assert_eq!(running.settle_and_scan(11).shots, 3);
    assert_eq!(running.shot_ids().len(), 3);
    assert_eq!(site.tree("quarantine"), Vec::<String>::new());
    assert_eq!(std::fs::read_dir(site.home.join("quarantine")).expect("the folder").count(), 0);
    let refused = files::sha256_of_bytes(begin.as_bytes());
    assert_eq!(running.ledger.file(&refused).expect("read"), None, "those bytes are no more");
}

#[test]
fn a_twin_of_a_refused_file_grows_by_itself_and_the_other_keeps_the_reason() {
    let site = Site::new();
    let whole = export(1..4);
    let (begin, rest) = whole.split_at(5);
    let first = site.drop_file("session_1_bay2.csv", begin);
    let mut handle_on_first = open_to_append(&first);
    let running = site.start();
    assert_eq!(running.settle_and_scan(0).quarantined, 1);
    let second = site.drop_file("session_2_bay3.csv", begin);
    let mut handle_on_second = open_to_append(&second);
    assert_eq!(running.settle_and_scan(10).quarantined, 1);
    drop(running);

    // A start in between: the ledger tells what is to be watched.
    let running = site.start();
    handle_on_second.write_all(rest.replace(",4/12/2026,", ",4/13/2026,").as_bytes()).expect("the twin goes on");
    running.intake.scan_once(at(20)).expect("the scan that notices");
    assert_eq!(running.settle_and_scan(21).shots, 3);
    assert_eq!(running.texts(&shot::shots(), "bay"), ["3", "3", "3"]);
    let refused = files::sha256_of_bytes(begin.as_bytes());
    let entry = running.ledger.file(&refused).expect("read").expect("the first one is still refused");
    assert_eq!(entry.state, FileState::Quarantined);
    let folder = format!("2026-11-20-{}", &refused[..12]);
    assert_eq!(
        site.tree("quarantine"),
        [format!("{folder}/session_1_bay2.csv"), format!("{folder}/session_1_bay2.csv.reason.json")]
    );

    // A third name joins; then the file that bears the reason goes.
    site.drop_file("session_9_bay2.csv", begin);
    running.settle_and_scan(40);
    handle_on_first.write_all(rest.as_bytes()).expect("the first goes on as well");
    running.intake.scan_once(at(200)).expect("the scan that notices");
    assert_eq!(running.settle_and_scan(201).shots, 3);
    assert_eq!(running.shot_ids().len(), 6);
    let entry = running.ledger.file(&refused).expect("read").expect("the third name keeps the place");
    assert!(entry.quarantine_path.as_deref().expect("a path").ends_with("session_9_bay2.csv"), "{entry:?}");
    assert_eq!(
        site.tree("quarantine"),
        [format!("{folder}/session_9_bay2.csv"), format!("{folder}/session_9_bay2.csv.reason.json")]
    );
}

#[test]
fn a_file_that_no_pack_fits_waits_while_a_pack_cannot_be_used() {
    let folder = tempfile::tempdir().expect("folder");
    for entry in std::fs::read_dir(crate::site::packs_folder()).expect("packs").flatten() {
        let target = folder.path().join(entry.file_name());
        std::fs::create_dir(&target).expect("a pack's folder");
        let format = entry.path().join("format.toml");
        if format.is_file() {
            std::fs::copy(format, target.join("format.toml")).expect("a pack");
        }
    }
    let sound = formats::PackSet::load(folder.path()).0;
    let pack = sound.recognise("session_1_bay2.csv", export(1..4).as_bytes());
    let formats::Recognition::Match { pack, .. } = pack else { panic!("the export has its pack") };
    let mended = std::fs::read_to_string(folder.path().join(pack.name()).join("format.toml")).expect("the pack");
    let format = folder.path().join(pack.name()).join("format.toml");
    std::fs::write(&format, format!("{mended}\n[")).expect("a slip of the pen");

    let site = Site::with_packs(formats::PackSet::load(folder.path()).0);
    let running = site.start();
    let path = site.drop_file("session_1_bay2.csv", export(1..4));
    assert_eq!(running.settle_and_scan(0).quarantined, 0);
    assert_eq!(running.settle_and_scan(500).quarantined, 0, "not even when it has stood still for long");
    let note = running.ledger.sightings().expect("sightings").remove(0).note;
    assert!(note.contains(pack.name()) && note.contains("hint: mend the pack"), "{note}");
    assert!(path.exists());
    drop(running);

    std::fs::write(&format, &mended).expect("mended");
    let mut site = site;
    site.packs = formats::PackSet::load(folder.path()).0.into();
    let running = site.start();
    running.settle_and_scan(600);
    assert_eq!(running.shot_ids().len(), 3);
}
