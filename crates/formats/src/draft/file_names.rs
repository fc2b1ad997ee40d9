//! A pattern for the file name of a sample: what changes from export to export becomes a capture.

use super::vocabulary::{Concept, Concepts};

/// A pattern and the texts its captures have in this sample.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct NameGuess {
    pub pattern: Option<String>,
    captures: Vec<(String, String)>,
}

impl NameGuess {
    /// Guesses the pattern of a name: runs of digits change, so do the names of `players`.
    pub fn of(file_name: &str, players: &[String]) -> NameGuess {
        let (stem, ending) =
            file_name.rsplit_once('.').map_or((file_name, ""), |(stem, _)| (stem, &file_name[stem.len()..]));
        // Braces are the pattern's own signs; a name with them is matched by no pattern.
        if file_name.contains(['{', '}']) || stem.is_empty() {
            return NameGuess::default();
        }
        let mut guess = NameGuess::default();
        let mut pattern = String::new();
        let mut literal = String::new();
        let mut rest = stem;
        while let Some(first) = rest.chars().next() {
            let player = players.iter().find(|name| {
                rest.get(..name.len()).is_some_and(|start| start.eq_ignore_ascii_case(name)) && is_capturable(name)
            });
            let length = match player {
                Some(name) => name.len(),
                None if first.is_ascii_digit() => rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len()),
                None => 0,
            };
            // Between two captures there must be a literal.
            if length == 0 || (pattern.ends_with('}') && literal.is_empty()) {
                literal.push(first);
                rest = &rest[first.len_utf8()..];
                continue;
            }
            let text = &rest[..length];
            let name = guess.name_for(&literal, text, player.is_some());
            pattern.push_str(&literal);
            pattern.extend(["{", name.as_str(), "}"]);
            literal.clear();
            guess.captures.push((name, text.to_owned()));
            rest = &rest[length..];
        }
        pattern.push_str(&literal);
        pattern.push_str(ending);
        guess.pattern = Some(pattern);
        guess
    }

    fn name_for(&self, before: &str, text: &str, is_player: bool) -> String {
        let concepts = Concepts::of(before.rsplit(['_', '-', ' ']).find(|part| !part.is_empty()).unwrap_or_default());
        let is_day = text.len() == 8 && (text.starts_with("20"));
        let base = if is_player {
            "player"
        } else if is_day {
            "day"
        } else if concepts.has(Concept::Bay) {
            "bay"
        } else {
            "number"
        };
        let used = |name: &str| self.captures.iter().any(|(known, _)| known == name);
        let mut name = base.to_owned();
        let mut count = 1;
        while used(&name) {
            count += 1;
            name = format!("{base}{count}");
        }
        name
    }

    fn capture(&self, name: &str) -> Option<(&str, &str)> {
        self.captures.iter().find(|(known, _)| known == name).map(|(known, text)| (known.as_str(), text.as_str()))
    }

    /// The capture that is a day, with its text.
    pub fn date(&self) -> Option<(&str, &str)> {
        self.capture("day")
    }

    /// The capture that is a bay, with its text.
    pub fn bay(&self) -> Option<(&str, &str)> {
        self.capture("bay")
    }
}

/// What a capture of a pattern can stand for.
fn is_capturable(text: &str) -> bool {
    text.len() >= 3 && text.chars().all(|c| c.is_alphanumeric() || c == '-' || c == '_')
}

/// A name for a pack from the name of a file: small letters and hyphens.
pub(super) fn pack_name_of(file_name: &str) -> String {
    let stem = file_name.rsplit_once('.').map_or(file_name, |(stem, _)| stem);
    let mut name = String::new();
    for letter in stem.chars() {
        if letter.is_ascii_alphabetic() {
            name.push(letter.to_ascii_lowercase());
        } else if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
    }
    let name = name.trim_matches('-');
    if name.is_empty() { "new-device".to_owned() } else { name.chars().take(40).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::file_name::NamePattern;

    #[test]
    fn digits_become_captures_that_match_again() {
        let cases = [
            ("session_0412_bay2.csv", "session_{number}_bay{bay}.csv"),
            ("H1-20260412-1.txt", "H{number}-{day}-{number2}.txt"),
            ("export.xlsx", "export.xlsx"),
            ("Wren_7.csv", "{player}_{number}.csv"),
            ("a", "a"),
        ];
        for (name, expected) in cases {
            let guess = NameGuess::of(name, &["wren".to_owned()]);
            let pattern = guess.pattern.expect("a pattern");
            assert_eq!(pattern, expected);
            let captured = NamePattern::parse(&pattern).expect("sound").matches(name).expect("it fits");
            assert_eq!(captured, guess.captures, "{name}");
        }
        assert_eq!(NameGuess::of("a{b}.csv", &[]).pattern, None);
        assert_eq!(NameGuess::of(".csv", &[]).pattern, None);
    }

    #[test]
    fn packs_are_named_after_files() {
        assert_eq!(pack_name_of("session_0412_bay2.csv"), "session-bay");
        assert_eq!(pack_name_of("20260412.csv"), "new-device");
        assert_eq!(pack_name_of("Ö Export (1).txt"), "export");
    }
}
