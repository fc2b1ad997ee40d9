//! Every rule an export can break, in one place: the short stable words that stand in the `rejects` dataset.

use shot::{Problem, Severity};

/// A rule of the importer. The word of a rule never changes, since people filter and count by it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rule {
    /// A number was expected.
    NotANumber,
    /// A side letter (left or right) was expected, or contradicts a sign.
    SignUnclear,
    /// The value is given in the player's own frame, and the player's hand is not known.
    HandUnknown,
    /// A value the pack requires is missing.
    MissingRequired,
    /// The file lacks a column that the pack reads.
    MissingColumn,
    /// Two columns of the file bear the name that the pack reads.
    AmbiguousColumn,
    /// A value lies beyond what a golf shot can be.
    OutOfRange,
    /// The pack's value map does not have this word.
    UnknownValue,
    /// The grid of the pack does not have this cell.
    UnknownCell,
    /// The list says that a ball left no mark.
    NoMark,
    /// The row has fewer or more cells than the header.
    RaggedRow,
    /// A quote opens and never closes.
    UnclosedQuote,
    /// The time cannot be read.
    BadTime,
    /// The local time falls into the hour that daylight saving skips.
    NonexistentTime,
    /// The line, record or document is no JSON.
    BadJson,
    /// The record or document is no well-formed XML.
    BadXml,
    /// An XML file declares or uses entities of its own.
    XmlEntity,
    /// The document has no records where the pack looks for them.
    NoRecords,
    /// The document ends before it is closed.
    Truncated,
    /// Bytes that are no text in the pack's encodings.
    BadEncoding,
    /// The units row has a word that the pack does not know.
    UnitUnknown,
    /// The header row was not found.
    NoHeader,
    /// A line exceeds the limit.
    LineTooLong,
    /// A row has more cells, or a record more fields, than the limit.
    TooManyFields,
    /// A JSON or XML record nests deeper than the limit.
    TooDeep,
    /// The file exceeds the limit.
    FileTooLarge,
    /// The file has more rows than the limit.
    TooManyRows,
    /// The file has more problems than a report can carry.
    TooManyProblems,
    /// The file is no workbook, or a damaged one.
    BadWorkbook,
    /// The file needs a password.
    LockedFile,
    /// The workbook is of a kind that is not read.
    OldWorkbook,
    /// The workbook lacks the sheet that the pack reads.
    NoSheet,
    /// A packed file unpacks to more than the limit.
    UnpacksTooLarge,
    /// A cell or value that is there cannot be read as text or number.
    UnreadableValue,
    /// Formulas whose results the workbook does not hold.
    UnsolvedFormula,
    /// The file is no Parquet or Arrow file, or a damaged one.
    BadColumnFile,
    /// A column is compressed in a way that is not read.
    UnknownCompression,
}

impl Rule {
    /// All rules.
    pub const ALL: [Rule; 37] = [
        Rule::NotANumber,
        Rule::SignUnclear,
        Rule::HandUnknown,
        Rule::MissingRequired,
        Rule::MissingColumn,
        Rule::AmbiguousColumn,
        Rule::OutOfRange,
        Rule::UnknownValue,
        Rule::UnknownCell,
        Rule::NoMark,
        Rule::RaggedRow,
        Rule::UnclosedQuote,
        Rule::BadTime,
        Rule::NonexistentTime,
        Rule::BadJson,
        Rule::BadXml,
        Rule::XmlEntity,
        Rule::NoRecords,
        Rule::Truncated,
        Rule::BadEncoding,
        Rule::UnitUnknown,
        Rule::NoHeader,
        Rule::LineTooLong,
        Rule::TooManyFields,
        Rule::TooDeep,
        Rule::FileTooLarge,
        Rule::TooManyRows,
        Rule::TooManyProblems,
        Rule::BadWorkbook,
        Rule::LockedFile,
        Rule::OldWorkbook,
        Rule::NoSheet,
        Rule::UnpacksTooLarge,
        Rule::UnreadableValue,
        Rule::UnsolvedFormula,
        Rule::BadColumnFile,
        Rule::UnknownCompression,
    ];

    /// The word that stands in data.
    pub fn word(self) -> &'static str {
        self.texts().0
    }

    /// What a person can do about it.
    pub fn hint(self) -> &'static str {
        self.texts().1
    }

    fn texts(self) -> (&'static str, &'static str) {
        match self {
            Rule::NotANumber => (
                "not-a-number",
                "if the device writes this for \"no reading\", add it to missingValues of the pack; else check decimalChar and groupChar",
            ),
            Rule::SignUnclear => (
                "sign-unclear",
                "list the device's words under positiveSuffix, negativeSuffix and zeroWords of this measure in the pack",
            ),
            Rule::HandUnknown => {
                ("hand-unknown", "add the player to the roster, with hand, then reprocess the pack's files")
            }
            Rule::MissingRequired => {
                ("missing-required", "complete the row in the device's software and export it again")
            }
            Rule::MissingColumn => {
                ("missing-column", "export with this column switched on, or use the pack made for the other layout")
            }
            Rule::AmbiguousColumn => ("ambiguous-column", "switch one of the two columns off in the export"),
            Rule::OutOfRange => {
                ("out-of-range", "check the unit this device was set to against the unit the pack gives for the column")
            }
            Rule::UnknownValue => (
                "unknown-value",
                "add the word to the values of this field in the pack, then reprocess the pack's files",
            ),
            Rule::UnknownCell => ("unknown-cell", "compare the cell with the grid of the pack"),
            Rule::NoMark => ("no-mark", "nothing need be done: the list says that there was no mark"),
            Rule::RaggedRow => {
                ("ragged-row", "look for a delimiter inside a cell, or for a row cut short while it was written")
            }
            Rule::UnclosedQuote => ("unclosed-quote", "close the quote, or set another quoteChar in the pack"),
            Rule::BadTime => {
                ("bad-time", "compare the text with the time format of the pack, and check the device's clock")
            }
            Rule::NonexistentTime => (
                "nonexistent-time",
                "this hour was skipped when daylight saving began: check the device's clock and the site's zone",
            ),
            Rule::BadJson => (
                "bad-json",
                "export again; if it stays, open the file in an editor that marks JSON errors, and tell the device's maker",
            ),
            Rule::BadXml => (
                "bad-xml",
                "export again; if it stays, open the file in an editor that marks XML errors, and tell the device's maker",
            ),
            Rule::XmlEntity => (
                "xml-entity",
                "entities are never expanded, since they can hide anything: export without a DOCTYPE, or write the text out",
            ),
            Rule::NoRecords => ("no-records", "compare dialect.property of the pack with the file"),
            Rule::Truncated => ("truncated", "the file was not finished or not copied whole: export or copy it again"),
            Rule::BadEncoding => ("bad-encoding", "check the encoding list of the pack against what the device writes"),
            Rule::UnitUnknown => ("unit-unknown", "add the device's unit word to unitWords of the pack"),
            Rule::NoHeader => ("no-header", "check that the file is whole and belongs to this pack"),
            Rule::LineTooLong => ("line-too-long", "check that the file is this device's export"),
            Rule::TooManyFields => {
                ("too-many-fields", "check the delimiter of the pack against the file, and that a record is a shot")
            }
            Rule::TooDeep => ("too-deep", "check that the file is this device's export"),
            Rule::FileTooLarge => ("file-too-large", "split the export into smaller files, for example one a day"),
            Rule::TooManyRows => ("too-many-rows", "split the export into smaller files, for example one a day"),
            Rule::TooManyProblems => ("too-many-problems", "mend the causes listed above and retry the file"),
            Rule::BadWorkbook => (
                "bad-workbook",
                "check that the file came over whole; else open it in a spreadsheet program and save it as xlsx",
            ),
            Rule::LockedFile => ("locked-file", "save the file without a password"),
            Rule::OldWorkbook => ("old-workbook", "open it in a spreadsheet program and save it as xlsx"),
            Rule::NoSheet => ("no-sheet", "set sheetName or sheetNumber of the pack to a sheet with cells"),
            Rule::UnpacksTooLarge => {
                ("unpacks-too-large", "check where the file comes from; split a file that is honestly that large")
            }
            Rule::UnreadableValue => (
                "unreadable-value",
                "mend the value at its source; if it stands for \"no reading\", add its text to missingValues of the pack",
            ),
            Rule::UnsolvedFormula => (
                "unsolved-formula",
                "open the workbook in a spreadsheet program and save it, so that it holds the results of its formulas",
            ),
            Rule::BadColumnFile => (
                "bad-column-file",
                "check that the file came over whole; else write it anew with the program that made it",
            ),
            Rule::UnknownCompression => {
                ("unknown-compression", "write the file with zstd, snappy, gzip, lz4 or no compression")
            }
        }
    }

    /// A problem that costs the row (line 0: the whole file).
    pub(crate) fn rejects(self, line: i64, column: Option<&str>, text: &str, message: String) -> Problem {
        self.problem(Severity::Rejected, line, column, text, message)
    }

    /// A reservation about a row that is taken all the same.
    pub(crate) fn notes(self, line: i64, column: Option<&str>, text: &str, message: String) -> Problem {
        self.problem(Severity::Noted, line, column, text, message)
    }

    fn problem(self, severity: Severity, line: i64, column: Option<&str>, text: &str, message: String) -> Problem {
        Problem {
            severity,
            line,
            column: column.map(Problem::cut),
            text: Problem::cut(text),
            rule: self.word().to_owned(),
            message: bounded(message),
            hint: self.hint().to_owned(),
        }
    }
}

/// A message can quote what a library quotes of the file, which may be the rest of it.
fn bounded(message: String) -> String {
    const LONGEST: usize = 1_000;
    match message.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", &message[..end]),
        None => message,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_are_bounded() {
        let problem = Rule::BadXml.rejects(1, None, "", "ä".repeat(5_000));
        assert_eq!(problem.message.chars().count(), 1_001);
        assert_eq!(Rule::BadXml.rejects(1, None, "", "short".to_owned()).message, "short");
    }

    #[test]
    fn words_are_plain_and_apart() {
        let mut words: Vec<&str> = Rule::ALL.iter().map(|rule| rule.word()).collect();
        assert!(words.iter().all(|word| word.chars().all(|c| c.is_ascii_lowercase() || c == '-')));
        words.sort_unstable();
        words.dedup();
        assert_eq!(words.len(), Rule::ALL.len());
    }
}
