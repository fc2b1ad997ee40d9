//! The daemon: it imports what arrives, judges it, and stops cleanly.

use std::time::Duration;

use crate::home::{Daemon, drop_exports, edit, files_below, fresh_home, log_of, number, strikemill, until, words};

const LONG: Duration = Duration::from_secs(90);

fn count(home: &std::path::Path, sql: &str) -> i64 {
    // Before the first import there is no state to ask.
    let output = strikemill(&["query", sql, "--output", "json", "--home", &home.display().to_string()]);
    if !output.status.success() {
        return 0;
    }
    let rows: Vec<serde_json::Value> = serde_json::from_slice(&output.stdout).expect("JSON");
    rows[0]["n"].as_i64().unwrap_or(0)
}

#[test]
fn exports_that_arrive_are_imported_judged_and_archived_and_a_stop_is_clean() {
    let home = fresh_home();
    let job = home.path().join("plugins/jobs/shot_verdicts/job.toml");
    let text = std::fs::read_to_string(&job).expect("the job");
    std::fs::write(&job, text.replace("debounce_s = 20", "debounce_s = 1")).expect("the job can be written");

    edit(home.path(), "config/strikemill.toml", "level = \"info\"", "level = \"debug\"");
    let mut daemon = Daemon::start(home.path());
    let sent = drop_exports(home.path(), "bay3", 4);
    until("four files in the lake", home.path(), LONG, || {
        count(home.path(), "SELECT count(*) AS n FROM imports") == i64::try_from(sent).expect("a count")
    });
    until("verdicts", home.path(), LONG, || count(home.path(), "SELECT count(*) AS n FROM shot_verdicts") > 0);
    // The engine's memory goes with the process that computed.
    assert!(log_of(home.path()).contains("computed by a process of its own"), "{}", log_of(home.path()));
    until("an empty import folder", home.path(), LONG, || files_below(&home.path().join("import")).is_empty());
    assert_eq!(files_below(&home.path().join("archive")).len(), sent);

    // A second daemon on the same home is refused, with the first one's number.
    let second = strikemill(&["run", "--home", &home.path().display().to_string()]);
    assert_eq!(second.status.code(), Some(1));
    let refused = words(&second);
    assert!(refused.contains(&daemon.0.id().to_string()), "{refused}");
    assert!(
        refused.contains(&home.path().display().to_string()) && refused.contains("hint: stop it first"),
        "{refused}"
    );
    // The command reads what the daemon writes down, a moment later.
    until("a daemon that runs", home.path(), LONG, || {
        words(&strikemill(&["status", "--home", &home.path().display().to_string()])).contains("the daemon runs")
    });

    daemon.signal("TERM");
    assert!(daemon.wait(LONG), "a clean end after SIGTERM");
    let mut again = Daemon::start(home.path());
    until("the daemon's lock", home.path(), LONG, || home.path().join("state/instance.pid").exists());
    std::thread::sleep(Duration::from_millis(500));
    again.signal("INT");
    assert!(again.wait(LONG), "a clean end after SIGINT");
    assert_eq!(number(home.path(), "SELECT count(*) AS n FROM imports"), i64::try_from(sent).expect("a count"));
}

#[test]
fn import_takes_named_files_now_and_leaves_them_where_they_are() {
    let home = fresh_home();
    let elsewhere = tempfile::TempDir::new().expect("a temporary folder");
    let shipped = crate::home::checkout().join("demo-data/bay2");
    for (from, to) in [("session_0929_bay2.csv", "session_0929_bay2.csv"), ("range_notes.csv", "range_notes.csv")] {
        let source = if shipped.join(from).exists() { shipped.join(from) } else { first_session(&shipped) };
        std::fs::copy(source, elsewhere.path().join(to)).expect("an export");
    }
    let (home_text, files) = (home.path().display().to_string(), elsewhere.path().display().to_string());
    let output = strikemill(&["import", &files, "--home", &home_text]);
    let said = words(&output);
    assert_eq!(output.status.code(), Some(1), "one file is no export: {said}");
    assert!(said.contains("imported") && said.contains("quarantined"), "{said}");
    assert_eq!(files_below(elsewhere.path()).len(), 2, "the files stay");
    let shots = number(home.path(), "SELECT count(*) AS n FROM shots");
    assert!(shots > 0);
    assert!(number(home.path(), "SELECT count(*) AS n FROM shot_verdicts") > 0, "jobs follow an import");

    let again = words(&strikemill(&["import", &files, "--home", &home_text]));
    assert!(again.contains("known"), "{again}");
    assert_eq!(number(home.path(), "SELECT count(*) AS n FROM shots"), shots);

    let job = words(&strikemill(&["jobs", "run", "carry_loss", "--home", &home_text]));
    assert!(job.contains("unchanged"), "{job}");
    let full = words(&strikemill(&["jobs", "run", "carry_loss", "--full", "--home", &home_text]));
    assert!(full.contains("0 partitions written"), "equal rows leave the output untouched: {full}");
}

fn first_session(folder: &std::path::Path) -> std::path::PathBuf {
    let mut sessions: Vec<_> =
        files_below(folder).into_iter().filter(|path| path.to_string_lossy().contains("session_")).collect();
    sessions.sort();
    sessions.swap_remove(0)
}

#[test]
fn the_log_as_json_tells_start_reload_and_stop_in_fields_and_names_no_player() {
    let home = fresh_home();
    edit(home.path(), "config/strikemill.toml", "format = \"text\"", "format = \"json\"");
    let mut daemon = Daemon::watching(home.path());
    let sent = drop_exports(home.path(), "bay3", 3);
    until("the exports in the archive", home.path(), LONG, || files_below(&home.path().join("archive")).len() == sent);
    daemon.signal("HUP");
    until("the reload", home.path(), LONG, || log_of(home.path()).contains("the new configuration is in force"));
    daemon.signal("TERM");
    assert!(daemon.wait(LONG));

    let log = log_of(home.path());
    let events: Vec<serde_json::Value> =
        log.lines().map(|line| serde_json::from_str(line).unwrap_or_else(|_| panic!("no JSON: {line}"))).collect();
    let event = |message: &str| {
        events.iter().find(|event| event["message"] == message).unwrap_or_else(|| panic!("no \"{message}\" in\n{log}"))
    };
    let start = event("starting");
    assert_eq!(start["site"], "tern-point");
    assert_eq!(start["home"], home.path().display().to_string());
    assert_eq!(start["process"], daemon.0.id());
    assert!(start["program"].as_str().is_some_and(|text| text.starts_with("strikemill ")), "{start}");
    assert!(start["folders"] == 7 && start["format_packs"].as_u64() > Some(5) && start["jobs"] == 9, "{start}");
    assert_eq!(events.iter().filter(|event| event["message"] == "import folder").count(), 7);
    assert_eq!(event("reading the configuration anew")["why"], "SIGHUP");
    assert_eq!(event("stopping")["signal"], "SIGTERM");
    event("stopped");
    for event in &events {
        assert!(event["timestamp"].is_string() && event["level"].is_string() && event["target"].is_string(), "{event}");
    }
    let words_of_log: Vec<&str> = log.split(|letter: char| !letter.is_alphanumeric()).collect();
    let ids: Vec<&str> = events
        .iter()
        .filter(|event| event["message"] == "staged a file")
        .filter_map(|event| event["file_id"].as_str())
        .filter(|id| id.len() == 12 && id.bytes().all(|byte| byte.is_ascii_hexdigit()))
        .collect();
    assert_eq!(ids.len(), sent, "every event of a file carries its id: {log}");
    // Whatever the log says about these files, it says nothing about who struck the shots.
    let mut roster = csv::Reader::from_path(home.path().join("config/roster.csv")).expect("the roster");
    let headers = roster.headers().expect("headers").clone();
    for row in roster.records() {
        let row = row.expect("a row");
        for (header, text) in headers.iter().zip(row.iter()) {
            let names = ["player_id", "shown_as", "aliases"].contains(&header);
            for name in text.split(';').map(str::trim).filter(|_| names) {
                assert!(!words_of_log.contains(&name), "the log names \"{name}\"");
            }
        }
    }
}

#[test]
fn a_site_that_is_not_the_ledgers_is_told_by_check() {
    let home = fresh_home();
    let place = home.path().display().to_string();
    let imported = strikemill(&["import", "--home", &place]);
    assert!(imported.status.success(), "{}", words(&imported));
    assert!(strikemill(&["check", "--home", &place]).status.success());
    edit(home.path(), "config/strikemill.toml", "id = \"tern-point\"", "id = \"other-point\"");
    let checked = strikemill(&["check", "--home", &place]);
    assert_eq!(checked.status.code(), Some(1));
    assert!(words(&checked).contains("the ledger belongs to the site \"tern-point\""), "{}", words(&checked));
}
