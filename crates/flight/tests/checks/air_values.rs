//! Air density against published tables and the CIPM-2007 equation.

use flight::{MoistAir, air_density, standard_air_density};

fn moist(temperature_c: f64, pressure_hpa: f64, humidity_pct: f64) -> f64 {
    air_density(&MoistAir { temperature_c, pressure_hpa, humidity_pct }).unwrap()
}

#[track_caller]
fn close(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} is not {expected} within {tolerance}");
}

#[test]
fn cipm_2007_values() {
    // [derived, two implementations] of the equation in Picard et al. 2008, Metrologia 45, 149.
    close(moist(20.0, 1013.25, 50.0), 1.199_314, 5e-7);
    close(moist(15.0, 1013.25, 0.0), 1.225_521, 5e-7);
    close(moist(20.0, 840.0, 30.0), 0.995_387_3, 5e-8);
}

#[test]
fn standard_atmosphere_values() {
    // [source: US Standard Atmosphere 1976, geometric altitude; ISO 2533 agrees].
    for (altitude_m, density) in [(0.0, 1.2250), (1000.0, 1.1117), (2000.0, 1.0066), (3000.0, 0.9093)] {
        let computed = standard_air_density(altitude_m).unwrap();
        assert!((computed - density).abs() <= 5.1e-5, "{altitude_m} m: {computed}");
    }
}

#[test]
fn the_two_agree_where_they_describe_the_same_air() {
    // Dry air at 15 C and 1013.25 hPa is the standard atmosphere's sea level; the older standard neglects the
    // compressibility and has less carbon dioxide, together 0.04 %.
    let ratio = moist(15.0, 1013.25, 0.0) / standard_air_density(0.0).unwrap();
    assert!((ratio - 1.0).abs() < 5e-4);
}

#[test]
fn warmer_wetter_and_thinner_air_is_lighter() {
    let usual = moist(20.0, 1013.25, 50.0);
    assert!(moist(25.0, 1013.25, 50.0) < usual);
    assert!(moist(20.0, 1013.25, 80.0) < usual);
    assert!(moist(20.0, 990.0, 50.0) < usual);
}

#[test]
fn nonsense_has_no_density() {
    for (temperature_c, pressure_hpa, humidity_pct) in
        [(f64::NAN, 1013.25, 50.0), (20.0, 101_325.0, 50.0), (20.0, 1013.25, 101.0), (293.15, 1013.25, 50.0)]
    {
        assert_eq!(air_density(&MoistAir { temperature_c, pressure_hpa, humidity_pct }), None);
    }
    assert_eq!(standard_air_density(f64::INFINITY), None);
    assert_eq!(standard_air_density(20_000.0), None);
}
