//! Exports that changed: what is said of the change, and that the offered edits read the changed file as the old one was read.

use std::path::Path;

use formats::{Drift, PackSet, ParsedFile, Recognition, SiteContext};

use crate::{BALL_SPEED, only, rules, shipped, shipped_dir, site, small_head, sound};

/// Applies the edits of a drift to the text of a pack, last one first so that the lines stay where they are.
fn edited(text: &str, edits: &[String]) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    for edit in edits.iter().rev() {
        let (_, rest) = edit.split_once("format.toml:").expect("a file");
        let (place, rest) = rest.split_once(": ").expect("a line");
        let (from, to) = place.split_once('-').unwrap_or((place, place));
        let (from, to): (usize, usize) = (from.parse().expect("a line"), to.parse().expect("a line"));
        if let Some(new) = rest.strip_prefix("change to:") {
            lines.splice(from - 1..to, [new[1..].to_owned()]);
        } else {
            let labels = ["add to [schema.alsoNamed]:", "add to [unitWords]:", "add behind this line:"];
            let new = labels.iter().find_map(|label| rest.strip_prefix(label)).expect("a known label");
            lines.insert(from, new[1..].to_owned());
        }
    }
    lines.join("\n") + "\n"
}

/// A copy of one pack, with edits.
fn copy(name: &str, text: &str, edits: &[String]) -> (tempfile::TempDir, PackSet) {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::create_dir(folder.path().join(name)).expect("a folder");
    std::fs::write(folder.path().join(name).join("format.toml"), edited(text, edits)).expect("a file");
    let (set, faults) = PackSet::load(folder.path());
    assert!(faults.is_empty(), "{faults:?}\n{}", edited(text, edits));
    (folder, set)
}

fn matches(set: &PackSet, file_name: &str, bytes: &[u8]) -> bool {
    matches!(set.recognise(file_name, bytes), Recognition::Match { .. })
}

/// Shots without their lines, which a change may move.
fn shots(set: &PackSet, file_name: &str, bytes: &[u8]) -> Vec<shot::ParsedShot> {
    let file = only(set).parse(file_name, bytes, &site());
    file.shots.into_iter().map(|shot| shot::ParsedShot { source_row: 0, ..shot }).collect()
}

/// Checks that a changed sample of a shipped pack is explained, and read again as before once the edits are made.
fn check(pack: &str, file_name: &str, change: impl Fn(&[u8]) -> Vec<u8>, expected: &[&str]) -> Drift {
    let folder = shipped_dir().join(pack);
    let sample = if file_name == "sample.jsonl" { file_name.to_owned() } else { format!("sample-{file_name}") };
    let old = std::fs::read(folder.join(sample)).expect("a sample");
    let text = std::fs::read_to_string(folder.join("format.toml")).expect("a pack");
    let new = change(&old);
    assert_ne!(old, new, "the sample is changed");
    let set = shipped();
    assert_eq!(set.drift(file_name, &old), None, "an unchanged sample");
    let drift = set.drift(file_name, &new).expect("a drift");
    assert_eq!(drift.pack, pack);
    assert_eq!(drift.changes, expected);
    assert!(!drift.edits.is_empty(), "{drift:#?}");
    let (_kept, before) = copy(pack, &text, &[]);
    let (_kept, after) = copy(pack, &text, &drift.edits);
    assert!(matches(&after, file_name, &new), "{:#?}", after.recognise(file_name, &new).scores());
    let (was, is) = (shots(&before, file_name, &old), shots(&after, file_name, &new));
    assert!(!was.is_empty());
    assert_eq!(was, is, "{drift:#?}");
    assert!(
        matches(&after, file_name, &old) || !drift.edits.iter().any(|edit| edit.contains("alsoNamed")),
        "old files too"
    );
    drift
}

fn text_change<'c>(pairs: &'c [(&'c str, &'c str)]) -> impl Fn(&[u8]) -> Vec<u8> + 'c {
    move |bytes| {
        let mut text = String::from_utf8(bytes.to_vec()).expect("UTF-8");
        for (from, to) in pairs {
            assert!(text.contains(from), "{from}");
            text = text.replace(from, to);
        }
        text.into_bytes()
    }
}

const IMPERIAL: &str = "session_0412_bay2.csv";

#[test]
fn renamed_columns_are_named_with_the_line_to_add() {
    let change = text_change(&[("Head Pace", "Head Pace Rate"), ("Implement", "Implements")]);
    let expected = ["column \"Implement\" is now \"Implements\"", "column \"Head Pace\" is now \"Head Pace Rate\""];
    let drift = check("plain-imperial", IMPERIAL, change, &expected);
    let text = std::fs::read_to_string(shipped_dir().join("plain-imperial/format.toml")).expect("a pack");
    // The list of fields ends the table [schema]; the new table goes behind it.
    let line = text.lines().position(|line| line == "]").expect("the end of the fields") + 1;
    let [edit] = drift.edits.as_slice() else { panic!("{drift:#?}") };
    let place = format!("plain-imperial/format.toml:{line}: add behind this line:\n\n[schema.alsoNamed]\n");
    assert!(edit.contains(&place), "{edit}");
    assert!(edit.ends_with("\"Implement\" = [\"Implements\"]\n\"Head Pace\" = [\"Head Pace Rate\"]"), "{edit}");
}

#[test]
fn a_second_rename_extends_what_is_there() {
    let head = small_head("\"t\", \"Ball Vel\", \"Spin\"", "")
        .replace("[time]", "[schema.alsoNamed]\n\"Ball Vel\" = [\"Ball V\"]\n\n[time]")
        + &BALL_SPEED.replace("\"v\"", "\"Ball Vel\"");
    let set = sound(&head);
    let drift = set.drift("a.csv", b"t,Ball Velocity,Spin\n1776006429,50,1\n").expect("a drift");
    assert_eq!(drift.changes, ["column \"Ball Vel\" is now \"Ball Velocity\""]);
    assert!(
        drift.edits[0].ends_with("format.toml:9: change to: \"Ball Vel\" = [\"Ball V\", \"Ball Velocity\"]"),
        "{drift:#?}"
    );
    let drift = set.drift("a.csv", b"t,Ball V,Spin Rate\n1776006429,50,1\n").expect("a drift");
    assert!(
        drift.edits[0].ends_with("format.toml:8: add to [schema.alsoNamed]: \"Spin\" = [\"Spin Rate\"]"),
        "{drift:#?}"
    );
    let (_kept, after) = copy("small", &head, &drift.edits);
    assert_eq!(rules(&only(&after).parse("a.csv", b"t,Ball V,Spin Rate\n1776006429,50,1\n", &site())), []);
}

#[test]
fn another_delimiter_is_seen() {
    let outside_quotes = |bytes: &[u8]| {
        let mut quoted = false;
        let swap = |byte: &u8| {
            quoted ^= *byte == b'"';
            if *byte == b',' && !quoted { b';' } else { *byte }
        };
        bytes.iter().map(swap).collect()
    };
    let drift = check("plain-imperial", IMPERIAL, outside_quotes, &["the delimiter is now ;"]);
    assert!(drift.edits[0].ends_with(": change to: delimiter = \";\""), "{drift:#?}");
}

#[test]
fn another_encoding_is_seen() {
    let wide = |bytes: &[u8]| {
        let text = String::from_utf8(bytes.to_vec()).expect("UTF-8");
        [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
    };
    check("plain-imperial", IMPERIAL, wide, &["the encoding is now utf-16le"]);
}

#[test]
fn a_header_further_down_is_seen() {
    let moved = |bytes: &[u8]| [b"Bay two\nexported by the new release\n", bytes].concat();
    let expected = ["the header now stands in row 3", "the units now stand in row 4"];
    check("plain-imperial", IMPERIAL, moved, &expected);
}

#[test]
fn another_decimal_sign_is_seen() {
    let swap = |bytes: &[u8]| {
        let swapped = |byte: &u8| match byte {
            b',' => b'.',
            b'.' => b',',
            other => *other,
        };
        bytes.iter().map(swapped).collect()
    };
    check("hall-metric", "H1-20260503-1.txt", swap, &["the decimal sign is now ."]);
}

#[test]
fn another_time_format_is_seen() {
    let change =
        text_change(&[("5/2/2026,9:15:00 AM", "2026-05-02,09:15:00"), ("5/2/2026,9:15:41 AM", "2026-05-02,09:15:41")]);
    let expected = ["the time is now written like \"2026-05-02 09:15:00\" (the pack reads %m/%d/%Y %I:%M:%S %p)"];
    let folder = shipped_dir().join("plain-imperial");
    let old = std::fs::read(folder.join("sample-session_0502_bay2.csv")).expect("a sample");
    let drift = shipped().drift("session_0502_bay2.csv", &change(&old)).expect("a drift");
    assert_eq!(drift.changes, expected);
    let text = std::fs::read_to_string(folder.join("format.toml")).expect("a pack");
    let (_kept, after) = copy("plain-imperial", &text, &drift.edits);
    let instants = |file: ParsedFile| file.shots.iter().map(|shot| shot.struck_at).collect::<Vec<_>>();
    let read = |bytes: &[u8]| instants(only(&after).parse("session_0502_bay2.csv", bytes, &site()));
    assert_eq!(read(&old), read(&change(&old)), "old and new files");
    // 2 May or 5 February: nobody but a person knows.
    let unclear =
        text_change(&[("5/2/2026,9:15:00 AM", "05/02/2026,09:15"), ("5/2/2026,9:15:41 AM", "05/02/2026,09:15")]);
    let drift = shipped().drift("session_0502_bay2.csv", &unclear(&old)).expect("a drift");
    assert!(drift.changes[0].contains("that may be %m/%d/%Y %H:%M or %d/%m/%Y %H:%M"), "{drift:#?}");
    assert_eq!(drift.edits, [""; 0]);
}

#[test]
fn unit_words_that_changed_are_seen() {
    let change = text_change(&[(",mph,deg,deg,deg,mph", ",MPH,deg,deg,deg,MPH")]);
    let expected = [
        "the unit of \"Ball Pace\" is now MPH, a word that the pack does not know",
        "the unit of \"Head Pace\" is now MPH, a word that the pack does not know",
    ];
    let drift = check("plain-imperial", IMPERIAL, change, &expected);
    assert!(drift.edits[0].ends_with(": add to [unitWords]: \"MPH\" = \"[mi_i]/h\""), "{drift:#?}");
}

#[test]
fn renamed_paths_are_seen() {
    let change = text_change(&[("\"attack\"", "\"attackAngle\"")]);
    check("strike-lines", "sample.jsonl", change, &["field \"club.attack\" is now \"club.attackAngle\""]);
    let moved = text_change(&[("\"club\":", "\"head\":")]);
    let parts = ["v", "attack", "path", "face", "loft"];
    let expected = parts.map(|part| format!("field \"club.{part}\" is now \"head.{part}\""));
    check("strike-lines", "sample.jsonl", moved, &expected.each_ref().map(String::as_str));
}

/// A small pack with units in its header words and these further keys of the schema.
fn strict(policy: &str) -> String {
    small_head("\"t\", \"Ball Vel (mph)\", \"Carry (yd)\", \"Note\"", "")
        .replace("[schema]", &format!("[schema]\nfieldsMatch = \"{policy}\""))
        + "[measures.ball_speed_mps]\nfield = \"Ball Vel (mph)\"\nunit = \"[mi_i]/h\"\nmeasured = true\n\
           [measures.carry_m]\nfield = \"Carry (yd)\"\nunit = \"[yd_i]\"\nmeasured = true\nstandardDeviation = 2.0\n"
}

#[test]
fn a_header_word_with_another_unit_is_read_in_that_unit() {
    let text = strict("exact");
    let set = sound(&text);
    let new = b"t,Ball Vel (mph),Carry (m),Note\n1776006429,100,91.44,x\n";
    let drift = set.drift("a.csv", new).expect("a drift");
    let expected =
        ["column \"Carry (yd)\" is now \"Carry (m)\"", "the unit of \"Carry (yd)\" is now m (the pack says [yd_i])"];
    assert_eq!(drift.changes, expected);
    let (_kept, after) = copy("small", &text, &drift.edits);
    let old = b"t,Ball Vel (mph),Carry (yd),Note\n1776006429,100,100,x\n";
    assert_eq!(shots(&after, "a.csv", new), shots(&set, "a.csv", old));
    // [derived: 2 yd are 1.8288 m, NIST SP 811]
    let devices = only(&after).devices();
    let carry = devices.iter().find(|row| row.quantity == "carry_m").expect("listed");
    assert!((carry.standard_deviation.expect("known") - 1.8288).abs() < 1e-9);
}

#[test]
fn new_gone_and_moved_columns_follow_the_policy() {
    let row = "1776006429,100,100,x\n";
    let cases = [
        ("exact", "t,Ball Vel (mph),Carry (yd),Note,Club Id", "1776006429,100,100,x,7\n", "column \"Club Id\" is new"),
        ("exact", "t,Ball Vel (mph),Carry (yd)", "1776006429,100,100\n", "column \"Note\" is gone"),
        ("subset", "t,Ball Vel (mph),Carry (yd)", "1776006429,100,100\n", "column \"Note\" is gone"),
        (
            "exact",
            "t,Ball Vel (mph),Note,Carry (yd),More,Carry Kind",
            "1776006429,100,x,100,1,2\n",
            "the columns are in another order",
        ),
        ("exact", "t,Ball Vel (mph),Note,Carry (yd)", "1776006429,100,x,100\n", "the columns are in another order"),
    ];
    for (policy, header, new_row, expected) in cases {
        let text = strict(policy);
        let set = sound(&text);
        let new = format!("{header}\n{new_row}");
        assert!(!matches(&set, "a.csv", new.as_bytes()));
        let drift = set.drift("a.csv", new.as_bytes()).expect("a drift");
        assert!(drift.changes.iter().any(|change| change == expected), "{policy}: {drift:#?}");
        let (_kept, after) = copy("small", &text, &drift.edits);
        assert!(matches(&after, "a.csv", new.as_bytes()), "{drift:#?}");
        let old = format!("t,Ball Vel (mph),Carry (yd),Note\n{row}");
        assert_eq!(shots(&after, "a.csv", new.as_bytes()), shots(&set, "a.csv", old.as_bytes()), "{policy} {header}");
    }
}

#[test]
fn what_does_not_convince_is_left_to_a_person() {
    let set = sound(&strict("exact"));
    // In the same place, but another quantity by its name; a name without a known unit; a needed column.
    let cases = [
        ("t,Club Vel (mph),Carry (yd),Note", "column \"Ball Vel (mph)\" is gone; it may be \"Club Vel (mph)\" now"),
        ("t,Ball Vel (mph),Carry (el),Note", "column \"Carry (yd)\" is gone; it may be \"Carry (el)\" now"),
        (
            "x,Ball Vel (mph),Carry (yd),Note",
            "column \"t\" is gone, and the pack cannot do without it; it may be \"x\" now",
        ),
    ];
    for (header, expected) in cases {
        let drift = set.drift("a.csv", format!("{header}\n1776006429,100,100,x\n").as_bytes()).expect("a drift");
        assert!(drift.changes.first().is_some_and(|change| change.starts_with(expected)), "{expected}: {drift:#?}");
        assert!(drift.changes[0].ends_with("under [schema.alsoNamed])"), "{drift:#?}");
        assert_eq!(drift.edits, [""; 0], "{header}");
    }
    // Two columns that are both like the old one.
    let drift =
        set.drift("a.csv", b"t,Ball Velo (mph),Carry (yd),Note,Ball Velocity (mph)\n1,2,3,x,4\n").expect("a drift");
    let expected = "column \"Ball Vel (mph)\" is gone; it may be \"Ball Velo (mph)\" or \"Ball Velocity (mph)\" now";
    assert!(drift.changes[0].starts_with(expected), "{drift:#?}");
    assert_eq!(drift.edits, [""; 0]);
    // A new column may be the lost one under a name that resembles nothing: no line that would lose the number for good.
    let drift = set.drift("a.csv", b"t,Ball Vel (mph),Note,Weite\n1,2,x,3\n").expect("a drift");
    assert!(drift.changes[0].contains("if a new column holds it"), "{drift:#?}");
    assert_eq!(drift.edits, [""; 0]);
}

#[test]
fn a_matched_file_says_where_its_missing_column_went() {
    let text = strict("partial");
    let set = sound(&text);
    let bytes = b"t,Ball Velocity (mph),Carry (yd),Note\n1776006429,100,100,x\n";
    assert!(matches(&set, "a.csv", bytes));
    let file = only(&set).parse("a.csv", bytes, &site());
    assert_eq!(rules(&file), [(1, "missing-column")]);
    let hint = &file.problems[0].hint;
    assert!(hint.contains("column \"Ball Vel (mph)\" is now \"Ball Velocity (mph)\"; "), "{hint}");
    assert!(hint.contains("format.toml:8: add behind this line:"), "{hint}");
    assert!(hint.contains("\"Ball Vel (mph)\" = [\"Ball Velocity (mph)\"]"), "{hint}");
    let lost = only(&set).parse("a.csv", b"t,Carry (yd),Note\n1776006429,100,x\n", &site());
    assert!(lost.problems[0].hint.contains("switched on"), "{}", lost.problems[0].hint);
}

#[test]
fn renamed_columns_of_a_workbook_are_seen() {
    let text = small_head("\"t\", \"Ball Vel\"", "").replace("delimited", "spreadsheet")
        + &BALL_SPEED.replace("\"v\"", "\"Ball Vel\"");
    let sheet = |name: &str| {
        let mut workbook = rust_xlsxwriter::Workbook::new();
        let sheet = workbook.add_worksheet();
        sheet.write_string(0, 0, "t").expect("a cell");
        sheet.write_string(0, 1, name).expect("a cell");
        sheet.write_number(1, 0, 1_776_006_429.0).expect("a cell");
        sheet.write_number(1, 1, 50.5).expect("a cell");
        workbook.save_to_buffer().expect("a workbook")
    };
    let set = sound(&text);
    let (old, new) = (sheet("Ball Vel"), sheet("Ball Velocity"));
    assert_eq!(set.drift("a.xlsx", &old), None);
    let drift = set.drift("a.xlsx", &new).expect("a drift");
    assert_eq!(drift.changes, ["column \"Ball Vel\" is now \"Ball Velocity\""]);
    let (_kept, after) = copy("small", &text, &drift.edits);
    assert!(matches(&after, "a.xlsx", &new) && matches(&after, "a.xlsx", &old));
    assert_eq!(shots(&after, "a.xlsx", &new), shots(&set, "a.xlsx", &old));
    assert_eq!(shots(&set, "a.xlsx", &old).len(), 1);
}

#[test]
fn foreign_files_have_not_drifted() {
    let set = shipped();
    for content in [
        &b"No,Date,Price\n1,2,3\n"[..],
        b"",
        b"\x89PNG\r\n\x1a\n\0\0\0",
        b"{}\n",
        b"shopping list",
        b"{\"a\":{\"b\":1}}\n",
    ] {
        for name in [IMPERIAL, "c3-1.jsonl", "H1-20260412-1.txt", "x.dat"] {
            assert_eq!(set.drift(name, content), None, "{name} {}", String::from_utf8_lossy(content));
        }
    }
}

/// Paths in edits are those under which the packs were loaded.
#[test]
fn edits_name_the_file_of_the_pack() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::create_dir(folder.path().join("small")).expect("a folder");
    let path = folder.path().join("small/format.toml");
    std::fs::write(&path, small_head("\"t\", \"Ball Vel\"", "") + &BALL_SPEED.replace("\"v\"", "\"Ball Vel\""))
        .expect("a file");
    let (set, _) = PackSet::load(folder.path());
    let drift = set.drift("a.csv", b"t,Ball Velocity\n1776006429,50\n").expect("a drift");
    assert!(drift.edits[0].starts_with(&format!("{}:7: ", Path::new(&path).display())), "{drift:#?}");
    let context = SiteContext { bay: None, ..site() };
    assert_eq!(only(&set).parse("a.csv", b"t,Ball Vel\n1776006429,50\n", &context).problems, []);
}
