//! Ad-hoc queries: what comes out, and what is refused.

use jobs::{EngineLimits, JobPackSet, Output};

use shot::Month;

use crate::site::{Site, error, json, shot};

fn site_with_shots() -> Site {
    let site = Site::new();
    site.put_shots(&[
        shot("wren", "2026-02-27", 1, 60.5),
        shot("wren", "2026-03-02", 2, 61.0),
        shot("kite", "2026-03-03", 3, 70.25),
    ]);
    site
}

fn text(site: &Site, sql: &str, output: Output) -> String {
    let mut out = Vec::new();
    site.engine().execute(sql, output, &mut out).unwrap_or_else(|error| panic!("{error}"));
    String::from_utf8(out).expect("UTF-8")
}

#[test]
fn json_reads_back_with_instants_days_nulls_and_structures() {
    let site = site_with_shots();
    let rows = json(
        &site.engine(),
        "SELECT shot_id, struck_at, local_date, carry_m, named_struct('x', ball_speed_mps, 'y', carry_m) AS pair \
         FROM shots ORDER BY struck_at",
    );
    let rows = rows.expect("it runs");
    assert_eq!(rows.len(), 3);
    let expected = serde_json::json!({
        "shot_id": "wren-2026-02-27-1", "struck_at": "2026-02-27T12:00:01Z", "local_date": "2026-02-27",
        "carry_m": null, "pair": {"x": 60.5, "y": null},
    });
    assert_eq!(rows[0], expected);
}

#[test]
fn without_its_frozen_file_a_partition_is_read_where_it_is_live_and_a_lost_one_is_told() {
    let site = site_with_shots();
    std::fs::remove_dir_all(site.lake.root().join("site=north/moments")).expect("removed");
    assert_eq!(json(&site.engine(), "SELECT count(*) AS n FROM shots").expect("it runs")[0]["n"], 3);
    std::fs::remove_file(site.lake.partition_path("shots", Month::parse("2026-03"))).expect("removed");
    let text = error(&site.engine(), "SELECT count(*) AS n FROM shots");
    assert!(text.contains("shots/site=north/month=2026-03/shots.parquet is missing"), "{text}");
}

#[test]
fn csv_takes_structures_apart() {
    let site = site_with_shots();
    let sql = "SELECT player_id, named_struct('speed', max(ball_speed_mps), 'n', count(*)) AS best FROM shots \
               GROUP BY player_id ORDER BY player_id";
    assert_eq!(text(&site, sql, Output::Csv), "player_id,best.speed,best.n\nkite,70.25,1\nwren,61.0,2\n");
    let empty = "SELECT player_id, named_struct('a', 1) AS s FROM shots WHERE false";
    assert_eq!(text(&site, empty, Output::Csv), "player_id,s.a\n");
    let list = "SELECT flight(NULL, 1, 1, 1, 1, 1) AS f, make_array(1, 2) AS l";
    assert_eq!(text(&site, list, Output::Csv).lines().nth(1), Some(",,,,,,,\"[1, 2]\""));
}

#[test]
fn a_table_has_its_heads_also_without_rows() {
    let site = site_with_shots();
    assert!(text(&site, "SELECT bay, 1 AS one FROM shots WHERE false", Output::Table).contains("| bay | one |"));
    assert!(text(&site, "SELECT 'x' AS a", Output::Table).contains("| x |"));
}

#[test]
fn an_empty_lake_answers_with_no_rows() {
    let site = Site::new();
    for dataset in site.engine().datasets() {
        let rows = json(&site.engine(), &format!("SELECT * FROM {}", dataset.name)).expect("it runs");
        assert_eq!(rows.len(), 0, "{}", dataset.name);
    }
    assert_eq!(json(&site.engine(), "SELECT count(*) AS n FROM shots").expect("it runs")[0]["n"], 0);
}

#[test]
fn changes_are_refused() {
    let site = site_with_shots();
    let target = site.folder.path().join("stolen.csv");
    let copy = format!("COPY (SELECT * FROM shots) TO '{}'", target.display());
    let external = format!("CREATE EXTERNAL TABLE t STORED AS CSV LOCATION '{}'", target.display());
    let statements = [
        copy.as_str(),
        external.as_str(),
        "CREATE TABLE t AS SELECT 1",
        "CREATE VIEW v AS SELECT 1",
        "INSERT INTO shots SELECT * FROM shots",
        "DELETE FROM shots",
        "DROP TABLE shots",
        "SET datafusion.execution.batch_size = 7",
        "SELECT * INTO t FROM shots",
    ];
    for sql in statements {
        let text = error(&site.engine(), sql);
        assert!(
            text.contains("refused") || text.contains("not supported") || text.contains("not implemented"),
            "{sql}: {text}"
        );
        assert!(text.contains("hint: "), "{sql}: {text}");
    }
    assert!(!target.exists());
    let file = format!("SELECT * FROM '{}'", site.lake.root().join("shots").display());
    assert!(error(&site.engine(), &file).contains("no dataset is called"), "files outside the datasets stay closed");
}

#[test]
fn errors_point_at_their_place_and_offer_a_way_out() {
    let site = site_with_shots();
    let engine = site.engine();
    let table = error(&engine, "SELECT *\nFROM shotz");
    assert!(table.contains("line 2, column 6: no dataset is called shotz"), "{table}");
    assert!(table.contains("hint: the datasets are bay_clocks, clubs, devices, imports, job_runs"), "{table}");
    let column = error(&engine, "SELECT shot_id,\n       ball_sped_mps\nFROM shots");
    assert!(column.contains("line 2, column 8: no column is called ball_sped_mps"), "{column}");
    assert!(column.contains("\n           ball_sped_mps\n           ^"), "{column}");
    assert!(column.contains("did you mean ball_speed_mps"), "{column}");
    let syntax = error(&engine, "SELECT shot_id FORM shots WHERE");
    assert!(syntax.contains("line 1, column ") && syntax.contains("hint: "), "{syntax}");
    let parameter = error(&engine, "SELECT $limit");
    assert!(parameter.contains("$limit has no value"), "{parameter}");
    let running = error(&engine, "SELECT 1 / (ball_speed_mps::bigint - ball_speed_mps::bigint) FROM shots");
    assert!(running.contains("ivide by zero") && running.contains("hint: "), "{running}");
}

#[test]
fn the_row_limit_cuts_and_says_so() {
    let site = site_with_shots();
    let limits = EngineLimits { rows: 2, ..site.limits() };
    let engine = site.engine_with(limits, &JobPackSet::default());
    let mut out = Vec::new();
    let summary = engine.execute("SELECT shot_id FROM shots", Output::Json, &mut out).expect("it runs");
    assert_eq!((summary.rows, summary.cut), (2, true));
    let rows: Vec<serde_json::Value> = serde_json::from_slice(&out).expect("a cut result is whole JSON");
    assert_eq!(rows.len(), 2);
    let summary = engine.execute("SELECT 1 LIMIT 2", Output::Csv, &mut Vec::new()).expect("it runs");
    assert_eq!((summary.rows, summary.cut), (1, false));
}

#[test]
fn the_time_limit_ends_a_query_that_would_run_for_ages() {
    let site = Site::new();
    let engine = site.engine_with(EngineLimits { seconds: 1, ..site.limits() }, &JobPackSet::default());
    let begin = std::time::Instant::now();
    let text = error(&engine, "SELECT count(*) FROM generate_series(1, 10000000) a, generate_series(1, 10000000) b");
    assert!(text.contains("the time limit of 1 s was reached") && text.contains("hint: "), "{text}");
    assert!(begin.elapsed().as_secs() < 20, "{:?}", begin.elapsed());
}

#[test]
fn beyond_the_memory_limit_sorting_spills_to_the_state_folder() {
    let site = Site::new();
    let engine =
        site.engine_with(EngineLimits { memory_bytes: 24 * 1024 * 1024, ..site.limits() }, &JobPackSet::default());
    let sql = "SELECT max(n) AS n, count(*) AS c FROM (SELECT row_number() OVER (ORDER BY md) AS n FROM \
               (SELECT repeat(cast(value * 7919 % 1000003 AS varchar), 16) AS md FROM generate_series(1, 300000)))";
    let rows = json(&engine, sql).expect("it spills instead of failing");
    assert_eq!(rows[0], serde_json::json!({"n": 300_000, "c": 300_000}));
    let left = std::fs::read_dir(site.limits().spill_folder).expect("the spill folder stands").count();
    drop(engine);
    assert!(left <= 1, "spilled files go with their query: {left} folders");
}
