//! `engine` and `[dialect]` of a drafted pack: the very text that the pack will hold is what the sample is read with.

use super::page::{list, quoted};
use super::rows::{PreambleEnd, RowDialect, row_dialect};
use super::sniff::Sniffed;
use crate::spec::EngineWord;

/// The top of a pack.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Dialect {
    /// TOML: the key `engine` and, where there is something to say, a table `[dialect]`.
    pub text: String,
    pub questions: Vec<String>,
    /// What was recognised, for people.
    pub notes: Vec<String>,
}

/// The dialect of a sample, or why none can be found.
pub(super) fn dialect_of(sniffed: &Sniffed) -> Result<Dialect, String> {
    let mut dialect = Dialect::default();
    let word = engine_word(sniffed.engine);
    dialect.text = format!("engine = \"{word}\"   # {}\n", sniffed.because);
    dialect.notes.push(format!("{word}: {}", sniffed.because));
    let mut keys = String::new();
    let mut key = |name: &str, value: &str| keys.extend([name, " = ", value, "\n"]);
    match sniffed.engine {
        EngineWord::Delimited => {
            let rows = row_dialect(&sniffed.text)?;
            key("encoding", &encodings(sniffed));
            write_rows(&rows, &mut key);
            dialect.notes.push(format!("cells are parted by {}", named(rows.delimiter)));
            dialect
                .notes
                .extend(rows.preamble.as_ref().map(|_| "lines with keys and values stand above the header".to_owned()));
            dialect.notes.extend(rows.units_row.map(|_| "a row of units stands under the header".to_owned()));
            if rows.short_rows > 0 {
                let question = format!(
                    "{} of {} rows looked at have fewer cells than the header and are rejected. If the device just leaves out empty \
                     cells at the end, say shortRows = \"pad\" here.",
                    rows.short_rows, rows.rows
                );
                dialect.questions.push(question);
            }
        }
        EngineWord::JsonLines | EngineWord::Json => key("encoding", &encodings(sniffed)),
        EngineWord::Xml | EngineWord::Spreadsheet | EngineWord::Parquet | EngineWord::Arrow => {}
    }
    if !keys.is_empty() {
        dialect.text.push_str("[dialect]\n");
        dialect.text.push_str(&keys);
    }
    Ok(dialect)
}

/// The word of an engine in a pack.
fn engine_word(engine: EngineWord) -> &'static str {
    match engine {
        EngineWord::Delimited => "delimited",
        EngineWord::JsonLines => "json-lines",
        EngineWord::Json => "json",
        EngineWord::Xml => "xml",
        EngineWord::Spreadsheet => "spreadsheet",
        EngineWord::Parquet => "parquet",
        EngineWord::Arrow => "arrow",
    }
}

fn encodings(sniffed: &Sniffed) -> String {
    match sniffed.encodings.as_slice() {
        [one] => quoted(&one.word()),
        several => {
            let words: Vec<String> = several.iter().map(|encoding| encoding.word()).collect();
            list(words.iter().map(String::as_str))
        }
    }
}

fn named(delimiter: char) -> String {
    match delimiter {
        '\t' => "tabs".to_owned(),
        ',' => "commas".to_owned(),
        ';' => "semicolons".to_owned(),
        other => format!("\"{other}\""),
    }
}

fn write_rows(rows: &RowDialect, key: &mut impl FnMut(&str, &str)) {
    key("delimiter", &quoted(&rows.delimiter.to_string()));
    key("quoteChar", &quoted(&rows.quote.to_string()));
    if let Some(escape) = rows.escape {
        key("escapeChar", &quoted(&escape.to_string()));
    }
    if rows.skip_initial_space {
        key("skipInitialSpace", "true");
    }
    if let Some(comment) = rows.comment {
        key("commentChar", &quoted(&comment.to_string()));
    }
    let numbers: Vec<String> = rows.header_rows.iter().map(ToString::to_string).collect();
    key("headerRows", &format!("[{}]", numbers.join(", ")));
    if rows.merged {
        key("headerFill", "true");
    }
    if let Some(row) = rows.units_row {
        key("unitsRow", &row.to_string());
    }
    if let Some(preamble) = &rows.preamble {
        let end = match &preamble.end {
            PreambleEnd::Mark(mark) => format!("endMark = {}", quoted(mark)),
            PreambleEnd::Lines(lines) => format!("lines = {lines}"),
        };
        key("preamble", &format!("{{ {end}, separator = {} }}", quoted(&preamble.separator)));
    }
}
