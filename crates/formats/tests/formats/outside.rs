//! Workbooks and column files that other programs wrote, against what these programs say is in them.
//!
//! `tests/readers/make_workbooks.py` writes the files and `expected.json` into a folder; `tests/run` does so and names the folder.

use std::path::PathBuf;

use serde::Deserialize;

use crate::{only, rules, site, sound};

/// Names the folder.
const FOLDER: &str = "STRIKEMILL_OUTSIDE_FILES";

#[derive(Deserialize)]
struct Expected {
    file: String,
    engine: String,
    dialect: String,
    /// Who wrote the file and who said what it holds.
    source: String,
    fields: Vec<String>,
    /// Row numbers, and the texts of the fields.
    rows: Vec<(i64, Vec<Option<String>>)>,
    /// Keys and values that the file states about itself.
    preamble: Vec<(String, String)>,
}

#[test]
fn files_of_other_programs_hold_what_these_say() {
    let Some(folder) = std::env::var_os(FOLDER).map(PathBuf::from) else {
        eprintln!(
            "NOT CHECKED: files of other programs; set {FOLDER} to a folder that tests/readers/make_workbooks.py filled"
        );
        return;
    };
    let listed = std::fs::read_to_string(folder.join("expected.json")).expect("the list of files");
    let all: Vec<Expected> = serde_json::from_str(&listed).expect("a list of files");
    assert!(all.len() >= 20, "the list is whole");
    let mut values = 0;
    for expected in &all {
        let bytes = std::fs::read(folder.join(&expected.file)).expect("a file");
        for (place, field) in expected.fields.iter().enumerate() {
            let wanted: Vec<(i64, Option<&str>)> =
                expected.rows.iter().map(|(line, texts)| (*line, texts[place].as_deref())).collect();
            let set = shows(expected, &format!("field = {field:?}"));
            let file = only(&set).parse(&expected.file, &bytes, &site());
            assert_eq!(rules(&file), [], "{}: {field}: {:?}", expected.file, file.problems);
            let found: Vec<(i64, Option<&str>)> =
                file.shots.iter().map(|shot| (shot.source_row, shot.player_text.as_deref())).collect();
            assert_eq!(found, wanted, "{}: {field} [source: {}]", expected.file, expected.source);
            values += wanted.len();
        }
        for (key, value) in &expected.preamble {
            let file = only(&shows(expected, &format!("preamble = {key:?}"))).parse(&expected.file, &bytes, &site());
            assert_eq!(file.shots[0].player_text.as_deref(), Some(value.as_str()), "{}: {key}", expected.file);
        }
    }
    eprintln!("checked {values} values of {} files of other programs", all.len());
}

/// A pack that shows one value as the player's text.
fn shows(expected: &Expected, source: &str) -> formats::PackSet {
    let fields: Vec<String> = expected.fields.iter().map(|field| format!("{field:?}")).collect();
    sound(&format!(
        "name = \"small\"\nversion = \"1\"\nengine = \"{}\"\n[dialect]\n{}\n[schema]\nfields = [{}]\nfieldsMatch = \"subset\"\n\
         missingValues = []\n[time]\nparts = [{{ constant = \"1775989230\" }}]\nepochUnit = \"s\"\n[shot]\nplayer = {{ {source} }}\n",
        expected.engine,
        expected.dialect,
        fields.join(", ")
    ))
}
