//! Functions of lists of rows, against the rooms behind them.

use practice::{Answer, Measurement, Row, Strike};

use crate::site::{Site, error, json};

/// Fields of an answer against those of the room; a number within what another order of the rows may change.
fn same<A: Answer>(found: &serde_json::Value, expected: &A) {
    for (position, (name, ..)) in A::NUMBERS.iter().enumerate() {
        match (found[*name].as_f64(), expected.number_at(position)) {
            (None, None) => {}
            (Some(one), Some(other)) => {
                assert!((one - other).abs() <= 1e-9 * other.abs().max(1.0), "{name}: {one} {other}");
            }
            different => panic!("{name}: {different:?}"),
        }
    }
    for (position, (name, _)) in A::TEXTS.iter().enumerate() {
        assert_eq!(found[*name].as_str(), expected.text_at(position), "{name}");
    }
}

#[test]
fn a_mean_by_sessions_is_that_of_the_room_list_by_list() {
    let engine = Site::new().engine();
    let sql = "SELECT player, mean_by_sessions(array_agg(named_struct('value', 3.0 + sin(n * 7.0 + player), 'deviation', 0.4, \
        'session', n % 4, 'day', n % 4 * 3, 'current', n % 4 = 3)), 0.2) AS told \
        FROM (SELECT value AS n FROM generate_series(0, 39)) CROSS JOIN (SELECT value AS player FROM generate_series(0, 39)) \
        GROUP BY player ORDER BY player";
    let rows = json(&engine, sql).expect("it runs");
    assert_eq!(rows.len(), 40);
    for (player, row) in rows.iter().enumerate() {
        let mut values = Vec::new();
        for n in 0..40_u32 {
            let value = 3.0 + (f64::from(n) * 7.0 + player as f64).sin();
            let session = n % 4;
            values.push(Measurement {
                value,
                deviation: 0.4,
                session,
                day: session.cast_signed() * 3,
                current: session == 3,
            });
        }
        let expected = practice::mean_by_sessions(&values, 0.2);
        assert!(expected.mean.is_some(), "the rows are enough");
        same(&row["told"], &expected);
    }
}

#[test]
fn a_strike_pattern_is_that_of_the_room_and_rows_without_a_strike_are_passed_over() {
    let engine = Site::new().engine();
    let sql = "SELECT strike_pattern(array_agg(named_struct('toe_mm', CASE WHEN n < 30 THEN 9.0 * sin(n * 5.0) END, \
        'up_mm', 4.0 * cos(n * 3.0), 'toe_sd_mm', 1.5, 'up_sd_mm', 1.5, 'session', n % 2, 'day', n % 2, 'current', true, \
        'source', 'measured'))) AS told FROM (SELECT value AS n FROM generate_series(0, 35))";
    let rows = json(&engine, sql).expect("it runs");
    let mut strikes = Vec::new();
    for n in 0..30_u32 {
        let number = f64::from(n);
        let half = Some(f64::from(n % 2));
        let numbers = [
            Some(9.0 * (number * 5.0).sin()),
            Some(4.0 * (number * 3.0).cos()),
            Some(1.5),
            Some(1.5),
            None,
            None,
            None,
            None,
            None,
            None,
            half,
            half,
            Some(1.0),
        ];
        strikes.extend(Strike::from_fields(&numbers, &[Some("measured")]));
    }
    assert_eq!(strikes.len(), 30);
    same(&rows[0]["told"], &practice::strike_pattern(&strikes));
}

#[test]
fn shares_and_winds_meet_outside_values() {
    let engine = Site::new().engine();
    // [source: Newcombe 1998, Statist. Med. 17, 857, method 3]
    let sql = "SELECT wilson(81, 263, 0.95) AS w, wilson(1, 0, 0.9) AS none, \
        flight_in_wind(67.06, 12, 0, 2700, 0, 1.225, 0, 0, 1, 1) AS calm, flight(67.06, 12, 0, 2700, 0, 1.225) AS plain, \
        flight_in_wind(67.06, 12, 0, 2700, 0, 1.225, -5, 0, 1, 1) AS head, \
        flight_in_wind(67.06, 12, 0, 2700, 0, 1.225, 0, 5, 1, 1) AS side, \
        flight_in_wind(67.06, 12, 0, 2700, 0, 1.225, 0, 0, 1.1, 1) AS draggy";
    let row = &json(&engine, sql).expect("it runs")[0];
    assert!((row["w"]["low"].as_f64().expect("low") - 0.2553).abs() < 5e-5, "{row}");
    assert!((row["w"]["high"].as_f64().expect("high") - 0.3662).abs() < 5e-5, "{row}");
    assert!(row["none"].is_null());
    assert_eq!(row["calm"], row["plain"]);
    let carry = |name: &str| row[name]["carry_m"].as_f64().expect("a carry");
    assert!(carry("head") < carry("calm") && carry("draggy") < carry("calm"), "{row}");
    assert!(row["side"]["lateral_m"].as_f64().expect("lateral") > 5.0, "wind to the right carries to the right: {row}");
}

#[test]
fn nothing_given_gives_nothing_and_one_answer_is_made_once() {
    let engine = Site::new().engine();
    let sql = "SELECT mean_by_sessions(NULL, 0.2) AS a, player_club_model(NULL, 'flat-head') AS b, \
        player_club_model(array_agg(named_struct('hand', 1)), NULL) AS c, bay_offsets(NULL, NULL) AS d, \
        player_club_model(array_agg(named_struct('hand', 1)), 'flat-head') AS e FROM generate_series(0, 4)";
    let row = &json(&engine, sql).expect("it runs")[0];
    for name in ["a", "b", "c", "d"] {
        assert!(row[name].is_null(), "{name}: {row}");
    }
    assert!(row["e"]["reason"].is_string() && row["e"]["shots_used"].is_null(), "{row}");

    let sql = "EXPLAIN SELECT m['mean'] + m['mean_low'] AS s, m['sessions'] FROM (SELECT n, mean_by_sessions(array_agg(\
        named_struct('value', v, 'session', 1, 'current', 1)), 0.0) AS m FROM (SELECT value AS v, value % 3 AS n FROM \
        generate_series(0, 40)) GROUP BY n) WHERE m['mean'] IS NOT NULL AND n > 0";
    let rows = json(&engine, sql).expect("it runs");
    let physical = rows.iter().find(|row| row["plan_type"] == "physical_plan").expect("a physical plan");
    let plan = physical["plan"].as_str().expect("a text");
    assert_eq!(plan.matches("mean_by_sessions(array_agg").count(), 1, "{plan}");
}

#[test]
fn wrong_lists_are_refused_with_a_way_out() {
    let engine = Site::new().engine();
    let cases = [
        (
            "EXPLAIN SELECT mean_by_sessions(array_agg(named_struct('valeu', 1)), 0.2) FROM shots",
            "no field called valeu",
            "it knows value",
        ),
        (
            "EXPLAIN SELECT mean_by_sessions(array_agg(named_struct('value', 'much')), 0.2) FROM shots",
            "value must be a number",
            "cast it",
        ),
        (
            "EXPLAIN SELECT mean_by_sessions(array_agg(bay), 0.2) FROM shots",
            "takes a list of rows",
            "hint: write mean_by_sessions(array_agg(",
        ),
        (
            "EXPLAIN SELECT mean_by_sessions(array_agg(named_struct('value', 1))) FROM shots",
            "takes 2 arguments, not 1",
            "shared_variance",
        ),
        (
            "EXPLAIN SELECT player_club_model(array_agg(named_struct('hand', 1)), 'mallet') FROM shots",
            "called \"mallet\"",
            "the profiles are",
        ),
        (
            "SELECT player_club_model(array_agg(named_struct('face_reference', 'heel')), 'flat-head') FROM generate_series(0, 3)",
            "face_reference is \"heel\"",
            "it is face-centre or strike-point",
        ),
        (
            "SELECT player_club_model(array_agg(named_struct('hand', 1)), 'flat-head') FROM generate_series(1, 3000)",
            "a list of 3000 rows; it takes 2000 at most",
            "keep the newest",
        ),
    ];
    for (sql, message, hint) in cases {
        let text = error(&engine, sql);
        assert!(text.contains(message) && text.contains(hint), "{sql}: {text}");
    }
}
