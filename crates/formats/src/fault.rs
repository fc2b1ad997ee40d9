//! Faults of a pack itself, shown with the place in its file.

use std::fmt;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// One fault of a pack: where it stands, what is wrong, what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct PackFault {
    /// The file (or folder) at fault.
    pub path: PathBuf,
    /// Line from 1; 0 where the fault has no line.
    pub line: usize,
    /// Column from 1, counted in characters; 0 where the fault has no line.
    pub column: usize,
    /// The line at fault, without its line end.
    pub snippet: String,
    /// How many characters of the line, from `column` on, are at fault.
    pub width: usize,
    /// What is wrong, in one sentence.
    pub message: String,
    /// What to do about it.
    pub hint: String,
    /// The system did not give the file away just now, which says nothing about the pack. To go on without it would refuse
    /// exports that the pack reads.
    pub is_unreadable: bool,
}

impl PackFault {
    /// A fault of a whole file or folder.
    pub(crate) fn whole(path: &Path, message: impl Into<String>, hint: impl Into<String>) -> PackFault {
        PackFault {
            path: path.to_owned(),
            line: 0,
            column: 0,
            snippet: String::new(),
            width: 0,
            message: message.into(),
            hint: hint.into(),
            is_unreadable: false,
        }
    }

    /// A fault at a byte range of `text`.
    pub(crate) fn at(
        path: &Path,
        text: &str,
        span: Range<usize>,
        message: impl Into<String>,
        hint: impl Into<String>,
    ) -> PackFault {
        let start = floor_boundary(text, span.start);
        let end = floor_boundary(text, span.end).max(start);
        let line_start = text[..start].rfind('\n').map_or(0, |position| position + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |position| start + position);
        let marked = &text[start..end.min(line_end)];
        PackFault {
            path: path.to_owned(),
            line: text[..start].matches('\n').count() + 1,
            column: text[line_start..start].chars().count() + 1,
            snippet: text[line_start..line_end].trim_end().to_owned(),
            width: marked.chars().count().max(1),
            message: message.into(),
            hint: hint.into(),
            is_unreadable: false,
        }
    }
}

fn floor_boundary(text: &str, position: usize) -> usize {
    let mut position = position.min(text.len());
    while !text.is_char_boundary(position) {
        position -= 1;
    }
    position
}

impl fmt::Display for PackFault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(out, "error: {}", self.message)?;
        if self.line == 0 {
            writeln!(out, "  --> {}", self.path.display())?;
        } else {
            let number = self.line.to_string();
            let margin = " ".repeat(number.len());
            writeln!(out, "{margin}--> {}:{}:{}", self.path.display(), self.line, self.column)?;
            writeln!(out, "{margin} |")?;
            writeln!(out, "{number} | {}", self.snippet)?;
            let indent = " ".repeat(self.column.saturating_sub(1));
            writeln!(out, "{margin} | {indent}{}", "^".repeat(self.width))?;
        }
        write!(out, "hint: {}", self.hint)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_place_is_shown_under_the_line() {
        let text = "name = \"a\"\nunit = \"furlong\"\n";
        let fault = PackFault::at(Path::new("p/format.toml"), text, 18..27, "no such unit", "use a UCUM code");
        let expected = "error: no such unit\n --> p/format.toml:2:8\n  |\n2 | unit = \"furlong\"\n  |        ^^^^^^^^^\nhint: use a UCUM code";
        assert_eq!(fault.to_string(), expected);
    }

    #[test]
    fn any_span_is_survived() {
        let fault = PackFault::at(Path::new("x"), "ä\nö", 1..99, "m", "h");
        assert_eq!((fault.line, fault.column), (1, 1));
    }
}
