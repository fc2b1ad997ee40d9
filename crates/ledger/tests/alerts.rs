//! Alerts: told once, whatever comes and goes and whoever restarts.

use ledger::{Alert, AlertSubject, Claim, Ledger, Quarantined, RunStart};

fn open(folder: &std::path::Path) -> Ledger {
    Ledger::open(&folder.join("ledger.sqlite")).expect("a ledger")
}

fn about(subject: &str) -> AlertSubject {
    AlertSubject { subject: subject.into(), kind: "waiting".into(), message: format!("{subject} waits") }
}

fn subjects(alerts: &[Alert]) -> Vec<&str> {
    alerts.iter().map(|alert| alert.about.subject.as_str()).collect()
}

#[test]
fn an_alert_is_open_told_mended_and_gone() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    let open_now = ledger.note_alerts(&[about("a"), about("b")], &[], 10).expect("noted");
    assert_eq!(subjects(&open_now), ["a", "b"]);
    assert!(open_now.iter().all(|alert| alert.told_at.is_none() && alert.first_at == 10));
    ledger.note_alerts_told(&open_now, 20).expect("told");

    // A restart forgets nothing, and the same again is no news.
    drop(ledger);
    let ledger = open(folder.path());
    let same = ledger.note_alerts(&[about("a"), about("b")], &[], 30).expect("noted");
    assert!(same.iter().all(|alert| alert.told_at == Some(20) && alert.first_at == 10), "{same:?}");

    let mended = ledger.note_alerts(&[about("b")], &[], 40).expect("noted");
    assert_eq!(mended[0].resolved_at, Some(40));
    ledger.note_alerts_told(&mended[..1], 50).expect("told");
    assert_eq!(subjects(&ledger.alerts().expect("alerts")), ["b"]);
    // The same subject later is a new event.
    let again = ledger.note_alerts(&[about("a"), about("b")], &[], 60).expect("noted");
    let first = again.iter().find(|alert| alert.about.subject == "a").expect("a");
    assert_eq!((first.first_at, first.told_at), (60, None));
}

#[test]
fn what_mends_untold_is_forgotten_and_what_comes_back_before_its_mending_was_told_is_not_told_again() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    ledger.note_alerts(&[about("short")], &[], 1).expect("noted");
    assert!(ledger.note_alerts(&[], &[], 2).expect("noted").is_empty());

    let noted = ledger.note_alerts(&[about("wavering")], &[], 3).expect("noted");
    ledger.note_alerts_told(&noted, 4).expect("told");
    let mended = ledger.note_alerts(&[], &[], 5).expect("noted");
    let back = ledger.note_alerts(&[about("wavering")], &[], 6).expect("noted");
    assert_eq!((back[0].told_at, back[0].resolved_at, back[0].first_at), (Some(4), None, 3));
    // The note about its mending was on its way meanwhile: it takes nothing away.
    ledger.note_alerts_told(&mended, 7).expect("told");
    assert_eq!(ledger.alerts().expect("alerts"), back);
}

#[test]
fn what_could_not_be_looked_at_is_not_taken_for_mended() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    let noted = ledger.note_alerts(&[about("a")], &[], 1).expect("noted");
    ledger.note_alerts_told(&noted, 2).expect("told");
    assert_eq!(ledger.note_alerts(&[], &["waiting"], 3).expect("noted")[0].resolved_at, None);
    assert_eq!(ledger.note_alerts(&[], &["other"], 4).expect("noted")[0].resolved_at, Some(4));
}

#[test]
fn the_last_run_of_each_job_and_the_newest_in_quarantine() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    assert!(ledger.last_run_of_each_job().expect("runs").is_empty());
    for (number, job) in ["b", "a", "b", "c", "a"].into_iter().enumerate() {
        let start = RunStart {
            run_id: format!("run-{number}"),
            job: job.into(),
            nominal_time: None,
            trigger: "import".into(),
            started: i64::try_from(number).expect("small"),
            input_generations: "{}".into(),
        };
        ledger.record_run_start(&start).expect("noted");
    }
    let runs = ledger.last_run_of_each_job().expect("runs");
    let found: Vec<&str> = runs.iter().map(|run| run.start.run_id.as_str()).collect();
    assert_eq!(found, ["run-4", "run-2", "run-3"]);

    for (at, digit) in ["a", "b", "c"].into_iter().enumerate() {
        let claim = Claim {
            source_file_id: digit.repeat(64),
            name: format!("{digit}.csv"),
            folder: "/in".into(),
            bytes: 1,
            source_path: format!("/in/{digit}.csv"),
            keep_source: false,
            at: 0,
        };
        ledger.begin_import(&claim).expect("claimed");
        let refused = Quarantined {
            source_file_id: digit.repeat(64),
            name: claim.name,
            folder: claim.folder,
            bytes: 1,
            format: None,
            format_version: None,
            reason: "no".into(),
            quarantine_path: "/q".into(),
            at: i64::try_from(at).expect("small"),
        };
        ledger.mark_quarantined(&refused).expect("refused");
    }
    let names: Vec<String> =
        ledger.newest_quarantined(2).expect("files").into_iter().map(|file| file.first_name).collect();
    assert_eq!(names, ["c.csv", "b.csv"]);
    assert_eq!(ledger.site().expect("site"), None);
    ledger.bind_site("north").expect("bound");
    assert_eq!(ledger.site().expect("site").as_deref(), Some("north"));
}

#[test]
fn whoever_may_only_read_can_count() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    let reader = Ledger::open_to_read(&folder.path().join("ledger.sqlite")).expect("opened").expect("a ledger");
    assert_eq!(reader.counts().expect("counts"), ledger.counts().expect("counts"));
    assert!(reader.note_alerts(&[about("a")], &[], 1).is_err(), "it cannot write");
}
