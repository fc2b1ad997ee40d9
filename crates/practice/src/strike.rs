//! One strike on the face.

use crate::answer::{day, finite, flag, whole};
use crate::{NumberEntry, Row, TextEntry};

/// Where a strike position comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StrikeSource {
    /// A device measured it.
    Measured,
    /// It was linked from a separate record, for example a mark on the face.
    Linked,
    /// It was inferred from the launch.
    Inferred,
}

impl StrikeSource {
    /// The source by its name in the data.
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "measured" => Some(Self::Measured),
            "linked" => Some(Self::Linked),
            "inferred" => Some(Self::Inferred),
            _ => None,
        }
    }
}

/// One strike. A plain reading scatters about the true position; a posterior mean is drawn toward what was expected before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strike {
    /// Position along the face, mm, positive = toe.
    pub toe_mm: f64,
    /// Position up the face, mm, positive = crown.
    pub up_mm: f64,
    /// Standard deviation of `toe_mm`, mm: of the reading, or of the posterior.
    pub toe_sd_mm: f64,
    /// Standard deviation of `up_mm`, mm.
    pub up_sd_mm: f64,
    /// Correlation of the two errors, -1 to 1.
    pub correlation: f64,
    /// Where the position comes from.
    pub source: StrikeSource,
    /// Whether position and deviations are those of a posterior, which holds what was expected beforehand as well; an inferred
    /// strike always is one, a reading taken together with the player's habit is one too.
    pub posterior: bool,
    /// Whether club speed, path, face, attack and loft were all measured; matters where the strike is inferred.
    /// Unknown: judged by the posterior deviation.
    pub delivery_measured: Option<bool>,
    /// What was expected of a posterior strike before anything of it was seen: toe mean and deviation, up mean and deviation, mm.
    /// Unknown: 0 +- 12 and 0 +- 8 mm, the verdict's own prior.
    pub prior: Option<[f64; 4]>,
    /// Session of the strike.
    pub session: u32,
    /// Day of the session, counted from any fixed day.
    pub day: i32,
    /// Whether the strike belongs to the week that is asked about; the others are the weeks before.
    pub current: bool,
}

/// An inferred strike of unknown delivery counts as well known along the face up to this deviation, mm: what full measured
/// delivery attains (2.9 mm toe, 2.4 mm up, linearised and without model error).
const WELL_KNOWN_MM: f64 = 3.2;

impl Strike {
    /// Whether means may rest on it: measured, linked, or inferred from a fully measured delivery. Otherwise a constant
    /// bias of the strike and one of the face look alike.
    pub fn identified(&self) -> bool {
        match (self.source, self.delivery_measured) {
            (StrikeSource::Inferred, Some(measured)) => measured,
            (StrikeSource::Inferred, None) => self.toe_sd_mm.max(self.up_sd_mm) <= WELL_KNOWN_MM,
            _ => true,
        }
    }

    /// Whether every number can be used.
    pub(crate) fn usable(&self) -> bool {
        let numbers = [self.toe_mm, self.up_mm, self.toe_sd_mm, self.up_sd_mm, self.correlation];
        let prior_is_usable = self.prior.is_none_or(|[toe, toe_sd, up, up_sd]| {
            toe.is_finite() && up.is_finite() && toe_sd.is_finite() && up_sd.is_finite() && toe_sd > 0.0 && up_sd > 0.0
        });
        // Farther than any face reaches, a position is a broken reading.
        prior_is_usable && numbers.iter().all(|number| number.is_finite() && number.abs() <= 200.0)
    }
}

impl Row for Strike {
    const NUMBERS: &'static [NumberEntry] = &[
        ("toe_mm", "mm", "position along the face, positive = toe"),
        ("up_mm", "mm", "position up the face, positive = crown"),
        ("toe_sd_mm", "mm", "standard deviation of toe_mm; missing = 0"),
        ("up_sd_mm", "mm", "standard deviation of up_mm; missing = 0"),
        ("correlation", "1", "correlation of the two errors; missing = 0"),
        ("delivery_measured", "1", "1 where the whole delivery was measured, 0 where not; missing = by the deviation"),
        ("prior_toe_mm", "mm", "mean expected of a posterior strike beforehand; missing = 0"),
        ("prior_toe_sd_mm", "mm", "its deviation; missing = 12"),
        ("prior_up_mm", "mm", "the same up the face; missing = 0"),
        ("prior_up_sd_mm", "mm", "its deviation; missing = 8"),
        ("session", "1", "number of the session"),
        ("day", "d", "day of the session, counted from any fixed day; missing = 0"),
        ("current", "1", "1 where the strike belongs to the week that is asked about, else 0"),
        (
            "posterior",
            "1",
            "1 where position and deviation hold what was expected too, as in shot_verdicts; missing = 1 if inferred, else 0",
        ),
    ];
    const TEXTS: &'static [TextEntry] = &[("source", "measured, linked or inferred")];

    fn from_fields(numbers: &[Option<f64>], texts: &[Option<&str>]) -> Option<Self> {
        let source = StrikeSource::from_name(texts.first().copied().flatten()?)?;
        let deviation = |position: usize, usual: f64| finite(numbers, position).filter(|sd| *sd > 0.0).unwrap_or(usual);
        Some(Self {
            toe_mm: finite(numbers, 0)?,
            up_mm: finite(numbers, 1)?,
            toe_sd_mm: deviation(2, 0.0),
            up_sd_mm: deviation(3, 0.0),
            correlation: finite(numbers, 4).unwrap_or(0.0).clamp(-1.0, 1.0),
            source,
            posterior: source == StrikeSource::Inferred || flag(numbers, 13),
            delivery_measured: finite(numbers, 5).map(|number| number != 0.0),
            prior: Some([
                finite(numbers, 6).unwrap_or(0.0),
                deviation(7, USUAL_PRIOR[1]),
                finite(numbers, 8).unwrap_or(0.0),
                deviation(9, USUAL_PRIOR[3]),
            ]),
            session: whole(numbers, 10)?,
            day: day(numbers, 11).unwrap_or(0),
            current: flag(numbers, 12),
        })
    }
}

/// The verdict's prior of an unmeasured strike: toe mean and deviation, up mean and deviation, mm.
pub(crate) const USUAL_PRIOR: [f64; 4] = [0.0, 12.0, 0.0, 8.0];
