//! The engine for delimited text: preamble, header rows, units row, comments, quoting, ragged rows.

use std::borrow::Cow;
use std::collections::HashMap;
use std::ops::ControlFlow;

use crate::context::ParseLimits;
use crate::encoding::{self, Encoding, REPLACEMENT};
use crate::lines::{CellStyle, Cells, Line, Lines};
use crate::preamble::PreambleStyle;
use crate::record::{Engine, GLANCED_BYTES, Glance, Item, Opening, Record, Variant};
use crate::rule::Rule;
use crate::spec::ShortRows;

/// A quoted cell may hold line ends, but one that runs on for longer than this is a quote somebody forgot to close.
const MOST_LINES_OF_A_RECORD: usize = 20;

/// The dialect of one pack.
#[derive(Debug, Clone)]
pub(crate) struct Delimited {
    pub encodings: Vec<Encoding>,
    pub cells: CellStyle,
    pub comment: Option<char>,
    pub preamble: PreambleStyle,
    /// Rows (from 1, counted after the preamble, without blank and comment lines) that form the header.
    pub header_rows: Vec<usize>,
    /// What joins the parts of a header of several rows.
    pub header_join: String,
    /// Whether a blank cell of an upper header row takes the text to its left.
    pub header_fill: bool,
    /// The row of unit words.
    pub units_row: Option<usize>,
    pub short_rows: ShortRows,
}

struct Row<'a> {
    line: i64,
    names: &'a HashMap<String, usize>,
    units: &'a [String],
    cells: Vec<Cow<'a, str>>,
}

/// The rows above the first data row, as they stand; a device that appends its sessions writes them again.
struct Head {
    opening: Opening,
    /// Trimmed cells of each row, from row 1 on.
    rows: Vec<Vec<String>>,
    units: Vec<String>,
}

impl Record for Row<'_> {
    fn line(&self) -> i64 {
        self.line
    }

    fn text(&self, field: &str) -> Option<Cow<'_, str>> {
        let cell = self.cells.get(*self.names.get(field)?)?;
        Some(Cow::Borrowed(cell.as_ref()))
    }

    fn unit_word(&self, field: &str) -> Option<&str> {
        let word = self.units.get(*self.names.get(field)?)?.as_str();
        (!word.is_empty()).then_some(word)
    }
}

/// One step of cutting.
enum Cut<'a> {
    Row(Line, Vec<Cow<'a, str>>),
    /// A record that could not be cut out, and why.
    Broken(Line, Rule, String),
}

/// Cuts records out of a text, skipping blank and comment lines.
struct Cutter<'a> {
    text: &'a str,
    lines: Lines<'a>,
    style: CellStyle,
    comment: Option<char>,
    limits: &'a ParseLimits,
}

impl<'a> Cutter<'a> {
    fn next(&mut self) -> Option<Cut<'a>> {
        loop {
            let line = self.lines.next()?;
            let text = &self.text[line.start..line.end];
            if text.trim().is_empty() || self.comment.is_some_and(|mark| text.starts_with(mark)) {
                continue;
            }
            return Some(self.record(line));
        }
    }

    fn record(&mut self, line: Line) -> Cut<'a> {
        let mut ahead = self.lines.clone();
        let mut end = line.end;
        for _ in 0..MOST_LINES_OF_A_RECORD {
            let record = &self.text[line.start..end];
            if record.len() > self.limits.max_line_bytes {
                break;
            }
            match self.style.split(record, self.limits.max_fields) {
                Cells::Whole(cells) => {
                    self.lines = ahead;
                    return Cut::Row(line, cells);
                }
                Cells::TooMany => {
                    let message = format!("the row has more than {} cells", self.limits.max_fields);
                    return Cut::Broken(line, Rule::TooManyFields, message);
                }
                Cells::Open => {}
            }
            let Some(next) = ahead.next() else { break };
            end = next.end;
        }
        if line.end - line.start > self.limits.max_line_bytes {
            let message = format!("the line is longer than {} bytes", self.limits.max_line_bytes);
            return Cut::Broken(line, Rule::LineTooLong, message);
        }
        // Only this line is lost: reading goes on behind it, not behind everything the open quote swallowed.
        Cut::Broken(
            line,
            Rule::UnclosedQuote,
            "a quote opens in this row and does not close, or the row ends in an escape character".to_owned(),
        )
    }
}

impl Delimited {
    /// Reads preamble, header and units; the cutter then stands before the first data row.
    fn open(&self, cutter: &mut Cutter<'_>) -> Result<Head, (Rule, String)> {
        let mut opening = Opening::default();
        self.read_preamble(cutter, &mut opening)?;
        let mut rows = Vec::new();
        let last = self.header_rows.iter().chain(&self.units_row).copied().max().unwrap_or(1);
        for row in 1..=last {
            let (line, cells) = match cutter.next() {
                Some(Cut::Row(line, cells)) => (line, cells),
                Some(Cut::Broken(line, _, message)) => {
                    return Err((
                        Rule::NoHeader,
                        format!("line {} should be part of the header: {message}", line.number),
                    ));
                }
                None => return Err((Rule::NoHeader, "the file ends before its header".to_owned())),
            };
            if self.header_rows.contains(&row) {
                opening.header_line = line.number;
            }
            rows.push(trimmed(&cells));
        }
        let of_header = (1..).zip(&rows).filter(|(row, _)| self.header_rows.contains(row)).map(|(_, cells)| cells);
        let names = join_header(&of_header.collect::<Vec<_>>(), &self.header_join, self.header_fill);
        opening.header = Some(names);
        let units = self.units_row.and_then(|row| rows.get(row - 1)).cloned().unwrap_or_default();
        Ok(Head { opening, rows, units })
    }

    fn read_preamble(&self, cutter: &mut Cutter<'_>, opening: &mut Opening) -> Result<(), (Rule, String)> {
        if !self.preamble.is_present() {
            return Ok(());
        }
        for count in 1.. {
            let Some(line) = cutter.lines.next() else { break };
            let text = &cutter.text[line.start..line.end];
            if self.preamble.is_end(text) {
                return Ok(());
            }
            if count > cutter.limits.max_fields {
                break;
            }
            opening.preamble.extend(self.preamble.entry(text));
            if count == self.preamble.lines {
                return Ok(());
            }
        }
        let mark = self.preamble.end_mark.as_deref().unwrap_or("its header");
        Err((Rule::NoHeader, format!("the lines above the header do not end in \"{mark}\"")))
    }

    /// The row of the head that these cells repeat. After its first row, a units row may name other units than before.
    fn repeats(&self, rows: &[Vec<String>], expected: Option<usize>, cells: &[Cow<'_, str>]) -> Option<usize> {
        let same = |row: &Vec<String>| {
            row.iter().any(|cell| !cell.is_empty())
                && row.len() == cells.len()
                && row.iter().zip(cells).all(|(known, cell)| known == cell.trim())
        };
        if let Some(row) = expected {
            let units = self.units_row == Some(row) && cells.len() == rows.get(row - 1).map_or(0, Vec::len);
            if units || rows.get(row - 1).is_some_and(same) {
                return Some(row);
            }
        }
        let begins = |row: usize| row == 1 || self.header_rows.first() == Some(&row);
        (1..)
            .zip(rows)
            .find(|(row, cells)| begins(*row) && self.units_row != Some(*row) && same(cells))
            .map(|(row, _)| row)
    }

    fn fault_of_row(&self, cells: &[Cow<'_, str>], width: usize) -> Option<(Rule, String)> {
        if cells.iter().any(|cell| cell.contains([REPLACEMENT, '\0'])) {
            return Some((Rule::BadEncoding, "the row holds bytes that are no text".to_owned()));
        }
        // Empty cells beyond the header come from a trailing delimiter and lose nothing.
        let too_wide = cells.iter().skip(width).any(|cell| !cell.trim().is_empty());
        let too_narrow = cells.len() < width && self.short_rows == ShortRows::Reject;
        if too_narrow || too_wide {
            return Some((Rule::RaggedRow, format!("the row has {} cells, the header has {width}", cells.len())));
        }
        None
    }

    fn cutter<'a>(&self, text: &'a str, limits: &'a ParseLimits) -> Cutter<'a> {
        Cutter { text, lines: Lines::new(text), style: self.cells, comment: self.comment, limits }
    }
}

impl Engine for Delimited {
    fn glance(&self, bytes: &[u8]) -> Glance {
        let head = &bytes[..bytes.len().min(GLANCED_BYTES)];
        let text = match encoding::decode(head, &self.encodings, head.len() == bytes.len()) {
            Ok(text) => text,
            Err(obstacle) => return Glance { obstacle: Some(obstacle), ..Glance::default() },
        };
        let limits = ParseLimits::default();
        let mut glance = Glance { text: text.clone().into_owned(), ..Glance::default() };
        match self.open(&mut self.cutter(&text, &limits)) {
            Ok(head) => {
                glance.fields = head.opening.header.unwrap_or_default();
                glance.preamble_keys = head.opening.preamble.into_iter().map(|(key, _)| key).collect();
            }
            Err((_, message)) => glance.obstacle = Some(message),
        }
        glance
    }

    fn read(&self, bytes: &[u8], limits: &ParseLimits, take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>) {
        let text = match encoding::decode(bytes, &self.encodings, true) {
            Ok(text) => text,
            Err(message) => {
                let _ = take(Item::Problem(Rule::BadEncoding.rejects(0, None, "", message)));
                return;
            }
        };
        let mut cutter = self.cutter(&text, limits);
        let Head { opening, rows, mut units } = match self.open(&mut cutter) {
            Ok(head) => head,
            Err((rule, message)) => {
                let _ = take(Item::Problem(rule.rejects(0, None, "", message)));
                return;
            }
        };
        if take(Item::Opening(&opening)).is_break() {
            return;
        }
        let header = opening.header.as_deref().unwrap_or_default();
        let mut names = HashMap::with_capacity(header.len());
        for (position, name) in header.iter().enumerate() {
            names.entry(name.clone()).or_insert(position);
        }
        // The row of a repeated head that comes next, where one has begun.
        let mut repeated: Option<usize> = None;
        while let Some(cut) = cutter.next() {
            let flow = match cut {
                Cut::Broken(line, rule, message) => {
                    take(Item::Problem(rule.rejects(line.number, None, &text[line.start..line.end], message)))
                }
                Cut::Row(line, cells) => {
                    if let Some(row) = self.repeats(&rows, repeated, &cells) {
                        if self.units_row == Some(row) {
                            units = trimmed(&cells);
                        }
                        repeated = Some(row + 1).filter(|next| *next <= rows.len());
                        continue;
                    }
                    repeated = None;
                    if let Some((rule, message)) = self.fault_of_row(&cells, header.len()) {
                        take(Item::Problem(rule.rejects(line.number, None, &text[line.start..line.end], message)))
                    } else {
                        take(Item::Record(&Row { line: line.number, names: &names, units: &units, cells }))
                    }
                }
            };
            if flow.is_break() {
                return;
            }
        }
    }

    fn complete(&self, tail: &[u8]) -> bool {
        encoding::ends_with_newline(tail, &self.encodings)
    }

    fn variants(&self, bytes: &[u8]) -> Vec<Variant> {
        crate::delimited_variants::variants(self, bytes)
    }
}

fn trimmed(cells: &[Cow<'_, str>]) -> Vec<String> {
    cells.iter().map(|cell| cell.trim().to_owned()).collect()
}

/// The names of the columns from the rows of a header. A column whose lower cells are all blank is not filled: it is what a
/// delimiter at the end of the row leaves.
fn join_header(rows: &[&Vec<String>], join: &str, fill: bool) -> Vec<String> {
    let width = rows.iter().map(|row| row.len()).max().unwrap_or(0);
    let mut names = vec![String::new(); width];
    for (order, row) in rows.iter().enumerate() {
        let mut left = "";
        for (column, name) in names.iter_mut().enumerate() {
            let mut cell = row.get(column).map_or("", String::as_str);
            let named_below =
                rows[order + 1..].iter().any(|lower| lower.get(column).is_some_and(|text| !text.is_empty()));
            if cell.is_empty() && fill && named_below {
                cell = left;
            }
            left = cell;
            if !name.is_empty() && !cell.is_empty() {
                name.push_str(join);
            }
            name.push_str(cell);
        }
    }
    while names.last().is_some_and(String::is_empty) {
        names.pop();
    }
    names
}
