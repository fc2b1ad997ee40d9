//! What a draft decided, before it is written down.

use super::moments::DayOrder;
use super::roles::NumberRole;
use crate::number::NumberStyle;

/// Where in the sample a value stands.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Place {
    Field(String),
    Preamble(String),
    FileName(String),
}

impl Place {
    /// The place for people.
    pub fn shown(&self) -> String {
        match self {
            Place::Field(name) => name.clone(),
            Place::Preamble(key) => format!("{key} (above the records)"),
            Place::FileName(capture) => format!("{{{capture}}} (file name)"),
        }
    }
}

/// A text that a column can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) enum TextRole {
    Session,
    Shot,
    Player,
    Bay,
    BallKind,
    Environment,
    Hand,
    Intent,
    Club,
}

impl TextRole {
    /// Key of `[shot]`.
    pub fn key(self) -> &'static str {
        match self {
            TextRole::Session => "session",
            TextRole::Shot => "shot",
            TextRole::Player => "player",
            TextRole::Bay => "bay",
            TextRole::BallKind => "ballKind",
            TextRole::Environment => "environment",
            TextRole::Hand => "hand",
            TextRole::Intent => "intent",
            TextRole::Club => "club",
        }
    }
}

/// How sure, and why.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Ground {
    /// 0 to 100.
    pub confidence: u32,
    pub because: Vec<String>,
    /// A value of the sample.
    pub example: String,
}

/// Where the unit of a number was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum UnitPlace {
    Header,
    UnitsRow,
    Value,
    /// In another field of the record.
    Field(String),
    /// Nowhere: it was told from the size of the values.
    Range,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum SignPlan {
    Plain,
    Inverted,
    Suffix { positive: Vec<String>, negative: Vec<String> },
}

/// One number to be read.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct NumberPlan {
    pub role: NumberRole,
    pub place: Place,
    /// UCUM code.
    pub unit: &'static str,
    pub unit_place: UnitPlace,
    /// The word of the sample for the unit, where one stands in the units row or behind the values.
    pub unit_words: Vec<(String, &'static str)>,
    /// Another unit that the values could be in.
    pub other_unit: Option<&'static str>,
    pub sign: SignPlan,
    /// Where it is not written as the other numbers are.
    pub style: Option<NumberStyle>,
    pub ground: Ground,
}

/// One text to be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct TextPlan {
    pub role: TextRole,
    pub place: Place,
    /// Words that occur, in the order of the alphabet.
    pub words: Vec<String>,
    /// Whether each record has it.
    pub always: bool,
    pub ground: Ground,
}

/// How the instant of a shot is read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct TimePlan {
    pub parts: Vec<Place>,
    /// Formats of the joined parts; none for an epoch count.
    pub formats: Vec<String>,
    /// `s` or `ms`.
    pub epoch: Option<&'static str>,
    pub order: DayOrder,
    /// The formats with day and month the other way round, where these fit as well.
    pub swapped: Option<Vec<String>>,
    /// Whether the texts say their offset from UTC.
    pub offset: bool,
    pub ground: Ground,
}

/// Something that was seen and left alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct LeftOut {
    pub place: Place,
    /// Why, in one sentence without a full stop.
    pub why: String,
    /// Whether a person should look at it.
    pub asks: bool,
    pub example: String,
}

/// All decisions.
#[derive(Debug, Clone, Default)]
pub(super) struct Plan {
    pub time: Option<TimePlan>,
    pub texts: Vec<TextPlan>,
    pub numbers: Vec<NumberPlan>,
    pub left_out: Vec<LeftOut>,
    pub style: Option<NumberStyle>,
}

impl Plan {
    /// The number of a role.
    pub fn number(&self, role: NumberRole) -> Option<&NumberPlan> {
        self.numbers.iter().find(|number| number.role == role)
    }

    /// The text of a role.
    pub fn text(&self, role: TextRole) -> Option<&TextPlan> {
        self.texts.iter().find(|text| text.role == role)
    }
}
