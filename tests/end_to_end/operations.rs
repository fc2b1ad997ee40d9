//! What IT sees: `status` in every state of a home, the status page of the real daemon, and alerts that reach a real command.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::time::Duration;

use serde_json::Value;

use crate::home::{Daemon, drop_exports, fresh_home, strikemill, until, words};

const LONG: Duration = Duration::from_secs(90);

fn status(home: &Path, more: &[&str]) -> (Option<i32>, String) {
    let home = home.display().to_string();
    let output = strikemill(&[&["status", "--home", home.as_str()], more].concat());
    (output.status.code(), words(&output))
}

fn configure(home: &Path, change: impl FnOnce(String) -> String) {
    let path = home.join("config/strikemill.toml");
    let text = std::fs::read_to_string(&path).expect("the configuration");
    std::fs::write(path, change(text)).expect("the configuration can be written");
}

/// A port that nobody used a moment ago.
fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("an address").port()
}

/// The answer of the status page, or nothing while it is not there.
fn get(port: u16, path: &str) -> Option<(String, String)> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).ok()?;
    stream.set_read_timeout(Some(LONG)).ok()?;
    stream.write_all(format!("GET {path} HTTP/1.1\r\nHost: localhost\r\n\r\n").as_bytes()).ok()?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).ok()?;
    let (head, body) = answer.split_once("\r\n\r\n")?;
    Some((head.to_owned(), body.to_owned()))
}

/// The kinds of what wants a person.
fn kinds(json: &Value) -> Vec<&str> {
    json["concerns"].as_array().expect("concerns").iter().map(|one| one["kind"].as_str().expect("a kind")).collect()
}

#[test]
fn status_tells_what_it_can_in_every_state_of_a_home() {
    let nothing = tempfile::tempdir().expect("a folder");
    let (code, said) = status(nothing.path(), &[]);
    assert!(code == Some(1) && said.contains("hint:"), "{said}");

    let place = fresh_home();
    let home = place.path();
    let (code, said) = status(home, &[]);
    assert!(code == Some(0) && said.contains("the daemon does not run") && said.contains("0 archived"), "{said}");
    assert!(!home.join("state/ledger.sqlite").exists(), "looking makes nothing");
    assert_eq!(status(home, &["--quiet"]), (Some(0), String::new()));

    let junk = home.join("junk.csv");
    std::fs::write(&junk, "no export at all\n").expect("a file");
    let home_text = home.display().to_string();
    strikemill(&["import", "--home", &home_text, &junk.display().to_string()]);
    assert_eq!(status(home, &["--quiet"]), (Some(3), String::new()), "a refused file wants a person");
    let (code, said) = status(home, &[]);
    assert!(code == Some(0) && said.contains("1 thing wants a person\n  in quarantine"), "{said}");
    let (_, json) = status(home, &["--json"]);
    let json: Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(kinds(&json), ["quarantined"]);
    assert_eq!(json["daemon"]["running"], false);

    // A faulty roster: the fault in full for the people of the site, its place alone for programs, and the rest all the same.
    let roster = home.join("config/roster.csv");
    let text = std::fs::read_to_string(&roster).expect("the roster");
    std::fs::write(&roster, text.clone() + "robin,Robin,,sideways,alder,,yes,,0,0\n").expect("written");
    let (code, said) = status(home, &[]);
    assert!(code == Some(0) && said.contains("configuration is faulty") && said.contains("sideways"), "{said}");
    assert!(said.contains("1 in quarantine"), "{said}");
    let (_, json) = status(home, &["--json"]);
    assert!(!json.contains("Robin") && json.contains("roster.csv"), "{json}");
    std::fs::write(&roster, text).expect("written");
    configure(home, |text| text + "\n[colour]\n");
    let (code, said) = status(home, &[]);
    assert!(code == Some(0) && said.contains("configuration is faulty") && said.contains("1 in quarantine"), "{said}");
    assert_eq!(status(home, &["--quiet"]).0, Some(3));

    std::fs::write(home.join("state/ledger.sqlite"), "this is no ledger, however long it is read").expect("written");
    let (code, said) = status(home, &[]);
    assert!(code == Some(1) && said.contains("ledger does not work") && said.contains("hint:"), "{said}");
    assert_eq!(status(home, &["--quiet"]).0, Some(3));
}

#[test]
fn the_page_lives_with_the_daemon_and_alerts_reach_the_command_once() {
    let place = fresh_home();
    let home = place.path();
    let (port, other_port) = (free_port(), free_port());
    let mailbox = home.join("mailbox");
    configure(home, |text| {
        text.replace("# listen = \"127.0.0.1:7480\"", &format!("listen = \"127.0.0.1:{port}\""))
            .replace(
                "# command = [\"/usr/local/bin/tell-it\"]",
                &format!("command = [\"/bin/sh\", \"-c\", \"cat >>'{}'; echo ---- >>'{0}'\"]", mailbox.display()),
            )
            .replace("waiting_too_long_s = 900", "waiting_too_long_s = 2")
    });
    let mut daemon = Daemon::start(home);
    until("readiness", home, LONG, || get(port, "/ready").is_some_and(|(_, body)| body == "ready\n"));
    // The status page is asked, the command reads what the daemon wrote down a moment later.
    until("a daemon that runs", home, LONG, || status(home, &[]).1.contains("the daemon runs (process"));

    drop_exports(home, "bay3", 1);
    std::fs::write(home.join("import/bay1/junk.csv"), "no export at all\n").expect("a file");
    std::fs::write(home.join("import/bay1/empty.csv"), "").expect("a file");
    until("one archived, one refused, one waiting", home, LONG, || {
        let json: Value = serde_json::from_str(&get(port, "/status.json").expect("an answer").1).expect("JSON");
        json["files"]["archived"] == 1 && kinds(&json) == ["waiting-too-long", "quarantined"]
    });
    let page = get(port, "/").expect("the page").1;
    assert!(page.contains("2 things want a person") && page.contains("empty.csv"), "{page}");
    let metrics = get(port, "/metrics").expect("metrics").1;
    assert!(metrics.contains("strikemill_files{state=\"archived\"} 1\n"), "{metrics}");
    let (_, from_outside) = status(home, &["--json"]);
    let from_outside: Value = serde_json::from_str(&from_outside).expect("JSON");
    assert_eq!(kinds(&from_outside), ["waiting-too-long", "quarantined"]);
    assert_eq!(from_outside["daemon"]["phase"], "running");
    assert_eq!(status(home, &["--quiet"]).0, Some(3));

    let letters = || std::fs::read_to_string(&mailbox).unwrap_or_default();
    until("both are told", home, LONG * 2, || letters().contains("junk.csv") && letters().contains("empty.csv"));
    assert!(letters().starts_with("strikemill at Tern Point Academy: "), "{}", letters());
    let told = letters();
    // A start anew tells nothing again; the mended one it does tell.
    daemon.signal("TERM");
    assert!(daemon.wait(LONG), "a clean end");
    assert!(get(port, "/health").is_none(), "the page ends with its daemon");
    let (code, said) = status(home, &["--quiet"]);
    assert_eq!((code, said.as_str()), (Some(3), ""));
    let said = status(home, &[]).1;
    assert!(said.contains("daemon is down") && said.contains("it was stopped"), "{said}");
    std::fs::remove_file(home.join("import/bay1/empty.csv")).expect("removed");
    configure(home, |text| text.replace(&format!("127.0.0.1:{port}"), &format!("127.0.0.1:{other_port}")));
    let mut daemon = Daemon::start(home);
    until("the page at its new place", home, LONG, || get(other_port, "/health").is_some());
    until("the mending is told", home, LONG * 2, || letters().len() > told.len() && letters().ends_with("----\n"));
    let news = letters()[told.len()..].to_owned();
    assert!(news.contains("1 thing mended") && news.contains("Mended\n- waiting too long"), "{news}");
    assert_eq!(letters().matches("- in quarantine: junk.csv").count(), 1, "{}", letters());
    daemon.signal("TERM");
    assert!(daemon.wait(LONG), "a clean end");
}

#[test]
fn a_test_message_shows_whether_alerts_would_arrive() {
    let place = fresh_home();
    let (home, home_text) = (place.path(), place.path().display().to_string());
    let without = strikemill(&["alert", "--test", "--home", &home_text]);
    assert!(without.status.code() == Some(1) && words(&without).contains("[alert]"), "{}", words(&without));
    let out = home.join("out");
    configure(home, |text| {
        let command = format!("command = [\"/bin/sh\", \"-c\", \"cat >'{}'\"]", out.display());
        text.replace("# command = [\"/usr/local/bin/tell-it\"]", &command)
    });
    let sent = strikemill(&["alert", "--test", "--home", &home_text]);
    assert!(sent.status.success(), "{}", words(&sent));
    let text = std::fs::read_to_string(out).expect("the message");
    assert!(text.starts_with("strikemill at Tern Point Academy: a test message\n\nThis is a test"), "{text}");
    configure(home, |text| text.replace("cat >", "exit 9; cat >"));
    let failed = strikemill(&["alert", "--test", "--home", &home_text]);
    assert!(failed.status.code() == Some(1) && words(&failed).contains("exit status: 9"), "{}", words(&failed));
}
