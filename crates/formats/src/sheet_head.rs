//! What stands above the data rows of a sheet: preamble, header of one or several rows, units.

use std::collections::{BTreeMap, HashMap};

use crate::context::ParseLimits;
use crate::file_fault::FileFault;
use crate::record::Opening;
use crate::rule::Rule;
use crate::sheet_row::{Cell, SheetRow};
use crate::spreadsheet::Spreadsheet;
use crate::xlsx_sheet::Merge;

/// What stands above the first data row.
#[derive(Default)]
pub(crate) struct SheetHead {
    pub opening: Opening,
    pub columns: HashMap<String, usize>,
    pub units: HashMap<usize, String>,
    /// Everything read so far as text.
    pub text: String,
}

/// The chosen sheet, with its lifetimes out of sight.
pub(crate) trait Sheet {
    fn next_row(&mut self) -> Result<Option<SheetRow<'_>>, FileFault>;
    fn unsolved_formulas(&self) -> (u64, &str);
    /// Merged ranges that touch the rows up to this one.
    fn merges(&self, last_row: i64) -> Result<Vec<Merge>, FileFault>;
}

impl Spreadsheet {
    /// Reads preamble, header and units.
    pub fn open(&self, sheet: &mut dyn Sheet, limits: &ParseLimits) -> Result<SheetHead, FileFault> {
        let mut head = SheetHead::default();
        let mut in_preamble = self.preamble_end.is_some() || self.preamble_rows > 0;
        let last = self.header_rows.iter().chain(&self.units_row).copied().max().unwrap_or(1);
        let mut parts: BTreeMap<usize, Vec<String>> = BTreeMap::new();
        let (mut counted, mut header_numbers) = (0, Vec::new());
        while counted < last {
            let Some(row) = sheet.next_row()? else {
                let wanted = if in_preamble && self.preamble_end.is_some() { "its preamble" } else { "its header" };
                return Err(FileFault::new(Rule::NoHeader, format!("the sheet ends before {wanted} does")));
            };
            if let Some((_, message)) = &row.fault {
                let message = format!("row {} should be part of the header: {message}", row.number);
                return Err(FileFault::new(Rule::NoHeader, message));
            }
            remember(&mut head.text, &row);
            if in_preamble
                && self.preamble_end.is_none()
                && usize::try_from(row.number).is_ok_and(|number| number > self.preamble_rows)
            {
                in_preamble = false;
            }
            if in_preamble {
                in_preamble = !self.ends_preamble(&row);
                if in_preamble {
                    head.opening.preamble.extend(entry(&row));
                }
                if head.opening.preamble.len() > limits.max_fields {
                    return Err(FileFault::new(Rule::NoHeader, "the rows above the header do not end"));
                }
                continue;
            }
            counted += 1;
            if let Some(place) = self.header_rows.iter().position(|wanted| *wanted == counted) {
                head.opening.header_line = row.number;
                header_numbers.push(row.number);
                for (column, cell) in &row.cells {
                    let texts = parts.entry(*column).or_default();
                    texts.resize(self.header_rows.len(), String::new());
                    cell.text().trim().clone_into(&mut texts[place]);
                }
            } else if self.units_row == Some(counted) {
                head.units = row.cells.iter().map(|(column, cell)| (*column, cell.text().trim().to_owned())).collect();
            }
        }
        if self.header_fill {
            fill(&mut parts, &header_numbers, &sheet.merges(head.opening.header_line)?);
        }
        let mut names = Vec::with_capacity(parts.len());
        for (column, texts) in parts {
            let filled: Vec<&str> = texts.iter().map(String::as_str).filter(|text| !text.is_empty()).collect();
            let name = filled.join(&self.header_join);
            head.columns.entry(name.clone()).or_insert(column);
            names.push(name);
        }
        head.opening.header = Some(names);
        Ok(head)
    }

    fn ends_preamble(&self, row: &SheetRow<'_>) -> bool {
        let first = row.cells.first().map(|(_, cell)| cell.text());
        self.preamble_end.as_deref().is_some_and(|mark| first.is_some_and(|text| text.trim() == mark))
    }
}

/// Key and value of a row above the header: its first two filled cells.
fn entry(row: &SheetRow<'_>) -> Option<(String, String)> {
    let mut texts = row.cells.iter().map(|(_, cell)| cell.text().trim().to_owned());
    let key = texts.next()?;
    // "Bay:" and "Bay" are one key, with or without a colon on show.
    Some((key.trim_end_matches(':').trim_end().to_owned(), texts.next()?))
}

fn remember(text: &mut String, row: &SheetRow<'_>) {
    let cells: Vec<_> = row.cells.iter().map(|(_, cell)| Cell::text(cell)).collect();
    text.push_str(&cells.join("\t"));
    text.push('\n');
}

/// Gives blank cells of upper header rows the text of the merged cell they belong to. A row without merged cells takes the text to
/// the left instead, since some writers leave the cells blank and merge nothing. Only columns that a lower row names are filled.
fn fill(parts: &mut BTreeMap<usize, Vec<String>>, numbers: &[i64], merges: &[Merge]) {
    for (place, number) in numbers.iter().enumerate().take(numbers.len().saturating_sub(1)) {
        let touching: Vec<&Merge> =
            merges.iter().filter(|merge| (merge.rows.0..=merge.rows.1).contains(number)).collect();
        let mut left: Option<(usize, String)> = None;
        for (column, texts) in parts.iter_mut() {
            if !texts[place].is_empty() {
                left = Some((*column, texts[place].clone()));
                continue;
            }
            let Some((from, text)) = left.as_ref().filter(|_| texts[place + 1..].iter().any(|text| !text.is_empty()))
            else {
                continue;
            };
            let spans = |merge: &&Merge| merge.columns.0 == *from && merge.columns.1 >= *column;
            if touching.is_empty() || touching.iter().any(spans) {
                texts[place].clone_from(text);
            }
        }
    }
}
