//! The rows of an xlsx sheet, read as a stream.

use std::borrow::Cow;

use quick_xml::events::{BytesStart, Event};

use crate::context::ParseLimits;
use crate::file_fault::{Budget, FileFault};
use crate::package::{Part, attribute, bad, local_attribute};
use crate::rule::Rule;
use crate::sheet_row::{Cell, MOST_COLUMNS, MOST_ROWS, RowBounds, SheetRow};
use crate::sheet_time::{Look, text_of_count, text_of_iso};
use crate::xlsx_book::{ShownText, XlsxBook, plain_text};

/// A range of cells shown as one: first and last row (from 1), first and last column (from 0).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Merge {
    pub rows: (i64, i64),
    pub columns: (usize, usize),
}

pub(crate) struct XlsxRows<'p, 'a, 's> {
    part: Part<'p, 'a>,
    book: &'s XlsxBook,
    budget: &'s Budget,
    bounds: RowBounds,
    last_row: i64,
    unsolved: u64,
    first_unsolved: String,
}

/// What the tag of a cell says.
struct CellHead {
    column: usize,
    kind: String,
    look: Look,
}

impl<'p, 'a, 's> XlsxRows<'p, 'a, 's> {
    /// Rows of a sheet whose part was just opened.
    pub fn new(part: Part<'p, 'a>, book: &'s XlsxBook, budget: &'s Budget, limits: &ParseLimits) -> Self {
        let bounds = RowBounds { most_cells: limits.max_fields, most_bytes: limits.max_line_bytes };
        XlsxRows { part, book, budget, bounds, last_row: 0, unsolved: 0, first_unsolved: String::new() }
    }

    fn row(&mut self, number: i64) -> Result<SheetRow<'s>, FileFault> {
        let mut row = SheetRow::new(number);
        let depth = self.part.depth();
        let mut next_column = 0;
        while self.part.depth() >= depth {
            let head = match self.part.next()? {
                Event::Start(start) if start.local_name().as_ref() == "c" => self.book.head(&start, next_column)?,
                Event::Eof => break,
                _ => continue,
            };
            next_column = head.column + 1;
            if let Some(cell) = self.cell(&head, &mut row)? {
                row.push(head.column, cell, self.bounds);
            }
        }
        Ok(row)
    }

    /// The value of the cell whose tag was just read.
    fn cell(&mut self, head: &CellHead, row: &mut SheetRow<'s>) -> Result<Option<Cell<'s>>, FileFault> {
        let depth = self.part.depth();
        let (mut value, mut inline, mut is_formula) = (String::new(), ShownText::default(), false);
        while self.part.depth() >= depth {
            let name = match self.part.next()? {
                Event::Start(start) => start.local_name().as_ref().to_owned(),
                Event::Eof => break,
                _ => continue,
            };
            match name.as_str() {
                "v" => value = self.part.text()?,
                "is" => {
                    let inside = self.part.depth();
                    while self.part.depth() >= inside {
                        match self.part.next()? {
                            Event::Eof => break,
                            event => inline.feed(&event)?,
                        }
                    }
                }
                "f" => {
                    is_formula = true;
                    let inside = self.part.depth();
                    self.part.skip_to_end_of(inside)?;
                }
                _ => {}
            }
        }
        if is_formula && value.trim().is_empty() && head.kind != "str" {
            self.unsolved += 1;
            if self.first_unsolved.is_empty() {
                self.first_unsolved = format!("{}{}", column_name(head.column), row.number);
            }
            return Ok(None);
        }
        let cell = self.book.value(head, &value, &mut inline);
        match cell {
            Ok(cell) => {
                if !self.budget.spend(cell.as_ref().map_or(0, Cell::weight)) {
                    return Err(self.budget.fault());
                }
                Ok(cell)
            }
            Err(message) => {
                row.spoil(Rule::BadWorkbook, message);
                Ok(None)
            }
        }
    }
}

impl<'s> XlsxRows<'_, '_, 's> {
    /// The next row that is not blank.
    pub fn next_row(&mut self) -> Result<Option<SheetRow<'s>>, FileFault> {
        loop {
            let number = match self.part.next()? {
                Event::Start(start) if start.local_name().as_ref() == "row" => {
                    let stated = attribute(&start, "r")?;
                    let number = stated.map_or(Some(self.last_row + 1), |text| text.trim().parse().ok());
                    number.unwrap_or(0)
                }
                Event::End(end) if end.local_name().as_ref() == "sheetData" => return Ok(None),
                Event::Eof => return Ok(None),
                _ => continue,
            };
            if number <= self.last_row || number > MOST_ROWS {
                return Err(bad(format!("a row behind row {} states a number that cannot be", self.last_row)));
            }
            self.last_row = number;
            let row = self.row(number)?;
            if !row.is_blank() {
                return Ok(Some(row));
            }
        }
    }

    /// Count and first place of formulas whose result the file does not hold.
    pub fn unsolved_formulas(&self) -> (u64, &str) {
        (self.unsolved, &self.first_unsolved)
    }
}

impl XlsxBook {
    fn head(&self, start: &BytesStart<'_>, next_column: usize) -> Result<CellHead, FileFault> {
        let column = match attribute(start, "r")? {
            Some(place) => parse_place(&place).map_or(MOST_COLUMNS, |(_, column)| column),
            None => next_column,
        };
        let style = attribute(start, "s")?.and_then(|style| style.parse::<usize>().ok());
        let look = style.and_then(|style| self.looks.get(style).copied()).unwrap_or(Look::Number);
        Ok(CellHead { column, kind: attribute(start, "t")?.unwrap_or_default(), look })
    }

    fn value(&self, head: &CellHead, value: &str, inline: &mut ShownText) -> Result<Option<Cell<'_>>, String> {
        let trimmed = value.trim();
        Ok(match head.kind.as_str() {
            "inlineStr" => Some(Cell::Text(Cow::Owned(inline.take()))),
            "str" => Some(Cell::Text(Cow::Owned(plain_text(value)))),
            _ if trimmed.is_empty() => None,
            "s" => {
                let text = trimmed.parse().ok().and_then(|number| self.shared.get(number));
                let text = text.ok_or_else(|| format!("the cell points at text {trimmed}, which is not there"))?;
                Some(Cell::Text(Cow::Borrowed(text)))
            }
            "b" => match trimmed {
                "1" | "true" => Some(Cell::Truth(true)),
                "0" | "false" => Some(Cell::Truth(false)),
                other => return Err(format!("\"{other}\" is neither true nor false")),
            },
            "e" => Some(Cell::Error(Cow::Owned(trimmed.to_owned()))),
            "d" => Some(Cell::Text(Cow::Owned(text_of_iso(trimmed)))),
            "" | "n" => Some(match trimmed.parse::<f64>() {
                Ok(number) if number.is_finite() => self.number(number, head.look),
                _ => Cell::Text(Cow::Owned(trimmed.to_owned())),
            }),
            other => return Err(format!("cells of the kind \"{other}\" are unknown")),
        })
    }

    fn number(&self, number: f64, look: Look) -> Cell<'static> {
        let text = if look == Look::Number { None } else { text_of_count(number, look, self.from_1904) };
        text.map_or(Cell::Number(number), |text| Cell::Text(Cow::Owned(text)))
    }
}

/// The merged ranges of a sheet that touch its first rows; they stand behind its cells.
pub(crate) fn read_merges(part: &mut Part<'_, '_>, last_row: i64, most: usize) -> Result<Vec<Merge>, FileFault> {
    let mut merges = Vec::new();
    loop {
        match part.next()? {
            Event::Start(start) if start.local_name().as_ref() == "mergeCell" => {
                let range = local_attribute(&start, "ref")?.unwrap_or_default();
                let corners = range.split_once(':').and_then(|(a, b)| Some((parse_place(a)?, parse_place(b)?)));
                if let Some(((top, left), (bottom, right))) = corners
                    && top <= last_row
                    && merges.len() < most
                {
                    merges.push(Merge { rows: (top, bottom), columns: (left, right) });
                }
            }
            Event::Eof => return Ok(merges),
            _ => {}
        }
    }
}

/// Row (from 1) and column (from 0) of a place such as `AB12`.
fn parse_place(place: &str) -> Option<(i64, usize)> {
    let digits = place.find(|c: char| c.is_ascii_digit())?;
    let mut column = 0_usize;
    for letter in place[..digits].bytes() {
        if !letter.is_ascii_alphabetic() || column > MOST_COLUMNS {
            return None;
        }
        column = column * 26 + usize::from(letter.to_ascii_uppercase() - b'A') + 1;
    }
    let row = place[digits..].parse().ok()?;
    Some((row, column.checked_sub(1)?))
}

/// The letters of a column (from 0).
pub(crate) fn column_name(column: usize) -> String {
    let mut letters = Vec::new();
    let mut rest = column + 1;
    while rest > 0 {
        letters.push(char::from(b'A' + ((rest - 1) % 26) as u8));
        rest = (rest - 1) / 26;
    }
    letters.iter().rev().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_read_and_named() {
        // [source: ECMA-376 part 1, 18.3.1.4: A1 style references; XFD is the last of 16384 columns]
        for (place, expected) in
            [("A1", (1, 0)), ("Z9", (9, 25)), ("AA10", (10, 26)), ("XFD1048576", (1_048_576, 16_383))]
        {
            assert_eq!(parse_place(place), Some(expected));
            assert_eq!(format!("{}{}", column_name(expected.1), expected.0), place);
        }
        for place in ["", "A", "1", "ÄÄ1", "A-1x", "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAA1", "A99999999999999999999"] {
            assert_eq!(parse_place(place), None, "{place}");
        }
    }
}
