//! Rows before they become columns.

use crate::{LocalDay, Measures, Problem};

/// Which hand a player plays with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Hand {
    /// Right-handed, +1.
    Right,
    /// Left-handed, -1.
    Left,
}

impl Hand {
    /// +1 right-handed, -1 left-handed: the factor that mirrors lateral values.
    pub fn sign(self) -> i64 {
        match self {
            Hand::Right => 1,
            Hand::Left => -1,
        }
    }

    /// Reads `right` or `left`.
    pub fn parse(text: &str) -> Option<Hand> {
        match text {
            "right" => Some(Hand::Right),
            "left" => Some(Hand::Left),
            _ => None,
        }
    }
}

/// What a shot was hit for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Intent {
    /// An ordinary full shot.
    #[default]
    Play,
    /// Part of a practice drill.
    Drill,
    /// A swing shorter than full: counts in no carry figure.
    Partial,
    /// A deliberate mishit shown to somebody: never counts in anyone's statistics.
    Demonstration,
    /// Before the session proper.
    WarmUp,
}

impl Intent {
    /// All intents with the word used in data and packs.
    pub const WORDS: [(Intent, &'static str); 5] = [
        (Intent::Play, "play"),
        (Intent::Drill, "drill"),
        (Intent::Partial, "partial"),
        (Intent::Demonstration, "demonstration"),
        (Intent::WarmUp, "warm-up"),
    ];

    /// The word used in data and packs.
    pub fn word(self) -> &'static str {
        Intent::WORDS.iter().find(|(intent, _)| *intent == self).map_or("play", |(_, word)| word)
    }

    /// The intent of a word.
    pub fn parse(text: &str) -> Option<Intent> {
        Intent::WORDS.iter().find(|(_, word)| *word == text).map(|(intent, _)| *intent)
    }
}

/// Where a strike position comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum StrikeSource {
    /// The device that recorded the shot measured it.
    Measured,
    /// It was noted or filmed apart and linked to the shot afterwards.
    Linked,
}

impl StrikeSource {
    /// The word used in data.
    pub fn word(self) -> &'static str {
        match self {
            StrikeSource::Measured => "measured",
            StrikeSource::Linked => "linked",
        }
    }
}

/// A shot as a parser understood it: texts as the device wrote them, numbers in canonical units and signs.
#[derive(Debug, Clone, PartialEq)]
pub struct ParsedShot {
    /// Line or record of the source, from 1.
    pub source_row: i64,
    /// Bay, as the device or the pack's constants name it.
    pub bay: Option<String>,
    /// The device's own session text.
    pub session_text: Option<String>,
    /// The device's own shot text.
    pub shot_text: Option<String>,
    /// Player as the device writes the name; `None` where the device knows no players.
    pub player_text: Option<String>,
    /// Hand, where the device says it.
    pub hand: Option<Hand>,
    /// Club as mapped by the pack, for example `driver`.
    pub club_id: Option<String>,
    /// Kind of club: driver, fairway-wood, hybrid, iron, wedge.
    pub club_kind: Option<String>,
    /// Kind of ball: premium, range, ...
    pub ball_kind: Option<String>,
    /// What the shot was hit for.
    pub intent: Intent,
    /// The device's time text, part of the identity.
    pub time_text: String,
    /// UTC microseconds since 1970.
    pub struck_at: i64,
    /// Local calendar day in `zone`.
    pub local_date: LocalDay,
    /// IANA zone the local date was taken in.
    pub zone: String,
    /// `indoor` or `outdoor`.
    pub environment: Option<String>,
    /// The numbers.
    pub measures: Measures,
    /// Where the strike position comes from; `None` without one.
    pub strike_source: Option<StrikeSource>,
    /// Quality codes, for example `ambiguous-hour`.
    pub quality: Vec<String>,
}

/// One row of the `shots` dataset.
#[derive(Debug, Clone, PartialEq)]
pub struct ShotRow {
    /// Identity of the shot.
    pub shot_id: String,
    /// The site whose daemon imported it.
    pub site_id: String,
    /// Alias of the player, or a placeholder.
    pub player_id: Option<String>,
    /// What the parser understood, with roster, corrections and linked strikes applied.
    pub parsed: ParsedShot,
    /// What of it a roster entry or a correction may have changed, as it was.
    pub recorded: Recorded,
    /// SHA-256 of the source file's bytes.
    pub source_file_id: String,
    /// Name of the mapping pack.
    pub format: String,
    /// Version of the mapping pack.
    pub format_version: String,
    /// Order of imports at this site; the higher one wins a merge.
    pub import_sequence: i64,
    /// UTC microseconds since 1970.
    pub imported_at: i64,
}

/// What the device said of a shot before roster and corrections.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Recorded {
    /// Placeholder of the device's player text; `None` where it named nobody.
    pub player_id: Option<String>,
    /// Hand, where the device said it.
    pub hand: Option<Hand>,
    /// Club.
    pub club_id: Option<String>,
    /// Kind of that club.
    pub club_kind: Option<String>,
    /// Intent.
    pub intent: Intent,
}

/// A strike position as a parser understood it, noted or filmed apart from the shot.
#[derive(Debug, Clone, PartialEq)]
pub struct ParsedMark {
    /// Line or record of the source, from 1.
    pub source_row: i64,
    /// Bay.
    pub bay: Option<String>,
    /// Session as the list or camera names it.
    pub session_text: Option<String>,
    /// The mark's own number or text.
    pub mark_text: Option<String>,
    /// Player as noted.
    pub player_text: Option<String>,
    /// Club as mapped by the pack.
    pub club_id: Option<String>,
    /// Time text, part of the identity.
    pub time_text: String,
    /// UTC microseconds since 1970, by the clock of whoever noted it.
    pub noted_at: i64,
    /// Local calendar day in `zone`.
    pub local_date: LocalDay,
    /// IANA zone the local date was taken in.
    pub zone: String,
    /// Standard deviation of the noted time, s, apart from the clock's offset.
    pub time_sd_s: f64,
    /// mm from the face centre, positive toward the toe.
    pub strike_toe_mm: f64,
    /// mm from the face centre, positive toward the crown; `None` where only the width was noted.
    pub strike_up_mm: Option<f64>,
    /// Standard deviation of the position, mm.
    pub strike_sd_mm: f64,
    /// Quality codes.
    pub quality: Vec<String>,
}

/// One row of the `strike_marks` dataset.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkRow {
    /// Identity of the mark.
    pub mark_id: String,
    /// The site whose daemon imported it.
    pub site_id: String,
    /// Alias of the player, or a placeholder.
    pub player_id: Option<String>,
    /// Placeholder of the noted player text.
    pub recorded_player_id: Option<String>,
    /// What the parser understood.
    pub parsed: ParsedMark,
    /// SHA-256 of the source file's bytes.
    pub source_file_id: String,
    /// Name of the mapping pack.
    pub format: String,
    /// Version of the mapping pack.
    pub format_version: String,
    /// Order of imports at this site.
    pub import_sequence: i64,
    /// UTC microseconds since 1970.
    pub imported_at: i64,
}

/// One row of the `rejects` dataset.
#[derive(Debug, Clone, PartialEq)]
pub struct RejectRow {
    /// The site whose daemon imported the file.
    pub site_id: String,
    /// SHA-256 of the source file's bytes.
    pub source_file_id: String,
    /// Name under which the file arrived.
    pub file_name: String,
    /// Name of the mapping pack.
    pub format: String,
    /// Version of the mapping pack.
    pub format_version: String,
    /// What was wrong.
    pub problem: Problem,
    /// Local day of the import, which partitions this dataset.
    pub local_date: LocalDay,
    /// Order of imports at this site.
    pub import_sequence: i64,
    /// UTC microseconds since 1970.
    pub imported_at: i64,
}

/// One row of the `imports` dataset.
#[derive(Debug, Clone, PartialEq)]
pub struct ImportRow {
    /// SHA-256 of the source file's bytes.
    pub source_file_id: String,
    /// The site whose daemon imported the file.
    pub site_id: String,
    /// Name under which the file arrived first.
    pub file_name: String,
    /// Size of the file.
    pub file_bytes: i64,
    /// Name of the mapping pack.
    pub format: String,
    /// Version of the mapping pack.
    pub format_version: String,
    /// Rows taken.
    pub rows_accepted: i64,
    /// Rows in `rejects` with severity `rejected`.
    pub rows_rejected: i64,
    /// First and last instant of a shot in the file, UTC microseconds.
    pub first_struck_at: Option<i64>,
    /// The last one.
    pub last_struck_at: Option<i64>,
    /// Local day of the import, which partitions this dataset.
    pub local_date: LocalDay,
    /// Order of imports at this site.
    pub import_sequence: i64,
    /// UTC microseconds since 1970.
    pub imported_at: i64,
    /// Seconds from claim to staged.
    pub duration_s: f64,
}

/// One row of the `devices` dataset: how well a pack's device knows a quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct DeviceRow {
    /// Name of the mapping pack.
    pub format: String,
    /// Version of the mapping pack.
    pub format_version: String,
    /// Column name of the quantity.
    pub quantity: String,
    /// True = the device measures it; false = it only computes it, which is no evidence.
    pub measured: bool,
    /// Standard deviation of one reading in the column's unit; `None` where the pack does not know.
    pub standard_deviation: Option<f64>,
    /// For `face_deg`: `face-centre` or `strike-point`, the point of the face the angle belongs to.
    pub face_reference: Option<String>,
}
