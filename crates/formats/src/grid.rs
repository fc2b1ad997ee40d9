//! A grid on the club face: words of cells to positions from the face centre.

use std::collections::BTreeMap;

/// Most columns, and most rows; a face has room for fewer (common practice, no source).
pub(crate) const MOST_WORDS: usize = 100;

/// The words along one side of a grid, in the order in which they are written.
#[derive(Debug, Clone)]
pub(crate) struct Axis {
    pub words: Vec<String>,
    /// Whether the positions grow from the first word to the last.
    pub grows: bool,
    /// Width of one cell along this side, mm.
    pub size_mm: f64,
}

impl Axis {
    /// Middle of a cell, in mm from the middle of the cell at `centre`.
    fn position_mm(&self, index: usize, centre: usize) -> f64 {
        let steps = index.abs_diff(centre) as f64;
        if steps > 0.0 && (index > centre) != self.grows { -steps * self.size_mm } else { steps * self.size_mm }
    }

    fn positions_mm(&self, centre: usize) -> Vec<f64> {
        (0..self.words.len()).map(|index| self.position_mm(index, centre)).collect()
    }
}

/// A grid whose cells all have a position.
#[derive(Debug, Clone)]
pub(crate) struct Grid {
    columns: Vec<String>,
    rows: Vec<String>,
    /// Column and row of a folded cell text.
    cells: BTreeMap<String, (usize, Option<usize>)>,
    toe_mm: Vec<f64>,
    up_mm: Vec<f64>,
}

/// Why a grid cannot be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum GridFault {
    /// Two cells would be written alike.
    Alike(String),
    /// The centre is none of the cells.
    NoCentre,
}

impl Grid {
    /// The grid over `columns` (heel to toe) and `rows` (up the face), with the cell `centre` on the face centre.
    pub fn new(columns: &Axis, rows: Option<&Axis>, centre: &str) -> Result<Grid, GridFault> {
        let row_words = rows.map_or(&[][..], |rows| &rows.words);
        let mut cells = BTreeMap::new();
        for (column, column_word) in columns.words.iter().enumerate() {
            if rows.is_none() {
                note_cell(&mut cells, column_word.clone(), (column, None))?;
            }
            for (row, row_word) in row_words.iter().enumerate() {
                note_cell(&mut cells, format!("{column_word}{row_word}"), (column, Some(row)))?;
            }
        }
        let (centre_column, centre_row) = cells.get(&folded(centre)).copied().ok_or(GridFault::NoCentre)?;
        Ok(Grid {
            toe_mm: columns.positions_mm(centre_column),
            up_mm: rows.map_or_else(Vec::new, |rows| rows.positions_mm(centre_row.unwrap_or_default())),
            columns: columns.words.clone(),
            rows: row_words.to_vec(),
            cells,
        })
    }

    /// Position of a cell, mm toward the toe and toward the crown; no height where the grid has no rows.
    pub fn cell(&self, text: &str) -> Option<(f64, Option<f64>)> {
        let (column, row) = *self.cells.get(&folded(text))?;
        Some((*self.toe_mm.get(column)?, row.and_then(|row| self.up_mm.get(row).copied())))
    }

    /// Position of a column, mm toward the toe.
    pub fn column(&self, text: &str) -> Option<f64> {
        let index = index_of(&self.columns, text)?;
        self.toe_mm.get(index).copied()
    }

    /// Position of a row, mm toward the crown.
    pub fn row(&self, text: &str) -> Option<f64> {
        let index = index_of(&self.rows, text)?;
        self.up_mm.get(index).copied()
    }

    /// Every position that a column or a row has, mm.
    pub fn positions_mm(&self) -> (&[f64], &[f64]) {
        (&self.toe_mm, &self.up_mm)
    }

    /// The words of the grid, for hints.
    pub fn listing(&self) -> String {
        let columns = format!("the grid of the pack has the columns {}", self.columns.join(" "));
        if self.rows.is_empty() { columns } else { format!("{columns} and the rows {}", self.rows.join(" ")) }
    }
}

type Cells = BTreeMap<String, (usize, Option<usize>)>;

fn note_cell(cells: &mut Cells, text: String, place: (usize, Option<usize>)) -> Result<(), GridFault> {
    match cells.insert(folded(&text), place) {
        Some(_) => Err(GridFault::Alike(text)),
        None => Ok(()),
    }
}

/// A person notes `c 2` for `C2`.
pub(crate) fn folded(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace()).flat_map(char::to_lowercase).collect()
}

fn index_of(words: &[String], text: &str) -> Option<usize> {
    let wanted = folded(text);
    words.iter().position(|word| folded(word) == wanted)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axis(words: &str, grows: bool, size_mm: f64) -> Axis {
        Axis { words: words.chars().map(String::from).collect(), grows, size_mm }
    }

    #[test]
    fn cells_lie_where_a_ruler_finds_them() {
        // [derived by hand: whole cells from the centre cell, times the size of a cell]
        let grid = Grid::new(&axis("ABCDE", true, 10.0), Some(&axis("123", false, 8.0)), "C2").expect("a grid");
        let cases = [
            ("C2", (0.0, 0.0)),
            ("A1", (-20.0, 8.0)),
            ("e 3", (20.0, -8.0)),
            (" D1 ", (10.0, 8.0)),
            ("b2", (-10.0, 0.0)),
        ];
        for (text, (toe, up)) in cases {
            assert_eq!(grid.cell(text), Some((toe, Some(up))), "{text}");
        }
        for text in ["", "F1", "C4", "C", "2C", "C22", "C2 C2"] {
            assert_eq!(grid.cell(text), None, "{text}");
        }
        assert_eq!((grid.column("d"), grid.row("3"), grid.row("4")), (Some(10.0), Some(-8.0), None));
    }

    #[test]
    fn the_order_of_the_words_turns_the_sign() {
        let toe_first = Grid::new(&axis("ABCDE", false, 6.0), Some(&axis("123", true, 5.0)), "B1").expect("a grid");
        assert_eq!(toe_first.cell("A3"), Some((6.0, Some(10.0))));
        assert_eq!(toe_first.cell("E1"), Some((-18.0, Some(0.0))));
    }

    #[test]
    fn a_grid_without_rows_has_no_height() {
        let grid = Grid::new(&axis("123", true, 15.0), None, "2").expect("a grid");
        assert_eq!(grid.cell("3"), Some((15.0, None)));
        assert_eq!(grid.listing(), "the grid of the pack has the columns 1 2 3");
    }

    #[test]
    fn doubtful_grids_are_refused() {
        let words = |words: &[&str]| Axis {
            words: words.iter().map(|word| (*word).to_owned()).collect(),
            grows: true,
            size_mm: 1.0,
        };
        let alike = Grid::new(&words(&["A", "A1"]), Some(&words(&["1", "11"])), "A1").expect_err("A + 11 is A1 + 1");
        assert_eq!(alike, GridFault::Alike("A11".to_owned()));
        assert!(Grid::new(&words(&["A", "a"]), None, "A").is_err(), "capitals do not tell cells apart");
        assert_eq!(Grid::new(&words(&["A"]), None, "B").expect_err("no such cell"), GridFault::NoCentre);
    }
}
