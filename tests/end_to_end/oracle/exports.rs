//! Exports whose every row is known: what a device would write, and under which identity each row must stand in the lake.

use std::fmt::Write as _;

use super::draws::Draws;

/// The mapping pack of this proof: the session text of a row is its identity, so that the lake tells which row it holds.
pub const PACK: &str = r#"name = "proof-rows"
version = "1.0.0"
title = "Rows with known identities"
engine = "delimited"

[recognise]
contains = ["Row,Moment,Golfer,Tool,Pace,Rise"]

[schema]
fieldsMatch = "equal"
fields = ["Row", "Moment", "Golfer", "Tool", "Pace", "Rise"]

[time]
parts = [{ field = "Moment" }]
format = "%Y-%m-%d %H:%M:%S"

[shot]
session = { field = "Row", required = true }
shot = { constant = "1" }
player = { field = "Golfer" }

[shot.club]
field = "Tool"
required = true

[shot.club.values]
Driver = { clubId = "driver", clubKind = "driver" }

[measures.ball_speed_mps]
field = "Pace"
unit = "m/s"
measured = true
standardDeviation = 0.2
required = true

[measures.launch_elevation_deg]
field = "Rise"
unit = "deg"
measured = true
"#;
const PACK_HEADER: &str = "Row,Moment,Golfer,Tool,Pace,Rise\n";

const IMPERIAL_HEADER: &str = "No,Date,Clock,Golfer,Implement,Purpose,Head Pace,Up/Down,Sweep,Aim of Face,Ball Pace,Rise,\
    Start Line,Total Turn,Axis Lean,Landed,Off Line\n,M/D/Y,local,,,,mph,deg,deg,deg,mph,deg,deg,rpm,deg,yd,yd\n";

/// Months of the rows: several partitions, and none in which Dublin's clock differs from UTC.
const MONTHS: [(i32, u32); 4] = [(2025, 11), (2025, 12), (2026, 1), (2026, 2)];

/// Which pack reads a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The pack of this proof.
    Own,
    /// The shipped `plain-imperial`: bay, time and number identify a shot.
    Imperial,
    /// The shipped `strike-lines`.
    Lines,
}

/// One row of an export.
#[derive(Debug, Clone)]
pub struct Row {
    /// Number of the row, unique in one run of the proof.
    pub number: usize,
    /// Index into the months.
    pub month: usize,
    /// Ball speed in hundredths of a metre a second (of a mile an hour for `Imperial`): tells one reading from a later one.
    pub pace: usize,
    /// The row is written so that its pack must reject it.
    pub broken: bool,
}

impl Row {
    /// Year, month, day, hour, minute, second: another for every number within a month.
    fn moment(&self) -> (i32, u32, usize, usize, usize, usize) {
        let (year, month) = MONTHS[self.month];
        let number = self.number;
        (year, month, 1 + number / 36_000 % 28, 10 + number / 3_600 % 10, number / 60 % 60, number % 60)
    }

    /// What the lake must show of the row: the device's session text, or bay and instant.
    pub fn identity(&self, kind: Kind) -> String {
        let (year, month, day, hour, minute, second) = self.moment();
        match kind {
            Kind::Own | Kind::Lines => format!("row-{}", self.number),
            Kind::Imperial => format!("2@{year}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}Z"),
        }
    }

    /// The ball speed that the lake must show, in metres a second.
    pub fn speed_mps(&self, kind: Kind) -> f64 {
        let written = f64::from(u32::try_from(self.pace).expect("a small pace")) / 100.0;
        match kind {
            Kind::Own | Kind::Lines => written,
            // [international yard of 1959: 0.9144 m; a mile is 1,760 yards]
            Kind::Imperial => written * 1_760.0 * 0.9144 / 3_600.0,
        }
    }
}

/// Draws rows; `next_number` goes on from call to call.
pub fn draw_rows(draws: &mut Draws, next_number: &mut usize) -> Vec<Row> {
    let count = draws.between(1, 9);
    let month = draws.between(0, MONTHS.len());
    let mut rows = Vec::new();
    for _ in 0..count {
        *next_number += 1;
        // One broken row at most, and not the first: a file with more broken rows than sound ones is refused whole.
        let broken = !rows.is_empty() && draws.in_hundred(4) && rows.iter().all(|row: &Row| !row.broken);
        rows.push(Row { number: *next_number, month, pace: 5_000 + draws.between(0, 2_000), broken });
    }
    rows
}

/// Other readings of the same shots; some were given the wrong month before.
pub fn corrected(draws: &mut Draws, kind: Kind, rows: &[Row]) -> Vec<Row> {
    let other_month = draws.in_hundred(30) && kind != Kind::Imperial; // there the time is part of the identity
    let mut corrected = Vec::new();
    for row in rows {
        let month = if other_month { (row.month + 1) % MONTHS.len() } else { row.month };
        corrected.push(Row { number: row.number, month, pace: row.pace + 1, broken: row.broken });
    }
    corrected
}

/// The whole text of an export.
pub fn text_of(kind: Kind, rows: &[Row]) -> String {
    let mut text = match kind {
        Kind::Own => PACK_HEADER.to_owned(),
        Kind::Imperial => IMPERIAL_HEADER.to_owned(),
        Kind::Lines => String::new(),
    };
    for row in rows {
        text += &line_of(kind, row);
    }
    text
}

/// One line of an export, with its end.
pub fn line_of(kind: Kind, row: &Row) -> String {
    let (year, month, day, hour, minute, second) = row.moment();
    let pace = if row.broken { "\"fast\"".to_owned() } else { format!("{}.{:02}", row.pace / 100, row.pace % 100) };
    let mut line = String::new();
    let number = row.number;
    let written = match kind {
        Kind::Own => {
            let time = format!("{year}-{month:02}-{day:02} {hour:02}:{minute:02}:{second:02}");
            writeln!(line, "row-{number},{time},Wren,Driver,{pace},12.5")
        }
        Kind::Imperial => {
            let (half, clock) = if hour < 12 { ("AM", hour) } else { ("PM", (hour + 11) % 12 + 1) };
            let time = format!("{month}/{day}/{year},{clock}:{minute:02}:{second:02} {half}");
            // Its pack rejects a row for an unknown club; a pace that is no number would only be a missing value there.
            let club = if row.broken { "Spade" } else { "Driver" };
            let pace = format!("{}.{:02}", row.pace / 100, row.pace % 100);
            writeln!(line, "{number},{time},Wren,{club},Play,97.3,-1.2,2.1,0.4,{pace},12.6,1.3,2650,-5.2,231.4,-6.3")
        }
        Kind::Lines => {
            let date = chrono::NaiveDate::from_ymd_opt(year, month, u32::try_from(day).expect("a day"));
            let time = date.and_then(|date| {
                let part = |number: usize| u32::try_from(number).expect("a part of a time");
                date.and_hms_opt(part(hour), part(minute), part(second))
            });
            let at_ms = time.expect("a time").and_utc().timestamp_millis();
            let tool = if row.broken { "ZZ" } else { "DR" };
            let pace = format!("{}.{:02}", row.pace / 100, row.pace % 100);
            writeln!(
                line,
                "{{\"session\":\"row-{number}\",\"shot\":1,\"at_ms\":{at_ms},\"bay\":\"3\",\"who\":\"wren\",\"tool\":\"{tool}\",\
                 \"purpose\":\"normal\",\"ball\":{{\"v\":{pace},\"up\":11.2,\"out\":-1.1,\"spin\":{{\"rate\":2700,\"tilt\":-4.0}}}},\
                 \"club\":{{\"v\":44.2,\"attack\":2.1,\"path\":-1.0,\"face\":0.4,\"loft\":13.2}}}}"
            )
        }
    };
    written.expect("text grows");
    line
}
