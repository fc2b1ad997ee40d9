//! Bytes to text. A byte order mark decides; without one the pack's list does, in its order.

use std::borrow::Cow;

/// Encodings a pack can name: any label of the WHATWG Encoding Standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Encoding {
    Utf8,
    Windows1252,
    Utf16Le,
    Utf16Be,
    Other(&'static encoding_rs::Encoding),
}

/// What stands in place of bytes that are no text; a row that holds one is rejected.
pub(crate) const REPLACEMENT: char = '\u{fffd}';

/// Bytes at the head that tell 16-bit text from 8-bit text.
const LOOKED_AT: usize = 512;

impl Encoding {
    /// The encoding of a label, in capitals or not.
    pub fn parse(label: &str) -> Option<Encoding> {
        // Some labels of the standard name encodings that decode to nothing, because they were abused.
        let found = encoding_rs::Encoding::for_label_no_replacement(label.as_bytes())?;
        let ours = [Encoding::Utf8, Encoding::Windows1252, Encoding::Utf16Le, Encoding::Utf16Be];
        Some(ours.into_iter().find(|encoding| encoding.decoder() == found).unwrap_or(Encoding::Other(found)))
    }

    /// The name of the encoding, in small letters.
    pub fn word(self) -> String {
        self.decoder().name().to_ascii_lowercase()
    }

    /// The encoding that a byte order mark announces.
    pub fn of_mark(bytes: &[u8]) -> Option<(Encoding, usize)> {
        match bytes {
            [0xef, 0xbb, 0xbf, ..] => Some((Encoding::Utf8, 3)),
            [0xff, 0xfe, ..] => Some((Encoding::Utf16Le, 2)),
            [0xfe, 0xff, ..] => Some((Encoding::Utf16Be, 2)),
            _ => None,
        }
    }

    fn decoder(self) -> &'static encoding_rs::Encoding {
        match self {
            Encoding::Utf8 => encoding_rs::UTF_8,
            Encoding::Windows1252 => encoding_rs::WINDOWS_1252,
            Encoding::Utf16Le => encoding_rs::UTF_16LE,
            Encoding::Utf16Be => encoding_rs::UTF_16BE,
            Encoding::Other(encoding) => encoding,
        }
    }

    fn decode(self, bytes: &[u8]) -> Cow<'_, str> {
        self.decoder().decode_without_bom_handling(bytes).0
    }

    /// Whether every byte is text; the last character may be cut where the file goes on.
    pub fn fits(self, bytes: &[u8], whole: bool) -> bool {
        if self == Encoding::Utf8 {
            return match std::str::from_utf8(bytes) {
                Ok(_) => true,
                Err(error) => !whole && error.error_len().is_none(),
            };
        }
        let mut decoder = self.decoder().new_decoder_without_bom_handling();
        let mut scratch = [0_u8; 4096];
        let mut rest = bytes;
        loop {
            let (outcome, read, _) = decoder.decode_to_utf8_without_replacement(rest, &mut scratch, whole);
            match outcome {
                encoding_rs::DecoderResult::InputEmpty => return true,
                encoding_rs::DecoderResult::Malformed(..) => return false,
                encoding_rs::DecoderResult::OutputFull => rest = &rest[read..],
            }
        }
    }

    fn is_wide(self) -> bool {
        matches!(self, Encoding::Utf16Le | Encoding::Utf16Be)
    }
}

/// The 16-bit encoding that unmarked bytes look like: Latin letters, digits and line ends leave every second byte nul. A file of
/// 8-bit text that holds a few nul bytes, or a block of them that a crash left behind, does not look like it.
pub(crate) fn looks_wide(bytes: &[u8]) -> Option<Encoding> {
    let head = &bytes[..bytes.len().min(LOOKED_AT)];
    let nuls = |first: usize| head.iter().skip(first).step_by(2).filter(|byte| **byte == 0).count();
    let (even, odd) = (nuls(0), nuls(1));
    let pairs = head.len().div_ceil(2);
    let (more, fewer) = (even.max(odd), even.min(odd));
    if more == 0 || more * 10 < pairs || fewer * 5 > more {
        return None;
    }
    Some(if odd > even { Encoding::Utf16Le } else { Encoding::Utf16Be })
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
    let wide = looks_wide(bytes);
    let fitting: Vec<Encoding> = match wide {
        // The nul bytes tell the order of the bytes too.
        Some(encoding) if accepted.contains(&encoding) => vec![encoding],
        Some(_) => Vec::new(),
        None => accepted.iter().copied().filter(|encoding| !encoding.is_wide()).collect(),
    };
    let only = fitting.len() == 1;
    let best =
        fitting.iter().copied().find(|encoding| only || encoding.fits(bytes, whole)).or(fitting.first().copied());
    match best {
        Some(encoding) => Ok(encoding.decode(cut_to_units(bytes, encoding, whole))),
        None => Err(match wide {
            Some(encoding) => format!("the bytes look like {}, the pack reads {}", encoding.word(), labels()),
            None => format!("the bytes are no text in {}", labels()),
        }),
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
        assert_eq!(decode(b"\0a\0b", &[Utf16Le, Utf16Be], true).expect("text"), "ab");
        assert_eq!(decode(b"a\xc3", &[Utf8, Windows1252], false).expect("text"), "a\u{fffd}", "cut, not Windows text");
        // A few nul bytes do not make a file 16-bit text.
        let torn = [b"t,v\n1,50\n2,51\n".as_slice(), &[0; 40]].concat();
        assert!(decode(&torn, &[Utf8], true).expect("text").starts_with("t,v"));
    }

    #[test]
    fn labels_are_those_of_the_web() {
        // [source: WHATWG Encoding Standard, names and labels: iso-8859-1 means windows-1252; 0xA4 is the euro sign in 8859-15]
        assert_eq!(Encoding::parse("ISO-8859-1"), Some(Windows1252));
        assert_eq!(Encoding::parse("utf-16"), Some(Utf16Le));
        let latin9 = Encoding::parse("iso-8859-15").expect("known");
        assert_eq!(decode(b"\xa4", &[Utf8, latin9], true).expect("text"), "€");
        let greek = Encoding::parse("windows-1253").expect("known");
        assert_eq!(decode(b"\xe1", &[greek], true).expect("text"), "α");
        for label in ["ebcdic", "", "hz-gb-2312", "replacement"] {
            assert_eq!(Encoding::parse(label), None, "{label}");
        }
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
