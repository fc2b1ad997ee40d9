//! The dialect of a workbook: which sheet, what stands above the header, which rows are the header.

use super::header::{GridRow, HeaderGuess, find_header};
use crate::context::ParseLimits;
use crate::spreadsheet::{SheetChoice, Spreadsheet};

/// Sheets that are looked at.
const MOST_SHEETS: usize = 8;
/// Rows of a sheet that are looked at.
const MOST_ROWS: usize = 200;

/// The dialect that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct SheetDialect {
    /// From 1.
    pub sheet: usize,
    /// Rows above the header, blank ones counted.
    pub above: usize,
    pub guess: HeaderGuess,
}

/// The sheet with the most rows under a header; or why there is none.
pub(super) fn sheet_dialect(bytes: &[u8]) -> Result<SheetDialect, String> {
    let mut best: Option<(usize, SheetDialect)> = None;
    let mut refusal = None;
    for sheet in 1..=MOST_SHEETS {
        let rows = match first_rows(bytes, sheet) {
            Ok(rows) => rows,
            Err(message) => {
                refusal.get_or_insert(message);
                break;
            }
        };
        let Some(guess) = find_header(&rows) else { continue };
        let first = guess.header[0];
        let above = if first == 0 { 0 } else { rows[first].line - 1 };
        let data = rows.len() - first;
        if best.as_ref().is_none_or(|(most, _)| data > *most) {
            best = Some((data, SheetDialect { sheet, above, guess }));
        }
    }
    let lacking = || refusal.unwrap_or_else(|| "no sheet has a row of names above its data".to_owned());
    best.map(|(_, dialect)| dialect).ok_or_else(lacking)
}

/// The first rows of a sheet, without blank ones, all of one width.
fn first_rows(bytes: &[u8], sheet: usize) -> Result<Vec<GridRow>, String> {
    let book = Spreadsheet {
        sheet: SheetChoice::Number(sheet),
        header_rows: vec![1],
        header_join: String::new(),
        header_fill: false,
        units_row: None,
        preamble_rows: 0,
        preamble_end: None,
    };
    let mut rows: Vec<GridRow> = Vec::new();
    book.with_sheet(bytes, &ParseLimits::default(), &mut |open| {
        while rows.len() < MOST_ROWS {
            let Some(row) = open.next_row()? else { break };
            let (Ok(line), false) = (usize::try_from(row.number), row.is_blank() || row.fault.is_some()) else {
                continue;
            };
            let mut cells = Vec::new();
            for (column, cell) in &row.cells {
                cells.resize(column + 1, String::new());
                cell.text().trim().clone_into(&mut cells[*column]);
            }
            rows.push(GridRow { line, cells });
        }
        Ok(())
    })
    .map_err(|fault| fault.message)?;
    let width = rows.iter().map(|row| row.cells.len()).max().unwrap_or_default();
    for row in &mut rows {
        row.cells.resize(width, String::new());
    }
    Ok(rows)
}
