//! Shares that are away, come back, or vanish while they are read.

use std::io::ErrorKind;
use std::path::Path;

use files::{Files, Volume};
use intake::{Intake, IntakeSettings};
use ledger::SightingState;

use crate::site::{Running, Site, at, export};

fn volume(kind: &str, is_network: bool) -> Volume {
    Volume { kind: kind.into(), is_network, free_bytes: 1 << 40, total_bytes: 1 << 41, device: 77 }
}

/// Opens intake anew with other settings and the handle that a test steers.
pub fn reopen(site: &Site, running: &mut Running, files: &Files, settings: IntakeSettings) {
    let (ledger, lake) = (running.ledger.clone(), running.lake.clone());
    running.intake = Intake::open(settings, files.clone(), ledger, lake, site.packs.clone(), site.roster.clone())
        .expect("intake opens");
}

fn empty(folder: &Path, into: &Path) {
    std::fs::create_dir_all(into).expect("a folder");
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        std::fs::rename(&path, into.join(path.file_name().expect("a name"))).expect("moved");
    }
}

#[test]
fn a_share_that_is_not_mounted_is_retried_and_never_empty() {
    let site = Site::new();
    let files = Files::new();
    let mut running = site.try_start(&files).expect("a start");
    let (import, away) = (site.home.join("import"), site.home.join("away"));
    files.pretend_volume(&import, Some(volume("nfs", true)));
    site.drop_file("session_1_bay2.csv", export(1..3));
    running.intake.scan_once(at(0)).expect("a look");
    assert_eq!(running.ledger.watched_volumes().expect("volumes")[0].kind, "nfs");

    // The mount goes: the folder below it is an ordinary one with nothing in it. A restart in between must not forget.
    empty(&import, &away);
    files.pretend_volume(&import, None);
    reopen(&site, &mut running, &files, site.settings());
    let report = running.intake.scan_once(at(4)).expect("a look");
    assert!(report.troubles[0].message.contains("the share is not mounted"), "{report:?}");
    let sightings = running.ledger.sightings().expect("sightings");
    assert_eq!(sightings.len(), 2, "the folder, and the file that was seen in it");
    assert!(sightings.iter().all(|sighting| sighting.state == SightingState::Retrying), "{sightings:?}");
    assert_eq!(running.intake.vitals().retrying, 2);

    empty(&away, &import);
    files.pretend_volume(&import, Some(volume("nfs", true)));
    let report = running.intake.scan_once(at(8)).expect("a look");
    assert_eq!((report.files_published, report.troubles.len()), (1, 0), "{report:?}");
    // Empty and mounted is empty.
    assert_eq!(running.intake.scan_once(at(30)).expect("a look").troubles, []);
}

#[test]
fn a_folder_said_to_be_a_share_is_not_believed_on_the_volume_of_the_home() {
    let site = Site::new();
    let files = Files::new();
    let mut running = site.try_start(&files).expect("a start");
    let mut settings = site.settings();
    settings.folders[0].share = true;
    reopen(&site, &mut running, &files, settings);
    let report = running.intake.scan_once(at(0)).expect("a look");
    assert!(report.troubles[0].message.contains("not mounted"), "{report:?}");
    // Another disk of this machine, which it may share out itself.
    files.pretend_volume(&site.home.join("import"), Some(volume("ext4", false)));
    assert_eq!(running.intake.scan_once(at(4)).expect("a look").troubles, []);
    files.pretend_volume(&site.home.join("import"), Some(volume("autofs", true)));
    assert_eq!(running.intake.scan_once(at(40)).expect("a look").troubles.len(), 1, "an automatic mount that failed");
}

#[test]
fn a_quiet_share_is_looked_at_from_time_to_time_only() {
    let site = Site::new();
    let files = Files::new();
    let running = site.try_start(&files).expect("a start");
    files.pretend_volume(&site.home.join("import"), Some(volume("smb", true)));
    running.intake.scan_once(at(0)).expect("a look");
    site.drop_file("session_1_bay2.csv", export(1..3));
    assert_eq!(running.intake.scan_once(at(5)).expect("not its turn").settling, 0);
    assert_eq!(running.intake.scan_once(at(10)).expect("its turn").settling, 1);
    // What settles there is looked at as often as anywhere.
    assert_eq!(running.intake.scan_once(at(14)).expect("a look").files_published, 1);
}

#[test]
fn a_share_that_vanishes_while_it_is_read_costs_nothing() {
    let site = Site::new();
    let files = Files::new();
    let running = site.try_start(&files).expect("a start");
    let import = site.home.join("import");
    files.pretend_volume(&import, Some(volume("nfs", true)));
    for number in 1..4 {
        site.drop_file(&format!("session_{number}_bay2.csv"), export(number * 10..number * 10 + 2));
    }
    running.intake.scan_once(at(0)).expect("a look");
    // The look still works, then the server is gone for one file, then for everything.
    let first = import.join("session_1_bay2.csv");
    files.set_outage(&first, Some(ErrorKind::StaleNetworkFileHandle));
    let report = running.intake.scan_once(at(4)).expect("a look");
    assert_eq!((report.files_published, report.troubles.len()), (2, 1), "{report:?}");
    files.set_outage(&import, Some(ErrorKind::HostUnreachable));
    let report = running.intake.scan_once(at(8)).expect("a look");
    assert_eq!((report.files_published, report.troubles.len()), (0, 1), "{report:?}");
    assert!(
        running.ledger.sightings().expect("sightings").iter().any(|seen| seen.path.ends_with("session_1_bay2.csv"))
    );
    files.set_outage(&first, None);
    files.set_outage(&import, None);
    let report = running.settle_and_scan(20);
    assert_eq!(report.files_published, 1, "{report:?}");
    assert_eq!(running.shot_ids().len(), 6);
    assert_eq!(site.tree("import"), Vec::<String>::new());
}

#[test]
fn permission_denied_is_told_with_what_to_do_and_tried_again() {
    let site = Site::new();
    let files = Files::new();
    let running = site.try_start(&files).expect("a start");
    std::fs::create_dir(site.home.join("import/bay2")).expect("a folder");
    let path = site.drop_file("bay2/session_1_bay2.csv", export(1..3));
    for refused in [path.clone(), site.home.join("import/bay2")] {
        files.set_outage(&refused, Some(ErrorKind::PermissionDenied));
        running.intake.scan_once(at(0)).expect("a look");
        let report = running.intake.scan_once(at(4)).expect("a look");
        assert_eq!(report.files_published, 0);
        assert!(report.troubles[0].message.contains("hint: give the account"), "{report:?}");
        let sightings = running.ledger.sightings().expect("sightings");
        assert!(sightings.iter().all(|sighting| sighting.state == SightingState::Retrying), "{sightings:?}");
        files.set_outage(&refused, None);
    }
    assert_eq!(running.settle_and_scan(20).files_published, 1);
}
