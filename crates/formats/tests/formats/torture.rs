//! Cases from outside. Those of RFC 4180 stand here; the public sets are fetched by `tests/torture/fetch`, as `tests/run` does, and are
//! found through the variable `STRIKEMILL_TORTURE`.

use std::io::Write as _;
use std::path::PathBuf;

use formats::ParsedFile;
use serde_json::Value;
use shot::ParsedShot;

use crate::survive::survive;
use crate::{only, rules, site, sound};

/// The folder of a fetched set; without the variable the test is passed over, and says so past the capture of the harness.
fn fetched(set: &str) -> Option<PathBuf> {
    let Some(folder) = std::env::var_os("STRIKEMILL_TORTURE") else {
        let loud =
            format!("NOT TESTED: {set} (run tests/torture/fetch and set STRIKEMILL_TORTURE to the folder it names)\n");
        std::io::stderr().write_all(loud.as_bytes()).expect("standard error");
        return None;
    };
    let folder = PathBuf::from(folder).join(set);
    assert!(folder.is_dir(), "{} is not there: run tests/torture/fetch", folder.display());
    Some(folder)
}

/// A pack that keeps up to five columns as texts of a shot.
fn texts_pack(columns: &[&str]) -> formats::PackSet {
    let quoted = |text: &str| format!("'{text}'");
    let fields = columns.iter().map(|column| quoted(column)).collect::<Vec<_>>().join(", ");
    let places = ["session", "shot", "player", "bay", "ballKind"];
    assert!(columns.len() <= places.len(), "{columns:?}");
    let mapped = places
        .iter()
        .zip(columns)
        .map(|(place, column)| format!("{place} = {{ field = {} }}\n", quoted(column)))
        .collect::<Vec<_>>()
        .concat();
    sound(&format!(
        "name = \"small\"\nversion = \"1\"\nengine = \"delimited\"\n[schema]\nfields = [{fields}]\n\
         [time]\nparts = [{{ constant = \"1776006429\" }}]\nepochUnit = \"s\"\n[shot]\n{mapped}"
    ))
}

/// The cells of a shot that [`texts_pack`] read; a blank one is missing.
fn cells(shot: &ParsedShot, count: usize) -> Vec<String> {
    let bay = shot.bay.clone().filter(|bay| bay != "no bay");
    let texts = [&shot.session_text, &shot.shot_text, &shot.player_text, &bay, &shot.ball_kind];
    texts[..count].iter().map(|text| (*text).clone().unwrap_or_default()).collect()
}

fn read(columns: &[&str], bytes: &[u8]) -> ParsedFile {
    let site = formats::SiteContext { bay: Some("no bay".to_owned()), ..site() };
    survive(only(&texts_pack(columns)), "a.csv", bytes, &site)
}

fn rows(columns: &[&str], bytes: &[u8]) -> Vec<Vec<String>> {
    let file = read(columns, bytes);
    assert_eq!(rules(&file), []);
    file.shots.iter().map(|shot| cells(shot, columns.len())).collect()
}

#[test]
fn the_examples_of_rfc_4180_are_read() {
    // [source: RFC 4180, section 2, the examples of rules 1 to 7, each below a header of ours]
    let cases = [
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", vec![["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx", vec![["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("aaa,bbb,ccc", vec![["aaa", "bbb", "ccc"]]),
        ("\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", vec![["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx", vec![["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("\"aaa\",\"b\"\"bb\",\"ccc\"", vec![["aaa", "b\"bb", "ccc"]]),
    ];
    for (text, expected) in cases {
        assert_eq!(rows(&["one", "two", "three"], format!("one,two,three\r\n{text}").as_bytes()), expected, "{text}");
    }
}

#[test]
fn csv_spectrum_is_read() {
    let Some(folder) = fetched("csv-spectrum") else { return };
    let mut names = Vec::new();
    for entry in std::fs::read_dir(folder.join("csvs")).expect("a folder") {
        let path = entry.expect("an entry").path();
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        let bytes = std::fs::read(&path).expect("a file");
        let expected = std::fs::read_to_string(folder.join(format!("json/{name}.json"))).expect("a file");
        let expected: Value = serde_json::from_str(&expected).expect("JSON");
        let expected = expected.as_array().cloned().unwrap_or_else(|| vec![expected]);
        let header = String::from_utf8_lossy(&bytes).lines().next().expect("a header").to_owned();
        let columns: Vec<&str> = header.split(',').collect();
        names.push(name.clone());
        if name == "location_coordinates" {
            // The set itself lost characters here, and holds U+FFFD in their place. A row that is known to be damaged is not taken.
            assert_eq!(rules(&read(&columns, &bytes)), [(2, "bad-encoding")]);
            continue;
        }
        let found = rows(&columns, &bytes);
        assert_eq!(found.len(), expected.len(), "{name}");
        for (row, wanted) in found.iter().zip(&expected) {
            for (column, cell) in columns.iter().zip(row) {
                assert_eq!(cell, wanted[column].as_str().expect("a text").trim(), "{name}: {column}");
            }
        }
    }
    assert_eq!(names.len(), 12, "{names:?}");
}

/// Names and texts of the JSON parsing corpus. What is no UTF-8 in the original holds U+FFFD here.
fn corpus() -> Option<Vec<(String, String)>> {
    let folder = fetched("json-test-suite")?;
    let script = std::fs::read_to_string(folder.join("data/parsing.js")).expect("a file");
    let list = script.find('[').map(|start| &script[start..]).expect("a list");
    let cases: Vec<Value> = serde_json::from_str(list).expect("JSON");
    let text = |case: &Value, key: &str| case[key].as_str().expect("a text").to_owned();
    Some(cases.iter().map(|case| (text(case, "name"), text(case, "input"))).collect())
}

fn json_pack(engine: &str) -> formats::PackSet {
    sound(&format!(
        "name = \"small\"\nversion = \"1\"\nengine = \"{engine}\"\n[schema]\nfieldsMatch = \"subset\"\nfields = [\"t\"]\n\
         [time]\nparts = [{{ field = \"t\" }}]\nepochUnit = \"s\"\n"
    ))
}

#[test]
fn the_json_parsing_corpus_is_judged_as_it_should_be() {
    let Some(corpus) = corpus() else { return };
    let (document, lines) = (json_pack("json"), json_pack("json-lines"));
    let (mut sound_texts, mut unsound_texts) = (0, 0);
    for (name, text) in &corpus {
        // As a file: whatever it is, it is survived; and what is no JSON is never passed over in silence.
        let whole = survive(only(&document), name, text.as_bytes(), &site());
        survive(only(&lines), name, text.as_bytes(), &site());
        // As the field of a record, in a document and (where it has one line) in a line.
        let record = format!("{{\"t\":1776006429,\"x\":{text}}}");
        let within = survive(only(&document), name, format!("[{record}]").as_bytes(), &site());
        let one_line = !text.contains(['\n', '\r']);
        let line = survive(only(&lines), name, format!("{record}\n").as_bytes(), &site());
        if name.starts_with("y_") {
            sound_texts += 1;
            assert_eq!((within.shots.len(), rules(&within)), (1, vec![]), "{name}: {text}");
            assert!(!one_line || (line.shots.len() == 1 && line.problems.is_empty()), "{name}: {text}");
        }
        // A bare NaN is read as a missing value, on purpose.
        if name.starts_with("n_") && name != "n_number_NaN.json" {
            unsound_texts += 1;
            for file in [whole, within, line] {
                // A document that is refused as a whole may show the records before the fault.
                let nothing_taken = file.shots.is_empty() || file.problem_share() >= 1.0;
                assert!(!file.problems.is_empty() && nothing_taken, "{name}: {text}");
            }
        }
    }
    assert_eq!((corpus.len(), sound_texts, unsound_texts), (318, 95, 187));
}
