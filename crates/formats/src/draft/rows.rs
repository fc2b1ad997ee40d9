//! The dialect of delimited text: delimiter, quotes, comments, lines above the header, header rows.

use super::header::{GridRow, find_header};
use crate::lines::{CellStyle, Cells, Lines};

/// Lines of a sample that are looked at.
const LOOKED_AT: usize = 400;
/// Cells of a row beyond which a delimiter is no delimiter.
const MOST_CELLS: usize = 1000;
/// Lines that a quoted cell may run over.
const MOST_LINES_OF_A_ROW: usize = 20;

/// The dialect that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct RowDialect {
    pub delimiter: char,
    pub quote: char,
    pub escape: Option<char>,
    pub skip_initial_space: bool,
    pub comment: Option<char>,
    pub preamble: Option<Preamble>,
    /// Rows of the header from 1, behind the preamble.
    pub header_rows: Vec<usize>,
    pub merged: bool,
    pub units_row: Option<usize>,
    /// Rows with fewer cells than the header, of all rows looked at.
    pub short_rows: usize,
    pub rows: usize,
}

/// Lines above the header.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Preamble {
    pub end: PreambleEnd,
    pub separator: String,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum PreambleEnd {
    Mark(String),
    Lines(usize),
}

/// The dialect of a text, or why it is no table.
pub(super) fn row_dialect(text: &str) -> Result<RowDialect, String> {
    let lines: Vec<&str> = Lines::new(text).take(LOOKED_AT).map(|line| &text[line.start..line.end]).collect();
    let delimiter = delimiter_of(&lines).ok_or("no character parts its lines into columns")?;
    let quote = quote_of(&lines, delimiter);
    let style = CellStyle { quote: Some(quote), ..plain_style(delimiter) };
    let all = cut(&lines, style);
    let comment = comment_of(&all);
    let is_comment =
        |row: &GridRow| comment.is_some_and(|mark| lines.get(row.line - 1).is_some_and(|line| line.starts_with(mark)));
    let rows: Vec<GridRow> = all.iter().filter(|row| !is_comment(row)).cloned().collect();
    let guess = find_header(&rows).ok_or("no row of names stands above its data")?;
    let header_line = rows[guess.header[0]].line;
    let preamble = preamble_of(&lines, header_line, comment, delimiter);
    let data = &rows[guess.header.last().map_or(0, |last| last + 1 + usize::from(guess.units.is_some()))..];
    Ok(RowDialect {
        delimiter,
        quote,
        escape: text.contains("\\\"").then_some('\\').filter(|_| quote == '"' && !text.contains("\"\"")),
        skip_initial_space: text.contains(&format!("{delimiter} {quote}")),
        comment,
        preamble,
        header_rows: guess.header_rows(),
        merged: guess.merged,
        units_row: guess.units_row(),
        short_rows: data.iter().filter(|row| row.cells.len() < guess.width).count(),
        rows: data.len(),
    })
}

fn plain_style(delimiter: char) -> CellStyle {
    CellStyle { delimiter, quote: Some('"'), double_quote: true, escape: None, skip_initial_space: true }
}

/// Cuts lines into rows; a quoted cell may run over several lines. Blank lines are no rows.
fn cut(lines: &[&str], style: CellStyle) -> Vec<GridRow> {
    let mut rows = Vec::new();
    let mut place = 0;
    while place < lines.len() {
        let mut record = lines[place].to_owned();
        let mut used = 1;
        let mut cells = style.split(&record, MOST_CELLS);
        while matches!(cells, Cells::Open) && used < MOST_LINES_OF_A_ROW && place + used < lines.len() {
            record.push('\n');
            record.push_str(lines[place + used]);
            used += 1;
            cells = style.split(&record, MOST_CELLS);
        }
        let row = if let Cells::Whole(cells) = cells {
            cells.iter().map(|cell| cell.trim().to_owned()).collect()
        } else {
            used = 1;
            lines[place].split(style.delimiter).take(MOST_CELLS).map(|cell| cell.trim().to_owned()).collect()
        };
        if !lines[place].trim().is_empty() {
            rows.push(GridRow { line: place + 1, cells: row });
        }
        place += used;
    }
    rows
}

/// The delimiter whose counts agree best from line to line. A comma must be clearly better than the others, since it also stands
/// inside numbers.
fn delimiter_of(lines: &[&str]) -> Option<char> {
    let mut best: Option<(f64, char)> = None;
    for (delimiter, weight) in [('\t', 1.3), (';', 1.3), ('|', 1.2), (',', 1.0)] {
        let widths: Vec<usize> = cut(lines, plain_style(delimiter)).iter().map(|row| row.cells.len()).collect();
        let usual = widths.iter().filter(|width| **width > 1).fold((0, 0), |(width, count), candidate| {
            let agreeing = widths.iter().filter(|other| *other == candidate).count();
            if agreeing > count { (*candidate, agreeing) } else { (width, count) }
        });
        let (width, count) = usual;
        if width < 2 {
            continue;
        }
        let agreement = count as f64 / widths.len() as f64;
        let score = weight * agreement * (1.0 + (width.min(8) as f64) / 8.0);
        if best.is_none_or(|(known, _)| score > known) {
            best = Some((score, delimiter));
        }
    }
    best.map(|(_, delimiter)| delimiter)
}

fn quote_of(lines: &[&str], delimiter: char) -> char {
    let quoted = |quote: char| {
        let cells = lines.iter().flat_map(|line| line.split(delimiter)).map(str::trim);
        cells.filter(|cell| cell.len() >= 2 && cell.starts_with(quote) && cell.ends_with(quote)).count()
    };
    // The double quote is the rule, so that a later cell with a delimiter in it is read too.
    if quoted('\'') > 2 && quoted('"') == 0 { '\'' } else { '"' }
}

/// A character that begins lines which are no rows.
fn comment_of(rows: &[GridRow]) -> Option<char> {
    let usual = rows.iter().map(|row| row.cells.len()).max().unwrap_or_default();
    ['#', '%', '!'].into_iter().find(|mark| {
        let marked: Vec<&GridRow> =
            rows.iter().filter(|row| row.cells.first().is_some_and(|cell| cell.starts_with(*mark))).collect();
        !marked.is_empty() && marked.iter().all(|row| row.cells.len() < usual)
    })
}

fn preamble_of(lines: &[&str], header_line: usize, comment: Option<char>, delimiter: char) -> Option<Preamble> {
    let above = &lines[..header_line.saturating_sub(1).min(lines.len())];
    let says = |line: &str| !line.trim().is_empty() && !comment.is_some_and(|mark| line.starts_with(mark));
    let last = above.iter().rposition(|line| says(line))?;
    let separator = [":", "=", "\t"]
        .into_iter()
        .map(str::to_owned)
        .chain([delimiter.to_string()])
        .max_by_key(|separator| {
            // Of equals the last wins, so the common ones are counted a little more.
            let count = above.iter().filter(|line| line.contains(separator.as_str())).count();
            count * 2 + usize::from(separator == ":")
        })
        .unwrap_or_else(|| ":".to_owned());
    let mark = above[last].trim();
    let is_mark = !mark.chars().any(char::is_alphanumeric) || (mark.starts_with('[') && mark.ends_with(']'));
    let is_first = above.iter().position(|line| line.trim() == mark) == Some(last);
    let end = if is_mark && is_first { PreambleEnd::Mark(mark.to_owned()) } else { PreambleEnd::Lines(last + 1) };
    Some(Preamble { end, separator })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimal_commas_do_not_hide_the_semicolons() {
        let found = row_dialect("Nr;Tempo;Drall\n1;62,1;2.700,5\n2;60,4;2.810,0\n").expect("a table");
        assert_eq!((found.delimiter, found.header_rows, found.units_row), (';', vec![1], None));
    }

    #[test]
    fn lines_above_the_header_are_kept_apart() {
        let found =
            row_dialect("Bay: 2\nDate: 2026-04-12\n---\nNo,Speed,Club\n1,62.1,Driver\n2,60,Driver\n").expect("a table");
        let preamble = found.preamble.expect("lines above");
        assert_eq!(preamble, Preamble { end: PreambleEnd::Mark("---".into()), separator: ":".into() });
        let found = row_dialect("# made today\nBay = 2\n\nNo\tSpeed\tSpin\n-\tm/s\trpm\n1\t62.1\t2700\n# pause\n")
            .expect("a table");
        assert_eq!(found.preamble, Some(Preamble { end: PreambleEnd::Lines(2), separator: "=".into() }));
        assert_eq!((found.comment, found.delimiter, found.units_row), (Some('#'), '\t', Some(2)));
    }

    #[test]
    fn quotes_and_short_rows_are_counted() {
        let found =
            row_dialect("No,Name,Speed\n1,\"Wren, the elder\",62\n2,\"two\nlines\",60\n3,x\n").expect("a table");
        assert_eq!((found.quote, found.short_rows, found.rows), ('"', 1, 3));
    }

    #[test]
    fn texts_that_are_no_tables_are_said_so() {
        for text in ["hello\nworld\n", "1,2,3\n4,5,6\n", "a,b\nc,d\n", "x"] {
            assert!(row_dialect(text).is_err(), "{text}");
        }
    }
}
