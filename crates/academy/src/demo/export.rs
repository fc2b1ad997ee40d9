//! An export on its way from shots to bytes.

use super::record::Recorded;
use super::timetable::Bay;
use super::{hall_metric, plain_imperial, strike_lines};

/// How a device encodes text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8 without a mark.
    Utf8,
    /// UTF-16, low byte first, with a byte order mark.
    Utf16LittleEndian,
}

/// An export as lines.
#[derive(Debug, Clone, PartialEq)]
pub struct Export {
    /// Path below the demo folder.
    pub path: String,
    /// Everything above the first shot: preamble, header, units.
    pub head: Vec<String>,
    /// One line a shot.
    pub shots: Vec<String>,
    /// What ends a line.
    pub line_end: &'static str,
    /// How the text is encoded.
    pub encoding: Encoding,
}

impl Export {
    /// Writes a session the way its bay's device does.
    pub fn of(recorded: &Recorded) -> Export {
        match recorded.session.bay {
            Bay::One => hall_metric::export(recorded),
            Bay::Two => plain_imperial::export(recorded),
            Bay::Three => strike_lines::export(recorded),
        }
    }

    /// The line of a shot in the file, from 1.
    pub fn line_of(&self, shot: usize) -> usize {
        self.head.len() + shot + 1
    }

    /// The file's bytes.
    pub fn bytes(&self) -> Vec<u8> {
        let mut text = String::new();
        for line in self.head.iter().chain(&self.shots) {
            text.push_str(line);
            text.push_str(self.line_end);
        }
        match self.encoding {
            Encoding::Utf8 => text.into_bytes(),
            Encoding::Utf16LittleEndian => {
                let mut bytes = vec![0xff, 0xfe];
                for unit in text.encode_utf16() {
                    bytes.extend(unit.to_le_bytes());
                }
                bytes
            }
        }
    }
}

/// A number with a fixed count of decimals, never `-0`.
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let is_zero = text.trim_start_matches('-').chars().all(|letter| letter == '0' || letter == '.');
    if is_zero { text.trim_start_matches('-').to_owned() } else { text }
}

/// The number that [`fixed`] prints.
pub fn rounded(value: f64, decimals: usize) -> f64 {
    // What `fixed` prints of a finite number is a number.
    fixed(value, decimals).parse().unwrap_or(value)
}
