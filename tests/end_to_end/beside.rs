//! Commands beside a running daemon: it does what they ask, and they print what they would print without it.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use crate::home::{Daemon, checkout, files_below, fresh_home, number, strikemill, until, words};

const LONG: Duration = Duration::from_secs(90);

/// Files of the requests' folder besides the lock.
fn requests_of(home: &Path) -> Vec<String> {
    let names = files_below(&home.join("state/requests")).into_iter();
    let names = names.map(|path| path.file_name().expect("a name").to_string_lossy().into_owned());
    names.filter(|name| name != "desk.lock").collect()
}

fn has_request(home: &Path) -> bool {
    requests_of(home).iter().any(|name| Path::new(name).extension().is_some_and(|end| end == "json"))
}

fn sessions(into: &Path) {
    let mut found = files_below(&checkout().join("demo-data/bay2"));
    found.retain(|path| path.to_string_lossy().contains("session_"));
    found.sort();
    std::fs::copy(&found[0], into.join("session_a.csv")).expect("an export");
    std::fs::write(into.join("notes.csv"), "this is no export\n").expect("a file");
}

#[test]
fn import_retry_reprocess_and_jobs_are_done_by_the_daemon_with_the_same_words() {
    let (home, alone) = (fresh_home(), fresh_home());
    let elsewhere = tempfile::TempDir::new().expect("a temporary folder");
    sessions(elsewhere.path());
    let files = elsewhere.path().display().to_string();
    let mut daemon = Daemon::watching(home.path());
    let both = |arguments: &[&str]| {
        let run = |home: &Path| {
            let place = home.display().to_string();
            let output = strikemill(&[arguments, &["--home", place.as_str()]].concat());
            // The homes differ in their own place, and in the time a job took.
            let said = String::from_utf8_lossy(&output.stdout).replace(&place, "HOME");
            let said: Vec<String> =
                said.lines().map(|line| line.rsplit_once(", 0.").map_or(line, |(start, _)| start).to_owned()).collect();
            let error = String::from_utf8_lossy(&output.stderr).replace(&place, "HOME");
            let error: Vec<String> =
                error.lines().filter(|line| !line.contains("waiting for it")).map(str::to_owned).collect();
            (said, error, output.status.code())
        };
        let (beside, without) = (run(home.path()), run(alone.path()));
        assert_eq!(beside, without, "{arguments:?}");
        beside
    };
    let (said, error, code) = both(&["import", &files]);
    assert_eq!(code, Some(1), "one file is no export: {said:?}");
    assert!(said.iter().any(|line| line.starts_with("imported")), "{said:?}");
    assert!(error.iter().any(|line| line.contains("were not imported")), "{error:?}");
    let (said, _, _) = both(&["import", &files]);
    assert!(said.iter().any(|line| line.starts_with("known")), "{said:?}");
    let (said, _, code) = both(&["retry"]);
    assert!(said.iter().any(|line| line.starts_with("quarantined")), "{said:?}");
    assert_eq!(code, Some(1));
    let (_, error, code) = both(&["retry", "zzzz"]);
    assert!(error[0].contains("has a hash that begins with zzzz") && code == Some(1), "{error:?}");
    let (said, _, code) = both(&["reprocess", "--pack", "plain-imperial"]);
    assert!(said[0].starts_with("nothing done") && code == Some(0), "{said:?}");
    let (_, error, code) = both(&["reprocess", "--pack", "no-such-pack"]);
    assert!(error[0].contains("there is no sound mapping pack") && code == Some(1), "{error:?}");
    let (said, _, code) = both(&["jobs", "run", "carry_loss"]);
    assert!(said[0].starts_with("carry_loss: unchanged") && code == Some(0), "{said:?}");
    assert_eq!(
        number(home.path(), "SELECT count(*) AS n FROM shot_verdicts"),
        number(alone.path(), "SELECT count(*) AS n FROM shot_verdicts")
    );
    until("an empty desk", home.path(), LONG, || requests_of(home.path()).is_empty());
    daemon.signal("TERM");
    assert!(daemon.wait(LONG));
}

#[test]
#[cfg(unix)]
fn a_command_whose_daemon_dies_says_so_and_a_command_that_dies_leaves_nothing_to_do() {
    let home = fresh_home();
    let elsewhere = tempfile::TempDir::new().expect("a temporary folder");
    sessions(elsewhere.path());
    let ask = || {
        Command::new(env!("CARGO_BIN_EXE_strikemill"))
            .args(["import", "--home"])
            .arg(home.path())
            .arg(elsewhere.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the command starts")
    };
    let daemon = Daemon::watching(home.path());
    daemon.signal("STOP");
    let command = ask();
    until("a request", home.path(), LONG, || has_request(home.path()));
    daemon.signal("KILL");
    let output = command.wait_with_output().expect("the command ends");
    assert_eq!(output.status.code(), Some(1));
    assert!(words(&output).contains("the daemon stopped before it answered"), "{}", words(&output));
    assert_eq!(requests_of(home.path()), Vec::<String>::new());

    std::fs::write(home.path().join("daemon.log"), "").expect("the log is emptied");
    let mut daemon = Daemon::watching(home.path());
    daemon.signal("STOP");
    let mut command = ask();
    until("a request", home.path(), LONG, || has_request(home.path()));
    command.kill().expect("the command is killed");
    command.wait().expect("the command ends");
    daemon.signal("CONT");
    until("an empty desk", home.path(), LONG, || requests_of(home.path()).is_empty());
    daemon.signal("TERM");
    assert!(daemon.wait(LONG));
    let output = strikemill(&["status", "--home", &home.path().display().to_string()]);
    assert!(!words(&output).contains("session_a.csv"), "nobody waited for the import: {}", words(&output));
}
