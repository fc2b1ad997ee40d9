//! What goes wrong at a real academy: broken rows, a copied export, a note that is no export.

use super::export::{Content, Export};
use super::range_book::Cell;
use super::tee_columns::Row;
use super::timetable::Bay;

/// What the demo drops into bay 2 beside exports: somebody's notes.
pub const NOTE_PATH: &str = "bay2/range_notes.csv";

/// The text of the note. It has commas and a tempting name, and not one shot.
pub const NOTE: &str = "Notes from the bay, week of the clock change\n\
    mat of bay 2, left side worn, turn it round\n\
    new tees are in the drawer, the tall ones are for the drivers\n\
    please log in under your own name, the last visitor did not\n";

/// Positions of the shots to break, and what becomes wrong with each.
fn breaks(bay: Bay) -> &'static [(usize, &'static str)] {
    match bay {
        Bay::One => {
            &[(3, "letters among the digits"), (7, "fields missing at the end"), (11, "a date that does not exist")]
        }
        Bay::Two => &[
            (5, "letters among the digits"),
            (9, "fields missing at the end"),
            (13, "a ball faster than any"),
            (17, "a date that does not exist"),
            (21, "two fields too many"),
        ],
        Bay::Three => {
            &[(4, "line cut off in the middle"), (8, "a word in place of a number"), (12, "a ball faster than any")]
        }
        Bay::Four => {
            &[(2, "letters among the digits"), (6, "a unit that nobody knows"), (10, "an hour that does not exist")]
        }
        Bay::Five => {
            &[(4, "a word in place of a number"), (9, "a ball faster than any"), (14, "a date that does not exist")]
        }
        Bay::Six => &[(3, "a value left out"), (8, "a word in place of a number")],
        Bay::TeeOne => &[(5, "no time"), (10, "a ball faster than any"), (15, "a club that nobody knows")],
    }
}

/// Breaks some shots of an export; returns the positions of the broken shots, each with what is wrong.
pub fn break_rows(export: &mut Export, bay: Bay) -> Vec<(usize, &'static str)> {
    let mut broken = Vec::new();
    for (position, wrong) in breaks(bay) {
        let done = match &mut export.content {
            Content::Lines(lines) => lines.shot_mut(*position).map(|line| *line = broken_line(line, bay, wrong)),
            Content::Book(book) => book.rows.get_mut(*position).map(|cells| break_cells_of_sheet(cells, wrong)),
            Content::Columns(columns) => columns.rows.get_mut(*position).map(|row| break_row(row, wrong)),
        };
        if done.is_some() {
            broken.push((*position, *wrong));
        }
    }
    broken
}

fn broken_line(line: &str, bay: Bay, wrong: &str) -> String {
    match bay {
        Bay::One => break_cells(line, ';', 5, 1, "2026-02-30 19:04:11,120", wrong),
        Bay::Four => break_element(line, wrong),
        Bay::Three => break_object(line, wrong),
        Bay::Six => break_stroke(line, wrong),
        _ => break_cells(line, ',', 10, 1, "13/45/2026", wrong),
    }
}

fn break_cells(line: &str, separator: char, speed: usize, date: usize, no_date: &str, wrong: &str) -> String {
    let mut cells: Vec<String> = line.split(separator).map(str::to_owned).collect();
    match wrong {
        "letters among the digits" => cells[speed] = format!("{}O{}", &cells[speed][..1], &cells[speed][2..]),
        "fields missing at the end" => cells.truncate(9),
        "a ball faster than any" => "412.0".clone_into(&mut cells[speed]),
        "a date that does not exist" => no_date.clone_into(&mut cells[date]),
        _ => cells.extend(["7".to_owned(), "?".to_owned()]),
    }
    cells.join(&separator.to_string())
}

fn break_object(line: &str, wrong: &str) -> String {
    let (before, after) = line.split_once("\"ball\":{\"v\":").unwrap_or((line, ""));
    let rest = after.split_once(',').map_or("", |(_, rest)| rest);
    match wrong {
        "a word in place of a number" => format!("{before}\"ball\":{{\"v\":\"fast\",{rest}"),
        "a ball faster than any" => format!("{before}\"ball\":{{\"v\":184.2,{rest}"),
        _ => before.to_owned(),
    }
}

fn break_element(line: &str, wrong: &str) -> String {
    match wrong {
        "letters among the digits" => line.replacen("<montee unite=\"°\">", "<montee unite=\"°\">l", 1),
        "a unit that nobody knows" => line.replacen("<cap unite=\"°\">", "<cap unite=\"points\">", 1),
        _ => line.replacen("heure=\"1", "heure=\"7", 1),
    }
}

fn break_stroke(line: &str, wrong: &str) -> String {
    let (before, after) = line.split_once("\"rapidez\":{\"valor\":").unwrap_or((line, ""));
    let rest = after.split_once(',').map_or("", |(_, rest)| rest);
    let value = if wrong == "a value left out" { "" } else { "\"mucha\"" };
    format!("{before}\"rapidez\":{{\"valor\":{value},{rest}")
}

fn break_cells_of_sheet(cells: &mut [Cell], wrong: &str) {
    let (time, speed) = (1, 5);
    match wrong {
        "a word in place of a number" => cells[speed] = Cell::Text("snel".to_owned()),
        "a ball faster than any" => cells[speed] = Cell::Number(812.4),
        _ => cells[time] = Cell::Text("31-11-2026".to_owned()),
    }
}

fn break_row(row: &mut Row, wrong: &str) {
    match wrong {
        "no time" => row.struck = None,
        "a ball faster than any" => row.ball[0] = Some(988.0),
        _ => "broom".clone_into(&mut row.stick),
    }
}

/// The name that somebody gave a copy made by hand.
pub fn name_of_copy(path: &str) -> String {
    path.replace("_bay2", "_second_bay2")
}
