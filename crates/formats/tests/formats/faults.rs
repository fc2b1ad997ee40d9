//! Faulty packs: each fault is shown at its place, and hides no sound pack.

use formats::PackSet;

use crate::{BALL_SPEED, load_text, shipped_dir, small_head};

/// The faults of a pack text, each as "line:column message".
fn faults(format: &str) -> Vec<String> {
    let (set, faults) = load_text(format);
    assert_eq!(set.packs().is_empty(), !faults.is_empty());
    faults.iter().map(|fault| format!("{}:{} {}", fault.line, fault.column, fault.message)).collect()
}

fn head() -> String {
    small_head("\"t\", \"v\"", "")
}

#[test]
fn an_unknown_key_is_shown_in_place() {
    let (_, faults) =
        load_text(&(head() + "[measures]\nball_speed_mps = { feild = \"v\", unit = \"m/s\", measured = true }\n"));
    let shown = faults[0].to_string();
    assert!(shown.contains("unknown field `feild`"), "{shown}");
    assert!(shown.contains("format.toml:12:20"), "{shown}");
    assert!(shown.contains("12 | ball_speed_mps = { feild = "), "{shown}");
    assert!(shown.contains("^^^^^"), "{shown}");
    assert!(shown.contains("\nhint: "), "{shown}");
}

#[test]
fn every_fault_is_found_in_one_round() {
    let text = head()
        + "[measures]\n\
           ball_speed_mps = { field = \"w\", unit = \"m/s\", measured = true }\n\
           spin_rpm = { field = \"v\", unit = \"rpm\", measured = true }\n\
           carry_m = { field = \"v\", unit = \"deg\", measured = true }\n\
           distance = { field = \"v\", unit = \"m\", measured = true }\n\
           face_deg = { field = \"v\", unit = \"deg\", measured = true }\n\
           path_deg = { field = \"v\", unit = \"deg\" }\n\
           attack_deg = { field = \"v\", preamble = \"v\", unit = \"deg\", measured = true }\n\
           lateral_m = { field = \"v\", unit = \"m\", sign = \"suffix\", measured = true }\n\
           club_speed_mps = { field = \"v\", unit = \"m/s\", measured = true, standardDeviation = -1.0 }\n";
    let mut found = faults(&text);
    found.sort();
    let expected = [
        "12:28 \"w\" is not among the fields of the pack",
        "13:34 \"rpm\" is no unit we know",
        "14:33 \"deg\" does not convert into m",
        "15:1 \"distance\" is no quantity of a shot",
        "16:1 it is not said which point of the face this angle belongs to",
        "17:1 it is not said whether the device measures this",
        "18:1 it is not clear where this value comes from",
        "19:1 sign, positiveSuffix and negativeSuffix do not fit together",
        "20:84 a standard deviation is above zero",
    ];
    assert_eq!(found, expected);
}

#[test]
fn heads_and_words_are_checked() {
    let cases = [
        (head().replace("\"small\"", "\"big\""), "the pack is named \"big\", its folder \"small\""),
        (head().replace("\"1\"", "\"one\""), "a version is numbers joined by points"),
        (head().replace("epochUnit = \"s\"", "format = \"%Q\""), "\"%Q\" is no time format"),
        (head().replace("epochUnit = \"s\"", ""), "the time needs either format or epochUnit"),
        (head() + "zone = \"Atlantis\"", "\"Atlantis\" is no time zone"),
        (head().replace("[dialect]", "[dialect]\nencoding = \"ebcdic\""), "the encoding \"ebcdic\" is unknown"),
        (head().replace("[dialect]", "[dialect]\ndelimiter = \"\""), "exactly one character is needed"),
        (head().replace("[dialect]", "[dialect]\npreamble = {}"), "the preamble needs exactly one kind of end"),
        (
            head().replace("[dialect]", "maxProblemShare = 2.0\n[dialect]").replace("[dialect]", "\n[dialect]"),
            "maxProblemShare is a share from 0 to 1",
        ),
        (
            head().replace("[schema]", "[schema]\ndecimalChar = \",\"\ngroupChar = \",\""),
            "decimalChar and groupChar are the same",
        ),
        (head() + "[shot]\nbay = { fileName = \"bay\" }", "no file name pattern captures {bay}"),
        (head() + "[recognise]\nfileNames = [\"{a}{b}\"]", "nothing stands between {b} and the capture before it"),
        (head() + "[shot.intent]\nfield = \"v\"\nvalues = { x = \"fun\" }", "\"fun\" is none of our words here"),
        (
            head() + "[shot.club]\nfield = \"v\"\nvalues = { x = { clubId = \"p\", clubKind = \"spoon\" } }",
            "\"spoon\" is none of our words here",
        ),
        (
            head()
                + "[derived.face]\nfaceToPath = { field = \"v\", unit = \"deg\" }\nmeasured = true\nfaceReference = \"face-centre\"",
            "deriving this needs path_deg",
        ),
        (
            head().replace("delimited", "json-lines").replace("[dialect]", "[dialect]\ndelimiter = \",\""),
            "the engine json-lines does not read dialect.delimiter",
        ),
    ];
    for (text, expected) in cases {
        let found = faults(&text);
        assert!(found.iter().any(|fault| fault.ends_with(expected)), "{expected}: {found:?}\n{text}");
    }
    assert_eq!(faults(&(head() + BALL_SPEED)), [""; 0]);
}

#[test]
fn a_faulty_pack_does_not_hide_the_good_ones() {
    let folder = tempfile::tempdir().expect("a folder");
    let good = folder.path().join("strike-lines");
    std::fs::create_dir(&good).expect("a folder");
    std::fs::copy(shipped_dir().join("strike-lines/format.toml"), good.join("format.toml")).expect("a copy");
    for (name, text) in [("broken", "name = "), ("empty", "")] {
        std::fs::create_dir(folder.path().join(name)).expect("a folder");
        std::fs::write(folder.path().join(name).join("format.toml"), text).expect("a file");
    }
    std::fs::create_dir(folder.path().join("hollow")).expect("a folder");
    std::fs::write(folder.path().join("README.md"), "packs").expect("a file");
    let (set, faults) = PackSet::load(folder.path());
    assert_eq!(set.packs().iter().map(formats::Pack::name).collect::<Vec<_>>(), ["strike-lines"]);
    let places: Vec<String> = faults.iter().map(|fault| fault.path.display().to_string()).collect();
    assert_eq!(faults.len(), 3, "{places:?}");
    assert!(!formats::test_pack(&set.packs()[0]).passed(), "a pack without samples proves nothing");
    let (none, faults) = PackSet::load(&folder.path().join("nowhere"));
    assert!(none.packs().is_empty() && faults.len() == 1);
}

#[test]
fn files_of_a_pack_are_bounded() {
    let folder = tempfile::tempdir().expect("a folder");
    let pack = folder.path().join("small");
    std::fs::create_dir(&pack).expect("a folder");
    let write = |name: &str, bytes: &[u8]| std::fs::write(pack.join(name), bytes).expect("a file");
    let messages =
        || -> Vec<String> { PackSet::load(folder.path()).1.into_iter().map(|fault| fault.message).collect() };
    let format = head() + BALL_SPEED;
    let padded = |length: usize| [format.as_bytes(), &vec![b'\n'; length - format.len()]].concat();
    write("format.toml", &padded(1 << 20));
    assert_eq!(messages(), [""; 0]);
    write("format.toml", &padded((1 << 20) + 1));
    assert_eq!(messages(), ["the file is longer than 1048576 bytes"]);
    write("format.toml", b"name = \"\xe4\"");
    assert_eq!(messages(), ["the file is no UTF-8 text"]);
    write("format.toml", format.as_bytes());
    write("sample.csv", &vec![b'x'; (16 << 20) + 1]);
    assert_eq!(messages(), ["the file is longer than 16777216 bytes"]);
}
