//! The check command: sound homes, and faults with their place.

use crate::home::{demo, fresh_home, strikemill, words};

#[test]
fn a_fresh_home_and_the_demo_are_sound() {
    let home = fresh_home();
    for home in [home.path(), demo()] {
        let output = strikemill(&["check", "--home", &home.display().to_string()]);
        assert!(output.status.success(), "{}", words(&output));
        assert!(words(&output).contains("sound:"), "{}", words(&output));
    }
}

#[test]
fn each_kind_of_fault_is_told_with_file_line_and_hint() {
    let cases = [
        ("config/strikemill.toml", "zone = \"Europe/Dublin\"", "zone = \"Europe/Dublinn\"", "strikemill.toml:8:"),
        ("config/strikemill.toml", "corridor_share = 0.07", "corridor_width = 0.07", "strikemill.toml:"),
        ("config/heads.toml", "\nreveals_strike =", "\nreveals_strikes =", "heads.toml:"),
        ("config/heads.toml", "\nmass_kg = 0.2", "\nmass_kg = -0.2", "heads.toml:"),
        ("config/roster.csv", ",right,", ",sideways,", "roster.csv:2"),
        ("config/roster.csv", "driver=", "driver=no-such-head-", "roster.csv:2:"),
        ("plugins/formats/plain-imperial/format.toml", "delimiter = \",\"", "delimeter = \",\"", "format.toml:"),
        ("plugins/jobs/carry_loss/job.toml", "dataset = \"carry_loss\"", "dataset = \"carry loss\"", "job.toml:"),
        ("plugins/jobs/carry_loss/query.sql", "FROM summed", "FROM summed WHERE", "query.sql"),
    ];
    for (file, right, wrong, place) in cases {
        let home = fresh_home();
        let path = home.path().join(file);
        let text = std::fs::read_to_string(&path).expect("a shipped file");
        assert!(text.contains(right), "{file} no longer holds {right}");
        std::fs::write(&path, text.replacen(right, wrong, 1)).expect("the file can be written");
        let output = strikemill(&["check", "--home", &home.path().display().to_string()]);
        let said = words(&output);
        assert_eq!(output.status.code(), Some(1), "{file}: {said}");
        assert!(said.contains(place) && said.contains("hint:"), "{file}: {said}");
    }
}

#[test]
fn help_names_every_command_with_examples() {
    let said = words(&strikemill(&["--help"]));
    for word in [
        "demo",
        "run",
        "import",
        "check",
        "formats",
        "jobs",
        "query",
        "status",
        "digest",
        "init",
        "Examples:",
        "--home",
    ] {
        assert!(said.contains(word), "{word} is missing in\n{said}");
    }
    for command in ["demo", "import", "query"] {
        assert!(words(&strikemill(&[command, "--help"])).contains("Examples:"), "{command}");
    }
    assert_eq!(strikemill(&["no-such-command"]).status.code(), Some(2));
}
