//! Drafting a pack from an export of a new device, as a person at the shell does it.

use std::path::Path;

use crate::home::{checkout, fresh_home, strikemill, words};

/// An export that no shipped pack reads.
const EXPORT: &str = "Shot;Date;Time;Player;Club;Ball Speed [mph];Launch Angle [deg];Spin Rate [rpm];Carry [yd]\n\
                      1;28.04.2026;15:07:09;Wren Plover;Driver;141.8;12.6;2650;231.4\n\
                      2;28.04.2026;15:07:52;Wren Plover;7 Iron;108.3;17.1;6410;152.0\n\
                      3;28.04.2026;15:09:01;Heron;7 Iron;104.9;18.0;6180;148.8\n";

fn draft(home: &Path, sample: &Path, more: &[&str]) -> (bool, String) {
    let (home, sample) = (home.display().to_string(), sample.display().to_string());
    let mut arguments = vec!["formats", "draft", &sample, "--home", &home];
    arguments.extend(more);
    let output = strikemill(&arguments);
    (output.status.success(), words(&output))
}

#[test]
fn a_new_export_becomes_a_pack_that_passes_its_test() {
    let home = fresh_home();
    let sample = home.path().join("export_0428.csv");
    std::fs::write(&sample, EXPORT).expect("a file");
    let (done, said) = draft(home.path(), &sample, &["--name", "new-device"]);
    assert!(done, "{said}");
    let pack = home.path().join("plugins/formats/new-device");
    for wanted in [
        "ball_speed_mps",
        "[mi_i]/h",
        "launch_elevation_deg",
        "carry_m",
        "To be decided by a person:",
        "new-device 0.1.0: ok",
    ] {
        assert!(said.contains(wanted), "{wanted} is not in\n{said}");
    }
    // Each question names a line of the file that stands there.
    let text = std::fs::read_to_string(pack.join("format.toml")).expect("the drafted pack");
    let place = format!("{}:", pack.join("format.toml").display());
    let lines: Vec<usize> = said.lines().filter_map(|line| line.split_once(&place)?.1.parse().ok()).collect();
    assert!(lines.len() >= 3 && lines.iter().all(|line| (1..=text.lines().count()).contains(line)), "{said}");
    // No player's name leaves the sample.
    for entry in std::fs::read_dir(&pack).expect("the drafted pack") {
        let bytes = std::fs::read(entry.expect("an entry").path()).expect("a file");
        let text = String::from_utf8_lossy(&bytes).into_owned();
        assert!(!text.contains("Plover") && !text.contains("Heron"), "{text}");
    }
    let home_text = home.path().display().to_string();
    assert!(strikemill(&["formats", "test", "new-device", "--home", &home_text]).status.success());
    assert!(strikemill(&["check", "--home", &home_text]).status.success());
    let (again, said) = draft(home.path(), &sample, &["--name", "new-device"]);
    assert!(!again && said.contains("is there already") && said.contains("hint:"), "{said}");
    let (twin, said) = draft(home.path(), &sample, &["--name", "twin"]);
    assert!(!twin && said.contains("\"new-device\" reads this export already"), "{said}");
}

#[test]
fn what_is_no_pack_yet_disturbs_nothing() {
    let home = fresh_home();
    let sample = home.path().join("timeless.csv");
    std::fs::write(&sample, "Ball Speed [mph],Carry [yd]\n141.2,230.1\n140.1,228.0\n").expect("a file");
    let (done, said) = draft(home.path(), &sample, &[]);
    assert!(!done && said.contains("this is no pack yet") && said.contains("time"), "{said}");
    assert!(home.path().join("plugins/formats/timeless.draft.toml").is_file(), "{said}");
    let check = strikemill(&["check", "--home", &home.path().display().to_string()]);
    assert!(check.status.success(), "{}", words(&check));
    let empty = home.path().join("empty.csv");
    std::fs::write(&empty, "").expect("a file");
    let (done, said) = draft(home.path(), &empty, &[]);
    assert!(!done && said.contains("no pack can be drafted: the file is empty"), "{said}");
}

#[test]
fn the_schemas_ship_with_a_new_home() {
    let home = fresh_home();
    for name in [
        "plugins/formats/format.schema.json",
        "plugins/jobs/job.schema.json",
        "config/strikemill.schema.json",
        "config/heads.schema.json",
    ] {
        let shipped = std::fs::read(checkout().join(name)).expect("a shipped schema");
        assert_eq!(std::fs::read(home.path().join(name)).expect("a schema"), shipped, "{name}");
    }
}
