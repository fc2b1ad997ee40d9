//! The engine for xlsx and ods workbooks.

use std::ops::ControlFlow;

use crate::context::ParseLimits;
use crate::record::{Engine, Glance, Item};

/// Which sheet of a workbook holds the records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum SheetChoice {
    /// From 1.
    Number(usize),
    Name(String),
}

#[derive(Debug)]
pub(crate) struct Spreadsheet {
    pub sheet: SheetChoice,
    pub header_rows: Vec<usize>,
    pub header_join: String,
    pub header_fill: bool,
    pub units_row: Option<usize>,
    pub preamble_rows: usize,
}

impl Engine for Spreadsheet {
    fn glance(&self, _bytes: &[u8]) -> Glance {
        Glance { obstacle: Some("not built yet".to_owned()), ..Glance::default() }
    }

    fn read(&self, _bytes: &[u8], _limits: &ParseLimits, _take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>) {}

    fn complete(&self, _tail: &[u8]) -> bool {
        true
    }
}
