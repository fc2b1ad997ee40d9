//! What goes wrong at a real academy: broken rows, a copied export, a note that is no export.

use super::export::Export;
use super::timetable::Bay;

/// What the demo drops into bay 2 beside exports: somebody's notes.
pub const NOTE_PATH: &str = "bay2/range_notes.csv";

/// The text of the note. It has commas and a tempting name, and not one shot.
pub const NOTE: &str = "Notes from the bay, week of the clock change\n\
    mat of bay 2, left side worn, turn it round\n\
    new tees are in the drawer, the tall ones are for the drivers\n\
    please log in under your own name, the last visitor did not\n";

/// Breaks some shots' lines of an export; returns the positions of the broken shots, each with what is wrong.
pub fn break_lines(export: &mut Export, bay: Bay) -> Vec<(usize, &'static str)> {
    let breaks: &[(usize, &'static str)] = match bay {
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
        Bay::One => {
            &[(3, "letters among the digits"), (7, "fields missing at the end"), (11, "a date that does not exist")]
        }
    };
    let mut broken = Vec::new();
    for (position, wrong) in breaks {
        let Some(line) = export.shots.get_mut(*position) else { continue };
        *line = match bay {
            Bay::One => break_cells(line, ';', 5, 1, "2026-02-30 19:04:11,120", wrong),
            Bay::Two => break_cells(line, ',', 10, 1, "13/45/2026", wrong),
            Bay::Three => break_object(line, wrong),
        };
        broken.push((*position, *wrong));
    }
    broken
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

/// The name that somebody gave a copy made by hand.
pub fn name_of_copy(path: &str) -> String {
    path.replace("_bay2", "_second_bay2")
}
