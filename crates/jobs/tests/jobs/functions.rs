//! The functions of numbers and days, against outside values and against the crates behind them.

use flight::{BallProfile, Conditions, Launch};
use impact::{Delivery, Hand};

use crate::site::{Site, error, heads, json};

fn near(row: &serde_json::Value, path: &str, expected: f64, tolerance: f64) {
    let found = row.pointer(path).and_then(serde_json::Value::as_f64).unwrap_or_else(|| panic!("{path} in {row}"));
    assert!((found - expected).abs() <= tolerance, "{path}: {found}, expected {expected}");
}

// [derived, two implementations]: published driver head, 44.704 m/s, attack, path and face 0, delivered loft 9.8, right hand.
#[test]
fn impact_gives_the_launches_of_the_published_head() {
    let engine = Site::new().engine();
    let cases = [
        (-20, 0, [64.2175, 7.9612, -4.1317, 2316.282, 9.7345]),
        (0, 0, [65.8117, 7.9074, -0.0585, 2437.242, 1.7464]),
        (20, 0, [64.5299, 7.9927, 4.0134, 2267.658, -6.2371]),
        (40, 0, [60.6617, 8.1917, 8.0855, 1878.809, -15.8702]),
        (0, -10, [65.4843, 5.7301, -0.1182, 2809.957, 3.0583]),
    ];
    for (toe, up, expected) in cases {
        let sql = format!("SELECT impact(44.704, 0, 0, 0, 9.8, {toe}, {up}, 1, 'published-driver') AS launch");
        let rows = json(&engine, &sql).expect("it runs");
        let names = ["ball_speed_mps", "launch_elevation_deg", "launch_azimuth_deg", "spin_rpm", "spin_tilt_deg"];
        for (name, value) in names.iter().zip(expected) {
            near(&rows[0], &format!("/launch/{name}"), value, if *name == "spin_rpm" { 2e-3 } else { 1e-4 });
        }
    }
    // [derived, two implementations]: the left-hander of the same table.
    let sql = "SELECT impact(44.704, -1, 3, 1, 11, 12, -6, -1, 'published-driver') AS launch";
    let rows = json(&engine, sql).expect("it runs");
    near(&rows[0], "/launch/ball_speed_mps", 64.7798, 1e-4);
    near(&rows[0], "/launch/spin_tilt_deg", -6.1436, 1e-4);
}

#[test]
fn impact_and_flight_answer_as_the_crates_do() {
    let engine = Site::new().engine();
    let book = heads();
    let delivery = Delivery::from_array([41.5, 2.0, -1.0, 0.5, 11.0, 7.0, -3.0]);
    let launch = impact::launch(book.find("published-driver").expect("it is there"), &delivery, Hand::Right);
    let launch = launch.expect("head and ball meet");
    let landing = flight::fly(
        &BallProfile::default(),
        &Launch {
            ball_speed_mps: launch.ball_speed_mps,
            elevation_deg: launch.launch_elevation_deg,
            azimuth_deg: launch.launch_azimuth_deg,
            spin_rpm: launch.spin_rpm,
            spin_tilt_deg: launch.spin_tilt_deg,
        },
        &Conditions { air_density: 1.1, ..Conditions::default() },
    );
    let sql = "SELECT l, flight(l.ball_speed_mps, l.launch_elevation_deg, l.launch_azimuth_deg, l.spin_rpm, \
               l.spin_tilt_deg, 1.1) AS f \
               FROM (SELECT impact(41.5, 2, -1, 0.5, 11, 7, -3, 1, 'published-driver') AS l)";
    let rows = json(&engine, sql).expect("it runs");
    near(&rows[0], "/l/spin_rpm", launch.spin_rpm, 1e-9);
    near(&rows[0], "/f/carry_m", landing.carry_m, 1e-9);
    near(&rows[0], "/f/lateral_m", landing.lateral_m, 1e-9);
    near(&rows[0], "/f/peak_height_m", landing.peak_height_m, 1e-9);
    near(&rows[0], "/f/descent_deg", landing.descent_deg, 1e-9);
    near(&rows[0], "/f/flight_time_s", landing.flight_time_s, 1e-9);
    near(&rows[0], "/f/landing_speed_mps", landing.landing_speed_mps, 1e-9);
    near(&rows[0], "/f/landing_spin_rpm", landing.landing_spin_rpm, 1e-9);
}

#[test]
fn flight_and_air_density_meet_outside_values() {
    let engine = Site::new().engine();
    // [derived, order-8 Runge-Kutta at 1e-11]: the default ball in standard air.
    let sql = "SELECT flight(67.06, 12, 0, 2700, 0, 1.225) AS straight, flight(60, 12, 3, 3000, -8, 1.1) AS bent";
    let rows = json(&engine, sql).expect("it runs");
    near(&rows[0], "/straight/carry_m", 221.705_108, 0.01);
    near(&rows[0], "/straight/flight_time_s", 6.964_359, 0.01);
    near(&rows[0], "/straight/landing_spin_rpm", 2167.557, 0.5);
    near(&rows[0], "/bent/carry_m", 200.494_680, 0.01);
    near(&rows[0], "/bent/lateral_m", -2.203_995, 0.01);
    // [source: CIPM-2007, Picard et al. 2008, Metrologia 45, 149; values derived from its equation]
    let sql = "SELECT air_density(20, 1013.25, 50) AS mild, air_density(15, 1013.25, 0) AS dry, air_density(20, 840, 30) AS high";
    let rows = json(&engine, sql).expect("it runs");
    near(&rows[0], "/mild", 1.199_314, 1e-6);
    near(&rows[0], "/dry", 1.225_521, 1e-6);
    near(&rows[0], "/high", 0.995_387_3, 1e-6);
}

#[test]
fn quantiles_meet_the_printed_table() {
    let engine = Site::new().engine();
    // [source: NIST/SEMATECH e-Handbook of Statistical Methods, table of critical values of Student's t]
    let sql = "SELECT student_t_quantile(0.95, 10) AS a, student_t_quantile(0.975, 1) AS b, \
               student_t_quantile(0.975, 5) AS c, student_t_quantile(0.05, 10) AS low, student_t_quantile(1.5, 5) AS none";
    let rows = json(&engine, sql).expect("it runs");
    near(&rows[0], "/a", 1.812, 6e-4);
    near(&rows[0], "/b", 12.706, 6e-4);
    near(&rows[0], "/c", 2.571, 6e-4);
    near(&rows[0], "/low", -1.812, 6e-4);
    assert!(rows[0]["none"].is_null());
}

#[test]
fn weeks_begin_on_monday_also_across_the_year() {
    let engine = Site::new().engine();
    // [source: ISO 8601 week dates: 2026-W48 and 2026-W53]
    let rows = json(&engine, "SELECT monday('2026-11-25') AS a, monday(date '2027-01-03') AS b, monday(NULL) AS c");
    let rows = rows.expect("it runs");
    assert_eq!(rows[0]["a"], "2026-11-23");
    assert_eq!(rows[0]["b"], "2026-12-28");
    assert!(rows[0]["c"].is_null());
    assert!(error(&engine, "SELECT monday(now())").contains("hint: use local_date"));
}

#[test]
fn missing_arguments_give_a_missing_structure() {
    let engine = Site::new().engine();
    let sql = "SELECT flight(60, 12, NULL, 3000, 0, 1.2) AS f, impact(40, 0, 0, 0, 10, NULL, 0, 1, 'flat-head') AS i, \
               flight(-5, 12, 0, 3000, 0, 1.2) AS beyond, air_density(20, NULL, 50) AS a";
    let rows = json(&engine, sql).expect("it runs");
    for name in ["f", "i", "beyond", "a"] {
        assert!(rows[0][name].is_null(), "{name}: {}", rows[0]);
    }
}

#[test]
fn wrong_arguments_are_errors_with_a_way_out() {
    let engine = Site::new().engine();
    let cases = [
        ("SELECT flight(60, 12)", "flight takes 6 arguments, not 2", "hint: write flight(ball_speed_mps"),
        ("SELECT air_density('warm', 1013, 50)", "temperature_c of air_density must be a number", "hint: write"),
        (
            "SELECT impact(40, 0, 0, 0, 10, 0, 0, 1, 'mallet')",
            "no head profile is called \"mallet\"",
            "hint: the profiles are published-driver, flat-head",
        ),
        ("SELECT impact(40, 0, 0, 0, 10, 0, 0, 3, 'flat-head')", "hand is 3", "hint: +1 is right-handed"),
        (
            "SELECT impact(40, 0, 0, 0, 10, 0, 0, 1, h) FROM (VALUES ('mallet')) AS t(h)",
            "no head profile is called \"mallet\"",
            "hint: the profiles are published-driver, flat-head",
        ),
        ("SELECT fligth(60)", "fligth", "hint: strikemill's own functions"),
    ];
    for (sql, message, hint) in cases {
        let text = error(&engine, sql);
        assert!(text.contains(message) && text.contains(hint), "{sql}: {text}");
    }
}

#[test]
fn every_function_is_described() {
    let engine = Site::new().engine();
    let functions = engine.functions();
    let names: Vec<&str> = functions.iter().filter_map(|function| function.usage.split('(').next()).collect();
    let expected = [
        "verdict",
        "impact",
        "flight",
        "flight_in_wind",
        "air_density",
        "student_t_quantile",
        "wilson",
        "player_club_model",
        "ball_model",
        "bay_offsets",
        "mean_by_sessions",
        "trend",
        "strike_pattern",
        "practice_effect",
        "practice_plan",
        "monday",
        "method_version",
        "learning_version",
    ];
    assert_eq!(names, expected);
    for function in &functions {
        assert!(!function.description.is_empty() && !function.results.is_empty(), "{}", function.usage);
        for (argument, meaning) in &function.arguments {
            assert!(!meaning.is_empty(), "{argument} of {}", function.usage);
        }
    }
}
