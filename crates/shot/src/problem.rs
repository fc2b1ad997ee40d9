//! What a parser says about a row it could not take, or took with a reservation.

/// Whether the row was lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// The row is not in the lake; it stands in `rejects`.
    Rejected,
    /// The row is in the lake; something about it is worth knowing.
    Noted,
}

impl Severity {
    /// The word used in published data.
    pub fn word(self) -> &'static str {
        match self {
            Severity::Rejected => "rejected",
            Severity::Noted => "noted",
        }
    }
}

/// One problem with one row of an export.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Whether the row was lost.
    pub severity: Severity,
    /// Line (delimited text, JSON Lines) or record number, counted from 1; 0 speaks of the whole file.
    pub line: i64,
    /// The source column or path concerned, where there is one.
    pub column: Option<String>,
    /// The offending text as it stood in the file, cut to 200 characters.
    pub text: String,
    /// A short stable word for the rule that was broken, such as `not-a-number`.
    pub rule: String,
    /// What is wrong, in one sentence.
    pub message: String,
    /// What a person can do about it.
    pub hint: String,
}

impl Problem {
    /// The text of a source cell cut to what a report can carry.
    pub fn cut(text: &str) -> String {
        const LONGEST: usize = 200;
        if text.chars().count() <= LONGEST {
            return text.to_owned();
        }
        let mut cut: String = text.chars().take(LONGEST).collect();
        cut.push('…');
        cut
    }
}
