//! The `verdict` function against the crate behind it.

use verdict::{Evidence, Judge, Settings, ShotVerdict};

use crate::site::{Site, error, heads, json};

/// Evidence of a shot by a driver struck toward the toe; `step` varies it.
const EVIDENCE: &str = "named_struct('ball_speed_mps', 64.5 + step * 0.01, 'ball_speed_sd_mps', 0.3, \
    'launch_elevation_deg', 11, 'launch_elevation_sd_deg', 0.3, 'launch_azimuth_deg', 3.5, 'launch_azimuth_sd_deg', 0.3, \
    'spin_rpm', 2400, 'spin_sd_rpm', 80, 'spin_tilt_deg', -5.0, 'spin_tilt_sd_deg', 1, \
    'club_speed_mps', 44.7, 'club_speed_sd_mps', 0.4, 'path_deg', 0.5, 'path_sd_deg', 0.8, \
    'strike_toe_mm', CASE WHEN step % 2 = 0 THEN 18.0 END, 'strike_up_mm', 1, 'strike_sd_mm', 1.5, \
    'hand', 1, 'reference_club_speed_mps', 44.7, 'strike_source', 'linked')";

fn evidence(step: u32) -> Evidence {
    let mut evidence = Evidence::default();
    evidence.strike_linked = true;
    let numbers = [
        ("ball_speed_mps", Some(64.5 + f64::from(step) * 0.01)),
        ("ball_speed_sd_mps", Some(0.3)),
        ("launch_elevation_deg", Some(11.0)),
        ("launch_elevation_sd_deg", Some(0.3)),
        ("launch_azimuth_deg", Some(3.5)),
        ("launch_azimuth_sd_deg", Some(0.3)),
        ("spin_rpm", Some(2400.0)),
        ("spin_sd_rpm", Some(80.0)),
        ("spin_tilt_deg", Some(-5.0)),
        ("spin_tilt_sd_deg", Some(1.0)),
        ("club_speed_mps", Some(44.7)),
        ("club_speed_sd_mps", Some(0.4)),
        ("path_deg", Some(0.5)),
        ("path_sd_deg", Some(0.8)),
        ("strike_toe_mm", step.is_multiple_of(2).then_some(18.0)),
        ("strike_up_mm", Some(1.0)),
        ("strike_sd_mm", Some(1.5)),
        ("hand", Some(1.0)),
        ("reference_club_speed_mps", Some(44.7)),
    ];
    for (name, value) in numbers {
        let position = Evidence::NUMBERS.iter().position(|(number, _)| *number == name);
        evidence.set_at(position.expect("a known number"), value);
    }
    evidence
}

#[test]
fn verdicts_are_those_of_the_crate_row_by_row() {
    let engine = Site::new().engine();
    // More rows than one thread takes, so that the parts must come back in order.
    let sql = format!(
        "SELECT step, verdict({EVIDENCE}, 'published-driver') AS v FROM (SELECT value AS step FROM generate_series(0, 149)) \
         ORDER BY step"
    );
    let rows = json(&engine, &sql).expect("it runs");
    assert_eq!(rows.len(), 150);
    let judge = Judge::new(Settings::default());
    let book = heads();
    let head = book.find("published-driver").expect("it is there");
    for (step, row) in rows.iter().enumerate() {
        let expected = judge.judge(&evidence(u32::try_from(step).expect("small")), head);
        let found = row["v"].as_object().expect("a structure");
        let names: Vec<&str> = found.keys().map(String::as_str).collect();
        assert_eq!(names.len(), ShotVerdict::TEXTS.len() + 1 + ShotVerdict::NUMBERS.len());
        for (position, (name, _)) in ShotVerdict::TEXTS.iter().enumerate() {
            assert_eq!(found[*name].as_str(), expected.text_at(position), "{name} of step {step}");
        }
        assert_eq!(found["misread"].as_bool(), expected.misread, "step {step}");
        for (position, (name, ..)) in ShotVerdict::NUMBERS.iter().enumerate() {
            match (found[*name].as_f64(), expected.number_at(position)) {
                (None, None) => {}
                (Some(found), Some(expected)) => {
                    assert!((found - expected).abs() <= 1e-9 * expected.abs().max(1.0), "{name} of step {step}");
                }
                other => panic!("{name} of step {step}: {other:?}"),
            }
        }
    }
    let carries = rows.iter().filter(|row| row["v"]["carry_m"].is_f64()).count();
    assert_eq!(carries, 150, "the evidence is enough to judge: {}", rows[0]);
}

#[test]
fn a_verdict_used_in_many_places_is_made_once_and_only_for_the_rows_asked_for() {
    let engine = Site::new().engine();
    let sql = format!(
        "EXPLAIN SELECT v.cause, v.carry_m + v.lateral_m AS s, v.carry_m FROM \
         (SELECT step, verdict({EVIDENCE}, 'published-driver') AS v FROM (SELECT value AS step FROM generate_series(0, 9))) \
         WHERE v.miss IS NOT NULL AND step > 4"
    );
    let rows = json(&engine, &sql).expect("it runs");
    let physical = rows.iter().find(|row| row["plan_type"] == "physical_plan").expect("a physical plan");
    let plan = physical["plan"].as_str().expect("a text");
    assert_eq!(plan.matches("verdict(named_struct").count(), 1, "{rows:#?}");
    // A plan is read from the bottom up: the rows are chosen before they are judged.
    let (judged, chosen) = (plan.find("verdict(named_struct"), plan.rfind("> 4"));
    assert!(judged.is_some() && judged < chosen, "{plan}");
}

#[test]
fn nothing_known_gives_a_missing_verdict() {
    let engine = Site::new().engine();
    let sql = "SELECT verdict(NULL, 'flat-head') AS a, verdict(named_struct('hand', 1), NULL) AS b, \
               verdict(named_struct('hand', 1), 'flat-head') AS c";
    let rows = json(&engine, sql).expect("it runs");
    assert!(rows[0]["a"].is_null() && rows[0]["b"].is_null(), "{}", rows[0]);
    assert!(rows[0]["c"]["reason"].is_string(), "{}", rows[0]);
}

#[test]
fn wrong_evidence_is_refused_while_planning() {
    let engine = Site::new().engine();
    let cases = [
        ("EXPLAIN SELECT verdict(named_struct('ball_sped_mps', 1), 'flat-head')", "no evidence called ball_sped_mps"),
        ("EXPLAIN SELECT verdict(named_struct('hand', 'left'), 'flat-head')", "hand must be a number"),
        ("EXPLAIN SELECT verdict(named_struct('hand', 1), 'mallet')", "the profiles are published-driver, flat-head"),
        ("EXPLAIN SELECT verdict(1, 'flat-head')", "takes a structure of evidence"),
        (
            "SELECT verdict(named_struct('face_reference', 'heel'), 'flat-head')",
            "face_reference is \"heel\"\nhint: it is face-centre or strike-point",
        ),
    ];
    for (sql, expected) in cases {
        let text = error(&engine, sql);
        assert!(text.contains(expected) && text.contains("hint: "), "{sql}: {text}");
    }
}
