//! The rows of an OpenDocument sheet, read as a stream. Repeated rows and cells are handed on one by one and never laid out.

use std::borrow::Cow;

use quick_xml::events::{BytesStart, Event};

use crate::context::ParseLimits;
use crate::file_fault::{Budget, FileFault};
use crate::package::{Package, Part, attribute, bad, locked, push_text};
use crate::rule::Rule;
use crate::sheet_row::{Cell, MOST_COLUMNS, MOST_ROWS, RowBounds, SheetRow};
use crate::sheet_time::{text_of_iso, text_of_iso_duration};
use crate::xlsx_sheet::{Merge, column_name};

/// Elements inside tables and cells whose text is not the cell's: comments, drawings, forms, deleted cells.
const ASIDE: [&str; 6] =
    ["office:annotation", "office:forms", "table:shapes", "table:tracked-changes", "draw:frame", "text:ruby-text"];

/// Refuses a package that is encrypted.
pub(crate) fn check_unlocked(package: &mut Package<'_>) -> Result<(), FileFault> {
    let Some(mut part) = package.part("META-INF/manifest.xml")? else { return Ok(()) };
    loop {
        match part.next()? {
            Event::Start(start) if start.local_name().as_ref() == "encryption-data" => return Err(locked()),
            Event::Eof => return Ok(()),
            _ => {}
        }
    }
}

pub(crate) struct OdsRows<'p, 'a> {
    part: Part<'p, 'a>,
    budget: &'a Budget,
    bounds: RowBounds,
    /// Depth of the table's element.
    depth: usize,
    /// Rows that were passed, blank or not.
    passed: i64,
    repeated: Option<(SheetRow<'static>, i64)>,
    unsolved: u64,
    first_unsolved: String,
    /// Merged cells of the rows read so far, while they are wanted.
    pub merges: Vec<Merge>,
    pub wants_merges: bool,
}

/// Goes on to the next table of a document; its name, or nothing where there is none.
pub(crate) fn next_table(part: &mut Part<'_, '_>) -> Result<Option<String>, FileFault> {
    loop {
        match part.next()? {
            Event::Start(start) => match start.name().as_ref() {
                "table:table" => return Ok(Some(attribute(&start, "table:name")?.unwrap_or_default())),
                "office:document-content" | "office:body" | "office:spreadsheet" => continue,
                _ => {}
            },
            Event::Eof => return Ok(None),
            _ => continue,
        }
        let inside = part.depth();
        part.skip_to_end_of(inside)?;
    }
}

/// What the tag of a cell says.
struct CellHead {
    repeats: usize,
    columns_spanned: usize,
    rows_spanned: i64,
    kind: String,
    value: Option<String>,
    is_formula: bool,
    is_error: bool,
    is_covered: bool,
}

impl<'p, 'a> OdsRows<'p, 'a> {
    /// Rows of the table whose tag was just read.
    pub fn new(part: Part<'p, 'a>, budget: &'a Budget, limits: &ParseLimits) -> Self {
        let bounds = RowBounds { most_cells: limits.max_fields, most_bytes: limits.max_line_bytes };
        let depth = part.depth();
        OdsRows {
            part,
            budget,
            bounds,
            depth,
            passed: 0,
            repeated: None,
            unsolved: 0,
            first_unsolved: String::new(),
            merges: Vec::new(),
            wants_merges: false,
        }
    }

    fn row(&mut self, number: i64) -> Result<SheetRow<'static>, FileFault> {
        let mut row = SheetRow::new(number);
        let depth = self.part.depth();
        let mut column = 0_usize;
        while self.part.depth() >= depth {
            let head = match self.part.next()? {
                Event::Start(start) => match start.name().as_ref() {
                    "table:table-cell" => read_head(&start, false)?,
                    "table:covered-table-cell" => read_head(&start, true)?,
                    _ => continue,
                },
                Event::Eof => break,
                _ => continue,
            };
            let cell = self.cell(&head, &row, column)?;
            if self.wants_merges && head.columns_spanned > 1 && self.merges.len() < self.bounds.most_cells {
                let rows = (number, number.saturating_add(head.rows_spanned - 1));
                let columns = (column, column.saturating_add(head.columns_spanned - 1));
                self.merges.push(Merge { rows, columns });
            }
            if let Some(cell) = cell.filter(|cell| !cell.is_blank()) {
                for place in 0..head.repeats {
                    if row.fault.is_some() {
                        break;
                    }
                    if !self.budget.spend(cell.weight()) {
                        return Err(self.budget.fault());
                    }
                    row.push(column.saturating_add(place), cell.clone(), self.bounds);
                }
            }
            column = column.saturating_add(head.repeats);
        }
        Ok(row)
    }

    fn cell(&mut self, head: &CellHead, row: &SheetRow<'_>, column: usize) -> Result<Option<Cell<'static>>, FileFault> {
        let shown = self.shown_text()?;
        // What a merged cell covers nobody sees.
        if head.is_covered {
            return Ok(None);
        }
        let shown_text = shown.trim();
        if head.is_error || (head.is_formula && is_error_word(shown_text)) {
            return Ok(Some(Cell::Error(Cow::Owned(shown_text.to_owned()))));
        }
        let text = |text: String| Some(Cell::Text(Cow::Owned(text)));
        let value = head.value.as_deref().map(str::trim).filter(|value| !value.is_empty());
        let cell = match (head.kind.as_str(), value) {
            ("float" | "percentage" | "currency", Some(value)) => match value.parse::<f64>() {
                Ok(number) if number.is_finite() => Some(Cell::Number(number)),
                _ => text(value.to_owned()),
            },
            ("date", Some(value)) => text(text_of_iso(value)),
            ("time", Some(value)) => text(text_of_iso_duration(value)),
            ("boolean", Some("true")) => Some(Cell::Truth(true)),
            ("boolean", Some("false")) => Some(Cell::Truth(false)),
            ("string", Some(_)) => text(head.value.clone().unwrap_or_default()),
            _ => text(shown),
        };
        if head.is_formula && head.kind != "string" && cell.as_ref().is_none_or(Cell::is_blank) {
            self.unsolved += 1;
            if self.first_unsolved.is_empty() {
                self.first_unsolved = format!("{}{}", column_name(column.min(MOST_COLUMNS)), row.number);
            }
        }
        Ok(cell)
    }

    /// The text of the cell whose tag was just read: its paragraphs as lines.
    fn shown_text(&mut self) -> Result<String, FileFault> {
        let depth = self.part.depth();
        let (mut text, mut paragraphs) = (String::new(), 0);
        while self.part.depth() >= depth {
            let aside = match self.part.next()? {
                Event::Start(start) => {
                    let name = start.name();
                    match name.as_ref() {
                        "text:p" => {
                            if paragraphs > 0 {
                                text.push('\n');
                            }
                            paragraphs += 1;
                        }
                        "text:s" => {
                            let count = attribute(&start, "text:c")?.and_then(|count| count.parse::<usize>().ok());
                            let count = count.unwrap_or(1).min(self.bounds.most_bytes + 1);
                            text.extend(std::iter::repeat_n(' ', count));
                        }
                        "text:tab" => text.push('\t'),
                        "text:line-break" => text.push('\n'),
                        _ => {}
                    }
                    ASIDE.contains(&name.as_ref())
                }
                Event::Eof => break,
                event => {
                    if paragraphs > 0 {
                        push_text(&event, &mut text)?;
                    }
                    false
                }
            };
            if aside {
                let inside = self.part.depth();
                self.part.skip_to_end_of(inside)?;
            }
            if text.len() > self.bounds.most_bytes {
                let message = format!("a cell is longer than {} bytes", self.bounds.most_bytes);
                return Err(FileFault::new(Rule::LineTooLong, message));
            }
        }
        Ok(text)
    }
}

impl OdsRows<'_, '_> {
    /// The next row that is not blank.
    pub fn next_row(&mut self) -> Result<Option<SheetRow<'static>>, FileFault> {
        if let Some((row, more)) = &mut self.repeated {
            if !self.budget.spend(row.weight()) {
                return Err(self.budget.fault());
            }
            row.number += 1;
            *more -= 1;
            let next = row.clone();
            if *more == 0 {
                self.repeated = None;
            }
            return Ok(Some(next));
        }
        while self.part.depth() >= self.depth {
            let (repeats, aside) = match self.part.next()? {
                Event::Start(start) if start.name().as_ref() == "table:table-row" => {
                    (count_of(attribute(&start, "table:number-rows-repeated")?), false)
                }
                Event::Start(start) => (0, ASIDE.contains(&start.name().as_ref())),
                Event::Eof => return Ok(None),
                _ => continue,
            };
            if aside {
                let inside = self.part.depth();
                self.part.skip_to_end_of(inside)?;
            }
            if repeats == 0 {
                continue;
            }
            let repeats = i64::try_from(repeats).unwrap_or(MOST_ROWS);
            let row = self.row(self.passed + 1)?;
            let first = self.passed + 1;
            self.passed = self.passed.saturating_add(repeats);
            if row.is_blank() {
                continue;
            }
            if self.passed > MOST_ROWS {
                return Err(bad(format!("row {first} is repeated beyond the last row a sheet can have")));
            }
            if repeats > 1 {
                self.repeated = Some((row.clone(), repeats - 1));
            }
            return Ok(Some(row));
        }
        Ok(None)
    }

    /// Count and first place of formulas whose result the file does not hold.
    pub fn unsolved_formulas(&self) -> (u64, &str) {
        (self.unsolved, &self.first_unsolved)
    }
}

fn read_head(start: &BytesStart<'_>, is_covered: bool) -> Result<CellHead, FileFault> {
    let kind = attribute(start, "office:value-type")?.unwrap_or_default();
    let value = match kind.as_str() {
        "date" => attribute(start, "office:date-value")?,
        "time" => attribute(start, "office:time-value")?,
        "boolean" => attribute(start, "office:boolean-value")?,
        "string" => attribute(start, "office:string-value")?,
        _ => attribute(start, "office:value")?,
    };
    let rows_spanned = count_of(attribute(start, "table:number-rows-spanned")?);
    Ok(CellHead {
        repeats: count_of(attribute(start, "table:number-columns-repeated")?),
        columns_spanned: count_of(attribute(start, "table:number-columns-spanned")?),
        rows_spanned: i64::try_from(rows_spanned).unwrap_or(MOST_ROWS),
        kind,
        value,
        is_formula: attribute(start, "table:formula")?.is_some(),
        is_error: attribute(start, "calcext:value-type")?.as_deref() == Some("error"),
        is_covered,
    })
}

/// A count from 1; what is no count, or too large to be one, counts once or as the largest.
fn count_of(text: Option<String>) -> usize {
    let Some(text) = text else { return 1 };
    let all_digits = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    if all_digits { text.parse().unwrap_or(usize::MAX).max(1) } else { 1 }
}

/// Whether a formula's text is the word of an error, in files whose writer does not mark errors as such.
fn is_error_word(text: &str) -> bool {
    const WORDS: [&str; 7] = ["#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!"];
    let code =
        text.strip_prefix("Err:").is_some_and(|code| code.len() == 3 && code.bytes().all(|b| b.is_ascii_digit()));
    code || WORDS.contains(&text)
}
