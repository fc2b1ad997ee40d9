//! The engine for delimited text: preamble, header rows, units row, comments, quoting, ragged rows.

use std::borrow::Cow;
use std::collections::HashMap;
use std::ops::ControlFlow;

use crate::context::ParseLimits;
use crate::encoding::{self, Encoding, REPLACEMENT};
use crate::lines::{CellStyle, Cells, Line, Lines};
use crate::preamble::PreambleStyle;
use crate::record::{Engine, GLANCED_BYTES, Glance, Item, Opening, Record};
use crate::rule::Rule;

/// A quoted cell may hold line ends, but one that runs on for longer than this is a quote somebody forgot to close.
const MOST_LINES_OF_A_RECORD: usize = 20;

/// The dialect of one pack.
#[derive(Debug)]
pub(crate) struct Delimited {
    pub encodings: Vec<Encoding>,
    pub cells: CellStyle,
    pub comment: Option<char>,
    pub preamble: PreambleStyle,
    /// Rows (from 1, counted after the preamble, without blank and comment lines) that form the header.
    pub header_rows: Vec<usize>,
    /// What joins the parts of a header of several rows.
    pub header_join: String,
    /// The row of unit words.
    pub units_row: Option<usize>,
}

struct Row<'a> {
    line: i64,
    names: &'a HashMap<String, usize>,
    units: &'a [String],
    cells: Vec<Cow<'a, str>>,
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
                Cells::OpenQuote => {}
            }
            let Some(next) = ahead.next() else { break };
            end = next.end;
        }
        if line.end - line.start > self.limits.max_line_bytes {
            let message = format!("the line is longer than {} bytes", self.limits.max_line_bytes);
            return Cut::Broken(line, Rule::LineTooLong, message);
        }
        // Only this line is lost: reading goes on behind it, not behind everything the open quote swallowed.
        Cut::Broken(line, Rule::UnclosedQuote, "a quote opens in this row and does not close".to_owned())
    }
}

impl Delimited {
    /// Reads preamble, header and units; the cutter then stands before the first data row.
    fn open(&self, cutter: &mut Cutter<'_>) -> Result<(Opening, Vec<String>), (Rule, String)> {
        let mut opening = Opening::default();
        self.read_preamble(cutter, &mut opening)?;
        let mut names: Vec<String> = Vec::new();
        let mut units = Vec::new();
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
                names.resize(names.len().max(cells.len()), String::new());
                for (name, cell) in names.iter_mut().zip(&cells) {
                    if !name.is_empty() && !cell.trim().is_empty() {
                        name.push_str(&self.header_join);
                    }
                    name.push_str(cell.trim());
                }
            } else if self.units_row == Some(row) {
                units = cells.iter().map(|cell| cell.trim().to_owned()).collect();
            }
        }
        opening.header = Some(names);
        Ok((opening, units))
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
            Ok((opening, _)) => {
                glance.fields = opening.header.unwrap_or_default();
                glance.preamble_keys = opening.preamble.into_iter().map(|(key, _)| key).collect();
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
        let (opening, units) = match self.open(&mut cutter) {
            Ok(opened) => opened,
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
        while let Some(cut) = cutter.next() {
            let flow = match cut {
                Cut::Broken(line, rule, message) => {
                    take(Item::Problem(rule.rejects(line.number, None, &text[line.start..line.end], message)))
                }
                Cut::Row(line, cells) => {
                    if let Some((rule, message)) = fault_of_row(&cells, header.len()) {
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
}

fn fault_of_row(cells: &[Cow<'_, str>], width: usize) -> Option<(Rule, String)> {
    if cells.iter().any(|cell| cell.contains(REPLACEMENT)) {
        return Some((Rule::BadEncoding, "the row holds bytes that are no text".to_owned()));
    }
    // Empty cells beyond the header come from a trailing delimiter and lose nothing.
    let too_wide = cells.iter().skip(width).any(|cell| !cell.trim().is_empty());
    if cells.len() < width || too_wide {
        return Some((Rule::RaggedRow, format!("the row has {} cells, the header has {width}", cells.len())));
    }
    None
}
