//! How values are written: signs, sides, the player's own frame, units, words, other names of a column.

use std::collections::HashMap;
use std::sync::Arc;

use formats::{PackSet, ParsedFile, Recognition, SiteContext};
use shot::{Hand, Quantity};

use crate::{BALL_SPEED, load_text, only, parse, rules, site, small_head, sound};

const TIME: i64 = 1_776_006_429;

/// A pack that reads one column `v` into a quantity.
fn measure(quantity: &str, schema: &str, keys: &str) -> PackSet {
    let head = small_head("\"t\", \"v\", \"u\", \"p\", \"h\"", "").replace("[schema]", &format!("[schema]\n{schema}"));
    sound(&format!(
        "{head}[shot]\nplayer = {{ field = \"p\" }}\n[measures]\n{quantity} = {{ field = \"v\", {keys}, measured = true }}\n"
    ))
}

/// What a cell becomes, or the rule it breaks.
fn value(set: &PackSet, quantity: Quantity, cell: &str) -> Result<Option<f64>, String> {
    let file = parse(set, format!("t,v,u,p,h\n{TIME},\"{cell}\",,,\n").as_bytes());
    match file.problems.first() {
        Some(problem) => Err(problem.rule.clone()),
        None => Ok(file.shots[0].measures.get(quantity)),
    }
}

/// The value of a cell, or the rule it breaks.
type Expected = Result<Option<f64>, &'static str>;

#[test]
fn cells_become_numbers_in_our_sign_and_unit() {
    let words = "unit = \"deg\", sign = \"suffix\", positiveSuffix = [\"open\"], negativeSuffix = [\"closed\"], zeroWords = [\"square\"]";
    let sides = "unit = \"[yd_i]\", unitFrom = \"value\", sign = \"suffix\", positiveSuffix = [\"R\", \"right\"], negativeSuffix = [\"L\", \"left\"]";
    let inverted = "unit = \"mm\", sign = \"inverted\"";
    let plain = "unit = \"/min\"";
    let none = Err("not-a-number");
    let unclear = Err("sign-unclear");
    // Quantity, schema keys, measure keys, cell, value. [derived: worked by hand; 1 yd = 0.9144 m by NIST SP 811]
    let cases: [(&str, &str, &str, &str, Expected); 22] = [
        ("path_deg", "", words, "2.1 open", Ok(Some(2.1))),
        ("path_deg", "", words, "Closed 1.3", Ok(Some(-1.3))),
        ("path_deg", "", words, "SQUARE", Ok(Some(0.0))),
        ("path_deg", "", words, "0", Ok(Some(0.0))),
        ("path_deg", "", words, "1.3", unclear),
        ("path_deg", "", words, "-1.3 open", unclear),
        ("path_deg", "", words, "1.3 ajar", none),
        ("lateral_m", "", sides, "R12", Ok(Some(12.0 * 0.9144))),
        ("lateral_m", "", sides, "10 m left", Ok(Some(-10.0))),
        ("lateral_m", "", sides, "Right 10 m", Ok(Some(10.0))),
        // The toe counts as negative on this device.
        ("strike_toe_mm", "", inverted, "-7.5", Ok(Some(7.5))),
        ("strike_toe_mm", "", inverted, "\u{2212}7.5", Ok(Some(7.5))),
        ("spin_rpm", "groupChar = \"'\"", plain, "2'950", Ok(Some(2950.0))),
        ("spin_rpm", "groupChar = \"'\"", plain, "2\u{2019}950.5", Ok(Some(2950.5))),
        ("spin_rpm", "groupChar = \" \"\ndecimalChar = \",\"", plain, "2\u{202f}950,5", Ok(Some(2950.5))),
        ("spin_rpm", "groupChar = \".\"\ndecimalChar = \",\"", plain, "2.95", none),
        ("spin_rpm", "missingValues = [\"-9999\"]", plain, "-9999", Ok(None)),
        ("spin_rpm", "missingValues = [\"-9999\"]", plain, "-9999.00", Ok(None)),
        ("strike_toe_mm", "missingValues = [\"99.9\"]", inverted, "99.90", Ok(None)),
        ("spin_rpm", "missingValues = [\"n/a\"]", plain, "n/a", Ok(None)),
        ("humidity_pct", "", "unit = \"1\", unitFrom = \"value\"", "45 %", Ok(Some(45.0))),
        ("humidity_pct", "", "unit = \"1\", unitFrom = \"value\"", "0.45", Ok(Some(45.0))),
    ];
    for (quantity, schema, keys, cell, expected) in cases {
        let quantity_read = Quantity::from_name(quantity).expect("a quantity");
        let found = value(&measure(quantity, schema, keys), quantity_read, cell);
        match (&found, &expected) {
            (Ok(Some(found)), Ok(Some(expected))) => assert!((found - expected).abs() < 1e-9, "{cell}: {found}"),
            _ => assert_eq!(found, expected.map_err(str::to_owned), "{quantity} {cell}"),
        }
    }
}

#[test]
fn a_required_number_may_not_be_the_one_for_none() {
    let set = measure("spin_rpm", "missingValues = [\"-9999\"]", "unit = \"/min\", required = true");
    assert_eq!(value(&set, Quantity::SpinRpm, "-9999.0"), Err("missing-required".to_owned()));
}

#[test]
fn another_field_may_name_the_unit() {
    let set = measure("carry_m", "", "unit = \"m\", unitFrom = \"field\", unitField = \"u\"");
    let text = format!("t,v,u,p,h\n{TIME},100,[yd_i],,\n{TIME},100,,,\n{TIME},100,furlong,,\n");
    let file = parse(&set, text.as_bytes());
    let carries: Vec<Option<f64>> = file.shots.iter().map(|shot| shot.measures.get(Quantity::CarryM)).collect();
    assert_eq!(carries, [Some(91.44), Some(100.0)]);
    assert_eq!(rules(&file), [(4, "unit-unknown")]);
}

/// Parses with a roster that knows a left-handed and a right-handed player.
fn with_hands(set: &PackSet, text: &str) -> ParsedFile {
    let hands = HashMap::from([("wren".to_owned(), Hand::Right), ("curlew".to_owned(), Hand::Left)]);
    only(set).parse("a.csv", text.as_bytes(), &SiteContext { hands: Arc::new(hands), ..site() })
}

#[test]
fn the_players_own_frame_needs_the_hand() {
    // Open, out and a curve away from the player point left for a left-handed player. [source: mirror symmetry]
    let set = measure("path_deg", "", "unit = \"deg\", playerFrame = true");
    let rows =
        [("2.5", "Wren"), ("2.5", " CURLEW "), ("2.5", "Dipper"), ("0", "Dipper"), ("-1", "curlew"), ("2.5", "")];
    let lines: Vec<String> = rows.iter().map(|(cell, player)| format!("{TIME},{cell},,{player},\n")).collect();
    let file = with_hands(&set, &format!("t,v,u,p,h\n{}", lines.concat()));
    let paths: Vec<Option<f64>> = file.shots.iter().map(|shot| shot.measures.get(Quantity::PathDeg)).collect();
    assert_eq!(paths, [Some(2.5), Some(-2.5), None, Some(0.0), Some(1.0), None]);
    assert_eq!(rules(&file), [(4, "hand-unknown"), (7, "hand-unknown")]);
    assert!(file.problem_share().abs() < f64::EPSILON, "the rows are taken");
    assert!(
        file.problems[0].hint.contains("roster") && file.problems[0].hint.contains("reprocess"),
        "{:?}",
        file.problems[0]
    );
}

#[test]
fn the_hand_in_the_file_comes_before_the_roster() {
    let text = small_head("\"t\", \"v\", \"p\", \"h\"", "")
        + "[shot]\nplayer = { field = \"p\" }\n[shot.hand]\nfield = \"h\"\nignoreCase = true\nvalues = { l = \"left\", r = \"right\" }\n\
           [measures]\npath_deg = { field = \"v\", unit = \"deg\", measured = true, playerFrame = true }\n\
           [derived.face]\nfaceToPath = { field = \"v\", unit = \"deg\", playerFrame = true }\nmeasured = true\nfaceReference = \"face-centre\"\n";
    let file = with_hands(&sound(&text), &format!("t,v,p,h\n{TIME},2,wren,L\n{TIME},2,curlew,\n"));
    for shot in &file.shots {
        assert_eq!(shot.measures.get(Quantity::PathDeg), Some(-2.0));
        assert_eq!(shot.measures.get(Quantity::FaceDeg), Some(-4.0));
    }
    assert_eq!(rules(&file), []);
}

#[test]
fn words_may_match_in_capitals_or_not() {
    let words = |keys: &str| {
        small_head("\"t\", \"v\", \"c\"", "")
            + BALL_SPEED
            + &format!("[shot.intent]\nfield = \"c\"\n{keys}[shot.intent.values]\n\"Übung\" = \"drill\"\n")
    };
    let text = format!("t,v,c\n{TIME},50,ÜBUNG\n");
    assert_eq!(parse(&sound(&words("ignoreCase = true\n")), text.as_bytes()).shots[0].intent, shot::Intent::Drill);
    assert_eq!(rules(&parse(&sound(&words("")), text.as_bytes())), [(2, "unknown-value")]);
    let (_, faults) = load_text(&(words("ignoreCase = true\n") + "\"übung\" = \"play\"\n"));
    assert!(faults[0].message.contains("stands twice"), "{faults:?}");
}

#[test]
fn a_field_may_stand_under_other_names() {
    let other = |engine: &str| {
        small_head("\"t\", \"v\"", "")
            .replace("delimited", engine)
            .replace("[time]", "[schema.alsoNamed]\nv = [\"speed\", \"ball.v\"]\n[time]")
            + BALL_SPEED
    };
    let set = sound(&other("delimited"));
    for header in ["t,v", "t,speed", "t,ball.v"] {
        let text = format!("{header}\n{TIME},50\n");
        assert!(matches!(set.recognise("a.csv", text.as_bytes()), Recognition::Match { .. }), "{header}");
        let file = parse(&set, text.as_bytes());
        assert_eq!(file.shots[0].measures.get(Quantity::BallSpeedMps), Some(50.0), "{header}");
        assert_eq!(rules(&file), []);
    }
    let both = parse(&set, format!("t,v,speed\n{TIME},50,51\n").as_bytes());
    assert_eq!(rules(&both), [(0, "ambiguous-column")]);
    assert!(both.problems[0].message.contains("\"v\" or \"speed\""), "{}", both.problems[0].message);
    let lines = sound(&other("json-lines"));
    let text = format!(
        "{{\"t\":{TIME},\"ball\":{{\"v\":50}}}}\n{{\"t\":{TIME},\"speed\":51}}\n{{\"t\":{TIME},\"speed\":51,\"v\":50}}\n"
    );
    let file = parse(&lines, text.as_bytes());
    let speeds: Vec<Option<f64>> = file.shots.iter().map(|shot| shot.measures.get(Quantity::BallSpeedMps)).collect();
    assert_eq!(speeds, [Some(50.0), Some(51.0)]);
    assert_eq!(rules(&file), [(3, "ambiguous-column")]);
    let (_, faults) = load_text(&other("delimited").replace("v = [\"speed\"", "w = [\"t\""));
    let messages: Vec<&str> = faults.iter().map(|fault| fault.message.as_str()).collect();
    assert_eq!(messages, ["\"w\" is not among the fields of the pack", "\"t\" already names a field"]);
}

#[test]
fn native_numbers_need_no_decimal_sign() {
    let head = small_head("\"t\", \"v\"", "").replace("delimited", "json-lines");
    let set = sound(
        &(head.replace("[schema]", "[schema]\ndecimalChar = \",\"\ngroupChar = \".\"\nmissingValues = [\"-1\"]")
            + BALL_SPEED),
    );
    let text =
        format!("{{\"t\":{TIME}.5,\"v\":50.125}}\n{{\"t\":{TIME},\"v\":\"50,25\"}}\n{{\"t\":{TIME},\"v\":-1.0}}\n");
    let file = parse(&set, text.as_bytes());
    let speeds: Vec<Option<f64>> = file.shots.iter().map(|shot| shot.measures.get(Quantity::BallSpeedMps)).collect();
    assert_eq!(speeds, [Some(50.125), Some(50.25), None]);
    assert_eq!(file.shots[0].struck_at, TIME * 1_000_000 + 500_000);
}

#[test]
fn keys_that_do_not_fit_together_are_faults() {
    let with = |keys: &str| small_head("\"t\", \"v\"", "") + &format!("[measures]\n{keys}\n");
    let cases = [
        ("ball_speed_mps = { field = \"v\", unit = \"m/s\", measured = true, playerFrame = true }", "has no side"),
        (
            "ball_speed_mps = { field = \"v\", unit = \"m/s\", measured = true, unitField = \"v\" }",
            "unitFrom and unitField",
        ),
        (
            "ball_speed_mps = { field = \"v\", unit = \"m/s\", measured = true, unitFrom = \"field\" }",
            "unitFrom and unitField",
        ),
        (
            "ball_speed_mps = { field = \"v\", unit = \"m/s\", measured = true, unitFrom = \"field\", unitField = \"w\" }",
            "\"w\" is not among",
        ),
        (
            "path_deg = { field = \"v\", unit = \"deg\", measured = true, sign = \"suffix\", positiveSuffix = [\"r\"], negativeSuffix = [\"R\"] }",
            "the same for both sides",
        ),
        (
            "path_deg = { field = \"v\", unit = \"deg\", measured = true, zeroWords = [\"square\"] }",
            "do not fit together",
        ),
    ];
    for (keys, expected) in cases {
        let (_, faults) = load_text(&with(keys));
        assert!(faults.iter().any(|fault| fault.message.contains(expected)), "{keys}: {faults:?}");
    }
    let twice = small_head("\"t\", \"v\"", "delimiter = \";\"\nescapeChar = \";\"") + BALL_SPEED;
    assert!(load_text(&twice).1[0].message.contains("two tasks"));
    let quote = small_head("\"t\", \"v\"", "escapeChar = '\"'") + BALL_SPEED;
    assert!(load_text(&quote).1[0].message.contains("is the quote"));
}

#[test]
fn a_pack_proves_its_player_frame_with_hands_of_its_own() {
    let folder = tempfile::tempdir().expect("a folder");
    let pack = folder.path().join("small");
    std::fs::create_dir(&pack).expect("a folder");
    let format = small_head("\"t\", \"v\", \"p\"", "")
        + "[shot]\nplayer = { field = \"p\" }\n[measures]\npath_deg = { field = \"v\", unit = \"deg\", measured = true, playerFrame = true }\n\
           [test]\nhands = { Curlew = \"left\" }\n";
    std::fs::write(pack.join("format.toml"), &format).expect("a file");
    std::fs::write(pack.join("sample.csv"), format!("t,v,p\n{TIME},2.5,curlew\n")).expect("a file");
    std::fs::write(pack.join("expected.csv"), "source_row,path_deg\n2,-2.5\n").expect("a file");
    let report = formats::test_pack(only(&PackSet::load(folder.path()).0));
    assert!(report.passed(), "{report}");
    let (_, faults) = load_text(&format.replace("\"left\"", "\"both\""));
    assert_eq!(faults[0].message, "\"both\" is none of our words here");
}
