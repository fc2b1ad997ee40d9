//! From the import folder into lake, archive and quarantine.

use ledger::FileState;

use crate::site::{Site, at, export, row};
use intake::FileOutcome;

#[test]
fn a_file_reaches_the_lake_and_the_archive() {
    let site = Site::new();
    let running = site.start();
    let text = export(1..4);
    site.drop_file("session_1_bay2.csv", &text);
    let report = running.settle_and_scan(0);
    assert_eq!((report.files_published, report.shots, report.archived), (1, 3, 1));
    assert_eq!(running.texts(&shot::shots(), "bay"), ["2", "2", "2"]);
    assert_eq!(running.texts(&shot::imports(), "file_name"), ["session_1_bay2.csv"]);
    assert_eq!(site.tree("import"), Vec::<String>::new());
    let hash = files::sha256_of_bytes(text.as_bytes());
    assert_eq!(site.tree("archive"), [format!("2026/11/import/{}-session_1_bay2.csv", &hash[..12])]);
    let kept = std::fs::read(site.home.join("archive").join(&site.tree("archive")[0])).expect("the archived file");
    assert_eq!(kept, text.as_bytes());
    let entry = running.ledger.file(&hash).expect("read").expect("an entry");
    assert_eq!((entry.state, entry.rows_accepted, entry.rows_rejected), (FileState::Archived, 3, 0));
    assert!(running.ledger.generations().expect("read").iter().any(|g| g.dataset == "shots" && g.month == "2026-04"));
}

#[test]
fn the_same_bytes_under_another_name_add_nothing() {
    let site = Site::new();
    let running = site.start();
    let text = export(1..4);
    site.drop_file("session_1_bay2.csv", &text);
    running.settle_and_scan(0);
    let generation = running.lake.manifest().expect("manifest").generation;

    site.drop_file("session_1_bay2 (1).csv", &text);
    let report = running.settle_and_scan(100);
    assert_eq!((report.duplicates, report.files_published), (1, 0));
    assert_eq!(running.shot_ids().len(), 3);
    assert_eq!(running.lake.manifest().expect("manifest").generation, generation, "no partition was touched");
    let hash = files::sha256_of_bytes(text.as_bytes());
    let names: Vec<String> = running.ledger.names_of(&hash).expect("names").into_iter().map(|name| name.name).collect();
    assert_eq!(names, ["session_1_bay2.csv", "session_1_bay2 (1).csv"]);
    assert_eq!(site.tree("import"), Vec::<String>::new());
    assert!(site.tree("archive").contains(&format!("duplicates/{}-session_1_bay2 (1).csv", &hash[..12])));

    // The very same name once more, and two twins in one look.
    site.drop_file("session_1_bay2.csv", &text);
    let other = export(10..12);
    site.drop_file("session_2_bay2.csv", &other);
    site.drop_file("session_2_bay2 copy.csv", &other);
    let report = running.settle_and_scan(200);
    assert_eq!((report.duplicates, report.files_published, report.shots), (2, 1, 2));
    assert_eq!(running.shot_ids().len(), 5);
    assert_eq!(site.tree("import"), Vec::<String>::new());
}

#[test]
fn an_overlapping_export_adds_only_what_is_new() {
    let site = Site::new();
    let running = site.start();
    site.drop_file("session_1_bay2.csv", export(1..4));
    running.settle_and_scan(0);
    let before = running.shot_ids();
    site.drop_file("session_1b_bay2.csv", export(1..6));
    running.settle_and_scan(100);
    let after = running.shot_ids();
    assert_eq!(after.len(), 5);
    assert!(before.iter().all(|id| after.contains(id)));
}

#[test]
fn broken_rows_are_rejected_and_the_others_stand() {
    let site = Site::new();
    let running = site.start();
    let mut text = export(1..5);
    text.push_str(&row(5, "Wren").replace("141.8", "fast"));
    text.push_str(&row(2, "Wren").replace("12.6", "12.9")); // another shot with the key of row 2
    text.push_str(&row(3, "Wren")); // row 3 once more
    site.drop_file("session_1_bay2.csv", &text);
    let report = running.settle_and_scan(0);
    assert_eq!((report.shots, report.rejected), (5, 2));
    let rules = running.texts(&shot::rejects(), "rule");
    assert_eq!(rules.len(), 2, "{rules:?}");
    assert!(rules.contains(&"repeated-row".to_owned()), "{rules:?}");
    assert!(running.texts(&shot::rejects(), "source_text").contains(&"fast".to_owned()));
    let flagged = running.texts(&shot::shots(), "quality").into_iter().filter(|q| q.contains("same-key")).count();
    assert_eq!(flagged, 2);
    let ids = running.shot_ids();
    assert_eq!(ids.iter().collect::<std::collections::HashSet<_>>().len(), 5);
}

#[test]
fn what_is_no_export_goes_to_quarantine_intact() {
    let site = Site::new();
    let running = site.start();
    let junk = b"\x00\x01 this is no export\n";
    site.drop_file("notes.txt", junk);
    let mut mostly_broken = export(1..2);
    for number in 2..8 {
        mostly_broken.push_str(&row(number, "Wren").replace("141.8", "?"));
    }
    site.drop_file("session_9_bay1.csv", &mostly_broken);
    let report = running.settle_and_scan(0);
    assert_eq!((report.quarantined, report.files_published), (2, 0));
    assert_eq!(running.shot_ids(), Vec::<String>::new());
    assert_eq!(site.tree("import"), Vec::<String>::new());

    let hash = files::sha256_of_bytes(junk);
    let folder = format!("2026-11-20-{}", &hash[..12]);
    let tree = site.tree("quarantine");
    assert!(tree.contains(&format!("{folder}/notes.txt")), "{tree:?}");
    let kept = std::fs::read(site.home.join("quarantine").join(&folder).join("notes.txt")).expect("kept");
    assert_eq!(kept, junk);
    let reason = site.home.join("quarantine").join(&folder).join("notes.txt.reason.json");
    let reason: serde_json::Value =
        serde_json::from_slice(&std::fs::read(reason).expect("a reason")).expect("it is JSON");
    assert_eq!(reason["source_file_id"], hash);
    assert!(reason["hint"].as_str().is_some_and(|hint| !hint.is_empty()));
    assert_eq!(reason["scores"].as_array().map(Vec::len), Some(site.packs.packs().len()));

    let broken = files::sha256_of_bytes(mostly_broken.as_bytes());
    let entry = running.ledger.file(&broken).expect("read").expect("an entry");
    assert_eq!(entry.format.as_deref(), Some("plain-imperial"));
    assert!(entry.reason.expect("a reason").contains("6 of its 7 rows"));

    // The same junk under a new name joins it.
    site.drop_file("other notes.txt", junk);
    let report = running.settle_and_scan(100);
    assert_eq!(report.quarantined, 1);
    assert!(site.tree("quarantine").contains(&format!("{folder}/other notes.txt")));
    let reason = site.home.join("quarantine").join(&folder).join("notes.txt.reason.json");
    let reason: serde_json::Value =
        serde_json::from_slice(&std::fs::read(reason).expect("the reason")).expect("it is still JSON");
    let further = reason["also_arrived_as"].as_array().expect("the further names");
    assert_eq!((further.len(), further[0]["name"].as_str()), (1, Some("other notes.txt")));
    assert_eq!(running.ledger.names_of(&hash).expect("names").len(), 2);
    assert_eq!(running.ledger.counts().expect("counts").quarantined, 2);
}

#[test]
fn a_file_too_large_is_refused_unread() {
    let site = Site::new();
    let mut running = site.start();
    let mut settings = site.settings();
    settings.limits.max_file_bytes = 100;
    running.intake = intake::Intake::open(
        settings,
        files::Files::new(),
        running.ledger.clone(),
        running.lake.clone(),
        site.packs.clone(),
        site.roster.clone(),
    )
    .expect("open");
    site.drop_file("session_1_bay2.csv", export(1..40));
    let report = running.settle_and_scan(0);
    assert_eq!(report.quarantined, 1);
    let entry = &running.ledger.files_in_state(FileState::Quarantined).expect("read")[0];
    assert!(entry.reason.as_deref().expect("reason").contains("the limit is 100"));
}

#[test]
fn a_file_named_by_a_person_is_copied_and_stays() {
    let site = Site::new();
    let running = site.start();
    let outside = tempfile::tempdir().expect("a folder");
    let good = outside.path().join("session_1_bay2.csv");
    let text = export(1..4);
    std::fs::write(&good, text.trim_end()).expect("a file without a last line end");
    let junk = outside.path().join("junk.bin");
    std::fs::write(&junk, b"junk").expect("a file");
    let paths = [good.clone(), junk.clone(), outside.path().join("absent.csv")];
    let outcomes = running.intake.import_now(&paths, at(0)).expect("an import");
    let of =
        |path: &std::path::Path| outcomes.iter().find(|(p, _)| p == path).map(|(_, o)| o.clone()).expect("outcome");
    assert!(matches!(of(&good), FileOutcome::Imported { shots: 3, rejected: 0, .. }), "{outcomes:?}");
    let FileOutcome::Imported { note, .. } = of(&good) else { unreachable!("just seen") };
    assert!(note.expect("it lies in no import folder").contains("environment (indoor, outdoor) of 3"), "{outcomes:?}");
    assert!(matches!(of(&junk), FileOutcome::Quarantined { .. }), "{outcomes:?}");
    assert!(matches!(of(&paths[2]), FileOutcome::Failed { .. }), "{outcomes:?}");
    assert!(good.exists() && junk.exists());
    assert_eq!(site.tree("archive").len(), 1);
    // Editing the original in place does not reach the archive.
    std::fs::write(&good, "edited").expect("an edit");
    let archived = std::fs::read(site.home.join("archive").join(&site.tree("archive")[0])).expect("archived");
    assert_eq!(archived, text.trim_end().as_bytes());

    std::fs::write(&good, text.trim_end()).expect("back");
    let outcomes = running.intake.import_now(&[outside.path().to_owned()], at(9)).expect("a folder");
    assert!(outcomes.iter().any(|(_, outcome)| matches!(outcome, FileOutcome::Duplicate { .. })), "{outcomes:?}");
    assert_eq!(running.shot_ids().len(), 3);
    assert!(good.exists());
}

#[test]
fn overlapping_folders_are_refused() {
    let site = Site::new();
    let running = site.start();
    let mut settings = site.settings();
    settings.archive_dir = site.home.join("import").join("done");
    let error = intake::Intake::open(
        settings,
        files::Files::new(),
        running.ledger.clone(),
        running.lake.clone(),
        site.packs.clone(),
        site.roster.clone(),
    )
    .expect_err("the archive would be imported again");
    assert!(error.to_string().contains("overlap"), "{error}");
}
