//! Bytes to text. A byte order mark decides; without one the pack's list does, in its order.

use std::borrow::Cow;

/// Encodings a pack can name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Encoding {
    Utf8,
    Windows1252,
    Utf16Le,
    Utf16Be,
}

/// What stands in place of bytes that are no text; a row that holds one is rejected.
pub(crate) const REPLACEMENT: char = '\u{fffd}';

impl Encoding {
    /// The labels used in packs.
    pub const WORDS: [(Encoding, &'static str); 4] = [
        (Encoding::Utf8, "utf-8"),
        (Encoding::Windows1252, "windows-1252"),
        (Encoding::Utf16Le, "utf-16le"),
        (Encoding::Utf16Be, "utf-16be"),
    ];

    /// The encoding of a label.
    pub fn parse(label: &str) -> Option<Encoding> {
        Encoding::WORDS.iter().find(|(_, word)| *word == label).map(|(encoding, _)| *encoding)
    }

    /// The label used in packs.
    pub fn word(self) -> &'static str {
        Encoding::WORDS.iter().find(|(encoding, _)| *encoding == self).map_or("utf-8", |(_, word)| word)
    }

    /// The encoding that a byte order mark announces.
    fn of_mark(bytes: &[u8]) -> Option<(Encoding, usize)> {
        match bytes {
            [0xef, 0xbb, 0xbf, ..] => Some((Encoding::Utf8, 3)),
            [0xff, 0xfe, ..] => Some((Encoding::Utf16Le, 2)),
            [0xfe, 0xff, ..] => Some((Encoding::Utf16Be, 2)),
            _ => None,
        }
    }

    fn decode(self, bytes: &[u8]) -> Cow<'_, str> {
        let decoder = match self {
            Encoding::Utf8 => encoding_rs::UTF_8,
            Encoding::Windows1252 => encoding_rs::WINDOWS_1252,
            Encoding::Utf16Le => encoding_rs::UTF_16LE,
            Encoding::Utf16Be => encoding_rs::UTF_16BE,
        };
        decoder.decode_without_bom_handling(bytes).0
    }

    fn is_wide(self) -> bool {
        matches!(self, Encoding::Utf16Le | Encoding::Utf16Be)
    }
}

/// The text of a file, with U+FFFD where bytes are no text in the chosen encoding.
/// `whole` = the file does not go on after these bytes.
pub(crate) fn decode<'a>(bytes: &'a [u8], accepted: &[Encoding], whole: bool) -> Result<Cow<'a, str>, String> {
    let labels = || accepted.iter().map(|encoding| encoding.word()).collect::<Vec<_>>().join(", ");
    if let Some((encoding, mark)) = Encoding::of_mark(bytes) {
        if !accepted.contains(&encoding) {
            return Err(format!("the file begins as {}, the pack reads {}", encoding.word(), labels()));
        }
        return Ok(encoding.decode(cut_to_units(&bytes[mark..], encoding, whole)));
    }
    // Nul characters never stand in a text export, but fill every second byte of UTF-16 text: an unmarked file that holds them
    // is UTF-16 if the pack reads that, and no text otherwise.
    let looks_wide = bytes.iter().take(512).any(|byte| *byte == 0);
    let mut fallback = None;
    for encoding in accepted {
        match encoding {
            wide if wide.is_wide() != looks_wide => {}
            Encoding::Utf8 if std::str::from_utf8(bytes).is_err() => fallback = Some(Encoding::Utf8),
            other => {
                fallback = Some(*other);
                break;
            }
        }
    }
    match fallback {
        Some(encoding) => Ok(encoding.decode(cut_to_units(bytes, encoding, whole))),
        None => Err(format!("the bytes are no text in {}", labels())),
    }
}

/// A glance at the head of a file may end inside a character.
fn cut_to_units(bytes: &[u8], encoding: Encoding, whole: bool) -> &[u8] {
    if !whole && encoding.is_wide() && bytes.len() % 2 == 1 { &bytes[..bytes.len() - 1] } else { bytes }
}

/// Whether the last bytes of a file are a whole line end.
pub(crate) fn ends_with_newline(tail: &[u8], accepted: &[Encoding]) -> bool {
    let accepts = |encoding: Encoding| accepted.contains(&encoding);
    let wide = accepted.iter().any(|encoding| encoding.is_wide()) && tail.contains(&0);
    if !wide {
        return matches!(tail.last(), Some(b'\n' | b'\r'));
    }
    match tail {
        [.., b'\n' | b'\r', 0] => accepts(Encoding::Utf16Le),
        // The same two bytes end a little-endian file that was cut inside its line end; only a pack that reads
        // big-endian text can take them as whole.
        [.., 0, b'\n' | b'\r'] => accepts(Encoding::Utf16Be),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Encoding::{Utf8, Utf16Be, Utf16Le, Windows1252};

    #[test]
    fn the_mark_decides() {
        let wide: Vec<u8> = [0xff, 0xfe].into_iter().chain("ä\n".encode_utf16().flat_map(u16::to_le_bytes)).collect();
        assert_eq!(decode(&wide, &[Utf16Le, Windows1252], true).expect("text"), "ä\n");
        assert!(decode(&wide, &[Utf8], true).is_err());
        assert_eq!(decode(b"\xef\xbb\xbfa", &[Utf8], true).expect("text"), "a");
        assert_eq!(decode(b"\xfe\xff\0a", &[Utf16Be], true).expect("text"), "a");
        assert_eq!(decode(&wide[..5], &[Utf16Le], false).expect("text"), "ä");
    }

    #[test]
    fn without_a_mark_the_list_decides() {
        assert_eq!(decode(b"\xe4", &[Utf8, Windows1252], true).expect("text"), "ä");
        assert_eq!(decode("ä".as_bytes(), &[Utf8, Windows1252], true).expect("text"), "ä");
        assert_eq!(decode(b"a\xe4b", &[Utf8], true).expect("text"), "a\u{fffd}b");
        assert_eq!(decode(b"a\0", &[Utf16Le, Windows1252], true).expect("text"), "a");
        assert!(decode(b"a\0", &[Utf8], true).is_err());
    }

    #[test]
    fn line_ends_are_told_from_cuts() {
        assert!(ends_with_newline(b"a\r\n", &[Utf8]));
        assert!(!ends_with_newline(b"a", &[Utf8]));
        assert!(!ends_with_newline(b"", &[Utf8]));
        assert!(ends_with_newline(b"a\0\n\0", &[Utf16Le, Windows1252]));
        assert!(!ends_with_newline(b"a\0\r\0\n", &[Utf16Le, Windows1252]));
        assert!(ends_with_newline(b"a\n", &[Utf16Le, Windows1252]));
    }
}
