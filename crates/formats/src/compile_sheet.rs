//! The dialect of workbooks.

use crate::compile::Compiler;
use crate::spec::DialectSpec;
use crate::spreadsheet::{SheetChoice, Spreadsheet};

/// Rows a header may reach down to, counted behind the preamble.
const HEADER_ROWS: std::ops::RangeInclusive<usize> = 1..=20;

impl Compiler<'_> {
    pub fn spreadsheet(&mut self, dialect: &DialectSpec) -> Spreadsheet {
        let header_rows = dialect.header_rows.as_ref().map_or(vec![1], |rows| rows.get_ref().clone());
        if let Some(rows) = &dialect.header_rows {
            let ascending = header_rows.windows(2).all(|pair| pair[0] < pair[1]);
            if header_rows.is_empty() || !ascending || header_rows.iter().any(|row| !HEADER_ROWS.contains(row)) {
                self.fault(rows.span(), "headerRows lists rows from 1 to 20, ascending", "for example [1, 2]");
            }
        }
        if let Some(row) = &dialect.units_row
            && (!HEADER_ROWS.contains(row.get_ref()) || header_rows.contains(row.get_ref()))
        {
            self.fault(row.span(), "unitsRow is a row from 1 to 20 that is not a header row", "for example 2");
        }
        let (mut preamble_rows, mut preamble_end) = (0, None);
        if let Some(spec) = &dialect.preamble {
            let written = spec.get_ref();
            preamble_rows = written.lines;
            preamble_end.clone_from(&written.end_mark);
            if written.end_mark.is_some() == (written.lines > 0) {
                let hint =
                    "give endMark (the text of the first cell of the row that ends it) or lines (how many rows it has)";
                self.fault(spec.span(), "the preamble needs exactly one kind of end", hint);
            }
            if let Some(separator) = &written.separator {
                let hint = "keys stand in the first filled cell of a row and values in the next: remove it";
                self.fault(separator.span(), "the preamble of a sheet has no separator", hint);
            }
        }
        Spreadsheet {
            sheet: self.sheet_choice(dialect),
            header_rows,
            header_join: dialect.header_join.as_ref().map_or_else(|| " ".to_owned(), |text| text.get_ref().clone()),
            header_fill: dialect.header_fill.as_ref().is_some_and(|word| *word.get_ref()),
            units_row: dialect.units_row.as_ref().map(|row| *row.get_ref()),
            preamble_rows,
            preamble_end,
        }
    }

    fn sheet_choice(&mut self, dialect: &DialectSpec) -> SheetChoice {
        if let (Some(name), Some(_)) = (&dialect.sheet_name, &dialect.sheet_number) {
            let hint = "a name survives when sheets are moved, a number when they are renamed";
            self.fault(name.span(), "give either sheetName or sheetNumber", hint);
        }
        if let Some(name) = &dialect.sheet_name {
            if name.get_ref().is_empty() {
                self.fault(name.span(), "sheetName is empty", "leave it away for the first sheet");
            }
            return SheetChoice::Name(name.get_ref().clone());
        }
        let number = dialect.sheet_number.as_ref().map_or(1, |number| *number.get_ref());
        if let Some(place) = dialect.sheet_number.as_ref().filter(|_| number == 0) {
            self.fault(place.span(), "sheets are counted from 1", "sheetNumber = 1");
        }
        SheetChoice::Number(number)
    }
}
