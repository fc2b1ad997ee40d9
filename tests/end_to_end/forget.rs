//! Forgetting a person: out of everything that is kept, and in again by no way.

use std::fs;
use std::path::Path;
use std::time::Duration;

use crate::care::{at, is_sound};
use crate::home::{Daemon, checkout, drop_exports, files_below, fresh_home, number, rows, strikemill, until, words};

fn import(home: &Path) -> String {
    let output = at(home, &["import", &home.join("import").display().to_string()]);
    assert!(output.status.success(), "{}", words(&output));
    words(&output)
}

/// Rows of the person in every dataset that tells whose a row is.
fn rows_of(home: &Path, player: &str) -> i64 {
    let datasets =
        "shots shot_verdicts carry_loss players clubs strike_misses player_club_model strike_pattern practice_plan";
    datasets
        .split_whitespace()
        .map(|dataset| number(home, &format!("SELECT count(*) AS n FROM {dataset} WHERE player_id = '{player}'")))
        .sum()
}

/// Rows in the lake that the device wrote the text "wren" for, whatever they are called.
fn recorded_as_wren(home: &Path, site: &str) -> i64 {
    let placeholder = placeholder(site, "wren");
    number(home, &format!("SELECT count(*) AS n FROM shots WHERE recorded_player_id = '{placeholder}'"))
}

/// The placeholder by its definition: 12 digits of SHA-256 over site and text, each behind its length.
fn placeholder(site: &str, text: &str) -> String {
    let mut bytes = Vec::new();
    for part in [site, text] {
        bytes.extend((part.len() as u64).to_le_bytes());
        bytes.extend(part.as_bytes());
    }
    format!("unknown-{}", &files::sha256_of_bytes(&bytes)[..12])
}

/// Whether a text stands in any file below a folder, in any spelling.
fn stands_below(folder: &Path, text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for path in files_below(folder) {
        let bytes = fs::read(&path).expect("a file").to_ascii_lowercase();
        if bytes.windows(text.len()).any(|window| window == text.as_bytes()) {
            found.push(path.display().to_string());
        }
    }
    found
}

fn others(home: &Path) -> Vec<serde_json::Value> {
    rows(
        home,
        "SELECT shot_id, player_id, source_file_id FROM shots WHERE player_id IS NULL OR player_id <> 'wren' ORDER BY 1",
    )
}

#[test]
fn a_person_leaves_every_dataset_and_comes_back_by_no_way() {
    let folder = fresh_home();
    let home = folder.path();
    drop_exports(home, "bay3", 4);
    import(home);
    let week = at(home, &["digest", "--week", "2026-09-28"]);
    assert!(week.status.success(), "{}", words(&week));
    assert!(rows_of(home, "wren") > 0 && number(home, "SELECT count(*) AS n FROM shots WHERE player_id = 'wren'") > 0);
    let site = rows(home, "SELECT DISTINCT site_id FROM shots")[0]["site_id"].as_str().expect("a site").to_owned();
    assert!(recorded_as_wren(home, &site) > 0);
    let had = others(home);
    assert!(!had.is_empty());

    let output = at(home, &["forget", "Wren"]);
    let said = words(&output);
    assert!(output.status.success(), "{said}");
    assert!(said.contains("strikemill remove --file") && said.contains("roster.csv:2"), "{said}");
    assert!(said.contains(".html"), "a page showed the person: {said}");
    let is_gone = |when: &str| {
        assert_eq!((rows_of(home, "wren"), recorded_as_wren(home, &site)), (0, 0), "{when}");
        assert_eq!(others(home), had, "{when}: nobody else loses a row");
    };
    is_gone("forgotten");
    is_sound(home);
    // Neither page nor ledger nor earlier versions of the lake's files keep the name.
    for kept in ["digests", "state", "lake"] {
        assert_eq!(stands_below(&home.join(kept), "wren"), Vec::<String>::new(), "{kept}");
    }

    // The file again, under another name and with one more line, which makes it another file.
    let source = checkout().join("demo-data/bay3/c3-20260928-1.jsonl");
    let text = fs::read_to_string(&source).expect("an export");
    let last = text.lines().last().expect("a line");
    fs::write(home.join("import/bay3/again.jsonl"), &text).expect("dropped");
    let more = format!("{text}{}\n", last.replace("\"shot\":", "\"shot\":9"));
    fs::write(home.join("import/bay3/more.jsonl"), more.replace("\"who\":\"wren\"", "\"who\":\" WREN \""))
        .expect("dropped");
    let again = import(home);
    assert!(again.contains("known") && again.contains("imported"), "{again}");
    assert_eq!((rows_of(home, "wren"), recorded_as_wren(home, &site)), (0, 0), "dropped again");

    // Read again under a newer pack.
    let pack = rows(home, "SELECT DISTINCT format FROM shots")[0]["format"].as_str().expect("a pack").to_owned();
    let path = home.join("plugins/formats").join(&pack).join("format.toml");
    let text = fs::read_to_string(&path).expect("the pack");
    let version = text.lines().find(|line| line.starts_with("version")).expect("a version");
    fs::write(&path, text.replacen(version, "version = \"9.9\"", 1)).expect("written");
    let output = at(home, &["reprocess", "--pack", &pack]);
    assert!(output.status.success(), "{}", words(&output));
    assert_eq!((rows_of(home, "wren"), recorded_as_wren(home, &site)), (0, 0), "read again");

    // The lake from the archive, then the ledger from the lake, then both from the archive alone.
    for lost in [&["lake"][..], &["state/ledger.sqlite"], &["lake", "state"]] {
        for part in lost {
            let path = home.join(part);
            if path.is_dir() {
                fs::remove_dir_all(path).expect("removed");
            } else {
                fs::remove_file(path).expect("removed");
            }
        }
        let output = at(home, &["repair"]);
        assert!(output.status.success(), "{lost:?}: {}", words(&output));
        assert_eq!((rows_of(home, "wren"), recorded_as_wren(home, &site)), (0, 0), "{lost:?}");
        is_sound(home);
    }
    assert_eq!(stands_below(&home.join("state"), "\"wren\""), Vec::<String>::new());
    // Asked for again there is nothing left to do; nobody is told apart from who never was there.
    assert!(words(&at(home, &["forget", "wren"])).contains("forgotten    0 row(s)"));
    let nobody = at(home, &["forget", "nobody at all"]);
    assert_eq!(nobody.status.code(), Some(1));
    assert!(words(&nobody).contains("hint:"), "{}", words(&nobody));
}

#[test]
fn a_running_daemon_forgets_when_it_is_asked() {
    let folder = fresh_home();
    let home = folder.path();
    drop_exports(home, "bay3", 2);
    let mut daemon = Daemon::start(home);
    until("two files archived", home, Duration::from_secs(90), || files_below(&home.join("archive")).len() == 2);
    let output = at(home, &["forget", "wren"]);
    assert!(output.status.success(), "{}", words(&output));
    assert_eq!(number(home, "SELECT count(*) AS n FROM shots WHERE player_id = 'wren'"), 0);
    drop_exports(home, "bay3", 4);
    until("the others too", home, Duration::from_secs(90), || files_below(&home.join("import")).is_empty());
    until("their rows", home, Duration::from_secs(90), || number(home, "SELECT count(*) AS n FROM imports") == 4);
    assert_eq!(number(home, "SELECT count(*) AS n FROM shots WHERE player_id = 'wren'"), 0);
    daemon.signal("TERM");
    assert!(daemon.wait(Duration::from_mins(1)));
    let log = fs::read_to_string(home.join("daemon.log")).expect("the log").to_lowercase();
    assert!(!log.contains("wren"), "the log names nobody:\n{log}");
}

#[test]
fn help_tells_what_stays_with_the_site() {
    let said = words(&strikemill(&["forget", "--help"]));
    for word in ["Backups", "duty", "Examples:"] {
        assert!(said.contains(word), "{word}: {said}");
    }
}
