//! When a file is whole.

use std::io::Write as _;

use ledger::SightingState;

use crate::site::{Site, at, export, row};

#[test]
fn a_file_is_not_taken_while_it_grows() {
    let site = Site::new();
    let running = site.start();
    let path = site.drop_file("session_1_bay2.csv", export(1..3));
    for second in 0..5_u32 {
        let report = running.intake.scan_once(at(i64::from(second) * 2)).expect("a look");
        assert_eq!((report.files_published, report.settling), (0, 1), "look {second}");
        let mut file = std::fs::OpenOptions::new().append(true).open(&path).expect("the device's handle");
        file.write_all(row(10 + second, "Wren").as_bytes()).expect("another row");
    }
    assert_eq!(running.intake.scan_once(at(20)).expect("a look").files_published, 0);
    let early = running.intake.scan_once(at(22)).expect("too early");
    assert_eq!(early.files_published, 0, "the quiet period has not passed");
    let report = running.intake.scan_once(at(24)).expect("quiet long enough");
    assert_eq!((report.files_published, report.shots), (1, 7));
}

#[test]
fn a_row_cut_in_half_waits_then_counts_as_broken_and_is_mended_when_it_grows() {
    let site = Site::new();
    let running = site.start();
    let whole = export(1..4);
    let path = site.drop_file("session_1_bay2.csv", &whole[..whole.len() - 20]);
    let report = running.settle_and_scan(0);
    assert_eq!((report.files_published, report.settling), (0, 1));
    let sighting = running.ledger.sightings().expect("sightings").remove(0);
    assert!(sighting.note.contains("no end"), "{}", sighting.note);
    let report = running.intake.scan_once(at(20)).expect("a little later");
    assert_eq!((report.files_published, report.settling), (0, 1), "it still waits");

    // A device that ends its files without a line end must not wait for ever: what is whole is taken.
    let report = running.intake.scan_once(at(3_600)).expect("an hour later");
    assert_eq!((report.files_published, report.shots, report.rejected), (1, 2, 1));

    std::fs::write(&path, &whole).expect("the device goes on after all");
    let report = running.settle_and_scan(4_000);
    assert_eq!((report.files_published, report.shots), (1, 3));
    let ids = running.shot_ids();
    assert_eq!(ids.len(), 3, "the rows of the first reading and of the second are the same shots: {ids:?}");
    assert_eq!(running.ledger.sightings().expect("sightings"), []);
}

#[test]
fn temporary_and_ignored_names_and_empty_files_are_left_alone() {
    let site = Site::new();
    let mut running = site.start();
    let mut settings = site.settings();
    settings.folders[0].ignore = vec!["*.LOG".into()];
    running.intake = intake::Intake::open(
        settings,
        files::Files::new(),
        running.ledger.clone(),
        running.lake.clone(),
        site.packs.clone(),
        site.roster.clone(),
    )
    .expect("open");
    for name in [".session_1_bay2.csv", "~session_1_bay2.csv", "session_1_bay2.csv.part", "device.log"] {
        site.drop_file(name, export(1..3));
    }
    site.drop_file("session_2_bay2.csv", "");
    let report = running.settle_and_scan(0);
    assert_eq!((report.files_published, report.quarantined, report.settling), (0, 0, 1));
    let sightings = running.ledger.sightings().expect("sightings");
    assert_eq!((sightings.len(), sightings[0].note.as_str()), (1, "it is empty"));
}

#[test]
fn subfolders_are_read_too() {
    let site = Site::new();
    let running = site.start();
    std::fs::create_dir_all(site.home.join("import/bay2/april")).expect("folders");
    site.drop_file("bay2/april/session_1_bay2.csv", export(1..3));
    assert_eq!(running.settle_and_scan(0).shots, 2);
}

#[test]
fn an_absent_folder_is_no_empty_one() {
    let site = Site::new();
    let running = site.start();
    site.drop_file("session_1_bay2.csv", export(1..3));
    running.intake.scan_once(at(0)).expect("a look");
    let (import, away) = (site.home.join("import"), site.home.join("unmounted"));
    std::fs::rename(&import, &away).expect("the share goes away");
    let report = running.intake.scan_once(at(2)).expect("a look");
    assert_eq!(report.troubles.len(), 1, "{report:?}");
    assert!(report.troubles[0].message.contains("hint:"));
    let sightings = running.ledger.sightings().expect("sightings");
    assert_eq!(sightings.len(), 2, "the folder itself, and the file that was seen in it");
    assert!(sightings.iter().all(|sighting| sighting.state == SightingState::Retrying));
    std::fs::rename(&away, &import).expect("it comes back");
    let report = running.intake.scan_once(at(4)).expect("a look");
    assert_eq!((report.files_published, report.troubles.len()), (1, 0), "unchanged since four seconds ago");
    assert_eq!(running.ledger.sightings().expect("sightings"), []);
}

#[test]
fn a_restart_remembers_what_was_settling() {
    let site = Site::new();
    site.drop_file("session_1_bay2.csv", export(1..3));
    site.start().intake.scan_once(at(0)).expect("a look");
    assert_eq!(site.start().intake.scan_once(at(4)).expect("a look").files_published, 1);
}

#[test]
fn rows_written_after_archiving_through_an_open_handle_are_not_lost() {
    let site = Site::new();
    let running = site.start();
    let path = site.drop_file("session_1_bay2.csv", export(1..4));
    let mut handle = std::fs::OpenOptions::new().append(true).open(&path).expect("the device's handle");
    assert_eq!(running.settle_and_scan(0).shots, 3);
    assert!(!path.exists(), "it went to the archive");

    handle.write_all(row(4, "Wren").as_bytes()).expect("a row after the pause");
    handle.write_all(row(5, "Wren").as_bytes()).expect("another row");
    running.intake.scan_once(at(60)).expect("the scan that notices");
    running.settle_and_scan(70);
    assert_eq!(running.shot_ids().len(), 5, "every row, none twice");
    assert_eq!(site.tree("import"), Vec::<String>::new());
    let archived = site.tree("archive");
    assert_eq!(archived.len(), 1, "{archived:?}");
    let bytes = std::fs::read(site.home.join("archive").join(&archived[0])).expect("the archived file");
    assert!(archived[0].contains(&files::sha256_of_bytes(&bytes)[..12]), "the name tells the hash of what is inside");
}
