//! Care of a home by hand: the deep check finds each kind of damage, and repair brings back what was.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;
use tempfile::TempDir;

use crate::home::{Daemon, drop_exports, files_below, fresh_home, rows, strikemill, until, words};

/// Runs a command on a home.
pub fn at(home: &Path, arguments: &[&str]) -> Output {
    let mut all = arguments.to_vec();
    let place = home.display().to_string();
    all.extend(["--home", &place]);
    strikemill(&all)
}

/// A home with exports of three bays, one of them refused.
fn imported_home() -> TempDir {
    let home = fresh_home();
    drop_exports(home.path(), "bay1", 3);
    drop_exports(home.path(), "bay3", 3);
    fs::write(home.path().join("import/bay2/notes.txt"), "no export").expect("a note");
    let output = at(home.path(), &["import", &home.path().join("import").display().to_string()]);
    assert!(words(&output).contains("quarantined"), "{}", words(&output));
    home
}

/// Everything of the imports that must be the same after a repair. When a row was written is not.
fn holdings(home: &Path) -> Vec<Vec<Value>> {
    [
        "SELECT shot_id, player_id, club_id, struck_at, ball_speed_mps, source_file_id, source_row, import_sequence, \
         imported_at, recorded_player_id FROM shots ORDER BY shot_id",
        "SELECT source_file_id, source_row, source_column, rule, message, import_sequence FROM rejects \
         ORDER BY source_file_id, source_row, source_column, rule, message",
        "SELECT source_file_id, file_name, rows_accepted, rows_rejected, import_sequence, imported_at FROM imports \
         ORDER BY source_file_id",
        "SELECT shot_id, miss, cause FROM shot_verdicts ORDER BY shot_id",
        "SELECT player_id, consent FROM players ORDER BY player_id",
    ]
    .iter()
    .map(|sql| rows(home, sql))
    .collect()
}

/// The ledger's entries without what a rebuilt one cannot know.
fn entries(home: &Path) -> Vec<String> {
    let ledger = rusqlite::Connection::open(home.join("state/ledger.sqlite")).expect("the ledger");
    let mut statement = ledger
        .prepare(
            "SELECT source_file_id || '|' || state || '|' || first_name || '|' || folder || '|' || bytes || '|' || \
             coalesce(format, '') || '|' || coalesce(import_sequence, '') || '|' || rows_accepted || '|' || \
             marks_accepted || '|' || rows_rejected || '|' || coalesce(archive_path, '') || '|' || \
             coalesce(quarantine_path, '') || '|' || (SELECT group_concat(text || rows) FROM (SELECT text, rows FROM \
             player_texts p WHERE p.source_file_id = f.source_file_id ORDER BY text)) FROM files f ORDER BY 1",
        )
        .expect("a query");
    let lines = statement.query_map([], |row| row.get::<_, Option<String>>(0)).expect("rows");
    lines.map(|line| line.expect("a row").unwrap_or_default()).collect()
}

/// The deep check finds nothing wrong.
pub fn is_sound(home: &Path) {
    let output = at(home, &["check", "--deep"]);
    assert!(output.status.success(), "{}", words(&output));
    assert!(words(&output).contains("looked at"), "{}", words(&output));
}

fn fault(home: &Path, what: &[&str]) {
    let output = at(home, &["check", "--deep"]);
    let said = words(&output);
    assert_eq!(output.status.code(), Some(1), "{said}");
    for word in what.iter().chain(&["hint:"]) {
        assert!(said.contains(word), "{word} is missing in\n{said}");
    }
}

fn partitions(home: &Path, dataset: &str) -> Vec<PathBuf> {
    let mut found = files_below(&home.join("lake").join(dataset));
    found.retain(|path| path.extension().is_some_and(|ending| ending == "parquet"));
    found.sort();
    assert!(!found.is_empty(), "{dataset} has partitions");
    found
}

fn flip(path: &Path) {
    let mut bytes = fs::read(path).expect("a file");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x40;
    fs::write(path, bytes).expect("written in place");
}

#[test]
fn the_deep_check_finds_each_kind_of_damage() {
    let home = imported_home();
    let home = home.path();
    is_sound(home);

    let archived = files_below(&home.join("archive")).swap_remove(0);
    let name = archived.file_name().expect("a name").to_string_lossy().into_owned();
    flip(&archived);
    fault(home, &[&name, "other bytes than were imported"]);
    flip(&archived);
    fs::rename(&archived, home.join("moved")).expect("moved");
    fault(home, &[&name, "is missing"]);
    fs::rename(home.join("moved"), &archived).expect("moved back");

    let note = files_below(&home.join("quarantine")).into_iter().find(|path| path.ends_with("notes.txt"));
    let note = note.expect("the refused file");
    fs::write(&note, "an export").expect("written");
    fault(home, &["notes.txt", "other bytes"]);
    fs::write(&note, "no export").expect("written");

    let partition = partitions(home, "shots").swap_remove(0);
    flip(&partition);
    fault(home, &["shots.parquet", "strikemill repair"]);
    flip(&partition);

    let ledger = rusqlite::Connection::open(home.join("state/ledger.sqlite")).expect("the ledger");
    let change = |sql: &str| assert_eq!(ledger.execute(sql, []).expect(sql), 1, "{sql}");
    let one = "source_file_id = (SELECT min(source_file_id) FROM files WHERE state = 'archived')";
    change(&format!("UPDATE files SET rows_accepted = rows_accepted + 1 WHERE {one}"));
    fault(home, &["accepted", "by the ledger"]);
    change(&format!("UPDATE files SET rows_accepted = rows_accepted - 1 WHERE {one}"));
    ledger.execute("UPDATE generations SET generation = generation + 1000", []).expect("changed");
    fault(home, &["the lake is older than its ledger"]);
    ledger.execute("UPDATE generations SET generation = generation - 1000", []).expect("changed");
    is_sound(home);
}

#[test]
fn the_deep_check_is_quiet_beside_a_daemon_that_imports() {
    let home = fresh_home();
    let mut daemon = Daemon::start(home.path());
    until("a ledger", home.path(), std::time::Duration::from_mins(1), || {
        home.path().join("state/instance.pid").exists() && home.path().join("state/ledger.sqlite").exists()
    });
    for (bay, most) in [("bay1", 4), ("bay2", 4), ("bay3", 4)] {
        drop_exports(home.path(), bay, most);
        is_sound(home.path());
    }
    until("everything archived", home.path(), std::time::Duration::from_secs(90), || {
        files_below(&home.path().join("import")).is_empty()
    });
    is_sound(home.path());
    daemon.signal("TERM");
    assert!(daemon.wait(std::time::Duration::from_mins(1)));
}

#[test]
fn a_lost_or_corrupt_ledger_is_rebuilt_from_the_lake_the_archive_and_quarantine() {
    let home = imported_home();
    let home = home.path();
    let (had, knew) = (holdings(home), entries(home));

    let path = home.join("state/ledger.sqlite");
    let sound = fs::read(&path).expect("the ledger");
    fs::remove_file(&path).expect("removed");
    for command in [&["run"][..], &["import"], &["jobs", "list"]] {
        let output = at(home, command);
        assert_eq!(output.status.code(), Some(1), "{command:?}: {}", words(&output));
        assert!(words(&output).contains("strikemill repair"), "{command:?}: {}", words(&output));
        assert!(!path.exists(), "{command:?} made a new ledger");
    }
    assert!(words(&at(home, &["status"])).contains("strikemill repair"));
    let output = at(home, &["repair"]);
    assert!(output.status.success(), "{}", words(&output));
    assert_eq!(entries(home), knew, "{}", words(&output));
    assert_eq!(holdings(home), had);
    is_sound(home);

    // Pages torn out of the middle.
    let mut torn = sound.clone();
    let middle = torn.len() / 2;
    torn[4096..middle].fill(0xA5);
    fs::write(&path, &torn).expect("written");
    let output = at(home, &["run"]);
    assert_eq!(output.status.code(), Some(1), "{}", words(&output));
    assert!(words(&output).contains("strikemill repair"), "{}", words(&output));
    let output = at(home, &["repair"]);
    assert!(output.status.success(), "{}", words(&output));
    assert_eq!(entries(home), knew);
    let kept = files_below(&home.join("state"));
    let kept = kept.iter().find(|path| path.to_string_lossy().contains("ledger.damaged-")).expect("moved aside");
    assert_eq!(fs::read(kept).expect("the damaged ledger"), torn);

    // Numbers go on above the old ones, and known bytes stay known.
    drop_exports(home, "bay1", 4);
    let output = at(home, &["import", &home.join("import").display().to_string()]);
    assert!(words(&output).contains("known"), "{}", words(&output));
    let numbers = rows(home, "SELECT count(*) AS files, count(DISTINCT import_sequence) AS numbers FROM imports");
    assert_eq!(numbers[0]["files"], numbers[0]["numbers"]);
    assert!(words(&at(home, &["repair"])).contains("the lake is sound"));
    is_sound(home);
}

#[test]
fn lost_parts_of_the_lake_come_back_from_the_archive() {
    let home = imported_home();
    let home = home.path();
    let had = holdings(home);
    let damage: [(&str, &dyn Fn()); 6] = [
        ("a flipped bit", &|| flip(&partitions(home, "shots")[0])),
        ("a partition cut short", &|| {
            let path = partitions(home, "imports").swap_remove(0);
            let file = fs::OpenOptions::new().write(true).open(&path).expect("opened");
            file.set_len(fs::metadata(&path).expect("a size").len() - 20).expect("cut");
        }),
        ("a partition removed", &|| fs::remove_file(&partitions(home, "shots")[0]).expect("removed")),
        ("results removed", &|| {
            fs::remove_dir_all(home.join("lake/shot_verdicts")).expect("removed");
            fs::remove_dir_all(home.join("lake/players")).expect("removed");
        }),
        ("a manifest of noise", &|| {
            for path in files_below(&home.join("lake")).iter().filter(|path| path.ends_with("manifest.json")) {
                fs::write(path, "{ noise").expect("written");
            }
        }),
        ("the whole lake", &|| fs::remove_dir_all(home.join("lake")).expect("removed")),
    ];
    for (what, break_it) in damage {
        break_it();
        assert_eq!(at(home, &["check", "--deep"]).status.code(), Some(1), "{what} is seen");
        let output = at(home, &["repair"]);
        assert!(output.status.success(), "{what}: {}", words(&output));
        assert_eq!(holdings(home), had, "{what}: {}", words(&output));
        is_sound(home);
    }
}

#[test]
fn with_ledger_and_lake_both_gone_the_archive_is_enough() {
    let home = imported_home();
    let home = home.path();
    let ids =
        |home: &Path| rows(home, "SELECT shot_id, player_id, bay, environment, source_row FROM shots ORDER BY shot_id");
    // An export that does not name its bay, and is known under a name that does not either: only its folder tells.
    let export = files_below(&home.join("archive")).into_iter().find(|path| path.to_string_lossy().contains("bay1"));
    let mut text = fs::read(export.expect("an archived export")).expect("its bytes");
    text.extend_from_slice(b"\n");
    fs::write(home.join("import/bay1/again.csv"), text).expect("a re-export");
    at(home, &["import", &home.join("import").display().to_string()]);
    let had = ids(home);
    assert!(had.iter().all(|row| row["bay"] != Value::Null && row["environment"] != Value::Null), "{had:?}");
    fs::remove_dir_all(home.join("lake")).expect("removed");
    fs::remove_dir_all(home.join("state")).expect("removed");
    // Nothing begins anew beside originals that nobody knows any more.
    for command in [&["run"][..], &["check"], &["import"]] {
        let output = at(home, command);
        let said = words(&output);
        assert!(output.status.code() == Some(1) && said.contains("originals stand in"), "{command:?}: {said}");
    }
    assert_eq!(at(home, &["status", "--quiet"]).status.code(), Some(3));
    let output = at(home, &["repair"]);
    assert!(output.status.success(), "{}", words(&output));
    assert_eq!(ids(home), had);
    is_sound(home);
}

#[test]
fn a_lake_older_than_its_ledger_or_without_manifest_lets_nothing_start() {
    let home = imported_home();
    let home = home.path();
    let older = home.join("older-lake");
    copy(&home.join("lake"), &older);
    drop_exports(home, "bay2", 2);
    at(home, &["import", &home.join("import").display().to_string()]);
    let had = holdings(home);
    let manifest = files_below(&home.join("lake")).into_iter().find(|path| path.ends_with("manifest.json"));
    fs::remove_file(manifest.expect("a manifest")).expect("removed");
    let refused = |what: &str| {
        for command in [&["run"][..], &["check"], &["import"]] {
            let output = at(home, command);
            let said = words(&output);
            assert!(output.status.code() == Some(1) && said.contains(what), "{command:?}: {said}");
        }
        assert_eq!(at(home, &["status", "--quiet"]).status.code(), Some(3), "{what}");
        let output = at(home, &["repair"]);
        assert!(output.status.success(), "{}", words(&output));
        assert_eq!(holdings(home), had, "{what}");
        is_sound(home);
    };
    refused("manifest of the lake");
    fs::remove_dir_all(home.join("lake")).expect("removed");
    fs::rename(&older, home.join("lake")).expect("an old backup");
    refused("older than its ledger");
}

#[test]
fn originals_that_an_older_backup_does_not_know_are_told_and_read_again() {
    let home = imported_home();
    let home = home.path();
    for part in ["lake", "state"] {
        copy(&home.join(part), &home.join("older").join(part));
    }
    drop_exports(home, "bay2", 2);
    at(home, &["import", &home.join("import").display().to_string()]);
    let count = |home: &Path| rows(home, "SELECT count(*) AS n, count(DISTINCT shot_id) AS d FROM shots");
    let had = count(home);
    for part in ["lake", "state"] {
        fs::remove_dir_all(home.join(part)).expect("removed");
        fs::rename(home.join("older").join(part), home.join(part)).expect("an old backup");
    }
    fault(home, &["original(s) that the ledger does not know", "move state/ledger.sqlite aside"]);
    for path in files_below(&home.join("state")) {
        if path.to_string_lossy().contains("ledger.sqlite") {
            fs::remove_file(path).expect("set aside");
        }
    }
    let output = at(home, &["repair"]);
    assert!(output.status.success(), "{}", words(&output));
    assert_eq!(count(home), had);
    is_sound(home);
}

#[test]
fn a_copied_home_works_on_its_own_files() {
    let home = imported_home();
    let place = tempfile::tempdir().expect("a folder");
    let copied = place.path().join("copied");
    copy(home.path(), &copied);
    let output = at(&copied, &["check", "--deep"]);
    assert!(words(&output).contains("when this home stood at"), "{}", words(&output));
    assert!(at(&copied, &["import"]).status.success());
    is_sound(&copied);
    let originals = files_below(&home.path().join("archive"));
    let output = at(&copied, &["remove", "--archived-before", "2999-01-01"]);
    assert!(output.status.success(), "{}", words(&output));
    assert_eq!(files_below(&home.path().join("archive")), originals, "the home it was copied from keeps its own");
    assert!(files_below(&copied.join("archive")).is_empty());
    // A relative name is the same home.
    let relative = std::process::Command::new(env!("CARGO_BIN_EXE_strikemill"))
        .args(["check", "--deep", "--home", "."])
        .current_dir(home.path())
        .output()
        .expect("the program");
    assert!(relative.status.success(), "{}", words(&relative));
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a listing").flatten() {
        let target = to.join(entry.file_name());
        if entry.file_type().expect("a kind").is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), &target).expect("a copy");
        }
    }
}

#[test]
fn a_repair_wants_the_home_to_itself() {
    let home = imported_home();
    let mut daemon = Daemon::start(home.path());
    until("the daemon's lock", home.path(), std::time::Duration::from_mins(1), || {
        home.path().join("state/instance.pid").exists()
    });
    let output = at(home.path(), &["repair"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(words(&output).contains("stop it first"), "{}", words(&output));
    daemon.signal("TERM");
    assert!(daemon.wait(std::time::Duration::from_mins(1)));
}
