//! Outputs whose rows stay, and the verdict-like rows that stand on them.

use jobs::{RunReport, RunTrigger, Runner};
use ledger::RunOutcome;
use shot::Month;

use crate::site::{Site, provenance, shot};

/// The mean ball speed of the shots before each week, kept.
const USUAL: &str = r#"
[[inputs]]
dataset = "shots"
look_back_weeks = 8

[[inputs]]
dataset = "players"

[output]
dataset = "usual"
description = "a snapshot, for tests"
key = ["player_id", "week", "series"]
partition_day = "week"
append_only = { made_at = "made_at", settles_after_h = 48, consent_of = "player_id" }
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
name = "series"
type = "integer"
description = "series"
required = true
[[output.columns]]
name = "made_at"
type = "instant"
description = "made"
required = true
[[output.columns]]
name = "speed_mps"
type = "real"
unit = "m/s"
description = "mean speed before the week"

[trigger]
after_import = true

[limits]
months_at_once = 1
"#;

const USUAL_SQL: &str = "SELECT weeks.player_id, weeks.week, CAST($series AS BIGINT) AS series,
    arrow_cast($run_at, 'Timestamp(Microsecond, Some(\"UTC\"))') AS made_at, avg(earlier.ball_speed_mps) AS speed_mps
FROM (SELECT DISTINCT player_id, monday(local_date) AS week FROM shots) AS weeks
JOIN shots AS earlier ON earlier.player_id = weeks.player_id AND earlier.local_date < weeks.week
    AND earlier.local_date >= weeks.week - INTERVAL '56 days'
GROUP BY weeks.player_id, weeks.week";

/// Each shot against the snapshot of its week.
const JUDGED: &str = r#"
[[inputs]]
dataset = "shots"

[[inputs]]
dataset = "usual"

[output]
dataset = "judged"
description = "for tests"
key = ["shot_id"]
partition_day = "local_date"
revision_by = "week"
[[output.columns]]
name = "shot_id"
type = "text"
description = "shot"
required = true
[[output.columns]]
name = "local_date"
type = "day"
description = "day"
required = true
[[output.columns]]
name = "week"
type = "day"
description = "Monday"
required = true
[[output.columns]]
name = "over_mps"
type = "real"
unit = "m/s"
description = "above the usual"
[[output.columns]]
name = "revision"
type = "integer"
description = "changes of a closed week"
required = true

[trigger]
after_import = true
"#;

const JUDGED_SQL: &str = "SELECT shots.shot_id, shots.local_date, monday(shots.local_date) AS week,
    shots.ball_speed_mps - usual.speed_mps AS over_mps, 0 AS revision
FROM shots LEFT JOIN (SELECT *, row_number() OVER (PARTITION BY player_id, week ORDER BY series DESC) AS newest FROM usual) AS usual
    ON usual.player_id = shots.player_id AND usual.week = monday(shots.local_date) AND usual.newest = 1";

fn kept_site() -> Site {
    let site = Site::new();
    site.write_pack("usual", USUAL, USUAL_SQL);
    site.write_pack("judged", JUDGED, JUDGED_SQL);
    site
}

fn run(runner: &Runner) -> Vec<RunReport> {
    let reports = runner.run_after_import().expect("it runs");
    for report in &reports {
        assert!(report.error.is_none(), "{:?}", report.error);
    }
    reports
}

/// Week, series and speed of every snapshot.
fn snapshots(site: &Site) -> Vec<(String, i64, f64)> {
    let rows = site.rows("SELECT week, series, speed_mps FROM usual ORDER BY player_id, week, series");
    let read = |row: &serde_json::Value| {
        let week = row["week"].as_str().expect("a day").to_owned();
        (week, row["series"].as_i64().expect("a series"), row["speed_mps"].as_f64().expect("a speed"))
    };
    rows.iter().map(read).collect()
}

fn snapshot(week: &str, series: i64, speed: f64) -> (String, i64, f64) {
    (week.to_owned(), series, speed)
}

/// Highest revision of each week's judged rows.
fn revisions(site: &Site) -> Vec<i64> {
    let rows = site.rows("SELECT week, max(revision) AS revision FROM judged GROUP BY week ORDER BY week");
    rows.iter().map(|row| row["revision"].as_i64().expect("a revision")).collect()
}

#[test]
fn a_late_shot_of_a_closed_week_changes_no_snapshot_but_the_weeks_verdicts() {
    let site = kept_site();
    site.set_now("2026-02-20");
    let runner = site.runner();
    let mut january = vec![shot("wren", "2026-01-14", 1, 60.0), shot("wren", "2026-01-21", 2, 62.0)];
    let february = [shot("wren", "2026-02-04", 3, 64.0)];
    site.put_shots(&january);
    site.put_shots(&february);
    run(&runner);
    let first = [snapshot("2026-01-19", 1, 60.0), snapshot("2026-02-02", 1, 61.0)];
    assert_eq!(snapshots(&site), first);
    assert_eq!(revisions(&site), [0, 0, 0]);

    // A month later a shot of the first week comes in, and a correction of the second week's.
    site.set_now("2026-03-20");
    january[1] = shot("wren", "2026-01-21", 2, 70.0);
    january.push(shot("wren", "2026-01-15", 4, 50.0));
    site.put_shots(&january);
    let before = site.lake.manifest().expect("a manifest");
    run(&runner);
    assert_eq!(snapshots(&site), first, "what a closed week was judged by stays");
    let after = site.lake.manifest().expect("a manifest");
    let file = |manifest: &lake::Manifest| manifest.file("usual", Month::parse("2026-01")).cloned();
    assert_eq!(file(&before), file(&after), "not even the file is written anew");
    assert_eq!(revisions(&site), [1, 1, 0], "the weeks that were told otherwise say so");
    let over = site.rows("SELECT over_mps FROM judged WHERE local_date = DATE '2026-01-21'");
    assert_eq!(over[0]["over_mps"], 10.0, "judged by the snapshot of then");
}

#[test]
fn a_backlog_that_comes_within_the_settling_time_is_taken_up_and_then_it_stands() {
    let site = kept_site();
    site.set_now("2026-02-20");
    let runner = site.runner();
    let mut january = vec![shot("wren", "2026-01-14", 1, 60.0), shot("wren", "2026-01-21", 2, 62.0)];
    site.put_shots(&january);
    run(&runner);
    assert_eq!(snapshots(&site), [snapshot("2026-01-19", 1, 60.0)]);
    let made_first = site.rows("SELECT made_at FROM usual")[0]["made_at"].clone();

    site.set_now("2026-02-21");
    january.push(shot("wren", "2026-01-15", 3, 50.0));
    site.put_shots(&january);
    run(&runner);
    assert_eq!(snapshots(&site), [snapshot("2026-01-19", 1, 55.0)]);
    let made_still = site.rows("SELECT made_at FROM usual")[0]["made_at"].clone();
    assert_eq!(made_first, made_still, "late data cannot put the settling off");

    site.set_now("2026-02-23");
    january.push(shot("wren", "2026-01-16", 4, 10.0));
    site.put_shots(&january);
    run(&runner);
    assert_eq!(snapshots(&site), [snapshot("2026-01-19", 1, 55.0)]);
}

#[test]
fn a_refit_makes_a_new_series_beside_the_old_one_and_is_recorded() {
    let site = kept_site();
    site.set_now("2026-02-20");
    let runner = site.runner();
    let mut january = vec![shot("wren", "2026-01-14", 1, 60.0), shot("wren", "2026-01-21", 2, 62.0)];
    site.put_shots(&january);
    run(&runner);
    site.set_now("2026-03-20");
    january.push(shot("wren", "2026-01-15", 3, 50.0));
    site.put_shots(&january);
    run(&runner);

    let report = runner.run_job("usual", RunTrigger::Refit, None).expect("it runs");
    assert!(report.error.is_none(), "{:?}", report.error);
    assert_eq!(snapshots(&site), [snapshot("2026-01-19", 1, 60.0), snapshot("2026-01-19", 2, 55.0)]);
    run(&runner);
    let over = site.rows("SELECT over_mps FROM judged WHERE local_date = DATE '2026-01-21'");
    assert_eq!(over[0]["over_mps"], 7.0, "the highest series is in force");
    let recorded = site.rows("SELECT outcome FROM job_runs WHERE trigger = 'refit' AND job = 'usual'");
    assert_eq!(recorded.len(), 1);
    // Whatever comes later goes on in the new series.
    site.put_shots(&[shot("wren", "2026-02-18", 4, 61.0)]);
    run(&runner);
    let all = snapshots(&site);
    assert_eq!(all.last().map(|(week, series, _)| (week.as_str(), *series)), Some(("2026-02-16", 2)));
    assert_eq!(all.len(), 3);
    let refused = runner.run_job("judged", RunTrigger::Refit, None).expect_err("it has no series");
    assert!(refused.to_string().contains("nothing to refit"), "{refused}");
}

#[test]
fn a_change_of_the_query_leaves_what_stands_and_the_rows_of_who_takes_consent_back_go() {
    let site = kept_site();
    site.set_now("2026-02-20");
    let players = |wren_agrees: bool| {
        let batch = site_players(&[("wren", wren_agrees), ("kite", true)]);
        site.lake.replace_partition(&shot::players(), None, &[batch], &provenance()).expect("published");
    };
    players(true);
    let rows =
        ["wren", "kite"].map(|player| [shot(player, "2026-01-14", 1, 60.0), shot(player, "2026-01-21", 2, 62.0)]);
    site.put_shots(&rows.concat());
    run(&site.runner());
    assert_eq!(snapshots(&site).len(), 2);

    site.set_now("2026-03-20");
    site.write_pack("usual", USUAL, &USUAL_SQL.replace("avg(", "1000.0 + avg("));
    assert_eq!(run(&site.runner())[0].record.outcome, RunOutcome::Succeeded);
    assert_eq!(snapshots(&site), [snapshot("2026-01-19", 1, 60.0), snapshot("2026-01-19", 1, 60.0)]);

    players(false);
    // The real packs leave such players out by themselves; here only what stands is looked at.
    site.write_pack("usual", USUAL, &format!("{USUAL_SQL} HAVING weeks.player_id <> 'wren'"));
    run(&site.runner());
    let left = site.rows("SELECT player_id FROM usual");
    assert_eq!(serde_json::Value::from(left), serde_json::json!([{ "player_id": "kite" }]));
}

/// The dataset `players` with aliases and whether each agreed.
fn site_players(players: &[(&str, bool)]) -> arrow::array::RecordBatch {
    use std::sync::Arc;

    use arrow::array::{ArrayRef, BooleanArray, Float64Array, Int64Array, StringArray, new_null_array};
    let schema = shot::players();
    let count = players.len();
    let mut columns: Vec<ArrayRef> = Vec::new();
    for column in &schema.columns {
        columns.push(match column.name.as_str() {
            "site_id" => Arc::new(StringArray::from(vec!["north"; count])),
            "player_id" => Arc::new(StringArray::from_iter_values(players.iter().map(|(alias, _)| alias))),
            "hand" => Arc::new(Int64Array::from(vec![1; count])),
            "consent" => Arc::new(players.iter().map(|(_, agreed)| Some(*agreed)).collect::<BooleanArray>()),
            "stock_path_deg" | "stock_face_deg" => Arc::new(Float64Array::from(vec![0.0; count])),
            _ => new_null_array(&column.kind.arrow_type(), count),
        });
    }
    arrow::array::RecordBatch::try_new(schema.arrow_schema(), columns).expect("a batch")
}

#[test]
fn a_pack_whose_rows_stay_must_be_able_to() {
    let cases = [
        ("made_at = \"made_at\"", "made_at = \"week\"", "no required column of type instant"),
        ("\"week\", \"series\"]", "\"week\"]", "needs the column \"series\" in the key"),
        ("partition_day = \"week\"", "partition_day = \"week\"\nrevision_by = \"week\"", "exclude each other"),
        ("consent_of = \"player_id\"", "consent_of = \"speed_mps\"", "no required column of type text"),
        ("months_at_once = 1", "months_at_once = 0", "months_at_once cannot be kept"),
        ("[limits]", "[parameters]\nseries = 3\n[limits]", "the parameter \"series\" is taken"),
        ("[limits]", "[parameters]\nidle = 3\n[limits]", "does not use the parameter \"idle\""),
    ];
    for (right, wrong, message) in cases {
        let site = Site::new();
        assert!(USUAL.contains(right), "{right}");
        site.write_pack("usual", &USUAL.replace(right, wrong), USUAL_SQL);
        let (packs, faults) = jobs::JobPackSet::load(&site.folder.path().join("plugins/jobs"));
        assert!(packs.packs().is_empty(), "{message}");
        assert!(faults.iter().any(|fault| fault.message.contains(message) && fault.line > 0), "{message}: {faults:?}");
    }
}
