//! The tee in the open: a Parquet file a session with nested columns in feet, yards and knots; the landing and the wind are measured.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, Float64Array, Int16Array, RecordBatch, StringArray, StructArray, TimestampMillisecondArray,
};
use arrow::datatypes::{DataType, Field, Fields};
use arrow::error::ArrowError;
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use shot::{Intent, Quantity};

use super::export::{Content, Export, rounded};
use super::record::{DemoShot, Recorded};
use crate::device::{HPA_PER_INCH_OF_MERCURY, M_PER_FOOT, M_PER_YARD, MPS_PER_KNOT, fahrenheit};

/// How a column is written: name, quantity, our units in one of the device's (negative where the sign is the other way), decimals.
type Printed = (&'static str, Quantity, f64, usize);

const BALL: [Printed; 5] = [
    ("pace", Quantity::BallSpeedMps, M_PER_FOOT, 1),
    ("climb", Quantity::LaunchElevationDeg, 1.0, 2),
    ("bearing", Quantity::LaunchAzimuthDeg, 1.0, 2),
    ("whirl", Quantity::SpinRpm, 60.0, 2),
    ("list", Quantity::SpinTiltDeg, 1.0, 1),
];
const DOWN: [Printed; 4] = [
    ("reach", Quantity::CarryM, M_PER_YARD, 1),
    ("right_of_line", Quantity::LateralM, M_PER_YARD, 1),
    ("top", Quantity::PeakHeightM, M_PER_FOOT, 1),
    ("aloft", Quantity::FlightTimeS, 1.0, 2),
];
const BREEZE: [Printed; 2] =
    [("against", Quantity::WindAlongMps, -MPS_PER_KNOT, 1), ("from_left", Quantity::WindAcrossMps, MPS_PER_KNOT, 1)];
const HEAD_PACE: Printed = ("head_pace", Quantity::ClubSpeedMps, M_PER_FOOT, 1);

/// One row of the file.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Number of the shot.
    pub turn: i16,
    /// Milliseconds since 1970.
    pub struck: Option<i64>,
    golfer: String,
    /// Word for the club.
    pub stick: String,
    sake: &'static str,
    head_pace: Option<f64>,
    /// Pace, climb, bearing, whirl, list.
    pub ball: [Option<f64>; 5],
    down: [Option<f64>; 4],
    breeze: [Option<f64>; 2],
}

/// A column file of one session.
#[derive(Debug, Clone, PartialEq)]
pub struct Columns {
    /// Key-value metadata.
    about: Vec<(&'static str, String)>,
    /// Warmth in degrees Fahrenheit, weight in inches of mercury, damp as a share.
    weather: [f64; 3],
    /// A row a shot.
    pub rows: Vec<Row>,
}

/// Writes a session as the device of the tee does.
pub fn export(recorded: &Recorded) -> Export {
    let session = &recorded.session;
    let air = &recorded.weather.air;
    let columns = Columns {
        about: vec![("tee", session.bay.id().to_owned()), ("outing", session.text()), ("place", "open air".to_owned())],
        weather: [
            rounded(fahrenheit(air.temperature_c), 1),
            rounded(air.pressure_hpa / HPA_PER_INCH_OF_MERCURY, 2),
            rounded(air.humidity_pct / 100.0, 2),
        ],
        rows: recorded.shots.iter().map(row).collect(),
    };
    Export { path: session.path(), content: Content::Columns(columns) }
}

fn row(shot: &DemoShot) -> Row {
    let printed = |(_, quantity, unit, decimals): Printed| {
        shot.observed.value(quantity).map(|value| rounded(value / unit, decimals))
    };
    Row {
        turn: i16::try_from(shot.number).unwrap_or(i16::MAX),
        struck: Some(shot.at.timestamp_millis()),
        golfer: super::with_capital(shot.logged_as),
        stick: stick(shot.club_id).to_owned(),
        sake: sake(shot.intent),
        head_pace: printed(HEAD_PACE),
        ball: BALL.map(printed),
        down: DOWN.map(printed),
        breeze: BREEZE.map(printed),
    }
}

impl Columns {
    /// The file as Parquet. Nothing in it depends on when it is written.
    pub fn bytes(&self) -> Result<Vec<u8>, ParquetError> {
        let batch = self.batch()?;
        let about = self.about.iter().map(|(key, value)| KeyValue::new((*key).to_owned(), value.clone())).collect();
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_statistics_enabled(EnabledStatistics::None)
            .set_created_by("tee-columns device 1".to_owned())
            .set_key_value_metadata(Some(about))
            .build();
        let mut bytes = Vec::new();
        let mut writer = ArrowWriter::try_new(&mut bytes, batch.schema(), Some(properties))?;
        writer.write(&batch)?;
        writer.close()?;
        Ok(bytes)
    }

    fn batch(&self) -> Result<RecordBatch, ArrowError> {
        let text = |cell: fn(&Row) -> &str| -> ArrayRef {
            Arc::new(self.rows.iter().map(|row| Some(cell(row))).collect::<StringArray>())
        };
        let struck: TimestampMillisecondArray = self.rows.iter().map(|row| row.struck).collect();
        let weather = |position: usize| -> ArrayRef {
            Arc::new(Float64Array::from(vec![self.weather[position]; self.rows.len()]))
        };
        RecordBatch::try_from_iter_with_nullable([
            ("turn", Arc::new(self.rows.iter().map(|row| Some(row.turn)).collect::<Int16Array>()) as ArrayRef, true),
            ("struck", Arc::new(struck.with_timezone(super::timetable::ZONE.name())), true),
            ("golfer", text(|row| &row.golfer), true),
            ("stick", text(|row| &row.stick), true),
            ("sake", text(|row| row.sake), true),
            (HEAD_PACE.0, numbers(self.rows.iter().map(|row| row.head_pace)), true),
            ("ball", self.group(&BALL, |row, position| row.ball[position])?, true),
            ("down", self.group(&DOWN, |row, position| row.down[position])?, true),
            ("breeze", self.group(&BREEZE, |row, position| row.breeze[position])?, true),
            ("weather", group(&["warmth", "weight", "damp"], vec![weather(0), weather(1), weather(2)])?, true),
        ])
    }

    fn group(&self, printed: &[Printed], cell: fn(&Row, usize) -> Option<f64>) -> Result<ArrayRef, ArrowError> {
        let names: Vec<&str> = printed.iter().map(|(name, ..)| *name).collect();
        let columns = (0..printed.len()).map(|position| numbers(self.rows.iter().map(|row| cell(row, position))));
        group(&names, columns.collect())
    }
}

fn numbers(cells: impl Iterator<Item = Option<f64>>) -> ArrayRef {
    Arc::new(cells.collect::<Float64Array>())
}

fn group(names: &[&str], columns: Vec<ArrayRef>) -> Result<ArrayRef, ArrowError> {
    let fields: Fields = names.iter().map(|name| Field::new(*name, DataType::Float64, true)).collect();
    Ok(Arc::new(StructArray::try_new(fields, columns, None)?))
}

fn stick(club_id: &str) -> &'static str {
    match club_id {
        "3-wood" => "wood three",
        "7-iron" => "iron seven",
        _ => "big wood",
    }
}

fn sake(intent: Intent) -> &'static str {
    match intent {
        Intent::Play => "for real",
        Intent::Drill => "for training",
        Intent::Partial => "not in full",
        Intent::Demonstration => "to show",
        Intent::WarmUp => "to get warm",
    }
}
