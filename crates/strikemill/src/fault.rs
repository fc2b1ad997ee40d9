//! One fault of a text file that a person wrote, shown with its place, the line itself and what to do.

use std::fmt;
use std::path::{Path, PathBuf};

/// What is wrong, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    pub path: PathBuf,
    /// From 1; 0 speaks of the whole file.
    pub line: usize,
    /// From 1, in characters.
    pub column: usize,
    pub snippet: String,
    pub message: String,
    pub hint: String,
}

impl Fault {
    /// A fault of a whole file.
    pub fn of_file(path: &Path, message: String, hint: &str) -> Fault {
        Fault { path: path.into(), line: 0, column: 0, snippet: String::new(), message, hint: hint.into() }
    }

    /// A fault at a byte offset of `text`.
    pub fn at(path: &Path, text: &str, offset: usize, message: String, hint: &str) -> Fault {
        let offset = (0..=offset.min(text.len())).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
        let before = &text[..offset];
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        let line_end = text[offset..].find('\n').map_or(text.len(), |at| offset + at);
        Fault {
            path: path.into(),
            line: before.matches('\n').count() + 1,
            column: text[line_start..offset].chars().count() + 1,
            snippet: text[line_start..line_end].trim_end().to_owned(),
            message,
            hint: hint.into(),
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(formatter, "error: {}", self.message)?;
        if self.line == 0 {
            writeln!(formatter, "  --> {}", self.path.display())?;
        } else {
            writeln!(formatter, "  --> {}:{}:{}", self.path.display(), self.line, self.column)?;
            let number = self.line.to_string();
            let margin = " ".repeat(number.len());
            writeln!(formatter, " {margin} |")?;
            writeln!(formatter, " {number} | {}", self.snippet)?;
            writeln!(formatter, " {margin} | {}^", " ".repeat(self.column.saturating_sub(1)))?;
        }
        if !self.hint.is_empty() {
            writeln!(formatter, "hint: {}", self.hint)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_offset_becomes_line_and_column() {
        let fault = Fault::at(Path::new("a.toml"), "one\nzwölf = 3\n", 10, "no".into(), "do");
        assert_eq!((fault.line, fault.column, fault.snippet.as_str()), (2, 6, "zwölf = 3"));
        let shown = fault.to_string();
        assert!(shown.contains("a.toml:2:6") && shown.ends_with("hint: do\n"), "{shown}");
    }

    #[test]
    fn an_offset_beyond_the_end_or_inside_a_letter_is_no_panic() {
        assert_eq!(Fault::at(Path::new("a"), "ö", 1, String::new(), "").column, 1);
        assert_eq!(Fault::at(Path::new("a"), "x", 99, String::new(), "").column, 2);
    }
}
