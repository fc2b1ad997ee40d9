//! Tests of the importer room against packs on disk: the shipped ones and small ones written for one question each.

mod columns;
mod derivations;
mod dialects;
mod documents;
mod draft_names;
mod drafted_exports;
mod drafting;
mod drift;
mod elements;
mod faults;
mod hostile;
mod hostile_columns;
mod hostile_workbooks;
mod marks;
mod mutations;
mod outside;
mod packages;
mod recognition;
mod robustness;
mod shipped;
mod survive;
mod times;
mod torture;
mod values;
mod workbooks;

use std::path::{Path, PathBuf};

use formats::{Pack, PackFault, PackSet, ParseLimits, ParsedFile, SiteContext};

/// The folder of the shipped packs.
pub fn shipped_dir() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plugins/formats")
}

/// The shipped packs, which must be without fault.
pub fn shipped() -> PackSet {
    let (set, faults) = PackSet::load(&shipped_dir());
    assert!(faults.is_empty(), "{}", faults.iter().map(PackFault::to_string).collect::<Vec<_>>().join("\n"));
    set
}

/// A site in the middle of Europe.
pub fn site() -> SiteContext {
    SiteContext {
        site_id: "north".to_owned(),
        zone: chrono_tz::Europe::Berlin,
        bay: Some("7".to_owned()),
        environment: Some("indoor".to_owned()),
        limits: ParseLimits::default(),
        hands: std::sync::Arc::default(),
    }
}

/// Loads one pack named `small` from a text.
pub fn load_text(format: &str) -> (PackSet, Vec<PackFault>) {
    let folder = tempfile::tempdir().expect("a folder");
    let pack = folder.path().join("small");
    std::fs::create_dir(&pack).expect("a folder");
    std::fs::write(pack.join("format.toml"), format).expect("a file");
    PackSet::load(folder.path())
}

/// The head of a small delimited pack with the fields `t`, `v` and further ones.
pub fn small_head(fields: &str, dialect: &str) -> String {
    format!(
        "name = \"small\"\nversion = \"1\"\nengine = \"delimited\"\n[dialect]\n{dialect}\n[schema]\nfields = [{fields}]\n\
         [time]\nparts = [{{ field = \"t\" }}]\nepochUnit = \"s\"\n"
    )
}

/// The one measure of a small pack.
pub const BALL_SPEED: &str = "[measures]\nball_speed_mps = { field = \"v\", unit = \"m/s\", measured = true }\n";

/// Parses bytes with the only pack of a set.
pub fn parse(set: &PackSet, bytes: &[u8]) -> ParsedFile {
    only(set).parse("any.csv", bytes, &site())
}

/// The only pack of a set.
pub fn only(set: &PackSet) -> &Pack {
    let [pack] = set.packs() else { panic!("one pack") };
    pack
}

/// A pack from a text that must be without fault.
pub fn sound(format: &str) -> PackSet {
    let (set, faults) = load_text(format);
    assert!(faults.is_empty(), "{}", faults.iter().map(PackFault::to_string).collect::<Vec<_>>().join("\n"));
    set
}

/// Line and rule of every problem.
pub fn rules(file: &ParsedFile) -> Vec<(i64, &str)> {
    file.problems.iter().map(|problem| (problem.line, problem.rule.as_str())).collect()
}
