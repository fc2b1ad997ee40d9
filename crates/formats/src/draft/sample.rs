//! The sample that goes into a drafted pack: the first records only, and no player's name.

use shot::ParsedShot;

use super::aliases::{Aliases, Bounds};
use super::repack::repack;
use super::sniff::Sniffed;
use super::table::Table;
use crate::context::SiteContext;
use crate::encoding::Encoding;
use crate::lines::Lines;
use crate::pack::Pack;
use crate::spec::EngineWord;

/// Records that a sample keeps: as many as a person checks by hand.
pub(super) const KEPT: usize = 20;

/// The bytes of a file cut to its first records, where its kind can be cut.
pub(super) fn cut(sniffed: &Sniffed, table: &Table, bytes: &[u8]) -> Vec<u8> {
    let rows = matches!(sniffed.engine, EngineWord::Delimited | EngineWord::JsonLines);
    let Some(beyond) = table.first_line_beyond.filter(|_| rows) else { return bytes.to_vec() };
    match Lines::new(&sniffed.text).find(|line| line.number == beyond) {
        Some(line) => encode(&sniffed.text[..line.start], sniffed, bytes),
        None => bytes.to_vec(),
    }
}

/// A text in the encoding of the file it came from, with its mark.
fn encode(text: &str, sniffed: &Sniffed, original: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(text.len());
    match sniffed.encodings.first() {
        Some(Encoding::Utf16Le) => {
            if original.starts_with(&[0xff, 0xfe]) {
                bytes.extend([0xff, 0xfe]);
            }
            bytes.extend(text.encode_utf16().flat_map(u16::to_le_bytes));
        }
        Some(Encoding::Utf16Be) => {
            if original.starts_with(&[0xfe, 0xff]) {
                bytes.extend([0xfe, 0xff]);
            }
            bytes.extend(text.encode_utf16().flat_map(u16::to_be_bytes));
        }
        Some(Encoding::Windows1252) => bytes.extend(encoding_rs::WINDOWS_1252.encode(text).0.iter()),
        // A draft names these four only.
        Some(Encoding::Utf8 | Encoding::Other(_)) | None => {
            if original.starts_with(&[0xef, 0xbb, 0xbf]) {
                bytes.extend([0xef, 0xbb, 0xbf]);
            }
            bytes.extend(text.as_bytes());
        }
    }
    bytes
}

/// The sample with every name replaced, such that the pack reads the same shots from it; or why that cannot be done.
pub(super) fn without_names(
    sniffed: &Sniffed,
    aliases: &Aliases,
    sample: &[u8],
    pack: &Pack,
    file_name: &str,
    site: &SiteContext,
) -> Result<Vec<u8>, String> {
    if aliases.count() == 0 {
        return Ok(sample.to_vec());
    }
    let before = pack.parse(file_name, sample, site);
    for bounds in [Bounds::Words, Bounds::Cells] {
        let replace = |text: &str| aliases.apply(text, bounds, &|name| spellings(name, sniffed.engine));
        let replaced = if sniffed.encodings.is_empty() {
            repack(sample, sniffed.engine, &replace)?
        } else {
            encode(&replace(&crate::encoding::decode(sample, &sniffed.encodings, true)?), sniffed, sample)
        };
        let after = pack.parse(file_name, &replaced, site);
        let named =
            after.shots.iter().filter_map(|shot| shot.player_text.as_deref()).any(|player| aliases.names(player));
        // A column file is cut to its first records on the way.
        let complete =
            after.shots.len() == before.shots.len() || sniffed.encodings.is_empty() && !after.shots.is_empty();
        let same = complete && before.shots.iter().zip(&after.shots).all(same_but_player);
        if same && !named {
            return Ok(replaced);
        }
    }
    Err("the players' names also stand for something else in it, so that they cannot be replaced safely".to_owned())
}

fn same_but_player((one, other): (&ParsedShot, &ParsedShot)) -> bool {
    let plain = |shot: &ParsedShot| ParsedShot {
        player_text: shot.player_text.as_ref().map(|_| String::new()),
        ..shot.clone()
    };
    plain(one) == plain(other)
}

/// How a name can be written in a kind of file.
fn spellings(name: &str, engine: EngineWord) -> Vec<String> {
    match engine {
        EngineWord::Delimited => vec![name.replace('"', "\"\""), name.replace('"', "\\\"")],
        EngineWord::Json | EngineWord::JsonLines => {
            let plain = serde_json::to_string(name).unwrap_or_default();
            let mut escaped = String::new();
            for letter in plain.chars() {
                if letter.is_ascii() {
                    escaped.push(letter);
                    continue;
                }
                for unit in letter.encode_utf16(&mut [0; 2]) {
                    escaped.extend(["\\u", &format!("{unit:04x}")]);
                }
            }
            let inner = |text: &str| text.get(1..text.len().saturating_sub(1)).unwrap_or_default().to_owned();
            vec![inner(&plain), inner(&escaped)]
        }
        EngineWord::Xml | EngineWord::Spreadsheet => {
            let escaped = name.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
            vec![escaped.replace('"', "&quot;").replace('\'', "&apos;"), escaped]
        }
        _ => Vec::new(),
    }
}
