//! The status page over real connections, as a browser, a scraper and a hostile stranger speak to it.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use console::{Board, DaemonVitals, Phase, Sources, StatusReport};
use ledger::{Claim, Ledger, Quarantined, Sighting, SightingState};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinHandle;

const HOSTILE: &str = "<img src=x onerror=alert(1)>&\".csv";

/// A home with one thing of each kind, and a server in front of it.
struct Place {
    address: SocketAddr,
    stop: watch::Sender<bool>,
    serving: JoinHandle<Result<(), console::ServeError>>,
    _folder: tempfile::TempDir,
}

fn vitals() -> DaemonVitals {
    DaemonVitals {
        process: 7,
        version: "9.9".into(),
        phase: Phase::Running,
        started_at: 1_000_000,
        scan_started: Some(2_000_000),
        scan_finished: Some(3_000_000),
        ..DaemonVitals::default()
    }
}

impl Place {
    async fn new(vitals: DaemonVitals) -> Place {
        let folder = tempfile::tempdir().expect("a folder");
        let ledger = Ledger::open(&folder.path().join("ledger.sqlite")).expect("a ledger");
        fill(&ledger);
        let board = Board::new(Box::new(move || report(&ledger, vitals.clone())));
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("an address");
        let (stop, stopped) = watch::channel(false);
        let serving = tokio::spawn(console::serve(listener, Arc::new(board), stopped));
        Place { address, stop, serving, _folder: folder }
    }

    /// The whole answer to bytes as they are.
    async fn say(&self, bytes: &[u8]) -> String {
        let mut stream = TcpStream::connect(self.address).await.expect("a connection");
        stream.write_all(bytes).await.expect("sent");
        let mut answer = Vec::new();
        // A server that cuts the connection has answered too.
        let _ = stream.read_to_end(&mut answer).await;
        String::from_utf8_lossy(&answer).into_owned()
    }

    async fn get(&self, path: &str) -> (String, String) {
        let answer = self.say(format!("GET {path} HTTP/1.1\r\nHost: localhost:1\r\n\r\n").as_bytes()).await;
        let (head, body) = answer.split_once("\r\n\r\n").expect("a head and a body");
        (head.to_ascii_lowercase(), body.to_owned())
    }
}

fn fill(ledger: &Ledger) {
    let id = "a".repeat(64);
    let claim = Claim {
        source_file_id: id.clone(),
        name: HOSTILE.into(),
        folder: "/in".into(),
        bytes: 1,
        source_path: "/in/x".into(),
        keep_source: false,
        at: 1,
    };
    ledger.begin_import(&claim).expect("claimed");
    let refused = Quarantined {
        source_file_id: id.clone(),
        name: HOSTILE.into(),
        folder: "/in".into(),
        bytes: 1,
        format: None,
        format_version: None,
        reason: "no mapping pack fits this file".into(),
        quarantine_path: "/nowhere/x".into(),
        at: 2,
    };
    ledger.mark_quarantined(&refused).expect("refused");
    ledger.add_alias(&id, "again.csv", "/in", 3).expect("a second name");
    let sighting = |path: &str, state| Sighting {
        path: path.into(),
        bytes: 0,
        modified: None,
        first_seen: 0,
        stable_since: 5_000_000,
        last_seen: 9_000_000,
        state,
        note: "it may still be written to".into(),
    };
    let sightings =
        [sighting("/in/late.csv", SightingState::Waiting), sighting("/in/new.csv", SightingState::Settling)];
    ledger.update_sightings(&sightings, &[]).expect("noted");
}

fn report(ledger: &Ledger, vitals: DaemonVitals) -> StatusReport {
    StatusReport::gather(Sources {
        program: "strikemill 9.9",
        site_id: Some("north".into()),
        site_name: "North <Range>".into(),
        zone: chrono_tz::UTC,
        now: 10_000_000,
        daemon: Some(7),
        vitals: Some(vitals),
        ledger: Ok(Some(ledger)),
        lake: None,
        waiting_too_long: Duration::from_mins(15),
        configuration_faults: Vec::new(),
        pack_faults: Vec::new(),
        volumes: Vec::new(),
    })
}

#[tokio::test]
async fn every_place_answers_with_the_headers_that_keep_a_browser_safe() {
    let place = Place::new(vitals()).await;
    for (path, kind) in [
        ("/", "text/html"),
        ("/style.css", "text/css"),
        ("/status.json", "application/json"),
        ("/health", "text/plain"),
        ("/ready", "text/plain"),
        ("/metrics", "text/plain; version=0.0.4"),
    ] {
        let (head, body) = place.get(path).await;
        assert!(head.starts_with("http/1.1 200"), "{path}: {head}");
        assert!(!body.is_empty(), "{path}");
        for header in [
            format!("content-type: {kind}").as_str(),
            "content-security-policy: default-src 'none'",
            "x-content-type-options: nosniff",
            "x-frame-options: deny",
            "referrer-policy: no-referrer",
            "cache-control: no-store",
            "connection: close",
        ] {
            assert!(head.contains(header), "{header} is missing for {path} in {head}");
        }
        assert!(!head.contains("access-control"), "nobody else's page may read it: {head}");
    }
    let (head, _) = place.get("/state/ledger.sqlite").await;
    assert!(head.starts_with("http/1.1 404") && head.contains("content-security-policy"), "{head}");
}

#[tokio::test]
async fn the_page_tells_first_what_wants_a_person_and_takes_no_name_for_markup() {
    let place = Place::new(vitals()).await;
    let (_, page) = place.get("/").await;
    assert!(page.starts_with("<!DOCTYPE html>\n<html lang=\"en\">"), "{page}");
    assert!(!page.contains("<img") && !page.contains("<script"), "{page}");
    assert!(page.contains("&lt;img src=x onerror=alert(1)&gt;&amp;&quot;.csv"), "{page}");
    let wanted = page.find("2 things want a person</h2>").expect("what wants a person");
    assert!(wanted < page.find("Intake</h2>").expect("the figures"), "{page}");
    for words in
        ["Waiting too long", "/in/late.csv", "In quarantine", "again.csv", "North &lt;Range&gt;", "The daemon runs"]
    {
        assert!(page.contains(words), "{words} is missing in {page}");
    }
    let (_, json) = place.get("/status.json").await;
    let json: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(json["concerns_total"], 2);
    assert_eq!(json["import_folders"]["paths"][0]["unchanged_since"], "1970-01-01T00:00:05Z");
    assert_eq!(json["quarantine"][0]["further_names"][0], "again.csv");
    assert_eq!(json["files"]["quarantined"], 1);
    assert_eq!(json["ready"], true, "files that want a person keep no other file from being taken");
}

#[tokio::test]
async fn readiness_tells_each_reason_and_health_none() {
    let ready = Place::new(vitals()).await;
    assert_eq!(ready.get("/ready").await.1, "ready\n");
    let troubled = DaemonVitals {
        paused: Some("only 3 MiB are free\nhint: make room".into()),
        failing: Some("the ledger cannot be written".into()),
        stalled: vec!["no scan has ended for 15 min".into()],
        configuration_faults: vec!["error: no\n  --> roster.csv:3:1\n  |\n3 | Robin\nhint: mend it\n".into()],
        ..vitals()
    };
    let place = Place::new(troubled).await;
    let (head, body) = place.get("/ready").await;
    assert!(head.starts_with("http/1.1 503"), "{head}");
    let lines: Vec<&str> = body.lines().collect();
    assert_eq!(
        lines,
        [
            "not ready",
            "ledger does not work: the ledger cannot be written",
            "daemon stands still: no scan has ended for 15 min",
            "intake pauses: only 3 MiB are free",
            "configuration is faulty: 1 fault: roster.csv:3:1; the daemon goes on with the one before",
        ]
    );
    assert_eq!(place.get("/health").await.1, "ok\n");
    for path in ["/", "/status.json", "/metrics", "/ready"] {
        assert!(!place.get(path).await.1.contains("Robin"), "a player's name stands in {path}");
    }
    let starting = Place::new(DaemonVitals { phase: Phase::Starting, ..vitals() }).await;
    assert_eq!(starting.get("/ready").await.1, "not ready\nit still starts\n");
}

#[tokio::test]
async fn only_reading_is_possible_and_only_under_this_machines_names() {
    let place = Place::new(vitals()).await;
    for method in ["POST", "PUT", "DELETE", "OPTIONS", "PATCH"] {
        let request = format!("{method} / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 0\r\n\r\n");
        let answer = place.say(request.as_bytes()).await;
        assert!(answer.starts_with("HTTP/1.1 405") && answer.contains("allow: GET, HEAD"), "{answer}");
    }
    let head = place.say(b"HEAD /health HTTP/1.1\r\nHost: localhost\r\n\r\n").await;
    assert!(head.starts_with("HTTP/1.1 200") && head.ends_with("\r\n\r\n"), "no body: {head}");
    for host in ["localhost", "LOCALHOST:7480", "127.0.0.1", "127.0.0.1:1", "[::1]", "[::1]:7480"] {
        let answer = place.say(format!("GET /health HTTP/1.1\r\nHost: {host}\r\n\r\n").as_bytes()).await;
        assert!(answer.starts_with("HTTP/1.1 200"), "{host}: {answer}");
    }
    // A name that a stranger made to lead to this machine, and what might be taken for one of ours.
    for host in
        ["rebound.example:7480", "localhost.example", "127.0.0.1.example", "", "localhost:x", "[::1", "127.0.0.2"]
    {
        let answer = place.say(format!("GET /status.json HTTP/1.1\r\nHost: {host}\r\n\r\n").as_bytes()).await;
        assert!(answer.starts_with("HTTP/1.1 4") && !answer.contains("concerns"), "{host}: {answer}");
    }
    let two = place.say(b"GET / HTTP/1.1\r\nHost: localhost\r\nHost: a.example\r\n\r\n").await;
    assert!(two.starts_with("HTTP/1.1 4"), "{two}");
}

#[tokio::test]
async fn a_request_is_small_and_a_connection_carries_one() {
    let place = Place::new(vitals()).await;
    let large = format!("GET / HTTP/1.1\r\nHost: localhost\r\nX: {}\r\n\r\n", "x".repeat(64 * 1024));
    assert!(!place.say(large.as_bytes()).await.contains("HTTP/1.1 200"), "too large a head is not answered");
    let body =
        format!("GET /health HTTP/1.1\r\nHost: localhost\r\nContent-Length: 9999999\r\n\r\n{}", "x".repeat(100_000));
    let _ = place.say(body.as_bytes()).await;
    let twice = "GET /health HTTP/1.1\r\nHost: localhost\r\n\r\n".repeat(2);
    let answer = place.say(twice.as_bytes()).await;
    assert_eq!(answer.matches("HTTP/1.1 200").count(), 1, "{answer}");
    assert!(!place.say(b"no request at all\r\n\r\n").await.contains("HTTP/1.1 200"));
    assert_eq!(place.get("/health").await.1, "ok\n", "it still answers");
}

#[tokio::test]
async fn who_says_nothing_is_cut_off_and_keeps_nobody_waiting_for_ever() {
    let place = Place::new(vitals()).await;
    // More silent strangers than places.
    let mut silent = Vec::new();
    for _ in 0..80 {
        let mut stream = TcpStream::connect(place.address).await.expect("a connection");
        stream.write_all(b"GET / HT").await.expect("sent");
        silent.push(stream);
    }
    let answered = tokio::time::timeout(Duration::from_mins(1), place.get("/health")).await;
    assert_eq!(answered.expect("an answer in the end").1, "ok\n");
    let mut rest = Vec::new();
    let cut_off = tokio::time::timeout(Duration::from_mins(1), silent[0].read_to_end(&mut rest)).await;
    assert!(cut_off.is_ok() && rest.is_empty(), "the first one was cut off: {rest:?}");
}

#[tokio::test]
async fn a_scraper_gets_the_kind_of_text_it_asked_for_and_a_stop_ends_the_server() {
    let place = Place::new(vitals()).await;
    let (_, first) = place.get("/metrics").await;
    assert!(first.ends_with("# EOF\n"), "{first}");
    let open = "application/openmetrics-text; version=1.0.0,text/plain;q=0.5";
    let request = format!("GET /metrics HTTP/1.1\r\nHost: localhost\r\nAccept: {open}\r\n\r\n");
    assert!(place.say(request.as_bytes()).await.contains("content-type: application/openmetrics-text; version=1.0.0"));
    place.stop.send(true).expect("the server listens");
    let ended = tokio::time::timeout(Duration::from_mins(1), place.serving).await.expect("it ends");
    ended.expect("no panic").expect("no error");
    assert!(TcpStream::connect(place.address).await.is_err(), "nobody listens any more");
}

#[tokio::test]
async fn however_many_ask_and_give_up_one_at_a_time_gathers_and_a_panic_is_no_end() {
    let folder = tempfile::tempdir().expect("a folder");
    let ledger = Ledger::open(&folder.path().join("ledger.sqlite")).expect("a ledger");
    let (at_work, most, begun) = (AtomicUsize::new(0), Arc::new(AtomicUsize::new(0)), Arc::new(AtomicUsize::new(0)));
    let (most_seen, counted) = (Arc::clone(&most), Arc::clone(&begun));
    let board = Arc::new(Board::new(Box::new(move || {
        assert!(counted.fetch_add(1, Ordering::SeqCst) > 0, "the first gathering breaks off");
        most_seen.fetch_max(at_work.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
        std::thread::sleep(Duration::from_millis(100));
        at_work.fetch_sub(1, Ordering::SeqCst);
        report(&ledger, vitals())
    })));
    assert!(board.latest().await.is_none(), "it broke off");
    let mut asking = Vec::new();
    for number in 0..40 {
        let board = Arc::clone(&board);
        asking.push(tokio::spawn(async move {
            // Half of them do not wait for the answer.
            let patience = Duration::from_millis(if number % 2 == 0 { 10 } else { 60_000 });
            tokio::time::timeout(patience, board.latest()).await.ok().flatten().is_some()
        }));
    }
    let mut answered = 0;
    for question in asking {
        answered += usize::from(question.await.expect("no panic"));
    }
    assert!(answered >= 20, "whoever waits is answered: {answered}");
    assert_eq!(most.load(Ordering::SeqCst), 1, "one at a time");
}
