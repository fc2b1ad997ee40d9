//! Where in a table of cells the header stands: lines above it, header rows, a row of units, then data.

use super::numbers::{is_missing_token, number_cell};
use super::{moments, unit_words};

/// Most rows that header and units can take.
const MOST_HEADER_ROWS: usize = 4;

/// One row of cells, with the line or row number of the file it stands in, from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct GridRow {
    pub line: usize,
    pub cells: Vec<String>,
}

/// What was found above the data.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct HeaderGuess {
    /// Places of the header rows in the grid, from 0.
    pub header: Vec<usize>,
    /// Place of the units row.
    pub units: Option<usize>,
    /// Whether the upper header row names groups over several columns each.
    pub merged: bool,
    /// Cells of the header.
    pub width: usize,
}

impl HeaderGuess {
    /// Rows of the header as packs count them: from 1, behind what stands above.
    pub fn header_rows(&self) -> Vec<usize> {
        self.header.iter().map(|place| place - self.header[0] + 1).collect()
    }

    /// The units row, counted likewise.
    pub fn units_row(&self) -> Option<usize> {
        self.units.map(|place| place - self.header[0] + 1)
    }
}

/// The width that most rows have, empty cells at the end not counted.
fn usual_width(rows: &[GridRow]) -> usize {
    let mut counts: Vec<(usize, usize)> = Vec::new();
    for row in rows {
        let width = filled_width(&row.cells);
        match counts.iter_mut().find(|(known, _)| *known == width) {
            Some((_, count)) => *count += 1,
            None => counts.push((width, 1)),
        }
    }
    counts
        .into_iter()
        .filter(|(width, _)| *width > 0)
        .max_by_key(|(width, count)| (*count, *width))
        .map_or(0, |(width, _)| width)
}

fn filled_width(cells: &[String]) -> usize {
    cells.iter().rposition(|cell| !cell.trim().is_empty()).map_or(0, |last| last + 1)
}

fn is_value(cell: &str) -> bool {
    let cell = cell.trim();
    number_cell(cell).is_some() || is_missing_token(cell) || moments::moment_of(&[cell]).is_some()
}

fn share(part: usize, whole: usize) -> f64 {
    part as f64 / whole.max(1) as f64
}

/// Finds the header of a grid, or nothing where no row of names stands above the data.
pub(super) fn find_header(rows: &[GridRow]) -> Option<HeaderGuess> {
    let usual = usual_width(rows);
    if usual == 0 {
        return None;
    }
    let wide_enough = |row: &GridRow| share(filled_width(&row.cells), usual) >= 0.6;
    let is_data = |row: &GridRow| {
        let filled = told_cells(row);
        wide_enough(row) && share(filled.iter().filter(|cell| is_value(cell)).count(), filled.len()) >= 0.25
    };
    let data = rows.iter().position(is_data)?;
    let mut first = data;
    while first > 0 && data - first < MOST_HEADER_ROWS && is_names(&rows[first - 1], usual) {
        first -= 1;
    }
    if first == data {
        return None;
    }
    let mut last = data - 1;
    let units = (last > first && is_units(&rows[last])).then_some(last);
    if units.is_some() {
        last -= 1;
    }
    // A title in one cell is no header, however many rows stand above the names.
    let mut header: Vec<usize> = (first..=last).collect();
    while header.len() > 1 && (header.len() > 2 || filled_cells(&rows[header[0]]) < 2) {
        header.remove(0);
    }
    let width = header.iter().map(|place| filled_width(&rows[*place].cells)).max().unwrap_or_default();
    let merged = header.len() > 1 && {
        let upper = &rows[header[0]].cells;
        upper.windows(2).any(|pair| !pair[0].trim().is_empty() && pair[1].trim().is_empty())
    };
    Some(HeaderGuess { header, units, merged, width })
}

fn filled_cells(row: &GridRow) -> usize {
    row.cells.iter().filter(|cell| !cell.trim().is_empty()).count()
}

/// Cells that are neither empty nor a dash.
fn told_cells(row: &GridRow) -> Vec<&String> {
    row.cells.iter().filter(|cell| !cell.trim().is_empty() && !is_missing_token(cell.trim())).collect()
}

/// A row of names: texts, nearly as wide as the data; an upper row may have gaps where cells were merged.
fn is_names(row: &GridRow, usual: usize) -> bool {
    let filled = told_cells(row);
    let texts = filled.iter().filter(|cell| !is_value(cell) || is_unit_word(cell)).count();
    let wide = share(row.cells.len().min(usual), usual) >= 0.6;
    wide && filled.len() >= 2.min(usual) && share(texts, filled.len()) >= 0.9
}

fn is_unit_word(cell: &str) -> bool {
    !unit_words::meanings(cell).is_empty()
}

fn is_units(row: &GridRow) -> bool {
    let filled = told_cells(row);
    let words = filled.iter().filter(|cell| is_unit_word(cell)).count();
    words >= 2 && share(words, filled.len()) >= 0.5
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(text: &str) -> Vec<GridRow> {
        let row = |(place, line): (usize, &str)| GridRow {
            line: place + 1,
            cells: line.split(';').map(str::to_owned).collect(),
        };
        text.lines().enumerate().map(row).collect()
    }

    #[test]
    fn headers_are_found_under_titles_and_above_units() {
        let guess = |text: &str| find_header(&grid(text)).map(|found| (found.header, found.units, found.merged));
        assert_eq!(guess("No;Speed;Club\n1;62.1;Driver"), Some((vec![0], None, false)));
        assert_eq!(guess("No;Speed;Spin\n;m/s;rpm\n1;62.1;2700"), Some((vec![0], Some(1), false)));
        assert_eq!(guess("Export of today\n\nNo;Speed;Spin\n1;62.1;2700"), Some((vec![2], None, false)));
        assert_eq!(
            guess("No;Ball;;Club\n;Speed;Spin;Speed\n1;62.1;2700;44\n2;60;2800;43"),
            Some((vec![0, 1], None, true))
        );
        assert_eq!(guess("1;62.1;2700\n2;62.0;2710"), None);
        assert_eq!(guess("a;b\nc;d"), None);
        assert_eq!(guess(""), None);
    }
}
