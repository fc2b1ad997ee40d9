//! The dry run: it tells what an import would do, and does nothing.

use std::path::{Path, PathBuf};

use intake::{Corrections, Foreseen, PreviewBasis, Roster, Unsettled, preview};
use ledger::Ledger;

use crate::site::{HEADER, Site, at, row};

/// Every file below a folder with its bytes.
fn bytes_below(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            found.push((path.clone(), Vec::new()));
            found.extend(bytes_below(&path));
        } else {
            let bytes = std::fs::read(&path).expect("a file");
            found.push((path, bytes));
        }
    }
    found.sort();
    found
}

#[test]
fn a_dry_run_tells_everything_and_touches_nothing() {
    let site = Site::new();
    let running = site.start();
    site.drop_file("session_1_bay2.csv", format!("{HEADER}{}", row(1, "Wren")));
    site.drop_file("notes.txt", "no export\n");
    running.settle_and_scan(0);
    drop(running);
    let outside = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| {
        let path = outside.path().join(name);
        std::fs::write(&path, text).expect("a file");
        path
    };
    let known = write("again.csv", &format!("{HEADER}{}", row(1, "Wren")));
    let strange = row(4, "Stranger").replace(",Driver,", ",2 Iron,").replace(",Play,", ",Frolic,");
    let rows = [row(2, "Wren"), row(3, "Merlin"), strange, row(3, "Merlin"), row(5, "wren")].concat();
    let good = write("session_2_bay3.csv", &format!("{HEADER}{rows}"));
    let twin = write("session_2_bay3 copy.csv", &format!("{HEADER}{rows}"));
    let junk = write("junk.bin", "no export at all\n");
    let empty = write("empty.csv", "");
    let absent = outside.path().join("absent.csv");
    let list = write(
        "spray-a-bay2.csv",
        "Day: 2026-04-12\n====\nBall,Clock,Player,Club,Across,Height\n1,15:07,wren,D,12 toe,3 low\n",
    );

    let roster = "player_id,shown_as,aliases,hand,coach,groups,consent,clubs,stock_path_deg,stock_face_deg\n\
                  wren,Wren,Wren,right,,,yes,,,\nmerlin,Merlin,,right,,,no,,,\n";
    let (roster, faults) = Roster::parse(Path::new("roster.csv"), roster);
    assert_eq!(faults, []);
    let lines = "action,file,from,to,bay,player,shot,value,note\n\
                 exclude,session_2_bay3.csv,,,,wren,,,\nguest,,,,9,,,,\n";
    let (corrections, faults) = Corrections::parse(Path::new("c.csv"), lines, chrono_tz::America::New_York);
    assert_eq!(faults, []);
    let before = (bytes_below(&site.home), bytes_below(outside.path()));

    let settings = site.settings();
    let ledger = Ledger::open_to_read(&site.home.join("state/ledger.sqlite")).expect("readable").expect("a ledger");
    let basis = PreviewBasis {
        settings: &settings,
        packs: &site.packs,
        roster: &roster,
        corrections: &corrections,
        ledger: Some(&ledger),
    };
    let paths = [known, good, twin, junk, empty, absent, list];
    let told: Vec<Foreseen> =
        preview(&basis, &paths).expect("a preview").into_iter().map(|preview| preview.foreseen).collect();
    drop(ledger);
    assert_eq!((bytes_below(&site.home), bytes_below(outside.path())), before, "nothing was touched");

    assert_eq!(told[0], Foreseen::Known { first_name: "session_1_bay2.csv".into() });
    let Foreseen::Taken(taking) = &told[1] else { panic!("{:?}", told[1]) };
    assert_eq!((taking.pack.as_str(), taking.shots, taking.marks, taking.rejected), ("plain-imperial", 3, 0, 2));
    assert_eq!(taking.score.as_ref().map(|score| score.score), Some(100));
    let words: Vec<&str> = taking.unknown_words.iter().map(|(_, word, _)| word.as_str()).collect();
    assert!(words.contains(&"2 Iron"), "{words:?}");
    let names: Vec<(&str, Unsettled, i64)> =
        taking.names.iter().map(|name| (name.text.as_str(), name.why, name.rows)).collect();
    assert_eq!(names, [("Merlin", Unsettled::WithoutConsent, 2)]);
    assert_eq!(taking.corrections, [(2, 2)], "line 2 selects both shots of Wren");
    assert!(taking.problems.iter().any(|problem| problem.rule == "repeated-row"));
    assert_eq!(told[2], Foreseen::Known { first_name: "session_2_bay3.csv".into() });
    assert!(matches!(&told[3], Foreseen::Refused { scores, .. } if scores.len() == site.packs.packs().len()));
    assert!(matches!(&told[4], Foreseen::Unreadable { message } if message.contains("empty")));
    assert!(matches!(&told[5], Foreseen::Unreadable { message } if message.contains("does not exist")));
    assert!(matches!(&told[6], Foreseen::Taken(taking) if (taking.shots, taking.marks) == (0, 1)));

    // What was told is what happens.
    let mut site = site;
    site.roster = std::sync::Arc::new(roster);
    let outcomes = site.start().intake.import_now(&paths[1..2], at(50)).expect("an import");
    let imported = matches!(outcomes[0].1, intake::FileOutcome::Imported { shots: 3, rejected: 2, .. });
    assert!(imported, "{outcomes:?}");
}

#[test]
fn names_that_lead_nowhere_are_listed_until_the_roster_has_them() {
    let site = Site::new();
    let running = site.start();
    let rows = [row(1, "Wren"), row(2, "WREN"), row(3, "Merlin"), row(4, "Stranger")].concat();
    site.drop_file("session_1_bay2.csv", format!("{HEADER}{rows}"));
    site.drop_file("session_2_bay2.csv", format!("{HEADER}{}", row(9, "wren")));
    running.settle_and_scan(0);
    let settle = |lines: &str| {
        let header = "player_id,shown_as,aliases,hand,coach,groups,consent,clubs,stock_path_deg,stock_face_deg\n";
        let (roster, faults) = Roster::parse(Path::new("roster.csv"), &format!("{header}{lines}"));
        assert_eq!(faults, []);
        let mut names: Vec<(String, Unsettled, i64)> = Vec::new();
        for name in intake::names_to_settle(&running.ledger, &roster).expect("names") {
            names.push((name.text, name.why, name.rows));
        }
        names
    };
    let unknown = Unsettled::Unknown;
    assert_eq!(
        settle(""),
        [("wren".into(), unknown, 3), ("Stranger".into(), unknown, 1), ("Merlin".into(), unknown, 1)]
    );
    assert_eq!(
        settle("wren,Wren,Wren,right,,,yes,,,\nmerlin,Merlin,,right,,,no,,,\n"),
        [("Stranger".into(), unknown, 1), ("Merlin".into(), Unsettled::WithoutConsent, 1)]
    );
    // Names stand in the ledger only: not a byte of them is in the lake or the staging folder.
    for folder in ["lake", "state/staging"] {
        for name in site.tree(folder) {
            let bytes = std::fs::read(site.home.join(folder).join(&name)).expect("a file");
            assert!(!bytes.windows(8).any(|window| window == b"Stranger"), "{name}");
        }
    }
}

#[test]
fn a_renamed_column_is_told_with_the_line_that_follows_it() {
    let site = Site::new();
    let running = site.start();
    let renamed = HEADER.replace(",Total Turn,", ",TotalTurn,");
    site.drop_file("session_1_bay2.csv", format!("{renamed}{}{}", row(1, "Wren"), row(2, "Wren")));
    assert_eq!(running.settle_and_scan(0).quarantined, 1);
    let reason = site.tree("quarantine").into_iter().find(|name| name.ends_with(".reason.json")).expect("a reason");
    let text = std::fs::read_to_string(site.home.join("quarantine").join(reason)).expect("a file");
    let reason: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let told = reason["reason"].as_str().expect("a reason");
    assert!(told.contains("plain-imperial") && told.contains("TotalTurn"), "{text}");
    assert!(!told.contains("(0 points)"), "a pack without a point is no nearer than others: {told}");
    assert!(reason["edits"][0].as_str().is_some_and(|edit| edit.contains("TotalTurn")), "{text}");
    assert!(reason["hint"].as_str().is_some_and(|hint| hint.contains("TotalTurn")), "{text}");
}
