//! A look at the demo's files without the generator's help and without the mapping packs.

use std::io::{Cursor, Write as _};

use academy::demo::Demo;
use arrow::array::{Array, AsArray};
use arrow::datatypes::{Float64Type, Int16Type, TimestampMillisecondType};
use calamine::{Data, Reader, Xlsx};
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

/// One shot's row of an export as it stands there.
pub struct ShotRow {
    /// Line, row of the sheet, or number of the record.
    pub row: usize,
    /// The shot's number, in small letters.
    pub number: String,
    /// Whom the device took for the player, in small letters.
    pub name: String,
    /// Everything in the row; cells are joined by `;`.
    pub text: String,
}

/// The text of a file of the demo.
pub fn text_of(demo: &Demo, path: &str) -> String {
    let bytes = &demo.contents[path];
    if bytes.starts_with(&[0xff, 0xfe]) {
        let units: Vec<u16> = bytes[2..].chunks(2).map(|pair| u16::from_le_bytes([pair[0], pair[1]])).collect();
        return String::from_utf16(&units).unwrap();
    }
    String::from_utf8(bytes.clone()).unwrap()
}

/// The rows of an export that hold a shot, found by the look of each format.
pub fn shot_rows(demo: &Demo, path: &str) -> Vec<ShotRow> {
    match &path[..4] {
        "bay1" => lines(demo, path, 7, |line, _| (cell(line, ';', 0), cell(line, ';', 2))),
        "bay2" => lines(demo, path, 2, |line, _| (cell(line, ',', 0), cell(line, ',', 3))),
        "bay3" => lines(demo, path, 0, |line, _| (between(line, "\"shot\":", ","), between(line, "\"who\":\"", "\""))),
        "bay4" => lines(demo, path, 3, |line, group| {
            (between(line, "<coup rang=\"", "\""), between(group, "joueur=\"", "\""))
        }),
        "bay5" => sheet_rows(demo, path),
        "bay6" => lines(demo, path, 1, |line, group| {
            (between(line, "{\"orden\":", ","), between(group, "\"quien\":\"", "\""))
        }),
        _ => column_rows(demo, path),
    }
}

fn cell(line: &str, separator: char, position: usize) -> String {
    line.split(separator).nth(position).unwrap_or_default().to_owned()
}

fn between(line: &str, before: &str, after: &str) -> String {
    line.split(before).nth(1).and_then(|rest| rest.split(after).next()).unwrap_or_default().to_owned()
}

/// Number and name are taken from the line and from the last line that opened a group; a line without number holds no shot.
fn lines(demo: &Demo, path: &str, above: usize, take: fn(&str, &str) -> (String, String)) -> Vec<ShotRow> {
    let text = text_of(demo, path);
    let mut group = "";
    let mut rows = Vec::new();
    for (index, line) in text.lines().enumerate().skip(above) {
        if line.contains("<serie ") || line.starts_with("{\"quien\"") {
            group = line;
        }
        let (number, name) = take(line, group);
        if !number.is_empty() {
            rows.push(ShotRow { row: index + 1, number, name: name.to_lowercase(), text: line.to_owned() });
        }
    }
    rows
}

fn sheet_rows(demo: &Demo, path: &str) -> Vec<ShotRow> {
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(demo.contents[path].clone())).unwrap();
    assert_eq!(book.sheet_names(), ["Slagen", "Sommen"], "{path}");
    let sheet = book.worksheet_range("Slagen").unwrap();
    assert_eq!(sheet.start(), Some((0, 0)));
    let mut rows = Vec::new();
    for (index, cells) in sheet.rows().enumerate().skip(10) {
        let texts: Vec<String> = cells.iter().map(Data::to_string).collect();
        rows.push(ShotRow {
            row: index + 1,
            number: texts[0].clone(),
            name: texts[2].to_lowercase(),
            text: texts.join(";"),
        });
    }
    rows
}

fn column_rows(demo: &Demo, path: &str) -> Vec<ShotRow> {
    let mut file = tempfile::tempfile().unwrap();
    file.write_all(&demo.contents[path]).unwrap();
    let mut rows = Vec::new();
    for batch in ParquetRecordBatchReaderBuilder::try_new(file).unwrap().build().unwrap() {
        let batch = batch.unwrap();
        let number = batch["turn"].as_primitive::<Int16Type>();
        let golfer = batch["golfer"].as_string::<i32>();
        let struck = batch["struck"].as_primitive::<TimestampMillisecondType>();
        let pace = batch["ball"].as_struct()["pace"].as_primitive::<Float64Type>();
        let stick = batch["stick"].as_string::<i32>();
        for index in 0..batch.num_rows() {
            let time = if struck.is_null(index) { String::new() } else { struck.value(index).to_string() };
            let text = format!("{};{time};{};{}", number.value(index), stick.value(index), pace.value(index));
            let (number, name) = (number.value(index).to_string(), golfer.value(index).to_lowercase());
            rows.push(ShotRow { row: rows.len() + 1, number, name, text });
        }
    }
    rows
}
