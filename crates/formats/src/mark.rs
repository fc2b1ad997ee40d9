//! One record to one strike mark: the words and the time are read as those of a shot, the position comes from numbers or from
//! a cell of a grid.

use shot::{ParsedMark, ParsedShot, Problem, Quantity, Severity};

use crate::context::SiteContext;
use crate::grid::Grid;
use crate::instant::TimeSource;
use crate::pack::Pack;
use crate::rule::Rule;
use crate::source::{Origin, TextSource, View};

/// What a record of a pack's files is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PackKind {
    /// A shot.
    Shots,
    /// A strike position that was noted or filmed apart from the shot.
    StrikeMarks,
}

/// How a pack of strike marks reads what a shot does not have.
#[derive(Debug, Clone)]
pub(crate) struct MarkMapping {
    pub time_deviation: TimeDeviation,
    pub position: Position,
    /// The field of the row's own deviation, where the pack reads one.
    pub deviation_source: Option<TextSource>,
}

/// How exactly times were noted, s.
#[derive(Debug, Clone)]
pub(crate) enum TimeDeviation {
    Same(f64),
    /// One source a format, in the order of the pack: a list may have seconds in one row and none in the next.
    ByFormat(Vec<(TimeSource, f64)>),
}

/// Where the position stands.
#[derive(Debug, Clone)]
pub(crate) enum Position {
    /// Among the measures; this source is the one of the toe.
    Numbers(TextSource),
    Grid(Box<GridReading>),
}

#[derive(Debug, Clone)]
pub(crate) struct GridReading {
    pub grid: Grid,
    pub place: CellPlace,
    /// Standard deviation of a position inside one cell, mm.
    pub cell_deviation_mm: f64,
    /// Of how the grid lies on the face, mm.
    pub stated_deviation_mm: Option<f64>,
}

#[derive(Debug, Clone)]
pub(crate) enum CellPlace {
    Cell(TextSource),
    /// Column and row apart.
    Sides(TextSource, Option<TextSource>),
}

/// A position in mm toward the toe and toward the crown.
type Spot = (f64, Option<f64>);

/// Why a row has no position.
enum Lacking {
    /// Whoever kept the list said that there was none.
    NoMark(Box<Problem>),
    Faulty(Box<Problem>),
}

impl MarkMapping {
    /// The mark of a row whose words and time were read as a shot; nothing where that was rejected, where the position is, or
    /// where the row says that there was no mark.
    pub fn read(
        &self,
        view: &View<'_>,
        site: &SiteContext,
        shot: Option<ParsedShot>,
        problems: &mut Vec<Problem>,
    ) -> Option<ParsedMark> {
        // A side that cannot be told is a note on a shot, which is worth keeping without; on a mark it leaves nothing.
        if let Some(problem) = problems.iter_mut().find(|problem| problem.rule == Rule::HandUnknown.word()) {
            problem.severity = Severity::Rejected;
            return None;
        }
        let spot = match &self.position {
            Position::Grid(reading) => reading.read(view),
            Position::Numbers(toe) => number_spot(toe, view, shot.as_ref()?),
        };
        let (toe, up) = match spot {
            Ok(spot) => spot,
            // A row that is rejected anyway says nothing about a missing mark.
            Err(Lacking::NoMark(note)) => {
                problems.extend(shot.is_some().then_some(*note));
                return None;
            }
            Err(Lacking::Faulty(problem)) => {
                problems.push(*problem);
                return None;
            }
        };
        let shot = shot?;
        let deviation = match self.deviation(view, &shot) {
            Ok(deviation) => deviation,
            Err(problem) => {
                problems.push(*problem);
                return None;
            }
        };
        Some(ParsedMark {
            source_row: shot.source_row,
            bay: shot.bay,
            session_text: shot.session_text,
            mark_text: shot.shot_text,
            player_text: shot.player_text,
            club_id: shot.club_id,
            time_text: shot.time_text,
            noted_at: shot.struck_at,
            local_date: shot.local_date,
            zone: shot.zone,
            time_sd_s: self.time_deviation.of(view, site),
            strike_toe_mm: toe,
            strike_up_mm: up,
            strike_sd_mm: deviation,
            quality: shot.quality,
        })
    }

    fn deviation(&self, view: &View<'_>, shot: &ParsedShot) -> Result<f64, Box<Problem>> {
        let given = shot.measures.get(Quantity::StrikeSdMm);
        let line = view.record.line();
        let label = self.deviation_source.as_ref().map(|source| source.origin.label());
        // A linked strike weighs by its deviation: a position that is known exactly does not exist, and would outweigh all else.
        if given.is_some_and(|value| value <= 0.0) {
            let message = "a standard deviation of the position is above zero".to_owned();
            return Err(Box::new(Rule::OutOfRange.rejects(line, label, "0", message)));
        }
        match &self.position {
            Position::Grid(reading) => {
                let apart = given.or(reading.stated_deviation_mm).unwrap_or_default();
                Ok(reading.cell_deviation_mm.hypot(apart))
            }
            Position::Numbers(_) => given.ok_or_else(|| {
                let message = "it is not said how well this position is known".to_owned();
                Box::new(Rule::MissingRequired.rejects(line, label, "", message))
            }),
        }
    }

    /// The fields without which a file holds no mark.
    pub fn needed_fields(&self) -> Vec<&str> {
        let sources = match &self.position {
            Position::Numbers(source) => vec![source],
            Position::Grid(reading) => match &reading.place {
                CellPlace::Cell(source) => vec![source],
                CellPlace::Sides(column, row) => std::iter::once(column).chain(row).collect(),
            },
        };
        let field = |source: &'_ TextSource| matches!(source.origin, Origin::Field(_));
        sources.into_iter().filter(|source| field(source)).map(|source| source.origin.label()).collect()
    }
}

impl TimeDeviation {
    fn of(&self, view: &View<'_>, site: &SiteContext) -> f64 {
        match self {
            TimeDeviation::Same(deviation) => *deviation,
            TimeDeviation::ByFormat(formats) => {
                let fits = formats.iter().find(|(source, _)| source.read(view, site.zone).is_ok());
                let worst = || formats.iter().map(|(_, deviation)| *deviation).fold(0.0, f64::max);
                fits.map_or_else(worst, |(_, deviation)| *deviation)
            }
        }
    }
}

fn number_spot(toe: &TextSource, view: &View<'_>, shot: &ParsedShot) -> Result<Spot, Lacking> {
    let up = shot.measures.get(Quantity::StrikeUpMm);
    match shot.measures.get(Quantity::StrikeToeMm) {
        Some(toe) => Ok((toe, up)),
        None => Err(lacking(toe, view, up.is_some())),
    }
}

/// What a missing position means: a token of the pack for "no mark", or a cell that nobody filled in.
fn lacking(source: &TextSource, view: &View<'_>, has_height: bool) -> Lacking {
    let (line, label) = (view.record.line(), source.origin.label());
    let literal = TextSource { required: false, missing: Vec::new(), ..source.clone() };
    match literal.read(view) {
        Ok(Some(token)) if !has_height => {
            let message = "the list says that there was no mark".to_owned();
            Lacking::NoMark(Box::new(Rule::NoMark.notes(line, Some(label), &token, message)))
        }
        _ => {
            let message = format!("\"{label}\" has no value, and a mark without it has no place on the face");
            Lacking::Faulty(Box::new(Rule::MissingRequired.rejects(line, Some(label), "", message)))
        }
    }
}

impl GridReading {
    fn read(&self, view: &View<'_>) -> Result<Spot, Lacking> {
        let text_of = |source: &TextSource| source.read(view).map_err(Lacking::Faulty);
        match &self.place {
            CellPlace::Cell(source) => {
                let Some(text) = text_of(source)? else { return Err(lacking(source, view, false)) };
                self.grid.cell(&text).ok_or_else(|| self.unknown(source, view, &text))
            }
            CellPlace::Sides(column, row) => {
                let row_text = row.as_ref().map(text_of).transpose()?.flatten();
                let Some(text) = text_of(column)? else { return Err(lacking(column, view, row_text.is_some())) };
                let toe = self.grid.column(&text).ok_or_else(|| self.unknown(column, view, &text))?;
                let (Some(row), Some(text)) = (row, row_text) else { return Ok((toe, None)) };
                let up = self.grid.row(&text).ok_or_else(|| self.unknown(row, view, &text))?;
                Ok((toe, Some(up)))
            }
        }
    }

    fn unknown(&self, source: &TextSource, view: &View<'_>, text: &str) -> Lacking {
        let message = format!("\"{}\" is not on the grid", Problem::cut(text));
        let mut problem = Rule::UnknownCell.rejects(view.record.line(), Some(source.origin.label()), text, message);
        problem.hint = self.grid.listing();
        Lacking::Faulty(Box::new(problem))
    }
}

impl Pack {
    /// What a record of the pack's files is: [`Pack::parse`] yields shots or marks, never both.
    pub fn kind(&self) -> PackKind {
        if self.marks.is_some() { PackKind::StrikeMarks } else { PackKind::Shots }
    }

    /// Every field of the file that is read, and whether a file without it is of no use; the needed ones of marks first.
    pub(crate) fn fields(&self) -> Vec<(&str, bool)> {
        let needed = self.marks.iter().flat_map(MarkMapping::needed_fields).map(|name| (name, true));
        needed.chain(self.mapping.fields()).collect()
    }
}
