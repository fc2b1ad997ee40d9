//! Runs of jobs: contracts, changed months, revisions, history.

use jobs::{RunReport, RunTrigger, Runner};
use ledger::RunOutcome;
use shot::Month;

use crate::site::{Site, day, noon, shot};

/// Contract of a weekly sum over the current and the three weeks before.
const WEEKLY: &str = r#"
[[inputs]]
dataset = "shots"
look_back_weeks = 3

[output]
dataset = "weekly_speed"
description = "sum of ball speeds, for tests"
key = ["player_id", "week"]
partition_day = "week"
revision_by = "week"
[[output.columns]]
name = "player_id"
type = "text"
description = "alias"
required = true
[[output.columns]]
name = "week"
type = "day"
description = "Monday"
required = true
[[output.columns]]
name = "shots"
type = "integer"
description = "shots of the week"
required = true
[[output.columns]]
name = "recent_mps"
type = "real"
unit = "m/s"
description = "sum of this week and the three before"
[[output.columns]]
name = "revision"
type = "integer"
description = "changes after the week's end"
required = true

[trigger]
after_import = true
"#;

const WEEKLY_SQL: &str = "WITH weeks AS (
    SELECT player_id, monday(local_date) AS week, count(*) AS shots, sum(ball_speed_mps) AS total
    FROM shots WHERE ball_speed_mps > $slowest GROUP BY player_id, monday(local_date)
)
SELECT this.player_id, this.week, this.shots, sum(other.total) AS recent_mps, 0 AS revision
FROM weeks AS this JOIN weeks AS other
  ON other.player_id = this.player_id AND other.week BETWEEN this.week - INTERVAL '21 days' AND this.week
GROUP BY this.player_id, this.week, this.shots";

pub fn weekly_site() -> Site {
    let site = Site::new();
    site.write_pack("weekly_speed", &format!("{WEEKLY}\n[parameters]\nslowest = 5.5\n"), WEEKLY_SQL);
    site
}

fn run(runner: &Runner, job: &str) -> RunReport {
    runner.run_job(job, RunTrigger::Person, None).unwrap_or_else(|error| panic!("{error}"))
}

fn good(report: &RunReport) -> (RunOutcome, i64, i64) {
    if let Some(error) = &report.error {
        panic!("{error}");
    }
    (report.record.outcome, report.record.partitions_written, report.record.partitions_unchanged)
}

fn weeks(site: &Site) -> Vec<(String, f64, i64)> {
    let rows = site.rows("SELECT week, recent_mps, revision FROM weekly_speed ORDER BY week, player_id");
    let mut weeks = Vec::new();
    for row in rows {
        let week = row["week"].as_str().expect("a day").to_owned();
        weeks.push((week, row["recent_mps"].as_f64().expect("a number"), row["revision"].as_i64().expect("a number")));
    }
    weeks
}

fn week(date: &str, recent: f64, revision: i64) -> (String, f64, i64) {
    (date.to_owned(), recent, revision)
}

#[test]
fn a_change_reaches_later_months_through_the_look_back() {
    let site = weekly_site();
    let runner = site.runner();
    site.set_now("2026-04-20");
    let january = shot("wren", "2026-01-14", 1, 10.0);
    let february = shot("wren", "2026-02-25", 2, 20.0);
    let march = shot("wren", "2026-03-10", 3, 40.0);
    let april = shot("wren", "2026-04-15", 4, 80.0);
    site.put_shots(&[january, february.clone(), march, april]);
    assert_eq!(good(&run(&runner, "weekly_speed")), (RunOutcome::Succeeded, 4, 0));
    let first = [
        week("2026-01-12", 10.0, 0),
        week("2026-02-23", 20.0, 0),
        week("2026-03-09", 60.0, 0),
        week("2026-04-13", 80.0, 0),
    ];
    assert_eq!(weeks(&site), first);
    assert_eq!(good(&run(&runner, "weekly_speed")), (RunOutcome::Unchanged, 0, 0));

    // A late shot of February changes its own week and, by the look-back, that of March; January and April stay.
    let before = site.lake.manifest().expect("a manifest");
    site.put_shots(&[february, shot("wren", "2026-02-26", 5, 1.0), shot("wren", "2026-02-27", 6, 6.0)]);
    assert_eq!(good(&run(&runner, "weekly_speed")).1, 2);
    let second = [
        week("2026-01-12", 10.0, 0),
        week("2026-02-23", 26.0, 1),
        week("2026-03-09", 66.0, 1),
        week("2026-04-13", 80.0, 0),
    ];
    assert_eq!(weeks(&site), second);
    let after = site.lake.manifest().expect("a manifest");
    for (month, stays) in [("2026-01", true), ("2026-02", false), ("2026-03", false), ("2026-04", true)] {
        let file = |manifest: &lake::Manifest| manifest.file("weekly_speed", Month::parse(month)).cloned();
        assert_eq!(file(&before) == file(&after), stays, "{month}");
    }
}

#[test]
fn weeks_that_lie_in_two_months_are_whole() {
    let site = weekly_site();
    let runner = site.runner();
    // Monday 30 March to Sunday 5 April 2026: the output month is March, the new input month April.
    site.set_now("2026-04-01");
    site.put_shots(&[shot("wren", "2026-03-31", 1, 10.0)]);
    run(&runner, "weekly_speed");
    site.set_now("2026-04-03");
    site.put_shots(&[shot("wren", "2026-04-02", 2, 20.0)]);
    assert_eq!(good(&run(&runner, "weekly_speed")), (RunOutcome::Succeeded, 1, 0));
    assert_eq!(weeks(&site), [week("2026-03-30", 30.0, 0)], "the week still runs, so nothing was revised");
    site.set_now("2026-04-06");
    assert_eq!(good(&run(&runner, "weekly_speed")), (RunOutcome::Unchanged, 0, 0));
    site.put_shots(&[shot("wren", "2026-04-02", 2, 25.0)]);
    run(&runner, "weekly_speed");
    assert_eq!(weeks(&site), [week("2026-03-30", 35.0, 1)], "after its end the week was told, so now it is revised");
}

#[test]
fn touched_input_without_a_difference_leaves_the_output_alone() {
    let site = weekly_site();
    let runner = site.runner();
    site.put_shots(&[shot("wren", "2026-03-02", 1, 10.0)]);
    run(&runner, "weekly_speed");
    let before = site.lake.manifest().expect("a manifest");
    // Too slow to count: the input file is another one, the sums are the same.
    site.put_shots(&[shot("wren", "2026-03-02", 1, 10.0), shot("wren", "2026-03-02", 2, 5.0)]);
    assert_eq!(good(&run(&runner, "weekly_speed")), (RunOutcome::Succeeded, 0, 1));
    let after = site.lake.manifest().expect("a manifest");
    assert!(after.file("shots", Month::parse("2026-03")) != before.file("shots", Month::parse("2026-03")));
    assert_eq!(
        after.file("weekly_speed", Month::parse("2026-03")),
        before.file("weekly_speed", Month::parse("2026-03"))
    );
}

#[test]
fn an_output_month_without_rows_disappears() {
    let site = weekly_site();
    let runner = site.runner();
    site.put_shots(&[shot("wren", "2026-01-14", 1, 10.0), shot("wren", "2026-03-10", 3, 40.0)]);
    assert_eq!(good(&run(&runner, "weekly_speed")).1, 2);
    site.remove_shots("2026-01");
    run(&runner, "weekly_speed");
    assert_eq!(site.lake.partitions("weekly_speed").expect("a listing"), [Month::parse("2026-03")]);
    assert_eq!(weeks(&site), [week("2026-03-09", 40.0, 0)]);
}

#[test]
fn chosen_days_are_computed_whatever_changed_and_changes_stay_due() {
    let site = weekly_site();
    let runner = site.runner();
    site.put_shots(&[shot("wren", "2026-01-14", 1, 10.0), shot("wren", "2026-03-10", 3, 40.0)]);
    let days = Some((day("2026-03-11"), day("2026-03-11")));
    let report = runner.run_job("weekly_speed", RunTrigger::Person, days).expect("it runs");
    assert_eq!((good(&report).1, report.record.rows), (1, 1));
    assert_eq!(good(&run(&runner, "weekly_speed")), (RunOutcome::Succeeded, 1, 1));
}

#[test]
fn an_empty_lake_gives_an_empty_result() {
    let site = weekly_site();
    let runner = site.runner();
    runner.check_job("weekly_speed").expect("it keeps its contract");
    assert_eq!(good(&run(&runner, "weekly_speed")), (RunOutcome::Succeeded, 0, 0));
    assert!(site.lake.partitions("weekly_speed").expect("a listing").is_empty());
}

#[test]
fn rows_that_break_the_contract_are_refused_and_the_last_good_output_stays() {
    let site = weekly_site();
    site.put_shots(&[shot("wren", "2026-03-02", 1, 10.0), shot("kite", "2026-03-02", 1, 20.0)]);
    run(&site.runner(), "weekly_speed");
    let published = weeks(&site);
    let columns = "monday(local_date) AS week, count(*) AS shots, sum(ball_speed_mps) AS recent_mps, 0 AS revision";
    let group = "FROM shots GROUP BY player_id, monday(local_date)";
    let cases = [
        (format!("SELECT player_id, {columns}, 1 AS more {group}"), "column more is not in the contract"),
        (format!("SELECT player_id AS who, {columns} {group}"), "column who is not in the contract"),
        (format!("SELECT player_id, {} {group}", columns.replace(", 0 AS revision", "")), "column revision is missing"),
        (format!("SELECT player_id, {} {group}", columns.replace("count(*)", "'3'")), "column shots is Utf8 but"),
        (format!("SELECT player_id, {} {group}", columns.replace("count(*)", "0.5")), "column shots is Float64 but"),
        (
            format!("SELECT nullif(player_id, 'kite') AS player_id, {columns} {group}"),
            "required column player_id is null",
        ),
        (
            format!("SELECT player_id, {} {group}", columns.replace("sum(ball_speed_mps)", "0.0 / (count(*) - 1)")),
            "column recent_mps is NaN in the row with player_id = ",
        ),
        (format!("SELECT 'one' AS player_id, {columns} {group}"), "the key player_id, week is not unique"),
        ("SELECT * FROM players".to_owned(), "no dataset is called players\n"),
        ("SELECT * FROM players".to_owned(), "name others under [[inputs]] of the pack"),
        (format!("SELECT playr_id, {columns} {group}"), "did you mean player_id"),
    ];
    for (sql, expected) in cases {
        site.write_pack("weekly_speed", WEEKLY, &sql);
        let report = run(&site.runner(), "weekly_speed");
        assert_eq!(report.record.outcome, RunOutcome::Failed, "{sql}");
        let text = report.error.expect("an error").to_string();
        assert!(text.contains(expected) && text.contains("hint: "), "{sql}: {text}");
        assert_eq!(weeks(&site), published);
    }
}

#[test]
fn kin_types_become_those_of_the_contract() {
    let site = weekly_site();
    site.put_shots(&[shot("wren", "2026-03-02", 1, 10.0)]);
    let sql = "SELECT arrow_cast(player_id, 'Utf8View') AS player_id, arrow_cast(monday(local_date), 'Date64') AS week, \
               cast(count(*) AS int) AS shots, arrow_cast(3, 'UInt8') AS recent_mps, row_number() OVER () AS revision \
               FROM shots GROUP BY player_id, monday(local_date)";
    site.write_pack("weekly_speed", WEEKLY, sql);
    assert_eq!(good(&run(&site.runner(), "weekly_speed")).1, 1);
    assert_eq!(weeks(&site), [week("2026-03-02", 3.0, 0)]);
}

#[test]
fn a_changed_query_is_due_at_once() {
    let site = weekly_site();
    site.put_shots(&[shot("wren", "2026-03-02", 1, 10.0)]);
    run(&site.runner(), "weekly_speed");
    let pack = format!("{WEEKLY}\n[parameters]\nslowest = 50\n");
    site.write_pack("weekly_speed", &pack, WEEKLY_SQL);
    assert_eq!(good(&run(&site.runner(), "weekly_speed")), (RunOutcome::Succeeded, 1, 0));
    assert!(weeks(&site).is_empty());
}

/// A job on the weekly sums, started by it.
const FOLLOWER: &str = r#"
[[inputs]]
dataset = "weekly_speed"
[output]
dataset = "player_best"
description = "best week, for tests"
key = ["player_id"]
[[output.columns]]
name = "player_id"
type = "text"
description = "alias"
required = true
[[output.columns]]
name = "best_mps"
type = "real"
unit = "m/s"
description = "best week"
[trigger]
after_job = "weekly_speed"
"#;

#[test]
fn an_import_starts_its_jobs_and_those_behind_them_and_history_is_kept() {
    let site = weekly_site();
    site.write_pack(
        "player_best",
        FOLLOWER,
        "SELECT player_id, max(recent_mps) AS best_mps FROM weekly_speed GROUP BY 1",
    );
    let runner = site.runner();
    site.put_shots(&[shot("wren", "2026-03-02", 1, 10.0), shot("kite", "2026-03-02", 2, 30.0)]);
    let reports = runner.run_after_import().expect("it runs");
    let jobs: Vec<&str> = reports.iter().map(|report| report.record.job.as_str()).collect();
    assert_eq!(jobs, ["weekly_speed", "player_best"]);
    assert_eq!(site.rows("SELECT * FROM player_best")[0], serde_json::json!({"player_id": "kite", "best_mps": 30.0}));
    let runs =
        site.rows("SELECT job, trigger, outcome, rows, partitions_written, site_id FROM job_runs ORDER BY started_at");
    let expected = serde_json::json!([
        {"job": "weekly_speed", "trigger": "import", "outcome": "succeeded", "rows": 2, "partitions_written": 1, "site_id": "north"},
        {"job": "player_best", "trigger": "job", "outcome": "succeeded", "rows": 2, "partitions_written": 1, "site_id": "north"},
    ]);
    assert_eq!(serde_json::Value::from(runs), expected);
    assert_eq!(site.ledger.last_runs(None, 9).expect("the ledger reads").len(), 2);

    site.write_pack("weekly_speed", WEEKLY, "SELECT 1 AS one FROM shots");
    let reports = site.runner().run_after_import().expect("it runs");
    assert_eq!(reports.len(), 1, "what follows a failed job does not run");
    let failed = site.rows("SELECT message FROM job_runs WHERE outcome = 'failed'");
    assert!(
        failed[0]["message"].as_str().is_some_and(|text| text.contains("one is not in the contract")),
        "{failed:?}"
    );
}

#[test]
fn a_schedule_is_made_up_for_once() {
    let site = weekly_site();
    let pack = WEEKLY.replace("after_import = true", "cron = \"0 6 * * 1\"");
    site.write_pack("weekly_speed", &format!("{pack}\n[parameters]\nslowest = 0\n"), WEEKLY_SQL);
    let runner = site.runner();
    let now = noon("2026-03-18"); // a Wednesday; the Monday before is the 16th
    let monday = noon("2026-03-16") - 6 * 3_600_000_000;
    let reports = runner.run_all_due(now).expect("it runs");
    assert_eq!(reports.len(), 1);
    assert_eq!(reports[0].record.nominal_at, Some(monday));
    assert!(runner.run_all_due(now).expect("it runs").is_empty());
    assert_eq!(runner.next_fire(now), Some((monday + 7 * 86_400_000_000, "weekly_speed".to_owned())));
    let later = noon("2026-05-20");
    assert_eq!(runner.run_all_due(later).expect("it runs").len(), 1, "nine missed Mondays are one run");
    assert!(runner.run_all_due(later).expect("it runs").is_empty());
}

#[test]
fn a_steady_flow_of_imports_holds_no_run_up_and_what_came_meanwhile_is_due_next() {
    use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};

    let site = weekly_site();
    site.put_shots(&[shot("wren", "2026-11-17", 0, 60.0)]);
    let runner = site.runner();
    let (is_over, published) = (AtomicBool::new(false), AtomicI64::new(1));
    let mut errors = Vec::new();
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut rows = vec![shot("wren", "2026-11-17", 0, 60.0)];
            while !is_over.load(Ordering::SeqCst) {
                rows.push(shot("wren", "2026-11-17", published.load(Ordering::SeqCst), 60.0));
                site.put_shots(&rows);
                published.fetch_add(1, Ordering::SeqCst);
            }
        });
        // So many publications fall into these runs that none would see its inputs stand still.
        for _ in 0..5 {
            let before = published.load(Ordering::SeqCst);
            while published.load(Ordering::SeqCst) == before {
                std::thread::yield_now();
            }
            // Told afterwards: the flow has to end first.
            errors.extend(
                runner.run_job("weekly_speed", RunTrigger::Person, None).map(|report| report.error).transpose(),
            );
        }
        is_over.store(true, Ordering::SeqCst);
    });
    assert!(errors.is_empty(), "{errors:?}");
    run(&runner, "weekly_speed");
    let rows = site.rows("SELECT shots FROM weekly_speed");
    assert_eq!(rows[0]["shots"], published.load(Ordering::SeqCst), "nothing that came during a run is forgotten");
}
