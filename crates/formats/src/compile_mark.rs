//! The part of a pack that only strike marks have: position, grid, and how exactly times were noted.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde::de::IgnoredAny;
use shot::{DeviceRow, Quantity};
use toml::Spanned;

use crate::compile::{Compiler, Places};
use crate::compile_measures::device;
use crate::grid::{Axis, Grid, GridFault, MOST_WORDS};
use crate::instant::{TimeSource, TimeStyle};
use crate::mapping::Mapping;
use crate::mark::{CellPlace, GridReading, MarkMapping, Position, TimeDeviation};
use crate::source::TextSource;
use crate::spec::{EpochUnit, Kind, NumberSpec, OneOrMany, PackSpec, Text};
use crate::spec_mark::{GridSpec, MarkSpec};
use crate::unit::Unit;

const STRIKE: [Quantity; 3] = [Quantity::StrikeToeMm, Quantity::StrikeUpMm, Quantity::StrikeSdMm];

/// Standard deviations of a noted time, s: of a clock read to the minute that of a uniform spread over it (60 / sqrt 12); of one
/// read to the second what a person needs to look (common practice, no source); of a machine's stamp its usual delay (likewise).
const TO_THE_SECOND: f64 = 1.0;
const BY_A_MACHINE: f64 = 0.1;

fn to_the_minute() -> f64 {
    uniform_deviation(60.0)
}

/// Standard deviation of a uniform spread.
fn uniform_deviation(width: f64) -> f64 {
    width / 12.0_f64.sqrt()
}

/// The tables of shots, looked for apart from their meaning so that a fault can point at them.
#[derive(Deserialize)]
struct TablesOfShots {
    shot: Option<Spanned<IgnoredAny>>,
    derived: Option<Spanned<IgnoredAny>>,
}

impl Compiler<'_> {
    /// How the pack reads strike marks; nothing for a pack of shots. Fills the words of `mapping` and the grid's devices.
    pub fn marks(
        &mut self,
        spec: &PackSpec,
        mapping: &mut Mapping,
        devices: &mut Vec<DeviceRow>,
    ) -> Option<MarkMapping> {
        if spec.kind == Kind::Shots {
            if let Some(mark) = &spec.mark {
                let hint = "set kind = \"strike-marks\", or move these keys to [shot] and [measures]";
                self.fault(mark.span(), "a pack of shots has no [mark]", hint);
            }
            return None;
        }
        self.refuse_tables_of_shots();
        self.check_mark_measures(&spec.measures);
        let mark = spec.mark.as_ref().map(Spanned::get_ref);
        if let Some(mark) = mark {
            mapping.bay = self.optional_text(mark.bay.as_ref());
            mapping.session = self.optional_text(mark.session.as_ref());
            mapping.shot = self.optional_text(mark.mark.as_ref());
            mapping.player = self.optional_text(mark.player.as_ref());
            mapping.club = self.words(mark.club.as_ref(), Compiler::club);
        }
        let source_of = |quantity: Quantity| {
            let measure = mapping.measures.iter().find(|measure| measure.quantity == quantity);
            measure.map(|measure| measure.number.source.clone())
        };
        let deviation_source = source_of(Quantity::StrikeSdMm);
        let position = if let Some(grid) = mark.and_then(|mark| mark.grid.as_ref()) {
            self.refuse_twice(&spec.measures);
            Position::Grid(Box::new(self.grid(grid, spec, devices)?))
        } else if let Some(toe) = source_of(Quantity::StrikeToeMm) {
            if mapping.strike_sd_mm.is_none() && deviation_source.is_none() {
                let hint = "give strike_toe_mm a standardDeviation, or read [measures.strike_sd_mm] from the file";
                self.fault(spec.name.span(), "it is not said how well the position is known", hint);
            }
            Position::Numbers(toe)
        } else {
            let hint = "map [measures.strike_toe_mm] (and strike_up_mm), or describe the cells under [mark.grid]";
            self.fault(spec.name.span(), "the pack reads no position on the face", hint);
            return None;
        };
        let time_deviation = self.time_deviation(mark, &mapping.time);
        Some(MarkMapping { time_deviation, position, deviation_source })
    }

    fn refuse_tables_of_shots(&mut self) {
        // The text was read once as a whole pack, so that it can be read as less.
        let Ok(found) = toml::from_str::<TablesOfShots>(self.text()) else { return };
        if let Some(table) = found.shot {
            let hint = "move its keys to [mark]: session, mark, player, bay, club";
            self.fault(table.span(), "a pack of strike marks has no [shot]", hint);
        }
        if let Some(table) = found.derived {
            let hint = "a mark has a position on the face and nothing else: remove this table";
            self.fault(table.span(), "a pack of strike marks has no [derived]", hint);
        }
    }

    fn check_mark_measures(&mut self, measures: &BTreeMap<Text, NumberSpec>) {
        for (name, written) in measures {
            let Some(quantity) = Quantity::from_name(name.get_ref()) else { continue };
            if !STRIKE.contains(&quantity) {
                let message = format!("a strike mark has no {}", quantity.name());
                self.fault(name.span(), message, format!("it has {}", STRIKE.map(Quantity::name).join(", ")));
            } else if written.measured == Some(false) {
                let hint = "measured = true; what a device computes of the strike is no mark of it";
                self.fault(name.span(), "a strike mark is seen, not computed", hint);
            }
            if let Some(deviation) = written.standard_deviation.as_ref().filter(|_| quantity == Quantity::StrikeSdMm) {
                let hint = "state it with strike_toe_mm or in [mark.grid]";
                self.fault(deviation.span(), "strike_sd_mm is itself the standard deviation", hint);
            }
        }
    }

    /// A position comes from a grid or from numbers.
    fn refuse_twice(&mut self, measures: &BTreeMap<Text, NumberSpec>) {
        for name in measures.keys() {
            if ["strike_toe_mm", "strike_up_mm"].contains(&name.get_ref().as_str()) {
                let message = format!("{} comes from the grid already", name.get_ref());
                self.fault(name.span(), message, "keep either this table or [mark.grid]");
            }
        }
    }

    fn time_deviation(&mut self, mark: Option<&MarkSpec>, time: &TimeSource) -> TimeDeviation {
        let stated = mark.and_then(|mark| mark.time_standard_deviation.as_ref());
        let stated = self.deviation(stated);
        let formats = match &time.style {
            TimeStyle::Epoch(unit) => {
                let by_writing = match unit {
                    // Workbooks keep what a person typed, and seldom say whether that had seconds.
                    EpochUnit::Serial1900 | EpochUnit::Serial1904 => to_the_minute(),
                    EpochUnit::Seconds => TO_THE_SECOND,
                    _ => BY_A_MACHINE,
                };
                return TimeDeviation::Same(stated.unwrap_or(by_writing));
            }
            TimeStyle::Formats(formats) => formats,
        };
        // A row noted by the minute is no better for what the pack says of rows with seconds.
        let of_format = |format: &str| match stated {
            Some(stated) if deviation_of_format(format) < to_the_minute() => stated,
            Some(stated) => stated.max(to_the_minute()),
            None => deviation_of_format(format),
        };
        let mut deviations = Vec::with_capacity(formats.len());
        for format in formats {
            let source = TimeSource { style: TimeStyle::Formats(vec![format.clone()]), ..time.clone() };
            deviations.push((source, of_format(format)));
        }
        let worst = deviations.iter().map(|(_, deviation)| *deviation).fold(0.0, f64::max);
        let alike = deviations.iter().all(|(_, deviation)| worst - deviation < 1e-9);
        if alike { TimeDeviation::Same(worst) } else { TimeDeviation::ByFormat(deviations) }
    }

    fn grid(&mut self, spec: &Spanned<GridSpec>, pack: &PackSpec, devices: &mut Vec<DeviceRow>) -> Option<GridReading> {
        let written = spec.get_ref();
        let place = self.cell_place(spec);
        let unit = self.unit(&written.unit)?;
        let millimetre = Unit::parse(Quantity::StrikeToeMm.unit())?;
        if !unit.converts_to(millimetre) {
            let message = format!("\"{}\" is no length", unit.code);
            self.fault(written.unit.span(), message, format!("lengths are {}", Unit::codes_like(millimetre)));
            return None;
        }
        let stated = self.deviation(written.standard_deviation.as_ref());
        let stated_deviation_mm = stated.map(|value| unit.convert_difference(value, millimetre));
        let columns = Axis {
            words: self.side_words(&written.columns)?,
            grows: self.one_of(&written.first_column, &["heel", "toe"], |word| Some(word == "heel"))?,
            size_mm: unit.convert_difference(self.cell_size(&written.cell_width)?, millimetre),
        };
        let rows = match (&written.rows, &written.first_row, &written.cell_height) {
            (Some(rows), Some(first), Some(height)) => Some(Axis {
                words: self.side_words(rows)?,
                grows: self.one_of(first, &["top", "bottom"], |word| Some(word == "bottom"))?,
                size_mm: unit.convert_difference(self.cell_size(height)?, millimetre),
            }),
            (None, None, None) => None,
            _ => {
                let hint = "give all three, or none where only the column was noted";
                self.fault(spec.span(), "rows, firstRow and cellHeight belong together", hint);
                return None;
            }
        };
        let grid = match Grid::new(&columns, rows.as_ref(), written.centre.get_ref()) {
            Ok(grid) => grid,
            Err(GridFault::Alike(cell)) => {
                let message = format!("two cells of the grid are both written \"{cell}\"");
                self.fault(written.columns.span(), message, "capitals and blanks do not tell cells apart");
                return None;
            }
            Err(GridFault::NoCentre) => {
                let message = format!("the centre \"{}\" is no cell of the grid", written.centre.get_ref());
                let hint = "name the cell on the face centre as it is written in the file, the column first";
                self.fault(written.centre.span(), message, hint);
                return None;
            }
        };
        self.check_extent(&grid, written);
        let widest = rows.as_ref().map_or(columns.size_mm, |rows| rows.size_mm.max(columns.size_mm));
        let cell_deviation_mm = uniform_deviation(widest);
        let deviation = cell_deviation_mm.hypot(stated_deviation_mm.unwrap_or_default());
        for quantity in [Some(Quantity::StrikeToeMm), rows.is_some().then_some(Quantity::StrikeUpMm)] {
            devices.extend(quantity.map(|quantity| DeviceRow {
                format: pack.name.get_ref().clone(),
                format_version: pack.version.get_ref().clone(),
                ..device(quantity, true, Some(deviation))
            }));
        }
        devices.sort_by_key(|device| Quantity::from_name(&device.quantity));
        Some(GridReading { grid, place: place?, cell_deviation_mm, stated_deviation_mm })
    }

    fn cell_place(&mut self, spec: &Spanned<GridSpec>) -> Option<CellPlace> {
        let GridSpec { field, column_field, row_field, rows, .. } = spec.get_ref();
        match (field, column_field, row_field) {
            (Some(cell), None, None) => Some(CellPlace::Cell(self.cell_source(cell))),
            (None, Some(column), row) if row.is_some() == rows.is_some() => {
                let column = self.cell_source(column);
                Some(CellPlace::Sides(column, row.as_ref().map(|row| self.cell_source(row))))
            }
            _ => {
                let hint = "give field (the cell), or columnField and, where the grid has rows, rowField";
                self.fault(spec.span(), "it is not clear where the cell stands", hint);
                None
            }
        }
    }

    fn cell_source(&mut self, field: &Text) -> TextSource {
        let places = Places { field: Some(field), preamble: None, file_name: None, constant: None };
        let origin = self.origin(field.span(), &places);
        TextSource { origin, required: false, missing: self.known.missing.clone() }
    }

    fn side_words(&mut self, written: &Spanned<OneOrMany>) -> Option<Vec<String>> {
        let words: Vec<String> = match written.get_ref() {
            OneOrMany::One(text) => text.chars().map(String::from).collect(),
            OneOrMany::Many(words) => words.clone(),
        };
        if words.is_empty() || words.len() > MOST_WORDS || words.iter().any(|word| word.trim().is_empty()) {
            let hint = "for example \"ABCDEFG\", or [\"H2\", \"H1\", \"0\", \"T1\", \"T2\"]";
            let message = format!("a side of the grid has 1 to {MOST_WORDS} words, none of them blank");
            self.fault(written.span(), message, hint);
            return None;
        }
        Some(words)
    }

    fn cell_size(&mut self, written: &Spanned<f64>) -> Option<f64> {
        let size = *written.get_ref();
        if size > 0.0 && size.is_finite() {
            return Some(size);
        }
        self.fault(written.span(), "the size of a cell is above zero", "measure one cell, in the grid's unit");
        None
    }

    /// A grid larger than any face was written in the wrong unit.
    fn check_extent(&mut self, grid: &Grid, written: &GridSpec) {
        let (toe, up) = grid.positions_mm();
        let sides = [
            (toe, Quantity::StrikeToeMm, Some(&written.cell_width)),
            (up, Quantity::StrikeUpMm, written.cell_height.as_ref()),
        ];
        for (positions, quantity, size) in sides {
            let (lowest, highest) = quantity.limits();
            let beyond = positions.iter().find(|position| !(lowest..=highest).contains(*position));
            if let (Some(position), Some(size)) = (beyond, size) {
                let message = format!("a cell would lie {position:.1} mm from the face centre");
                let hint = format!(
                    "a face reaches from {lowest} to {highest} mm: check the size of a cell, the unit and the centre"
                );
                self.fault(size.span(), message, hint);
            }
        }
    }
}

/// How exactly a time of this format is known, s.
fn deviation_of_format(format: &str) -> f64 {
    let mut finest = to_the_minute();
    let mut rest = format;
    while let Some(position) = rest.find('%') {
        // Between the sign and the letter stand flags and widths: %-S, %.3f, %6f.
        let item = rest[position + 1..].trim_start_matches(|c: char| c.is_ascii_digit() || "-_.:#".contains(c));
        let letter = item.chars().next();
        let deviation = match letter {
            Some('f') => BY_A_MACHINE,
            Some('S' | 'T' | 'X' | 'r' | 's' | 'c' | '+') => TO_THE_SECOND,
            _ => finest,
        };
        finest = finest.min(deviation);
        rest = &item[letter.map_or(0, char::len_utf8)..];
    }
    finest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formats_say_how_exactly_they_tell_the_time() {
        // [derived: a uniform spread over w has the standard deviation w / sqrt 12; 60 / sqrt 12 = 17.320 508 075 688 77]
        let minute = 17.320_508_075_688_77;
        let cases = [
            ("%Y-%m-%d %H:%M", minute),
            ("%d/%m/%y %I:%M %p", minute),
            ("%H:%M %%S", minute),
            ("%Y-%m-%d %H:%M:%S", 1.0),
            ("%F %T", 1.0),
            ("%-d.%-m.%Y %H:%M:%-S", 1.0),
            ("%Y-%m-%d %H:%M:%S%.f", 0.1),
            ("%Y-%m-%d %H:%M:%S,%3f", 0.1),
            ("%", minute),
        ];
        for (format, expected) in cases {
            let found = deviation_of_format(format);
            assert!((found - expected).abs() < 1e-12, "{format}: {found}");
        }
    }
}
