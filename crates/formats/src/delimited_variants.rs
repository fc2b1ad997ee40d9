//! Other dialects of delimited text that a changed export may be written in: delimiter, encoding, place of the header.

use crate::delimited::Delimited;
use crate::encoding::{self, Encoding};
use crate::record::{DialectChange, GLANCED_BYTES, Variant};

const DELIMITERS: [char; 4] = [',', ';', '\t', '|'];
/// Rows that a device may have put above its header.
const MOST_ROWS_ABOVE: usize = 6;

fn toml_text(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// Every combination of another encoding (where the pack's do not fit), another delimiter and a header further down.
pub(crate) fn variants(dialect: &Delimited, bytes: &[u8]) -> Vec<Variant> {
    let head = &bytes[..bytes.len().min(GLANCED_BYTES)];
    let (encodings, encoding_change) = encodings(dialect, head, head.len() == bytes.len());
    let mut variants = Vec::new();
    for rows_above in 0..=MOST_ROWS_ABOVE {
        for delimiter in DELIMITERS {
            let mut engine = dialect.clone();
            engine.encodings.clone_from(&encodings);
            let mut changes: Vec<DialectChange> = encoding_change.iter().cloned().collect();
            if delimiter != dialect.cells.delimiter {
                let shown = if delimiter == '\t' { "a tabulator".to_owned() } else { delimiter.to_string() };
                engine.cells.delimiter = delimiter;
                changes.push(DialectChange {
                    text: format!("the delimiter is now {shown}"),
                    key: "delimiter",
                    value: toml_text(&delimiter.to_string()),
                });
            }
            if rows_above > 0 {
                for row in engine.header_rows.iter_mut().chain(&mut engine.units_row) {
                    *row += rows_above;
                }
                let rows: Vec<String> = engine.header_rows.iter().map(ToString::to_string).collect();
                changes.push(DialectChange {
                    text: format!("the header now stands in row {}", rows.join(" and ")),
                    key: "headerRows",
                    value: format!("[{}]", rows.join(", ")),
                });
                changes.extend(engine.units_row.map(|row| DialectChange {
                    text: format!("the units now stand in row {row}"),
                    key: "unitsRow",
                    value: row.to_string(),
                }));
            }
            if !changes.is_empty() {
                variants.push(Variant { changes, engine: Box::new(engine) });
            }
        }
    }
    variants
}

/// The pack's encodings, and one more where they do not fit.
fn encodings(dialect: &Delimited, head: &[u8], whole: bool) -> (Vec<Encoding>, Option<DialectChange>) {
    let known = dialect.encodings.clone();
    let readable = encoding::decode(head, &known, whole).is_ok_and(|text| {
        // A character cut at the end of the head is no fault.
        !text.trim_end_matches(encoding::REPLACEMENT).contains(encoding::REPLACEMENT)
    });
    if readable {
        return (known, None);
    }
    let marked = Encoding::of_mark(head).map(|(encoding, _)| encoding);
    let found = marked
        .or_else(|| encoding::looks_wide(head))
        .unwrap_or_else(|| if Encoding::Utf8.fits(head, whole) { Encoding::Utf8 } else { Encoding::Windows1252 });
    if known.contains(&found) {
        return (known, None);
    }
    // The strictest encoding stands first, since every byte is text in some of the others.
    let mut all = known;
    let place = if found == Encoding::Windows1252 { all.len() } else { 0 };
    all.insert(place, found);
    let words: Vec<String> = all.iter().map(|encoding| toml_text(&encoding.word())).collect();
    let change = DialectChange {
        text: format!("the encoding is now {}", found.word()),
        key: "encoding",
        value: format!("[{}]", words.join(", ")),
    };
    (all, Some(change))
}
