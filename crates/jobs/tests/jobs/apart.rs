//! Runs whose rows a process of its own computes: what becomes of them when that process does not do as it should. That it
//! does as it should the end-to-end tests show, with the program itself.

use std::process::Command;

use jobs::{RunTrigger, Runner};
use ledger::RunOutcome;

use crate::runs::weekly_site;
use crate::site::{Site, shot};

fn site_with_a_shot() -> Site {
    let site = weekly_site();
    site.put_shots(&[shot("wren", "2026-01-14", 1, 10.0)]);
    site
}

/// A runner whose helper is a script.
fn helped_by(site: &Site, script: &'static str) -> Runner {
    site.runner().with_helper(move || {
        let mut command = Command::new("sh");
        command.args(["-c", script]);
        command
    })
}

#[test]
fn without_a_helper_that_can_start_the_job_is_computed_here() {
    let site = site_with_a_shot();
    let runner = site.runner().with_helper(|| Command::new("/nowhere/no-such-program"));
    let report = runner.run_job("weekly_speed", RunTrigger::Person, None).expect("a report");
    assert_eq!(report.record.outcome, RunOutcome::Succeeded, "{:?}", report.error);
    assert!(report.record.rows > 0);
}

#[test]
fn a_helper_of_another_configuration_is_not_believed() {
    let site = site_with_a_shot();
    let runner = helped_by(&site, r#"read request; echo '"reads_another_configuration"'"#);
    let report = runner.run_job("weekly_speed", RunTrigger::Person, None).expect("a report");
    assert_eq!(report.record.outcome, RunOutcome::Succeeded, "{:?}", report.error);
    assert!(report.record.rows > 0);
}

#[test]
fn a_helper_that_dies_fails_the_run_and_the_next_run_makes_it_good() {
    let site = site_with_a_shot();
    let report = helped_by(&site, "read request; kill -9 $$").run_job("weekly_speed", RunTrigger::Person, None);
    let report = report.expect("a report");
    assert_eq!(report.record.outcome, RunOutcome::Failed);
    let why = report.error.expect("an error").to_string();
    assert!(why.contains("ended without an answer"), "{why}");
    let report = site.runner().run_job("weekly_speed", RunTrigger::Person, None).expect("a report");
    assert_eq!(report.record.outcome, RunOutcome::Succeeded, "{:?}", report.error);
}

#[test]
fn what_a_helper_says_went_wrong_is_the_error_of_the_run() {
    let site = site_with_a_shot();
    let script = r#"read request; printf '%s\n' '{"failed":"line 3: no such column\nhint: write another"}'"#;
    let report = helped_by(&site, script).run_job("weekly_speed", RunTrigger::Person, None).expect("a report");
    assert_eq!(report.record.outcome, RunOutcome::Failed);
    assert_eq!(report.error.expect("an error").to_string(), "line 3: no such column\nhint: write another");
}

#[test]
fn a_helper_that_hangs_is_ended_when_the_runner_is_told_to_break_off() {
    let site = site_with_a_shot();
    let runner = std::sync::Arc::new(helped_by(&site, "read request; sleep 600"));
    let waits = std::sync::Arc::clone(&runner);
    let run = std::thread::spawn(move || waits.run_job("weekly_speed", RunTrigger::Person, None));
    // Whether it is told before or after the helper began: the run ends as interrupted.
    std::thread::sleep(std::time::Duration::from_millis(300));
    runner.cancel();
    let report = run.join().expect("no panic").expect("a report");
    assert_eq!(report.record.outcome, RunOutcome::Interrupted);
}
