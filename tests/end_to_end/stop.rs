//! Stops: in order, at the limit, at once. Whatever is cut short the next start finishes.

use std::path::Path;
use std::time::Duration;

use crate::home::{Daemon, drop_exports, edit, files_below, fresh_home, log_of, number, until, without_shipped_jobs};

const LONG: Duration = Duration::from_secs(90);

/// A job whose query takes longer than any test: every five shots of the lake together.
fn endless_job(home: &Path) {
    without_shipped_jobs(home);
    let folder = home.join("plugins/jobs/endless");
    std::fs::create_dir_all(&folder).expect("a folder");
    let pack = "name = \"endless\"\nversion = \"1\"\ndescription = \"takes for ever\"\n\n\
        [[inputs]]\ndataset = \"shots\"\n\n[trigger]\nafter_import = true\ndebounce_s = 0\n\n[limits]\nseconds = 3600\n\n\
        [output]\ndataset = \"endless\"\ndescription = \"one row\"\nkey = [\"n\"]\nsort = [\"n\"]\n\n\
        [[output.columns]]\nname = \"n\"\ntype = \"integer\"\ndescription = \"a number\"\nrequired = true\n";
    std::fs::write(folder.join("job.toml"), pack).expect("a job");
    let query = "SELECT CAST(coalesce(sum(a.carry_m * b.carry_m * c.carry_m * d.carry_m * e.carry_m), 0) AS BIGINT) AS n \
        FROM shots a, shots b, shots c, shots d, shots e";
    std::fs::write(folder.join("query.sql"), query).expect("a query");
}

fn outcome_of_endless(home: &Path) -> Option<String> {
    let ledger = rusqlite::Connection::open(home.join("state/ledger.sqlite")).expect("the ledger");
    let sql = "SELECT outcome FROM job_runs WHERE job = 'endless' AND outcome IS NOT 'succeeded' AND outcome IS NOT 'unchanged' ORDER BY started DESC LIMIT 1";
    ledger.query_row(sql, [], |row| row.get(0)).ok().flatten()
}

fn with_endless_job_at_work(home: &Path, limit_s: u32) -> Daemon {
    endless_job(home);
    edit(home, "config/strikemill.toml", "stop_limit_s = 60", &format!("stop_limit_s = {limit_s}"));
    drop_exports(home, "bay1", 4);
    let daemon = Daemon::start(home);
    until("the job at work", home, LONG, || {
        let Ok(ledger) = rusqlite::Connection::open(home.join("state/ledger.sqlite")) else { return false };
        let sql = "SELECT count(*) FROM job_runs WHERE job = 'endless' AND finished IS NULL AND input_generations LIKE '%shots/%'";
        ledger.query_row(sql, [], |row| row.get::<_, i64>(0)).is_ok_and(|runs| runs == 1)
    });
    daemon
}

#[test]
fn at_the_limit_a_job_is_broken_off_and_noted() {
    let home = fresh_home();
    let mut daemon = with_endless_job_at_work(home.path(), 3);
    daemon.signal("TERM");
    assert!(daemon.wait(LONG), "a stop that was asked for is no failure: {}", log_of(home.path()));
    assert_eq!(outcome_of_endless(home.path()).as_deref(), Some("interrupted"), "{}", log_of(home.path()));
    assert_eq!(number(home.path(), "SELECT count(DISTINCT source_file_id) AS n FROM shots"), 4);
}

#[test]
fn a_second_signal_ends_at_once() {
    let home = fresh_home();
    let mut daemon = with_endless_job_at_work(home.path(), 3_600);
    daemon.signal("TERM");
    until("the first signal", home.path(), LONG, || log_of(home.path()).contains("stopping"));
    assert!(daemon.0.try_wait().expect("it can be asked").is_none(), "the job is still at work");
    daemon.signal("INT");
    assert!(daemon.wait(LONG), "{}", log_of(home.path()));
    assert!(log_of(home.path()).contains("stopped at once"));
    // The next start notes what the last one could not.
    std::fs::remove_dir_all(home.path().join("plugins/jobs/endless")).expect("the job is taken out");
    let mut daemon = Daemon::start(home.path());
    until("the note", home.path(), LONG, || outcome_of_endless(home.path()).as_deref() == Some("interrupted"));
    daemon.signal("TERM");
    assert!(daemon.wait(LONG));
}

#[test]
fn a_stop_amid_a_flood_of_files_ends_after_the_file_at_hand_and_the_next_start_goes_on() {
    let home = fresh_home();
    let mut sent = 0;
    for bay in ["bay1", "bay2", "bay3"] {
        sent += drop_exports(home.path(), bay, 14);
    }
    let left = || files_below(&home.path().join("import")).len();
    let staged = || log_of(home.path()).matches("staged a file").count();
    let mut stops = 0;
    while stops < 4 && left() > 0 {
        let before = staged();
        let mut daemon = Daemon::start(home.path());
        until("a file taken, or none left", home.path(), LONG, || staged() > before || left() == 0);
        daemon.signal("TERM");
        assert!(daemon.wait(LONG), "{}", log_of(home.path()));
        stops += 1;
    }
    println!("{stops} stops, {} of {sent} files left in the import folders", left());
    std::fs::write(home.path().join("daemon.log"), "").expect("the log is emptied");
    let mut daemon = Daemon::watching(home.path());
    until("empty import folders", home.path(), LONG, || left() == 0);
    daemon.signal("TERM");
    assert!(daemon.wait(LONG), "{}", log_of(home.path()));
    let twice = "SELECT count(*) AS n FROM (SELECT shot_id FROM shots GROUP BY 1 HAVING count(*) > 1)";
    assert_eq!(number(home.path(), twice), 0);
    let refused =
        files_below(&home.path().join("quarantine")).iter().filter(|p| !p.to_string_lossy().ends_with(".json")).count();
    assert_eq!(files_below(&home.path().join("archive")).len() + refused, sent);
}
