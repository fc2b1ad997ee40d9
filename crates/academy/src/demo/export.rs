//! An export on its way from shots to bytes.

use super::range_book::Book;
use super::record::{DemoShot, Recorded};
use super::tee_columns::Columns;
use super::timetable::Bay;
use super::{ball_journal, hall_metric, plain_imperial, range_book, session_tree, strike_lines, tee_columns};
use crate::AcademyError;

/// How a device encodes text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8 without a mark.
    Utf8,
    /// UTF-16, low byte first, with a byte order mark.
    Utf16LittleEndian,
}

/// An export of which the shots can still be broken.
#[derive(Debug, Clone, PartialEq)]
pub struct Export {
    /// Path below the demo folder.
    pub path: String,
    /// What it holds.
    pub content: Content,
}

/// What an export holds, by kind of file.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// Text, a shot on a line of its own.
    Lines(Lines),
    /// A workbook.
    Book(Book),
    /// A column file.
    Columns(Columns),
}

impl Export {
    /// Writes a session the way its bay's device does.
    pub fn of(recorded: &Recorded) -> Export {
        match recorded.session.bay {
            Bay::One => hall_metric::export(recorded),
            Bay::Two => plain_imperial::export(recorded),
            Bay::Three => strike_lines::export(recorded),
            Bay::Four => session_tree::export(recorded),
            Bay::Five => range_book::export(recorded),
            Bay::Six => ball_journal::export(recorded),
            Bay::TeeOne => tee_columns::export(recorded),
        }
    }

    /// An export of text.
    pub fn of_lines(recorded: &Recorded, lines: Lines) -> Export {
        Export { path: recorded.session.path(), content: Content::Lines(lines) }
    }

    /// How many shots it holds, sound or broken.
    pub fn shots(&self) -> usize {
        match &self.content {
            Content::Lines(lines) => lines.shots.len(),
            Content::Book(book) => book.rows.len(),
            Content::Columns(columns) => columns.rows.len(),
        }
    }

    /// The row of a shot in the file, from 1: its line, its row in the sheet, or its number.
    pub fn row_of(&self, shot: usize) -> usize {
        match &self.content {
            Content::Lines(lines) => lines.shots[shot] + 1,
            Content::Book(_) => range_book::FIRST_ROW + shot,
            Content::Columns(_) => shot + 1,
        }
    }

    /// The file's bytes.
    pub fn bytes(&self) -> Result<Vec<u8>, AcademyError> {
        let unwritable = |message: String| AcademyError::Unwritable { path: self.path.clone(), message };
        match &self.content {
            Content::Lines(lines) => Ok(lines.bytes()),
            Content::Book(book) => book.bytes().map_err(|error| unwritable(error.to_string())),
            Content::Columns(columns) => columns.bytes().map_err(|error| unwritable(error.to_string())),
        }
    }
}

/// Lines of text, some of which hold a shot.
#[derive(Debug, Clone, PartialEq)]
pub struct Lines {
    /// Every line without its end.
    pub lines: Vec<String>,
    /// Positions of the lines that hold a shot, in the order of the shots.
    pub shots: Vec<usize>,
    line_end: &'static str,
    encoding: Encoding,
}

impl Lines {
    /// No line yet.
    pub fn new(line_end: &'static str, encoding: Encoding) -> Lines {
        Lines { lines: Vec::new(), shots: Vec::new(), line_end, encoding }
    }

    /// Adds a line that holds no shot.
    pub fn push(&mut self, line: impl Into<String>) {
        self.lines.push(line.into());
    }

    /// Adds lines that hold no shot.
    pub fn extend(&mut self, lines: impl IntoIterator<Item = String>) {
        self.lines.extend(lines);
    }

    /// Adds the line of the next shot.
    pub fn push_shot(&mut self, line: String) {
        self.shots.push(self.lines.len());
        self.lines.push(line);
    }

    /// The line of a shot, to be broken.
    pub fn shot_mut(&mut self, shot: usize) -> Option<&mut String> {
        self.lines.get_mut(*self.shots.get(shot)?)
    }

    fn bytes(&self) -> Vec<u8> {
        let mut text = String::new();
        for line in &self.lines {
            text.push_str(line);
            text.push_str(self.line_end);
        }
        match self.encoding {
            Encoding::Utf8 => text.into_bytes(),
            Encoding::Utf16LittleEndian => {
                let mut bytes = vec![0xff, 0xfe];
                for unit in text.encode_utf16() {
                    bytes.extend(unit.to_le_bytes());
                }
                bytes
            }
        }
    }
}

/// The shots of a session in runs of one player, club and purpose, as some devices group them.
pub fn runs(shots: &[DemoShot]) -> impl Iterator<Item = &[DemoShot]> {
    shots.chunk_by(|one, next| (one.logged_as, one.club_id, one.intent) == (next.logged_as, next.club_id, next.intent))
}

/// A number with a fixed count of decimals, never `-0`.
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let is_zero = text.trim_start_matches('-').chars().all(|letter| letter == '0' || letter == '.');
    if is_zero { text.trim_start_matches('-').to_owned() } else { text }
}

/// The number that [`fixed`] prints.
pub fn rounded(value: f64, decimals: usize) -> f64 {
    // What `fixed` prints of a finite number is a number.
    fixed(value, decimals).parse().unwrap_or(value)
}
