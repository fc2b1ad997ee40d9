//! The query command: functions with their published figures, output forms, refusals.

use serde_json::Value;

use crate::home::{demo, rows, strikemill, words};

fn close(value: &Value, expected: f64, within: f64) {
    let value = value.as_f64().expect("a number");
    assert!((value - expected).abs() <= within, "{value} is not {expected}");
}

/// Default ball, 1.225 kg/m3, 67.06 m/s, 12 deg, 2700 rpm: carry 221.705108 m, 6.964359 s, peak 32.619364 m, descent 41.162454
/// deg, 2167.557 rpm left [derived, order-8 Runge-Kutta at 1e-11].
#[test]
fn flight_gives_the_check_values() {
    let row = &rows(demo(), "SELECT flight(67.06, 12, 0, 2700, 0, 1.225) AS f")[0]["f"];
    close(&row["carry_m"], 221.705_108, 0.01);
    close(&row["flight_time_s"], 6.964_359, 0.01);
    close(&row["peak_height_m"], 32.619_364, 0.01);
    close(&row["descent_deg"], 41.162_454, 0.01);
    close(&row["landing_spin_rpm"], 2_167.557, 0.5);
    close(&row["lateral_m"], 0.0, 1e-9);
}

/// The published head at (20, 0) mm and a left-hander's shot [derived, two implementations; head: Proceedings (MDPI) 49(1), 47].
#[test]
fn impact_gives_the_check_values() {
    let row = &rows(demo(), "SELECT impact(44.704, 0, 0, 0, 9.8, 20, 0, 1, 'published-driver') AS i")[0]["i"];
    close(&row["ball_speed_mps"], 64.529_9, 1e-4);
    close(&row["launch_elevation_deg"], 7.992_7, 1e-4);
    close(&row["launch_azimuth_deg"], 4.013_4, 1e-4);
    close(&row["spin_rpm"], 2_267.658, 1e-3);
    close(&row["spin_tilt_deg"], -6.237_1, 1e-4);
    let row = &rows(demo(), "SELECT impact(44.704, -1, 3, 1, 11, 12, -6, -1, 'published-driver') AS i")[0]["i"];
    close(&row["ball_speed_mps"], 64.779_8, 1e-4);
    close(&row["launch_azimuth_deg"], -1.023_7, 1e-4);
    close(&row["spin_tilt_deg"], -6.143_6, 1e-4);
}

/// CIPM-2007 (Picard et al. 2008, Metrologia 45, 149): 20 C, 101325 Pa, 50 % -> 1.199314 kg/m3.
#[test]
fn air_density_gives_the_check_value() {
    close(&rows(demo(), "SELECT air_density(20, 1013.25, 50) AS a")[0]["a"], 1.199_314, 1e-6);
}

#[test]
fn csv_has_a_header_and_table_is_drawn() {
    let home = demo().display().to_string();
    let csv = strikemill(&["query", "SELECT 1 AS a, 'x' AS b", "--output", "csv", "--home", &home]);
    assert_eq!(String::from_utf8_lossy(&csv.stdout), "a,b\n1,x\n");
    let table = strikemill(&["query", "SELECT 1 AS a", "--home", &home]);
    assert!(words(&table).contains("| a |"), "{}", words(&table));
}

#[test]
fn the_lake_cannot_be_changed_by_a_query() {
    let home = demo().display().to_string();
    for sql in [
        "DROP TABLE shots",
        "CREATE TABLE mine AS SELECT 1",
        "INSERT INTO shots SELECT * FROM shots",
        "COPY shots TO '/tmp/x.parquet'",
    ] {
        let output = strikemill(&["query", sql, "--home", &home]);
        assert_eq!(output.status.code(), Some(1), "{sql}");
        assert!(words(&output).contains("hint:"), "{}", words(&output));
    }
}

#[test]
fn a_wrong_name_is_pointed_at_with_what_there_is() {
    let output = strikemill(&["query", "SELECT carry FROM shots", "--home", &demo().display().to_string()]);
    assert_eq!(output.status.code(), Some(1));
    assert!(words(&output).contains("carry_m"), "{}", words(&output));
    let output = strikemill(&["query", "SELECT 1", "--home", "/nowhere/at/all"]);
    assert!(words(&output).contains("--home"), "{}", words(&output));
}
