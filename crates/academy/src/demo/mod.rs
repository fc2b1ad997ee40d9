//! The demo academy: eight weeks of exports from six bays and a tee, with the truth behind every shot.

mod ball_journal;
pub mod bay;
pub mod cast;
pub mod export;
mod hall_metric;
pub mod marks;
mod oddities;
pub mod people;
mod plain_imperial;
pub mod practice;
mod range_book;
mod readme;
pub mod record;
mod roster;
mod session_tree;
mod strike_lines;
pub mod tally;
mod tee_columns;
pub mod timetable;
mod truth;
pub mod weather;

use std::collections::BTreeMap;
use std::fmt::Write as _;

use impact::HeadBook;

use crate::AcademyError;
use export::Export;
use record::Recorded;
use timetable::{Bay, Extra};

/// The seed of the demo that is checked in.
pub const SEED: u64 = 20_260_928;

/// What a file of the demo is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileKind {
    /// An export, all of it sound.
    Export,
    /// An export some of whose rows are broken.
    BrokenRows,
    /// The same bytes as another export, under another name.
    Duplicate,
    /// A file that is no export.
    NoExport,
    /// A list of strikes noted by hand.
    StrikeMarks,
}

impl FileKind {
    /// The word used in `truth/files.csv`.
    pub fn word(self) -> &'static str {
        match self {
            FileKind::Export => "export",
            FileKind::BrokenRows => "export with broken rows",
            FileKind::Duplicate => "duplicate",
            FileKind::NoExport => "no export",
            FileKind::StrikeMarks => "strike marks",
        }
    }
}

/// One file that the demo drops into an import folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DemoFile {
    /// Path below the demo folder.
    pub path: String,
    /// What it is.
    pub kind: FileKind,
    /// Rows that hold a shot, sound or broken.
    pub shots: usize,
    /// Rows that are broken.
    pub broken: usize,
    /// Rows that hold a strike mark.
    pub marks: usize,
}

impl DemoFile {
    fn new(path: &str, kind: FileKind) -> DemoFile {
        DemoFile { path: path.to_owned(), kind, shots: 0, broken: 0, marks: 0 }
    }
}

/// The whole demo.
#[derive(Debug, Clone, PartialEq)]
pub struct Demo {
    /// Bytes of every file by its path below the demo folder.
    pub contents: BTreeMap<String, Vec<u8>>,
    /// What the files of the import folders are.
    pub files: Vec<DemoFile>,
    /// Text of the roster.
    pub roster: String,
    /// The sessions with their shots.
    pub recorded: Vec<Recorded>,
}

/// The session whose export was copied by hand: the first of bay 2 in this week.
const WEEK_OF_THE_COPY: u32 = 2;

/// Makes the demo. The same seed and head book give the same bytes.
pub fn generate(seed: u64, heads: &HeadBook) -> Result<Demo, AcademyError> {
    let people = record::equip(seed, heads)?;
    let recorded = record::record(seed, &people)?;
    let mut contents = BTreeMap::new();
    let mut files = Vec::new();
    let mut truth_lines = vec![truth::COLUMNS.to_owned()];
    let mut truth_of_marks = vec![marks::COLUMNS.to_owned()];
    let mut copied = false;

    for session in &recorded {
        let mut export = Export::of(session);
        let plan = &session.session;
        let broken =
            if plan.extra == Extra::BrokenRows { oddities::break_rows(&mut export, plan.bay) } else { Vec::new() };
        truth_lines.extend(truth::rows(session, &export, &broken));
        let bytes = export.bytes()?;
        let kind = if broken.is_empty() { FileKind::Export } else { FileKind::BrokenRows };
        let file = DemoFile { shots: export.shots(), broken: broken.len(), ..DemoFile::new(&export.path, kind) };

        if plan.has_marks() {
            let list = marks::list(seed, session, &export, &broken);
            files.push(DemoFile { marks: list.marks, ..DemoFile::new(&list.path, FileKind::StrikeMarks) });
            contents.insert(list.path, list.text.into_bytes());
            truth_of_marks.extend(list.truth);
        }
        if !copied && plan.bay == Bay::Two && plan.week == WEEK_OF_THE_COPY {
            copied = true;
            let path = oddities::name_of_copy(&export.path);
            files.push(DemoFile { shots: export.shots(), ..DemoFile::new(&path, FileKind::Duplicate) });
            contents.insert(path, bytes.clone());
        }
        files.push(file);
        contents.insert(export.path, bytes);
    }
    contents.insert(oddities::NOTE_PATH.to_owned(), oddities::NOTE.as_bytes().to_vec());
    files.push(DemoFile::new(oddities::NOTE_PATH, FileKind::NoExport));
    files.sort_by(|one, other| one.path.cmp(&other.path));

    truth_lines.push(String::new());
    contents.insert("truth/truth.csv".to_owned(), truth_lines.join("\n").into_bytes());
    truth_of_marks.push(String::new());
    contents.insert("truth/marks.csv".to_owned(), truth_of_marks.join("\n").into_bytes());
    contents.insert("truth/files.csv".to_owned(), list_of_files(&files).into_bytes());
    let readme = readme::text(seed, &files, &recorded);
    contents.insert("README.md".to_owned(), readme.into_bytes());
    Ok(Demo { contents, files, roster: roster::text(&people), recorded })
}

fn list_of_files(files: &[DemoFile]) -> String {
    let mut text = "file,kind,shots,broken,marks\n".to_owned();
    for file in files {
        let _ = writeln!(text, "{},{},{},{},{}", file.path, file.kind.word(), file.shots, file.broken, file.marks);
    }
    text
}

fn with_capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}
