//! Hard stops: whatever moment a SIGKILL hits, no shot is lost and none counts twice.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use crate::home::{Daemon, checkout, drop_exports, files_below, fresh_home, number, rows, until};

/// A small generator, so that each round is killed at another moment; the seed is printed with a failure.
fn next(state: &mut u64) -> u64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    *state >> 33
}

#[test]
fn killed_again_and_again_during_import_neither_loses_nor_doubles_a_shot() {
    let home = fresh_home();
    let mut seed = 20_261_125;
    let mut sent = 0;
    for bay in ["bay1", "bay2", "bay3"] {
        sent += drop_exports(home.path(), bay, 24);
    }
    let mut kills = 0;
    for _ in 0..12 {
        let mut daemon = Daemon::start(home.path());
        let wait = 350 + next(&mut seed) % 900;
        let started = Instant::now();
        while started.elapsed() < Duration::from_millis(wait) {
            std::thread::sleep(Duration::from_millis(10));
        }
        daemon.signal("KILL");
        assert!(!daemon.wait(Duration::from_secs(10)), "a killed process does not end well");
        let _ = std::fs::remove_file(home.path().join("state/instance.pid")); // left behind by the killed process
        kills += 1;
    }
    let mut daemon = Daemon::start(home.path());
    let long = Duration::from_mins(2);
    until("empty import folders", home.path(), long, || files_below(&home.path().join("import")).is_empty());
    until("the daemon's lock", home.path(), long, || home.path().join("state/instance.pid").exists());
    daemon.signal("TERM");
    assert!(daemon.wait(long), "{}", std::fs::read_to_string(home.path().join("daemon.log")).unwrap_or_default());

    let mut expected: BTreeSet<(String, String)> = BTreeSet::new();
    let mut reader = csv::Reader::from_path(checkout().join("demo-data/truth/truth.csv")).expect("the truth");
    let imported: BTreeSet<String> = rows(home.path(), "SELECT file_name FROM imports")
        .iter()
        .map(|row| row["file_name"].as_str().expect("a name").to_owned())
        .collect();
    for row in reader.records() {
        let row = row.expect("a row");
        let file = row[0].rsplit('/').next().expect("a name").to_owned();
        if imported.contains(&file) {
            expected.insert((file, row[1].to_owned()));
        }
    }
    let found: Vec<(String, String)> = rows(
        home.path(),
        "SELECT i.file_name, s.source_row FROM shots s JOIN imports i ON i.source_file_id = s.source_file_id",
    )
    .iter()
    .map(|row| (row["file_name"].as_str().expect("a name").to_owned(), row["source_row"].to_string()))
    .collect();
    println!("{kills} kills, {sent} files, {} imported, {} shots", imported.len(), found.len());
    assert_eq!(found.len(), expected.len(), "no shot twice");
    assert_eq!(found.into_iter().collect::<BTreeSet<_>>(), expected, "no shot lost");
    // Every file is accounted for: imported, known under another name, or in quarantine.
    let quarantined = files_below(&home.path().join("quarantine"))
        .iter()
        .filter(|path| path.extension().is_some_and(|end| end != "json"))
        .count();
    let archived = files_below(&home.path().join("archive")).len();
    assert_eq!(archived + quarantined, sent);
    assert_eq!(
        number(home.path(), "SELECT count(*) AS n FROM (SELECT shot_id FROM shots GROUP BY 1 HAVING count(*) > 1)"),
        0
    );
}
