//! What kind of file a sample is, told by its bytes alone: names lie.

use serde_json::Value;

use crate::encoding::{self, Encoding};
use crate::lines::Lines;
use crate::spec::EngineWord;

/// Bytes at the head of a text that tell its encoding.
const TELLING_BYTES: usize = 4096;
/// Lines of a text that are tried as JSON objects.
const TRIED_LINES: usize = 5;

/// The kind of a sample.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Sniffed {
    pub engine: EngineWord,
    /// Encodings to write into the pack, first the one that was found; none for files that are no text.
    pub encodings: Vec<Encoding>,
    /// Decoded text; empty for files that are no text.
    pub text: String,
    /// What was seen, for people.
    pub because: String,
}

/// The kind of a file, or why it cannot be an export that a pack reads.
pub(super) fn sniff(bytes: &[u8]) -> Result<Sniffed, String> {
    let packed = |engine, because: &str| {
        Ok(Sniffed { engine, encodings: Vec::new(), text: String::new(), because: because.to_owned() })
    };
    match bytes {
        [] => return Err("the file is empty".to_owned()),
        [b'P', b'K', 3, 4, ..] if holds(bytes, b"xl/") => {
            return packed(EngineWord::Spreadsheet, "a zip archive with xl/ in it");
        }
        [b'P', b'K', 3, 4, ..] if holds(bytes, b"content.xml") => {
            return packed(EngineWord::Spreadsheet, "a zip archive with content.xml in it");
        }
        [b'P', b'K', 3, 4, ..] => {
            return Err("the file is a zip archive but no workbook; unpack it, and draft the export inside".to_owned());
        }
        [0x1f, 0x8b, ..] => return Err("the file is compressed; unpack it, and draft the export inside".to_owned()),
        [b'P', b'A', b'R', b'1', ..] => return packed(EngineWord::Parquet, "it begins with PAR1"),
        [b'A', b'R', b'R', b'O', b'W', b'1', ..] => return packed(EngineWord::Arrow, "it begins with ARROW1"),
        [0xff, 0xff, 0xff, 0xff, ..] => return packed(EngineWord::Arrow, "it begins like an Arrow stream"),
        _ => {}
    }
    let encodings = encodings_of(bytes)?;
    let text = encoding::decode(bytes, &encodings, true)?.into_owned();
    let (engine, because) = match text.trim_start_matches(['\u{feff}', ' ', '\t', '\r', '\n']).chars().next() {
        None => return Err("the file holds nothing but blanks".to_owned()),
        Some('<') => (EngineWord::Xml, "text that begins with <"),
        Some('{') if is_json_lines(&text) => (EngineWord::JsonLines, "each line is a JSON object"),
        Some('{' | '[') => (EngineWord::Json, "one JSON document"),
        Some(_) => (EngineWord::Delimited, "text in rows"),
    };
    Ok(Sniffed { engine, encodings, text, because: because.to_owned() })
}

/// A mark decides; without one NUL characters tell UTF-16, and bytes that are no UTF-8 tell Windows-1252.
fn encodings_of(bytes: &[u8]) -> Result<Vec<Encoding>, String> {
    match bytes {
        [0xef, 0xbb, 0xbf, ..] => return Ok(vec![Encoding::Utf8]),
        [0xff, 0xfe, ..] => return Ok(vec![Encoding::Utf16Le]),
        [0xfe, 0xff, ..] => return Ok(vec![Encoding::Utf16Be]),
        _ => {}
    }
    let head = &bytes[..bytes.len().min(TELLING_BYTES)];
    let nuls = |parity: usize| head.iter().skip(parity).step_by(2).filter(|byte| **byte == 0).count();
    let (even, odd, pairs) = (nuls(0), nuls(1), head.len() / 2);
    if even + odd > 0 {
        return match (even * 4 > pairs, odd * 4 > pairs) {
            (false, true) if pairs > 0 => Ok(vec![Encoding::Utf16Le]),
            (true, false) if pairs > 0 => Ok(vec![Encoding::Utf16Be]),
            _ => Err("the file holds NUL characters: it is no text, and no kind of file that packs read".to_owned()),
        };
    }
    match std::str::from_utf8(bytes) {
        // Nothing beyond ASCII was seen: what a later export writes for an umlaut is not known, so both are named.
        Ok(_) if bytes.is_ascii() => Ok(vec![Encoding::Utf8, Encoding::Windows1252]),
        Ok(_) => Ok(vec![Encoding::Utf8]),
        // A file cut inside its last character.
        Err(error) if error.error_len().is_none() => Ok(vec![Encoding::Utf8]),
        Err(_) => Ok(vec![Encoding::Windows1252]),
    }
}

/// Whether the first lines are objects of their own. A single line that holds a list of objects is a document.
fn is_json_lines(text: &str) -> bool {
    let filled = Lines::new(text).map(|line| &text[line.start..line.end]).filter(|line| !line.trim().is_empty());
    let (mut objects, mut others, mut holds_list) = (0, 0, false);
    for line in filled.take(TRIED_LINES) {
        match serde_json::from_str::<Value>(line) {
            Ok(Value::Object(members)) => {
                objects += 1;
                holds_list |= members.values().any(|value| match value {
                    Value::Array(items) => items.first().is_some_and(Value::is_object),
                    _ => false,
                });
            }
            _ => others += 1,
        }
    }
    objects > others && !(objects == 1 && holds_list)
}

fn holds(bytes: &[u8], wanted: &[u8]) -> bool {
    bytes.windows(wanted.len()).any(|window| window == wanted)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn engine(bytes: &[u8]) -> Result<EngineWord, String> {
        sniff(bytes).map(|sniffed| sniffed.engine)
    }

    #[test]
    fn the_content_decides() {
        let cases: [(&[u8], EngineWord); 11] = [
            (b"a,b\n1,2\n", EngineWord::Delimited),
            (b"\xef\xbb\xbf{\"a\":1}\n{\"a\":2}\n", EngineWord::JsonLines),
            (b"{\"a\":1}\n{\"a\":2}\nnonsense", EngineWord::JsonLines),
            (b"{\"a\":1}", EngineWord::JsonLines),
            (b"{\"shots\":[{\"a\":1}]}", EngineWord::Json),
            (b"{\n  \"shots\": [\n    {\"a\":1}\n  ]\n}\n", EngineWord::Json),
            (b"[{\"a\":1},{\"a\":2}]", EngineWord::Json),
            (b"<?xml version=\"1.0\"?><a/>", EngineWord::Xml),
            (b"PK\x03\x04........xl/workbook.xml", EngineWord::Spreadsheet),
            (b"PK\x03\x04........content.xml", EngineWord::Spreadsheet),
            (b"PAR1....", EngineWord::Parquet),
        ];
        for (bytes, expected) in cases {
            assert_eq!(engine(bytes), Ok(expected), "{}", String::from_utf8_lossy(bytes));
        }
        assert_eq!(engine(b"ARROW1\0\0"), Ok(EngineWord::Arrow));
        assert_eq!(engine(b"\xff\xff\xff\xff\x10\0\0\0"), Ok(EngineWord::Arrow));
        for bytes in [&b""[..], b" \r\n", b"PK\x03\x04....readme.txt", b"\x1f\x8b\x08", b"a\0\0\0b\0\0\0", b"\0"] {
            assert!(engine(bytes).is_err(), "{bytes:?}");
        }
    }

    #[test]
    fn the_encoding_is_told_by_mark_nul_and_validity() {
        let found = |bytes: &[u8]| sniff(bytes).expect("text").encodings;
        assert_eq!(found(b"a;b"), [Encoding::Utf8, Encoding::Windows1252]);
        assert_eq!(found("ä;b".as_bytes()), [Encoding::Utf8]);
        assert_eq!(found(b"\xe4;b"), [Encoding::Windows1252]);
        assert_eq!(found(b"a;\xc3"), [Encoding::Utf8]);
        assert_eq!(found(b"a\0;\0b\0"), [Encoding::Utf16Le]);
        assert_eq!(found(b"\0a\0;\0b"), [Encoding::Utf16Be]);
        assert_eq!(found(b"\xff\xfea\0"), [Encoding::Utf16Le]);
    }
}
