//! Rows and cells of a sheet, whatever the kind of workbook.

use std::borrow::Cow;
use std::collections::HashMap;

use crate::record::Record;
use crate::rule::Rule;

/// Last row and column that spreadsheet programs have (ECMA-376 and current OpenDocument programs alike); files that go beyond are
/// made by hand.
pub(crate) const MOST_ROWS: i64 = 1_048_576;
pub(crate) const MOST_COLUMNS: usize = 16_384;

/// A cell that holds something.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Cell<'s> {
    /// Text, and dates and times in ISO form.
    Text(Cow<'s, str>),
    Number(f64),
    Truth(bool),
    /// The word of an error, such as `#N/A`.
    Error(Cow<'s, str>),
}

impl Cell<'_> {
    pub fn text(&self) -> Cow<'_, str> {
        match self {
            Cell::Text(text) | Cell::Error(text) => Cow::Borrowed(text),
            Cell::Number(number) => Cow::Owned(number.to_string()),
            Cell::Truth(truth) => Cow::Borrowed(if *truth { "true" } else { "false" }),
        }
    }

    pub fn is_blank(&self) -> bool {
        matches!(self, Cell::Text(text) if text.trim().is_empty())
    }

    /// Bytes of text that the cell holds.
    pub fn weight(&self) -> usize {
        match self {
            Cell::Text(text) | Cell::Error(text) => text.len(),
            Cell::Number(_) | Cell::Truth(_) => size_of::<f64>(),
        }
    }
}

/// The filled cells of one row.
#[derive(Debug, Clone, Default)]
pub(crate) struct SheetRow<'s> {
    /// As the sheet counts, from 1.
    pub number: i64,
    /// Columns (from 0, ascending) and cells that are not blank.
    pub cells: Vec<(usize, Cell<'s>)>,
    /// Why the row cannot be taken.
    pub fault: Option<(Rule, String)>,
    weight: usize,
}

impl<'s> SheetRow<'s> {
    pub fn new(number: i64) -> SheetRow<'s> {
        SheetRow { number, ..SheetRow::default() }
    }

    pub fn cell(&self, column: usize) -> Option<&Cell<'s>> {
        let place = self.cells.binary_search_by_key(&column, |(column, _)| *column).ok()?;
        Some(&self.cells[place].1)
    }

    /// Bytes of text that the row holds.
    pub fn weight(&self) -> usize {
        self.weight
    }

    /// Adds a cell to the right of all others, unless it is blank or the row has enough.
    pub fn push(&mut self, column: usize, cell: Cell<'s>, bounds: RowBounds) {
        if cell.is_blank() || self.fault.is_some() {
            return;
        }
        self.weight += cell.weight();
        if self.cells.len() >= bounds.most_cells {
            self.spoil(Rule::TooManyFields, format!("the row has more than {} filled cells", bounds.most_cells));
        } else if self.weight > bounds.most_bytes {
            self.spoil(Rule::LineTooLong, format!("the row is longer than {} bytes", bounds.most_bytes));
        } else if self.cells.last().is_some_and(|(last, _)| *last >= column) || column >= MOST_COLUMNS {
            self.spoil(Rule::BadWorkbook, "the cells of the row stand where no cells can stand".to_owned());
        } else {
            self.cells.push((column, cell));
        }
    }

    pub fn spoil(&mut self, rule: Rule, message: String) {
        self.fault.get_or_insert((rule, message));
    }

    pub fn is_blank(&self) -> bool {
        self.cells.is_empty() && self.fault.is_none()
    }
}

/// Bounds of one row.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RowBounds {
    pub most_cells: usize,
    pub most_bytes: usize,
}

/// A row under its header.
pub(crate) struct SheetRecord<'a> {
    pub row: &'a SheetRow<'a>,
    pub columns: &'a HashMap<String, usize>,
    pub units: &'a HashMap<usize, String>,
}

impl SheetRecord<'_> {
    fn cell(&self, field: &str) -> Option<&Cell<'_>> {
        self.row.cell(*self.columns.get(field)?)
    }
}

impl Record for SheetRecord<'_> {
    fn line(&self) -> i64 {
        self.row.number
    }

    fn text(&self, field: &str) -> Option<Cow<'_, str>> {
        self.cell(field).map(Cell::text)
    }

    fn number(&self, field: &str) -> Option<f64> {
        match self.cell(field)? {
            Cell::Number(number) => Some(*number),
            _ => None,
        }
    }

    fn unit_word(&self, field: &str) -> Option<&str> {
        self.units.get(self.columns.get(field)?).map(String::as_str)
    }

    fn fault(&self, field: &str) -> Option<(Rule, String)> {
        match self.cell(field)? {
            Cell::Error(word) => {
                let message = format!("the cell holds the error {}", shot::Problem::cut(word));
                Some((Rule::UnreadableValue, message))
            }
            _ => None,
        }
    }
}
