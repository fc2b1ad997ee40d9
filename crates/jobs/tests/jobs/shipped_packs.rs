//! What the shipped packs say alike, although each stands for itself so that an analyst can copy and change it.

use std::path::Path;

/// The subquery that says what each device measures and how well.
fn of_devices(pack: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plugins/jobs").join(pack).join("query.sql");
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let begin = text.find("WITH device AS (").unwrap_or_else(|| panic!("{pack} has no subquery \"device\""));
    let end = text[begin..].find("\n),").unwrap_or_else(|| panic!("the subquery of {pack} has no end"));
    text[begin..begin + end].lines().filter(|line| !line.trim_start().starts_with("--")).collect()
}

#[test]
fn a_device_measures_the_same_for_whoever_learns_and_whoever_judges() {
    let judged = of_devices("shot_verdicts");
    assert!(judged.contains("ball_speed_sd_mps") && judged.contains("strike_toe_mm"), "{judged}");
    for pack in ["player_club_model", "ball_profiles", "bay_offsets"] {
        assert_eq!(of_devices(pack), judged, "{pack}: change the deviations of a device in every pack");
    }
}
