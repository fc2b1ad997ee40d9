//! What a summary is asked for, and what can go wrong on the way.

use std::path::PathBuf;

use shot::LocalDay;

/// The unit in which distances on the course are shown. Strike positions and clearances stay in millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// International yards of exactly 0.9144 m.
    #[default]
    Yards,
    /// Metres.
    Metres,
}

impl Units {
    /// Metres in one unit. [source: NIST SP 811, exact]
    pub fn metres(self) -> f64 {
        match self {
            Units::Yards => 0.9144,
            Units::Metres => 1.0,
        }
    }

    /// Symbol behind a number.
    pub fn symbol(self) -> &'static str {
        match self {
            Units::Yards => "yd",
            Units::Metres => "m",
        }
    }

    /// Full word, plural.
    pub fn words(self) -> &'static str {
        match self {
            Units::Yards => "yards",
            Units::Metres => "metres",
        }
    }

    /// A length in metres, in this unit.
    pub fn from_metres(self, metres: f64) -> f64 {
        metres / self.metres()
    }
}

/// Which week is summed up, for whom, and how it is shown.
#[derive(Debug, Clone, PartialEq)]
pub struct WeekRequest {
    /// Name of the site as people read it.
    pub site_name: String,
    /// Site as the data name it; rows of other sites are left out.
    pub site_id: String,
    /// IANA zone in which times of day are shown.
    pub zone: String,
    /// Monday of the week; any other day stands for its week.
    pub week: LocalDay,
    /// Alias of the coach whose players are shown. `None` shows every player of the site who has agreed to it, and is meant
    /// for a site with one coach.
    pub coach: Option<String>,
    /// Unit of distances.
    pub units: Units,
    /// Instant shown as that of writing, UTC microseconds since 1970.
    pub generated_at_micros: i64,
}

/// Why a summary could not be made.
#[derive(Debug, thiserror::Error)]
pub enum DigestError {
    /// The lake could not be read.
    #[error(transparent)]
    Lake(#[from] lake::LakeError),
    /// A published file of the lake does not read as Parquet.
    #[error("{path}: cannot be read: {message}\nhint: the manifest names this file; publish its partition again")]
    File {
        /// The file.
        path: PathBuf,
        /// What the reader said.
        message: String,
    },
    /// A column holds another type than its contract says.
    #[error(
        "dataset {dataset}, column {column}: expected {expected}, found {found}\nhint: the job pack of {dataset} declares another type"
    )]
    ColumnType {
        /// The dataset.
        dataset: String,
        /// The column.
        column: String,
        /// The type this crate reads.
        expected: &'static str,
        /// The type in the file.
        found: String,
    },
    /// The zone is no IANA zone.
    #[error("\"{zone}\" is no known time zone\nhint: write an IANA name such as Europe/Zurich")]
    Zone {
        /// The text.
        zone: String,
    },
    /// The week lies outside the calendar.
    #[error("day {day} since 1970 lies outside the calendar\nhint: check the week that was asked for")]
    Week {
        /// The day.
        day: LocalDay,
    },
    /// The template failed.
    #[error("the page could not be put together: {message}\nhint: this is a fault of the program; please report it")]
    Page {
        /// What the template engine said.
        message: String,
    },
    /// A file could not be opened or written.
    #[error(transparent)]
    Files(#[from] files::FileError),
}

#[cfg(test)]
mod tests {
    use super::Units;

    #[test]
    fn a_hundred_yards_are_91_44_metres() {
        assert!((Units::Yards.from_metres(91.44) - 100.0).abs() < 1e-12); // [source: NIST SP 811]
        assert!((Units::Metres.from_metres(91.44) - 91.44).abs() < 1e-12);
    }
}
