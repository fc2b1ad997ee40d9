//! Names of files in messages. Who may drop a file chooses its name, and that name must not break or forge a line of the log.

use std::fmt::Write as _;
use std::path::Path;

/// A path for people: characters that steer a terminal or end a line are shown by their escapes, bytes that are no Unicode
/// text as `\x..`. A path of ordinary characters is shown as it is.
pub fn readable_path(path: &Path) -> String {
    let mut shown = String::new();
    for piece in path.as_os_str().as_encoded_bytes().utf8_chunks() {
        shown.push_str(&readable_text(piece.valid()));
        for byte in piece.invalid() {
            let _ = write!(shown, "\\x{byte:02X}"); // writing to a String cannot fail
        }
    }
    shown
}

/// The same for a text.
pub fn readable_text(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for letter in text.chars() {
        // Marks that turn the direction of writing can make a name look like another one.
        let turns = matches!(letter, '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}');
        if letter.is_control() || turns || matches!(letter, '\u{2028}' | '\u{2029}') {
            shown.extend(letter.escape_default());
        } else {
            shown.push(letter);
        }
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ordinary_names_stay_and_others_cannot_break_a_line() {
        assert_eq!(readable_path(Path::new("/srv/Übung 3 'a'.csv")), "/srv/Übung 3 'a'.csv");
        assert_eq!(readable_text("a\nhint: b\u{1b}[2J\u{202e}c"), "a\\nhint: b\\u{1b}[2J\\u{202e}c");
    }

    #[cfg(unix)]
    #[test]
    fn bytes_that_are_no_text_are_told_apart() {
        use std::ffi::OsStr;
        use std::os::unix::ffi::OsStrExt as _;
        let one = readable_path(Path::new(OsStr::from_bytes(b"a\xFF.csv")));
        let other = readable_path(Path::new(OsStr::from_bytes(b"a\xFE.csv")));
        assert_eq!((one.as_str(), other.as_str()), ("a\\xFF.csv", "a\\xFE.csv"));
    }
}
