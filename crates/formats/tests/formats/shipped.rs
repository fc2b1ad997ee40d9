//! The shipped packs against their samples, and against figures worked out apart from them.

use formats::test_pack;
use shot::Quantity;

use crate::{shipped, site};

#[test]
fn every_shipped_pack_is_proven_by_its_samples() {
    let set = shipped();
    let names: Vec<&str> = set.packs().iter().map(formats::Pack::name).collect();
    for wanted in ["hall-metric", "plain-imperial", "spray-list", "strike-lines", "tape-grid"] {
        assert!(names.contains(&wanted), "{names:?}");
    }
    for pack in set.packs() {
        let report = test_pack(pack);
        assert!(report.passed(), "{report}");
        assert!(report.samples.iter().map(|sample| sample.shots + sample.marks).sum::<usize>() >= 3, "{report}");
    }
}

#[test]
fn a_wrong_expectation_is_shown() {
    let folder = tempfile::tempdir().expect("a folder");
    let copy = folder.path().join("strike-lines");
    std::fs::create_dir(&copy).expect("a folder");
    for name in ["format.toml", "sample.jsonl", "expected.csv"] {
        let text = std::fs::read_to_string(crate::shipped_dir().join("strike-lines").join(name)).expect("a file");
        // One number off by one in the fourth decimal, one problem under another name, one row too few.
        let text =
            text.replace("62.1000", "62.1001").replace(",bad-time,", ",bad-json,").replace("\n10,,3,", "\n11,,3,");
        std::fs::write(copy.join(name), text).expect("a file");
    }
    let (set, faults) = formats::PackSet::load(folder.path());
    assert!(faults.is_empty());
    let report = test_pack(crate::only(&set));
    let shown = report.to_string();
    // Each line once, with its text; expected and found side by side, problems with their message; rows of both kinds in one order.
    let lines: Vec<&str> = shown.lines().map(str::trim_end).collect();
    let after = |place: &str| {
        let at = lines
            .iter()
            .position(|line| line.starts_with(place))
            .unwrap_or_else(|| panic!("{place} is not in\n{shown}"));
        lines[at + 1..].iter().take_while(|line| line.starts_with("    ")).copied().collect::<Vec<_>>()
    };
    assert_eq!(
        after("  sample.jsonl:1  {\"session\":"),
        ["    column          expected  found", "    ball_speed_mps  62.1001   62.1000"]
    );
    let problems = after("  sample.jsonl:9  {\"session\":");
    assert!(problems[1].starts_with("    problem  bad-json  nothing"), "{shown}");
    assert!(problems[2].starts_with("    problem  nothing   bad-time (\"noon\""), "{shown}");
    assert_eq!(after("  sample.jsonl:10  {\"session\":")[1], "    row     nothing   a shot", "{shown}");
    assert_eq!(after("  sample.jsonl:11")[1], "    row     a shot    nothing");
    assert!(!report.passed());
}

#[test]
fn an_expected_problem_may_name_its_severity() {
    let folder = tempfile::tempdir().expect("a folder");
    let copy = folder.path().join("strike-lines");
    std::fs::create_dir(&copy).expect("a folder");
    for name in ["format.toml", "sample.jsonl", "expected.csv"] {
        let text = std::fs::read_to_string(crate::shipped_dir().join("strike-lines").join(name)).expect("a file");
        let text = text.replace(",bad-json,", ",bad-json:rejected,").replace(",bad-time,", ",bad-time:noted,");
        std::fs::write(copy.join(name), text).expect("a file");
    }
    let (set, faults) = formats::PackSet::load(folder.path());
    assert!(faults.is_empty());
    let report = test_pack(crate::only(&set));
    let found: Vec<_> =
        report.differences.iter().map(|one| (one.line, one.expected.as_str(), one.found.as_str())).collect();
    assert_eq!(found, [(9, "bad-time:noted", "bad-time:rejected")]);
}

#[test]
fn a_row_too_few_is_told_before_what_is_in_the_rows() {
    let folder = tempfile::tempdir().expect("a folder");
    let copy = folder.path().join("strike-lines");
    std::fs::create_dir(&copy).expect("a folder");
    for name in ["format.toml", "sample.jsonl", "expected.csv"] {
        let text = std::fs::read_to_string(crate::shipped_dir().join("strike-lines").join(name)).expect("a file");
        let kept = |line: &&str| name != "expected.csv" || !line.starts_with("3,");
        let lines: Vec<String> = text.lines().filter(kept).map(|line| line.replace("62.1000", "62.2")).collect();
        std::fs::write(copy.join(name), lines.join("\n")).expect("a file");
    }
    let (set, _) = formats::PackSet::load(folder.path());
    let report = test_pack(crate::only(&set));
    let found: Vec<_> = report.differences.iter().map(|one| (one.line, one.column.as_str())).collect();
    assert_eq!(found, [(0, "rows taken"), (1, "ball_speed_mps"), (3, "row")], "{report}");
}

#[test]
fn standard_deviations_are_those_of_the_devices_in_our_units() {
    // [source: NIST SP 811: 1 mph = 0.447 04 m/s exactly; 1 km/h = 1/3.6 m/s]
    let set = shipped();
    let deviation = |pack: &str, quantity: Quantity| {
        let devices = set.pack(pack).expect("shipped").devices();
        let row = devices.iter().find(|row| row.quantity == quantity.name()).expect("mapped").clone();
        assert_eq!((row.format.as_str(), row.format_version.as_str()), (pack, "1.0.0"));
        (row.measured, row.standard_deviation)
    };
    let close = |found: (bool, Option<f64>), expected: f64| {
        assert!(found.0 && (found.1.expect("known") - expected).abs() < 1e-12, "{found:?} is not {expected}");
    };
    close(deviation("plain-imperial", Quantity::BallSpeedMps), 0.223_52);
    close(deviation("plain-imperial", Quantity::ClubSpeedMps), 0.447_04);
    close(deviation("hall-metric", Quantity::ClubSpeedMps), 1.5 / 3.6);
    close(deviation("strike-lines", Quantity::StrikeToeMm), 1.5);
    assert_eq!(deviation("plain-imperial", Quantity::CarryM), (false, None));
    for pack in ["plain-imperial", "strike-lines"] {
        let devices = set.pack(pack).expect("shipped").devices();
        let face = devices.iter().find(|row| row.quantity == "face_deg").expect("mapped");
        assert_eq!(face.face_reference.as_deref(), Some("face-centre"));
    }
}

#[test]
fn bay_of_the_folder_stands_in_where_the_file_names_none() {
    let set = shipped();
    let bytes =
        std::fs::read(crate::shipped_dir().join("plain-imperial/sample-session_0412_bay2.csv")).expect("a file");
    let pack = set.pack("plain-imperial").expect("shipped");
    let bay = |name: &str| pack.parse(name, &bytes, &site()).shots[0].bay.clone();
    assert_eq!(bay("session_0412_bay2.csv").as_deref(), Some("2"));
    assert_eq!(bay("renamed.csv").as_deref(), Some("7"));
}

#[test]
fn a_cut_file_has_no_structural_end() {
    let set = shipped();
    for pack in set.packs() {
        let folder = crate::shipped_dir().join(pack.name());
        for entry in std::fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if !path.file_name().expect("a name").to_string_lossy().starts_with("sample") {
                continue;
            }
            let bytes = std::fs::read(&path).expect("a file");
            let tail = &bytes[bytes.len().saturating_sub(512)..];
            assert!(pack.structural_end(&bytes) && pack.structural_end(tail), "{}", path.display());
            for cut in [5, 7, 8] {
                assert!(!pack.structural_end(&bytes[..bytes.len() - cut]), "{} cut by {cut}", path.display());
            }
        }
    }
}
