//! Which pack a file belongs to, and the reasons given.

use formats::{PackSet, Recognition};

use crate::{BALL_SPEED, shipped, shipped_dir, small_head};

fn found(recognition: &Recognition<'_>) -> String {
    match recognition {
        Recognition::Match { pack, .. } => pack.name().to_owned(),
        Recognition::NoMatch { .. } => "none".to_owned(),
        Recognition::Tie { packs, .. } => packs.iter().map(|pack| pack.name()).collect::<Vec<_>>().join(" or "),
    }
}

#[test]
fn samples_are_known_by_content_alone() {
    let set = shipped();
    for pack in set.packs() {
        for entry in std::fs::read_dir(shipped_dir().join(pack.name())).expect("a folder") {
            let path = entry.expect("an entry").path();
            if !path.file_name().expect("a name").to_string_lossy().starts_with("sample") {
                continue;
            }
            let bytes = std::fs::read(&path).expect("a file");
            let recognition = set.recognise("download(3).dat", &bytes);
            assert_eq!(found(&recognition), pack.name(), "{:#?}", recognition.scores());
            assert_eq!(recognition.scores().len(), set.packs().len());
        }
    }
}

#[test]
fn a_fitting_name_with_foreign_content_is_no_match() {
    let set = shipped();
    for content in [&b"No,Date,Clock\n1,2,3\n"[..], b"", b"\x89PNG\r\n\x1a\n\0\0\0", b"{}\n", b"shopping list"] {
        for name in ["session_0412_bay2.csv", "c3-1.jsonl", "H1-20260412-1.txt"] {
            let recognition = set.recognise(name, content);
            assert_eq!(found(&recognition), "none", "{name}: {:#?}", recognition.scores());
        }
    }
    let recognition = set.recognise("session_0412_bay2.csv", b"No,Date,Clock\n1,2,3\n");
    let reasons = &recognition.scores().iter().find(|score| score.pack == "plain-imperial").expect("scored").because;
    assert!(reasons.contains("the name fits session_{session}_bay{bay}.csv"), "{reasons}");
    assert!(reasons.contains("it lacks 14 of the pack's fields: Golfer"), "{reasons}");
}

/// Loads small packs: name, `schema.fields`, a `fieldsMatch`, and a file name pattern.
fn packs(specs: &[(&str, &str, &str, &str)]) -> PackSet {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, fields, fields_match, pattern) in specs {
        let text = small_head(fields, "")
            .replace("\"small\"", &format!("\"{name}\""))
            .replace("[schema]", &format!("[schema]\nfieldsMatch = \"{fields_match}\""));
        std::fs::create_dir(folder.path().join(name)).expect("a folder");
        let text = format!("{text}{BALL_SPEED}[recognise]\nfileNames = [\"{pattern}\"]\n");
        std::fs::write(folder.path().join(name).join("format.toml"), text).expect("a file");
    }
    let (set, faults) = PackSet::load(folder.path());
    assert!(faults.is_empty(), "{faults:?}");
    set
}

#[test]
fn equal_packs_tie_and_the_name_decides() {
    let set = packs(&[("one", "\"t\",\"v\"", "subset", "one{x}.csv"), ("two", "\"t\",\"v\"", "subset", "two{x}.csv")]);
    assert_eq!(found(&set.recognise("three.csv", b"t,v\n")), "one or two");
    assert_eq!(found(&set.recognise("two-1.csv", b"t,v\n")), "two");
}

#[test]
fn the_pack_that_knows_more_of_the_file_wins() {
    let set =
        packs(&[("less", "\"t\",\"v\"", "subset", "{x}.csv"), ("more", "\"t\",\"v\",\"w\"", "subset", "{x}.csv")]);
    assert_eq!(found(&set.recognise("a.csv", b"t,v,w\n")), "more");
    assert_eq!(found(&set.recognise("a.csv", b"t,v\n")), "less");
}

#[test]
fn fields_match_as_the_table_schema_says() {
    // [source: Frictionless Table Schema, `fieldsMatch`: exact, equal, subset, superset, partial; from memory]
    let cases = [
        ("exact", ["yes", "no", "no", "no", "no"]),
        ("equal", ["yes", "yes", "no", "no", "no"]),
        ("subset", ["yes", "yes", "yes", "no", "no"]),
        ("superset", ["yes", "yes", "no", "yes", "no"]),
        ("partial", ["yes", "yes", "yes", "yes", "no"]),
    ];
    for (word, expected) in cases {
        let set = packs(&[("one", "\"t\",\"v\"", word, "{x}.csv")]);
        let files = ["t,v\n", "v,t\n", "t,v,w\n", "t\n", "a,b\n"];
        let outcomes =
            files.map(|text| if found(&set.recognise("a.csv", text.as_bytes())) == "one" { "yes" } else { "no" });
        assert_eq!(outcomes, expected, "{word}");
    }
}

#[test]
fn optional_and_repeated_fields_are_judged_by_the_policy() {
    // Files against a pack with the fields t, v and the optional w. [derived: the policies' definitions, worked by hand]
    let files = ["t,v,w\n", "t,w,v\n", "w,v,t\n", "t,v,v\n", "t,v,w,x\n", "t,w\n", "w\n"];
    let cases = [
        ("exact", ["yes", "yes", "no", "no", "no", "no", "no"]),
        ("equal", ["yes", "yes", "yes", "no", "no", "no", "no"]),
        ("subset", ["yes", "yes", "yes", "yes", "yes", "no", "no"]),
        ("superset", ["yes", "yes", "yes", "yes", "no", "yes", "no"]),
        ("partial", ["yes", "yes", "yes", "yes", "yes", "yes", "no"]),
    ];
    for (word, expected) in cases {
        let set = packs(&[("one", "\"t\",\"v\"]\noptionalFields = [\"w\"", word, "{x}.csv")]);
        let outcomes =
            files.map(|text| if found(&set.recognise("a.csv", text.as_bytes())) == "one" { "yes" } else { "no" });
        assert_eq!(outcomes, expected, "{word}");
    }
}
