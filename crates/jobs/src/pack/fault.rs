//! Faults of a job pack, with the place in its file.

use std::fmt;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// One fault of one pack file. A faulty pack is left out; the others load.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackFault {
    /// The file.
    pub path: PathBuf,
    /// Line, from 1; 0 speaks of the whole file.
    pub line: usize,
    /// Column in characters, from 1; 0 with line 0.
    pub column: usize,
    /// The line itself.
    pub snippet: String,
    /// What is wrong.
    pub message: String,
    /// What to do about it.
    pub hint: String,
}

impl PackFault {
    /// A fault at a byte range of a file's text.
    pub(crate) fn at(path: &Path, text: &str, span: Option<Range<usize>>, message: String, hint: &str) -> PackFault {
        let (line, column, snippet) = match span {
            Some(span) => place(text, span.start),
            None => (0, 0, String::new()),
        };
        PackFault { path: path.to_owned(), line, column, snippet, message, hint: hint.to_owned() }
    }

    /// A fault at a line and column the SQL parser told.
    pub(crate) fn at_line(path: &Path, text: &str, at: Option<(u64, u64)>, message: String, hint: String) -> PackFault {
        let (line, column) = at.map_or((0, 0), |(line, column)| (line as usize, column as usize));
        let snippet = if line == 0 { "" } else { text.lines().nth(line - 1).unwrap_or("") };
        PackFault { path: path.to_owned(), line, column, snippet: snippet.to_owned(), message, hint }
    }
}

impl fmt::Display for PackFault {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{}", self.path.display())?;
        if self.line > 0 {
            write!(formatter, ":{}:{}", self.line, self.column)?;
        }
        write!(formatter, ": {}", self.message)?;
        if !self.snippet.is_empty() {
            write!(formatter, "\n    {}", self.snippet)?;
        }
        write!(formatter, "\nhint: {}", self.hint)
    }
}

/// Line and column from 1, and the line's text, of a byte offset.
fn place(text: &str, offset: usize) -> (usize, usize, String) {
    let mut start = offset.min(text.len());
    // A span may end inside a multi-byte letter only through a bug elsewhere; step back rather than panic.
    while !text.is_char_boundary(start) {
        start -= 1;
    }
    let before = &text[..start];
    let line = before.matches('\n').count() + 1;
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    let column = text[line_start..start].chars().count() + 1;
    let snippet = text[line_start..].lines().next().unwrap_or("").trim_end().to_owned();
    (line, column, snippet)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_counts_letters_not_bytes() {
        let text = "a = 1\nß = \"wrong\"\n";
        let offset = text.find("\"wrong").expect("it is there");
        let fault = PackFault::at(Path::new("job.toml"), text, Some(offset..offset + 1), "m".into(), "h");
        assert_eq!((fault.line, fault.column, fault.snippet.as_str()), (2, 5, "ß = \"wrong\""));
        assert_eq!(fault.to_string(), "job.toml:2:5: m\n    ß = \"wrong\"\nhint: h");
    }
}
