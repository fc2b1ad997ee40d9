//! The engine for workbooks: xlsx and ods, told apart by what is in them. Hidden sheets, rows and columns are read like shown ones:
//! people hide what is in their way, and a filter left on must not cost shots. Formulas are never evaluated; the result that the
//! workbook keeps is read.

use std::ops::ControlFlow;

use crate::context::ParseLimits;
use crate::file_fault::{Budget, FileFault, guarded};
use crate::ods_sheet::{OdsRows, check_unlocked, next_table};
use crate::package::{Package, bad, locked};
use crate::record::{Engine, Glance, Item};
use crate::rule::Rule;
use crate::sheet_head::Sheet;
use crate::sheet_row::{SheetRecord, SheetRow};
use crate::xlsx_book::XlsxBook;
use crate::xlsx_sheet::{Merge, XlsxRows, read_merges};

/// First bytes of the container of older and of encrypted workbooks ([MS-CFB] 2.2).
const COMPOUND_FILE: &[u8] = &[0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1];
/// First bytes of a zip package, and of the record at its end (APPNOTE.TXT 4.3.7, 4.3.16).
const PACKAGE: &[u8] = b"PK\x03\x04";
const END_OF_PACKAGE: &[u8] = b"PK\x05\x06";
const END_LENGTH: usize = 22;

/// Which sheet of a workbook holds the records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum SheetChoice {
    /// From 1, charts counted, as the program shows them.
    Number(usize),
    Name(String),
}

#[derive(Debug)]
pub(crate) struct Spreadsheet {
    pub sheet: SheetChoice,
    /// Rows (from 1, counted behind the preamble without blank rows) that form the header.
    pub header_rows: Vec<usize>,
    /// What joins the parts of a header of several rows.
    pub header_join: String,
    /// Whether merged cells of upper header rows name all columns they span.
    pub header_fill: bool,
    pub units_row: Option<usize>,
    /// Rows of the sheet above the header, blank ones counted.
    pub preamble_rows: usize,
    /// In their place: the text of the first cell of the row that ends the preamble.
    pub preamble_end: Option<String>,
}

/// What is done with an opened sheet.
pub(crate) type Work<'w> = dyn FnMut(&mut dyn Sheet) -> Result<(), FileFault> + 'w;

struct OpenXlsx<'p, 'a, 's> {
    rows: XlsxRows<'p, 'a, 's>,
    bytes: &'a [u8],
    limits: &'a ParseLimits,
    member: &'s str,
}

impl Sheet for OpenXlsx<'_, '_, '_> {
    fn next_row(&mut self) -> Result<Option<SheetRow<'_>>, FileFault> {
        guarded(Rule::BadWorkbook, || self.rows.next_row())
    }
    fn unsolved_formulas(&self) -> (u64, &str) {
        self.rows.unsolved_formulas()
    }
    fn merges(&self, last_row: i64) -> Result<Vec<Merge>, FileFault> {
        // Merged ranges stand behind all rows: a pass of its own, under a budget of its own since it keeps nothing else.
        let budget = Budget::new(self.limits);
        guarded(Rule::BadWorkbook, || {
            let mut package = Package::open(self.bytes, self.limits, &budget)?;
            read_merges(&mut package.needed_part(self.member)?, last_row, self.limits.max_fields)
        })
    }
}

impl Sheet for OdsRows<'_, '_> {
    fn next_row(&mut self) -> Result<Option<SheetRow<'_>>, FileFault> {
        guarded(Rule::BadWorkbook, || OdsRows::next_row(self))
    }
    fn unsolved_formulas(&self) -> (u64, &str) {
        OdsRows::unsolved_formulas(self)
    }
    fn merges(&self, _last_row: i64) -> Result<Vec<Merge>, FileFault> {
        Ok(self.merges.clone())
    }
}

impl Spreadsheet {
    /// Opens the chosen sheet and hands it to `work`.
    pub fn with_sheet(&self, bytes: &[u8], limits: &ParseLimits, work: &mut Work<'_>) -> Result<(), FileFault> {
        check_kind(bytes)?;
        let budget = Budget::new(limits);
        let mut package = guarded(Rule::BadWorkbook, || Package::open(bytes, limits, &budget))?;
        if package.has("content.xml") {
            self.with_ods(&mut package, limits, &budget, work)
        } else if package.has("[Content_Types].xml") {
            self.with_xlsx(bytes, &mut package, limits, &budget, work)
        } else {
            Err(bad("it is a zip package, but no workbook"))
        }
    }

    fn with_xlsx<'a>(
        &self,
        bytes: &'a [u8],
        package: &mut Package<'a>,
        limits: &'a ParseLimits,
        budget: &'a Budget,
        work: &mut Work<'_>,
    ) -> Result<(), FileFault> {
        let book = guarded(Rule::BadWorkbook, || XlsxBook::read(package))?;
        let names: Vec<&str> = book.sheets.iter().map(|sheet| sheet.name.as_str()).collect();
        let cells: Vec<&str> =
            book.sheets.iter().filter(|sheet| sheet.member.is_some()).map(|sheet| sheet.name.as_str()).collect();
        let sheet = &book.sheets[self.choose(&names, &cells)?];
        let Some(member) = &sheet.member else {
            let message = format!("the sheet \"{}\" holds a chart and no cells; {}", sheet.name, listing(&cells));
            return Err(FileFault::new(Rule::NoSheet, message));
        };
        let part = guarded(Rule::BadWorkbook, || package.needed_part(member))?;
        work(&mut OpenXlsx { rows: XlsxRows::new(part, &book, budget, limits), bytes, limits, member })
    }

    fn with_ods<'a>(
        &self,
        package: &mut Package<'a>,
        limits: &'a ParseLimits,
        budget: &'a Budget,
        work: &mut Work<'_>,
    ) -> Result<(), FileFault> {
        let mut names: Vec<String> = Vec::new();
        let mut part = guarded(Rule::BadWorkbook, || {
            check_unlocked(package)?;
            package.needed_part("content.xml")
        })?;
        loop {
            let Some(name) = guarded(Rule::BadWorkbook, || next_table(&mut part))? else {
                let names: Vec<&str> = names.iter().map(String::as_str).collect();
                return Err(self.choose(&names, &names).err().unwrap_or_else(|| bad("it is no spreadsheet")));
            };
            let chosen = match &self.sheet {
                SheetChoice::Number(number) => names.len() + 1 == *number,
                SheetChoice::Name(wanted) => same_sheet(wanted, &name),
            };
            if chosen {
                let mut rows = OdsRows::new(part, budget, limits);
                rows.wants_merges = self.header_fill;
                return work(&mut rows);
            }
            if names.len() >= limits.max_fields {
                return Err(bad(format!("the workbook has more than {} sheets", limits.max_fields)));
            }
            names.push(name);
            guarded(Rule::BadWorkbook, || {
                let inside = part.depth();
                part.skip_to_end_of(inside)
            })?;
        }
    }

    /// Place of the wanted sheet among all.
    fn choose(&self, names: &[&str], with_cells: &[&str]) -> Result<usize, FileFault> {
        let (place, wanted) = match &self.sheet {
            SheetChoice::Number(number) => {
                (number.checked_sub(1).filter(|place| *place < names.len()), format!("sheet number {number}"))
            }
            SheetChoice::Name(wanted) => {
                (names.iter().position(|name| same_sheet(wanted, name)), format!("sheet \"{wanted}\""))
            }
        };
        place.ok_or_else(|| {
            FileFault::new(Rule::NoSheet, format!("the workbook has no {wanted}; {}", listing(with_cells)))
        })
    }
}

/// Spreadsheet programs allow no two sheets whose names differ in case only.
fn same_sheet(wanted: &str, name: &str) -> bool {
    wanted == name || wanted.to_lowercase() == name.to_lowercase()
}

fn listing(names: &[&str]) -> String {
    let shown: Vec<String> = names.iter().take(10).map(|name| format!("\"{}\"", shot::Problem::cut(name))).collect();
    match (names.len(), names.len() > shown.len()) {
        (0, _) => "it has no sheets with cells".to_owned(),
        (_, more) => format!("its sheets with cells are {}{}", shown.join(", "), if more { ", ..." } else { "" }),
    }
}

/// Refuses what is no zip package, and says what it is where that helps.
fn check_kind(bytes: &[u8]) -> Result<(), FileFault> {
    if bytes.starts_with(PACKAGE) {
        return Ok(());
    }
    if bytes.starts_with(COMPOUND_FILE) {
        // Names of streams stand in UTF-16 in the container's directory.
        let has_stream = |name: &str| {
            let wide: Vec<u8> = name.encode_utf16().flat_map(u16::to_le_bytes).collect();
            bytes.windows(wide.len()).any(|window| window == wide)
        };
        if has_stream("EncryptedPackage") {
            return Err(locked());
        }
        if has_stream("Workbook") || has_stream("Book") {
            return Err(FileFault::new(Rule::OldWorkbook, "the workbook is of the old kind (xls)"));
        }
    }
    Err(bad("it is no workbook (neither xlsx nor ods)"))
}

impl Engine for Spreadsheet {
    fn glance(&self, bytes: &[u8]) -> Glance {
        let limits = ParseLimits::default();
        let mut glance = Glance::default();
        let outcome = self.with_sheet(bytes, &limits, &mut |sheet| {
            let head = self.open(sheet, &limits)?;
            glance.fields = head.opening.header.unwrap_or_default();
            glance.preamble_keys = head.opening.preamble.into_iter().map(|(key, _)| key).collect();
            glance.text = head.text;
            Ok(())
        });
        glance.obstacle = outcome.err().map(|fault| fault.message);
        glance
    }

    fn read(&self, bytes: &[u8], limits: &ParseLimits, take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>) {
        let outcome = self.with_sheet(bytes, limits, &mut |sheet| {
            let head = self.open(sheet, limits)?;
            if take(Item::Opening(&head.opening)).is_break() {
                return Ok(());
            }
            while let Some(row) = sheet.next_row()? {
                let flow = match &row.fault {
                    Some((rule, message)) => take(Item::Problem(rule.rejects(row.number, None, "", message.clone()))),
                    None => take(Item::Record(&SheetRecord { row: &row, columns: &head.columns, units: &head.units })),
                };
                if flow.is_break() {
                    return Ok(());
                }
            }
            let (unsolved, first) = sheet.unsolved_formulas();
            if unsolved > 0 {
                let message =
                    format!("{unsolved} formulas hold no result, the first in {first}; they are taken as missing");
                let _ = take(Item::Problem(Rule::UnsolvedFormula.notes(0, None, "", message)));
            }
            Ok(())
        });
        if let Err(fault) = outcome {
            let _ = take(Item::Problem(fault.problem()));
        }
    }

    fn complete(&self, tail: &[u8]) -> bool {
        // The record at the end states the length of the comment behind it.
        let mut ends =
            tail.windows(END_LENGTH).enumerate().rev().filter(|(_, window)| window.starts_with(END_OF_PACKAGE));
        ends.any(|(place, window)| {
            let comment = usize::from(u16::from_le_bytes([window[END_LENGTH - 2], window[END_LENGTH - 1]]));
            place + END_LENGTH + comment == tail.len()
        })
    }
}
