//! The dialect of workbooks.

use crate::compile::Compiler;
use crate::spec::DialectSpec;
use crate::spreadsheet::{SheetChoice, Spreadsheet};

impl Compiler<'_> {
    pub fn spreadsheet(&mut self, _dialect: &DialectSpec) -> Spreadsheet {
        Spreadsheet {
            sheet: SheetChoice::Number(1),
            header_rows: vec![1],
            header_join: " ".to_owned(),
            header_fill: false,
            units_row: None,
            preamble_rows: 0,
        }
    }
}
