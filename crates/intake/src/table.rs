//! What the tables that people keep as text (roster, corrections) have in common: reading, headers, faults with their place.

use std::fmt;
use std::path::{Path, PathBuf};

use csv::StringRecord;

/// One fault of a table: where it stands, what is wrong, what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct TableFault {
    /// The file.
    pub path: PathBuf,
    /// Line from 1; 0 where the fault concerns the whole file.
    pub line: u64,
    /// Name of the column; empty where the fault concerns a whole line or file.
    pub column: String,
    /// The offending text.
    pub snippet: String,
    /// What is wrong, in one sentence.
    pub message: String,
    /// What to do about it.
    pub hint: String,
}

impl TableFault {
    pub(crate) fn whole(path: &Path, message: String, hint: String) -> TableFault {
        TableFault { path: path.to_owned(), line: 0, column: String::new(), snippet: String::new(), message, hint }
    }
}

impl fmt::Display for TableFault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(out, "error: {}", self.message)?;
        write!(out, "  --> {}", self.path.display())?;
        if self.line > 0 {
            write!(out, ":{}", self.line)?;
        }
        if !self.column.is_empty() {
            write!(out, ", column {}", self.column)?;
        }
        writeln!(out)?;
        if !self.snippet.is_empty() {
            writeln!(out, "   | {}", self.snippet)?;
        }
        write!(out, "hint: {}", self.hint)
    }
}

const SEPARATED_HINT: &str = "save the file as CSV separated by commas, text in UTF-8 (\"CSV UTF-8\")";

/// The text of a table, or the fault of a file that is no UTF-8.
pub(crate) fn text_of_table(path: &Path, bytes: Vec<u8>) -> Result<String, Box<TableFault>> {
    String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let line = error.as_bytes()[..good].split(|byte| *byte == b'\n').count();
        let message =
            format!("line {line} is not UTF-8 text; it looks like Latin-1 (Windows-1252) or another encoding");
        Box::new(TableFault::whole(path, message, "save the file as CSV UTF-8".into()))
    })
}

/// A table whose header is as it must be.
pub(crate) struct Table {
    path: PathBuf,
    header: StringRecord,
    /// Line and cells of each row that is CSV and not empty.
    rows: Vec<(u64, StringRecord)>,
}

impl Table {
    /// Reads a table. `what` names it in faults. Rows that are no CSV are told in `faults` and left out; without a sound
    /// header there is no table.
    pub(crate) fn read(
        path: &Path,
        text: &str,
        what: &str,
        columns: &[&str],
        faults: &mut Vec<TableFault>,
    ) -> Option<Table> {
        // Spreadsheet programs begin UTF-8 files with a mark that is no part of the first column's name.
        let mut text = text.strip_prefix('\u{feff}').unwrap_or(text).to_owned();
        // So that each record ends in one, from which its line is counted.
        text.push('\n');
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .trim(csv::Trim::All)
            .flexible(true)
            .from_reader(text.as_bytes());
        let header = match reader.headers() {
            Ok(header) => header.clone(),
            Err(error) => {
                faults.push(TableFault::whole(path, format!("{what} is no CSV: {error}"), SEPARATED_HINT.into()));
                return None;
            }
        };
        let line = line_of(&reader, &header);
        let found = header_faults(path, line, &header, what, columns);
        if !found.is_empty() {
            faults.extend(found);
            return None;
        }
        let mut rows = Vec::new();
        let mut record = StringRecord::new();
        loop {
            match reader.read_record(&mut record) {
                Ok(false) => break,
                // A spreadsheet program leaves lines of commas alone behind.
                Ok(true) if record.iter().all(str::is_empty) => {}
                Ok(true) => rows.push((line_of(&reader, &record), record.clone())),
                Err(error) => {
                    let message = format!("a line is no CSV: {error}");
                    faults.push(TableFault::whole(path, message, SEPARATED_HINT.into()));
                }
            }
        }
        Some(Table { path: path.to_owned(), header, rows })
    }

    pub(crate) fn rows(&self) -> impl Iterator<Item = TableRow<'_>> {
        self.rows.iter().map(|(line, record)| TableRow { path: &self.path, header: &self.header, record, line: *line })
    }
}

/// The line on which the record just read begins. The record's own position would be that of comments before it.
fn line_of(reader: &csv::Reader<&[u8]>, record: &StringRecord) -> u64 {
    let line_ends: usize = record.iter().map(|cell| cell.matches('\n').count()).sum();
    reader.position().line().saturating_sub(1 + line_ends as u64).max(1)
}

fn header_faults(path: &Path, line: u64, header: &StringRecord, what: &str, columns: &[&str]) -> Vec<TableFault> {
    let mut faults = Vec::new();
    let mut fault = |column: &str, message: String, hint: String| {
        let snippet = shot::Problem::cut(&header.iter().collect::<Vec<_>>().join(","));
        faults.push(TableFault { path: path.to_owned(), line, column: column.into(), snippet, message, hint });
    };
    let all = format!("columns: {}", columns.join(","));
    if header.len() == 1 && header.get(0).is_some_and(|only| only.contains(';')) {
        fault("", "the columns are separated by semicolons".into(), SEPARATED_HINT.into());
        return faults;
    }
    if !header.iter().any(|name| columns.contains(&name)) {
        // One fault: every column that is missing and every cell that is no column would tell the same thing.
        let message = format!("{what} does not begin with a line that names its columns");
        fault("", message, format!("put this line first: {}", columns.join(",")));
        return faults;
    }
    for name in columns {
        match header.iter().filter(|column| column == name).count() {
            1 => {}
            0 => fault(name, format!("the column \"{name}\" is missing"), all.clone()),
            _ => fault(name, format!("the column \"{name}\" stands twice"), "remove one of them".into()),
        }
    }
    for name in header.iter().filter(|name| !columns.contains(name)) {
        fault(name, format!("the column \"{name}\" is unknown"), all.clone());
    }
    faults
}

/// One line of a table.
#[derive(Clone, Copy)]
pub(crate) struct TableRow<'a> {
    path: &'a Path,
    header: &'a StringRecord,
    record: &'a StringRecord,
    pub(crate) line: u64,
}

impl<'a> TableRow<'a> {
    /// A cell; empty where it is.
    pub(crate) fn cell(&self, column: &str) -> &'a str {
        let position = self.header.iter().position(|name| name == column);
        position.and_then(|position| self.record.get(position)).unwrap_or("")
    }

    /// The line as it stands, without blanks around its cells.
    pub(crate) fn text(&self) -> String {
        self.record.iter().collect::<Vec<_>>().join(",")
    }

    pub(crate) fn fault(&self, column: &str, snippet: &str, message: String, hint: &str) -> TableFault {
        TableFault {
            path: self.path.to_owned(),
            line: self.line,
            column: column.to_owned(),
            snippet: shot::Problem::cut(snippet),
            message,
            hint: hint.to_owned(),
        }
    }

    /// The fault of a line that has more or fewer cells than the header.
    pub(crate) fn ragged(&self) -> Option<TableFault> {
        if self.record.len() == self.header.len() {
            return None;
        }
        let message = format!("the line has {} cells, the header has {}", self.record.len(), self.header.len());
        Some(self.fault("", &self.text(), message, "put text that holds a comma between double quotes"))
    }
}

/// A word that may stand in file names and queries: `[a-z0-9][a-z0-9-]*`.
pub(crate) fn is_word(text: &str) -> bool {
    let plain = |letter: char| letter.is_ascii_lowercase() || letter.is_ascii_digit();
    text.starts_with(plain) && text.chars().all(|letter| plain(letter) || letter == '-')
}
