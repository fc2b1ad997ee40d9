//! Bay 5: a workbook a session, Dutch words, metric, with merged header cells, a row of units and a sheet of sums.

use chrono::NaiveDateTime;
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Formula, Workbook, Worksheet, XlsxError};
use shot::{Intent, Quantity};

use super::export::{Content, Export, rounded};
use super::record::{DemoShot, Recorded};

/// Row of the first shot in the sheet, from 1.
pub const FIRST_ROW: usize = 11;
/// Row of the lower header, from 0; the groups stand above, the units below.
const HEADER_ROW: u32 = 8;
/// Kilometres per hour in one metre per second.
const KMH_PER_MPS: f64 = 3.6;

const GROUPS: [(&str, u16); 4] = [("Slag", 5), ("Bal", 5), ("Kop", 4), ("Landing", 2)];
const HEADER: [&str; 16] = [
    "nr", "tijd", "wie", "stok", "doel", "tempo", "klim", "koers", "toeren", "helling", "tempo", "stijging", "baan",
    "blad", "ver", "opzij",
];
const UNITS: [&str; 16] = ["", "", "", "", "", "km/u", "gr", "gr", "t/min", "gr", "km/u", "gr", "gr", "gr", "m", "m"];

/// One cell of a sheet.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Nothing.
    Empty,
    /// A number.
    Number(f64),
    /// A text.
    Text(String),
    /// A date with its time of day, to the second.
    Moment(NaiveDateTime),
}

/// A workbook of one session.
#[derive(Debug, Clone, PartialEq)]
pub struct Book {
    /// Key and value above the header.
    pub about: Vec<(&'static str, Cell)>,
    /// A row a shot.
    pub rows: Vec<Vec<Cell>>,
    /// When the device saved it; it stands in the document's properties.
    pub saved: NaiveDateTime,
}

/// Writes a session as the device of bay 5 does.
pub fn export(recorded: &Recorded) -> Export {
    let session = &recorded.session;
    let air = &recorded.weather.air;
    let book = Book {
        about: vec![
            ("Baan", Cell::Number(5.0)),
            ("Bladzijde", Cell::Text(session.text())),
            ("Lucht", Cell::Number(air.temperature_c)),
            ("Druk", Cell::Number(air.pressure_hpa)),
            ("Vocht", Cell::Number(air.humidity_pct)),
        ],
        rows: recorded.shots.iter().map(row).collect(),
        saved: recorded.shots.last().map_or(session.start, |shot| shot.local),
    };
    Export { path: session.path(), content: Content::Book(book) }
}

fn row(shot: &DemoShot) -> Vec<Cell> {
    let mut cells = vec![
        Cell::Number(shot.number as f64),
        Cell::Moment(shot.local),
        Cell::Text(shot.logged_as.to_uppercase()),
        Cell::Text(club_word(shot.club_id).to_owned()),
        Cell::Text(purpose(shot.intent).to_owned()),
    ];
    let numbers = [
        (Quantity::BallSpeedMps, KMH_PER_MPS, 1),
        (Quantity::LaunchElevationDeg, 1.0, 1),
        (Quantity::LaunchAzimuthDeg, 1.0, 1),
        (Quantity::SpinRpm, 1.0, 0),
        (Quantity::SpinTiltDeg, 1.0, 1),
        (Quantity::ClubSpeedMps, KMH_PER_MPS, 1),
        (Quantity::AttackDeg, 1.0, 1),
        (Quantity::PathDeg, 1.0, 1),
        (Quantity::FaceDeg, 1.0, 1),
        (Quantity::CarryM, 1.0, 1),
        (Quantity::LateralM, 1.0, 1),
    ];
    for (quantity, factor, decimals) in numbers {
        let value = shot.observed.value(quantity);
        cells.push(value.map_or(Cell::Empty, |value| Cell::Number(rounded(value * factor, decimals))));
    }
    cells
}

impl Book {
    /// The workbook as xlsx. The document's date is the session's, so that the bytes are the same on every run.
    pub fn bytes(&self) -> Result<Vec<u8>, XlsxError> {
        let moment = Format::new().set_num_format("dd-mm-yyyy hh:mm:ss");
        let bold = Format::new().set_bold();
        let mut workbook = Workbook::new();
        let saved = ExcelDateTime::parse_from_str(&self.saved.format("%Y-%m-%dT%H:%M:%S").to_string())?;
        workbook.set_properties(&DocProperties::new().set_creation_datetime(&saved));

        let sheet = workbook.add_worksheet();
        sheet.set_name("Slagen")?;
        sheet.merge_range(0, 0, 0, 5, "Boekje van de oefenbaan", &bold)?;
        for (line, (key, value)) in (1..).zip(&self.about) {
            sheet.write(line, 0, *key)?;
            write(sheet, line, 1, value, &moment)?;
        }
        let mut column = 0;
        for (name, width) in GROUPS {
            sheet.merge_range(HEADER_ROW - 1, column, HEADER_ROW - 1, column + width - 1, name, &bold)?;
            column += width;
        }
        for (column, (name, unit)) in (0..).zip(HEADER.iter().zip(UNITS)) {
            sheet.write(HEADER_ROW, column, *name)?;
            if !unit.is_empty() {
                sheet.write(HEADER_ROW + 1, column, unit)?;
            }
        }
        for (line, cells) in (HEADER_ROW + 2..).zip(&self.rows) {
            for (column, cell) in (0..).zip(cells) {
                write(sheet, line, column, cell, &moment)?;
            }
        }

        let sums = workbook.add_worksheet();
        sums.set_name("Sommen")?;
        sums.write(0, 0, "slagen")?;
        sums.write(0, 1, self.rows.len() as f64)?;
        sums.write(1, 0, "hoogste tempo")?;
        let last_row = FIRST_ROW + self.rows.len().max(1) - 1;
        let fastest = self.rows.iter().filter_map(|cells| match cells.get(5) {
            Some(Cell::Number(speed)) => Some(*speed),
            _ => None,
        });
        let fastest = fastest.fold(0.0, f64::max).to_string();
        sums.write(1, 1, Formula::new(format!("=MAX(Slagen!F{FIRST_ROW}:F{last_row})")).set_result(fastest))?;
        workbook.save_to_buffer()
    }
}

fn write(sheet: &mut Worksheet, line: u32, column: u16, cell: &Cell, moment: &Format) -> Result<(), XlsxError> {
    match cell {
        Cell::Empty => {}
        Cell::Number(number) => {
            sheet.write(line, column, *number)?;
        }
        Cell::Text(text) => {
            sheet.write(line, column, text)?;
        }
        Cell::Moment(local) => {
            let local = ExcelDateTime::parse_from_str(&local.format("%Y-%m-%dT%H:%M:%S").to_string())?;
            sheet.write_with_format(line, column, &local, moment)?;
        }
    }
    Ok(())
}

fn club_word(club_id: &str) -> &'static str {
    match club_id {
        "3-wood" => "hout 3",
        "7-iron" => "ijzer 7",
        _ => "hout 1",
    }
}

fn purpose(intent: Intent) -> &'static str {
    match intent {
        Intent::Play => "spel",
        Intent::Drill => "oefening",
        Intent::Partial => "halve",
        Intent::Demonstration => "voorbeeld",
        Intent::WarmUp => "inslaan",
    }
}
