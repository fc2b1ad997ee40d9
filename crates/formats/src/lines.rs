//! Physical lines of a text, and the cells of a line.

use std::borrow::Cow;

/// One physical line: its number from 1 and its place in the text, without the line end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Line {
    pub number: i64,
    pub start: usize,
    pub end: usize,
}

/// The lines of a text that may mix `\n`, `\r\n` and a lone `\r`; each of the three ends a line.
#[derive(Debug, Clone)]
pub(crate) struct Lines<'a> {
    text: &'a str,
    position: usize,
    number: i64,
}

impl<'a> Lines<'a> {
    pub fn new(text: &'a str) -> Lines<'a> {
        Lines { text, position: 0, number: 0 }
    }
}

impl Iterator for Lines<'_> {
    type Item = Line;

    fn next(&mut self) -> Option<Line> {
        let rest = self.text.as_bytes().get(self.position..)?;
        if rest.is_empty() {
            return None;
        }
        let start = self.position;
        self.number += 1;
        let length = rest.iter().position(|byte| matches!(byte, b'\n' | b'\r')).unwrap_or(rest.len());
        let line_end = match &rest[length..] {
            [b'\r', b'\n', ..] => 2,
            [] => 0,
            _ => 1,
        };
        self.position = start + length + line_end;
        Some(Line { number: self.number, start, end: start + length })
    }
}

/// How cells are told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct CellStyle {
    pub delimiter: char,
    pub quote: Option<char>,
    pub double_quote: bool,
    /// A character that takes the one behind it literally, inside and outside quotes.
    pub escape: Option<char>,
    /// Blanks at the start of a cell are dropped before a quote is looked for.
    pub skip_initial_space: bool,
}

/// The outcome of cutting a record into cells.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Cells<'a> {
    Whole(Vec<Cow<'a, str>>),
    /// A quote is still open at the end of the text, or an escape character stands there with nothing behind it.
    Open,
    TooMany,
}

impl CellStyle {
    /// Cuts a record into cells. A quote opens only at the start of a cell; text between a closing quote and the next delimiter is
    /// kept, since devices that forget to double a quote are common and the cell is still readable.
    pub fn split(self, record: &str, most: usize) -> Cells<'_> {
        let mut cells = Vec::new();
        let mut rest = record;
        loop {
            if cells.len() >= most {
                return Cells::TooMany;
            }
            if self.skip_initial_space {
                rest = rest.trim_start_matches(' ');
            }
            let opened = self.quote.filter(|quote| rest.starts_with(*quote));
            let Some((cell, after)) = (match opened {
                Some(quote) => self.quoted(&rest[quote.len_utf8()..], quote),
                None => self.bare(rest),
            }) else {
                return Cells::Open;
            };
            cells.push(cell);
            match after {
                Some(after) => rest = after,
                None => return Cells::Whole(cells),
            }
        }
    }

    fn bare(self, rest: &str) -> Option<(Cow<'_, str>, Option<&str>)> {
        let Some(escape) = self.escape else {
            return Some(match rest.split_once(self.delimiter) {
                Some((cell, after)) => (Cow::Borrowed(cell), Some(after)),
                None => (Cow::Borrowed(rest), None),
            });
        };
        let mut text = String::new();
        let mut chars = rest.char_indices();
        while let Some((position, c)) = chars.next() {
            if c == escape {
                text.push(chars.next()?.1);
            } else if c == self.delimiter {
                return Some((Cow::Owned(text), Some(&rest[position + c.len_utf8()..])));
            } else {
                text.push(c);
            }
        }
        Some((Cow::Owned(text), None))
    }

    fn quoted(self, inside: &str, quote: char) -> Option<(Cow<'_, str>, Option<&str>)> {
        let telling = |c: char| c == quote || Some(c) == self.escape;
        let mut text = String::new();
        let mut rest = inside;
        loop {
            let position = rest.find(telling)?;
            text.push_str(&rest[..position]);
            let mut after = rest[position..].chars();
            let found = after.next()?;
            if found != quote {
                text.push(after.next()?);
                rest = after.as_str();
                continue;
            }
            if self.double_quote
                && let Some(beyond) = after.as_str().strip_prefix(quote)
            {
                text.push(quote);
                rest = beyond;
                continue;
            }
            let (trailing, next) = self.bare(after.as_str())?;
            text.push_str(&trailing);
            return Some((Cow::Owned(text), next));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STYLE: CellStyle =
        CellStyle { delimiter: ',', quote: Some('"'), double_quote: true, escape: None, skip_initial_space: false };

    fn cells(record: &str) -> Vec<String> {
        cells_in(STYLE, record)
    }

    fn cells_in(style: CellStyle, record: &str) -> Vec<String> {
        match style.split(record, 100) {
            Cells::Whole(cells) => cells.into_iter().map(Cow::into_owned).collect(),
            other => panic!("{record}: {other:?}"),
        }
    }

    #[test]
    fn every_line_end_counts_once() {
        let text = "a\nb\r\nc\rd\n\re";
        let found: Vec<(i64, &str)> = Lines::new(text).map(|line| (line.number, &text[line.start..line.end])).collect();
        assert_eq!(found, [(1, "a"), (2, "b"), (3, "c"), (4, "d"), (5, ""), (6, "e")]);
        assert_eq!(Lines::new("a\n").count(), 1);
        assert_eq!(Lines::new("").count(), 0);
    }

    #[test]
    fn quotes_follow_rfc_4180() {
        // [source: RFC 4180, section 2, rules 5 to 7]
        assert_eq!(cells("a,b,"), ["a", "b", ""]);
        assert_eq!(cells("\"a,b\",\"c\"\"d\",\"e\nf\""), ["a,b", "c\"d", "e\nf"]);
        assert_eq!(cells("\"a\"x,b"), ["ax", "b"]);
        assert_eq!(cells("a\"b,c"), ["a\"b", "c"]);
        assert_eq!(cells(""), [""]);
        assert_eq!(STYLE.split("a,\"b", 9), Cells::Open);
        assert_eq!(STYLE.split("a,b,c", 2), Cells::TooMany);
    }

    #[test]
    fn escapes_take_the_next_character_literally() {
        // [source: Frictionless Table Dialect, `escapeChar`, `doubleQuote`, `skipInitialSpace`; worked by hand]
        let escaped = CellStyle { double_quote: false, escape: Some('\\'), ..STYLE };
        assert_eq!(cells_in(escaped, r#"a\,b,"c\"d",e\\"#), ["a,b", "c\"d", "e\\"]);
        assert_eq!(cells_in(escaped, r#"\"a,b\""#), ["\"a", "b\""]);
        let both = CellStyle { double_quote: true, ..escaped };
        assert_eq!(cells_in(both, r#""a""b\"c",d"#), ["a\"b\"c", "d"]);
        for open in [r#"a,"b\""#, "a,b\\", "\"a\\"] {
            assert_eq!(both.split(open, 9), Cells::Open, "{open}");
        }
        assert_eq!(cells("a, \"b,c\""), ["a", " \"b", "c\""]);
        let skipping = CellStyle { skip_initial_space: true, ..STYLE };
        assert_eq!(cells_in(skipping, "a, \"b,c\",  d "), ["a", "b,c", "d "]);
    }
}
