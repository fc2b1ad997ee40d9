//! `expected.csv` as a drafted pack itself reads its sample. It proves nothing until a person has compared it with the device.

use shot::Quantity;

use crate::pack::ParsedFile;
use crate::proof::{TEXT_COLUMNS, text_of};

/// Writes the rows and problems of a file.
pub(super) fn expected_csv(file: &ParsedFile) -> String {
    let texts: Vec<&str> = TEXT_COLUMNS
        .into_iter()
        .filter(|column| file.shots.iter().any(|shot| !text_of(shot, column).is_empty()))
        .collect();
    let numbers: Vec<Quantity> = Quantity::all()
        .filter(|quantity| file.shots.iter().any(|shot| shot.measures.get(*quantity).is_some()))
        .collect();
    let mut rows: Vec<Vec<String>> = Vec::new();
    let mut header: Vec<String> = vec!["source_row".to_owned(), "problem".to_owned()];
    header.extend(texts.iter().map(|column| (*column).to_owned()));
    header.extend(numbers.iter().map(|quantity| quantity.name().to_owned()));

    let mut lines: Vec<i64> = file.shots.iter().map(|shot| shot.source_row).collect();
    lines.extend(file.problems.iter().map(|problem| problem.line));
    lines.sort_unstable();
    lines.dedup();
    for line in lines {
        let mut rules: Vec<&str> =
            file.problems.iter().filter(|problem| problem.line == line).map(|problem| problem.rule.as_str()).collect();
        rules.sort_unstable();
        rules.dedup();
        let mut row = vec![line.to_string(), rules.join(";")];
        match file.shots.iter().find(|shot| shot.source_row == line) {
            Some(shot) => {
                row.extend(texts.iter().map(|column| text_of(shot, column)));
                row.extend(numbers.iter().map(|quantity| {
                    shot.measures.get(*quantity).map_or_else(String::new, |value| format!("{value:.4}"))
                }));
            }
            None => row.resize(header.len(), String::new()),
        }
        rows.push(row);
    }
    let mut text = String::from(
        "# Written by the drafted pack itself on its first reading of the sample: this proves nothing yet.\n\
         # Compare each row by hand with the device's own display, mend what is wrong, then delete these lines.\n",
    );
    text.push_str(&line_of(&header));
    for row in &rows {
        text.push_str(&line_of(row));
    }
    text
}

fn line_of(cells: &[String]) -> String {
    let quoted: Vec<String> = cells
        .iter()
        .enumerate()
        .map(|(place, cell)| {
            // A row that begins with # would be taken for a comment.
            if cell.contains([',', '"', '\n', '\r']) || (place == 0 && cell.starts_with('#')) {
                format!("\"{}\"", cell.replace('"', "\"\""))
            } else {
                cell.clone()
            }
        })
        .collect();
    format!("{}\n", quoted.join(","))
}
