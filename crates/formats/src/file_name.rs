//! File name patterns with captures, such as `session_{session}_bay{bay}.csv`. No regular expressions: a pattern is literal text
//! with `{name}` standing for one or more letters, digits, hyphens or underscores. Nothing else: what a browser or a person adds
//! to a second copy, such as ` (1)`, must not become part of a bay's name and so of a shot's identity.

/// A compiled pattern.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct NamePattern {
    text: String,
    /// Literal before each capture, with the capture's name.
    pieces: Vec<(String, String)>,
    /// Literal after the last capture.
    ending: String,
}

impl NamePattern {
    /// Reads a pattern; the error says what is wrong with it.
    pub fn parse(text: &str) -> Result<NamePattern, String> {
        let mut pieces: Vec<(String, String)> = Vec::new();
        let mut rest = text;
        while let Some(open) = rest.find('{') {
            let close = rest[open..].find('}').ok_or("the pattern opens a capture with { and never closes it")? + open;
            let name = &rest[open + 1..close];
            if name.is_empty() || !name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_') {
                return Err(format!("\"{{{name}}}\" is no capture: a name of letters, digits and _ is needed"));
            }
            if pieces.iter().any(|(_, earlier)| earlier == name) {
                return Err(format!("the capture {{{name}}} stands twice"));
            }
            if open == 0 && !pieces.is_empty() {
                return Err(format!("nothing stands between {{{name}}} and the capture before it"));
            }
            pieces.push((rest[..open].to_owned(), name.to_owned()));
            rest = &rest[close + 1..];
        }
        if text.is_empty() || rest.contains('}') {
            return Err("the pattern is empty or closes a capture that it never opened".to_owned());
        }
        Ok(NamePattern { text: text.to_owned(), pieces, ending: rest.to_owned() })
    }

    /// The pattern as written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether the pattern has a capture of this name.
    pub fn captures(&self, name: &str) -> bool {
        self.pieces.iter().any(|(_, capture)| capture == name)
    }

    /// The captures of a file name, or nothing if it does not match. Literals match without regard to ASCII case, since
    /// Windows keeps names in either. Each literal is taken at its first place after the capture before it.
    pub fn matches(&self, file_name: &str) -> Option<Vec<(String, String)>> {
        let folded = file_name.to_ascii_lowercase();
        let end = folded.len().checked_sub(self.ending.len())?;
        if !folded.is_char_boundary(end) || folded[end..] != self.ending.to_ascii_lowercase() {
            return None;
        }
        let mut captured = Vec::with_capacity(self.pieces.len());
        let mut position = 0;
        for (order, (literal, name)) in self.pieces.iter().enumerate() {
            let literal = literal.to_ascii_lowercase();
            let found = if order == 0 {
                folded.starts_with(&literal).then_some(0)?
            } else {
                // One character at least belongs to the capture before.
                let first = folded[position..].chars().next()?.len_utf8();
                position + first + folded[position + first..].find(&literal)?
            };
            if order > 0 {
                captured.push((self.pieces[order - 1].1.clone(), file_name[position..found].to_owned()));
            }
            position = found + literal.len();
            if order + 1 == self.pieces.len() {
                let last = file_name.get(position..end).filter(|text| !text.is_empty())?;
                captured.push((name.clone(), last.to_owned()));
            }
        }
        let plain = |text: &str| text.chars().all(|c| c.is_alphanumeric() || c == '-' || c == '_');
        let sound = captured.iter().all(|(_, text)| plain(text));
        (sound && (!self.pieces.is_empty() || end == 0)).then_some(captured)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn captured(pattern: &str, name: &str) -> Option<Vec<String>> {
        let pattern = NamePattern::parse(pattern).expect("a pattern");
        pattern.matches(name).map(|captures| captures.into_iter().map(|(_, text)| text).collect())
    }

    #[test]
    fn captures_are_cut_out() {
        let pattern = "session_{session}_bay{bay}.csv";
        assert_eq!(captured(pattern, "session_0412_bay2.csv"), Some(vec!["0412".into(), "2".into()]));
        assert_eq!(captured(pattern, "SESSION_Ä1_BAY12.CSV"), Some(vec!["Ä1".into(), "12".into()]));
        assert_eq!(captured(pattern, "session__bay2.csv"), None);
        assert_eq!(captured(pattern, "session_0412_bay.csv"), None);
        assert_eq!(captured(pattern, "session_0412_bay2.txt"), None);
        assert_eq!(captured("{any}.jsonl", "ä.jsonl"), Some(vec!["ä".into()]));
        assert_eq!(captured("fixed.csv", "fixed.csv"), Some(vec![]));
        assert_eq!(captured("fixed.csv", "xfixed.csv"), None);
        assert_eq!(captured("bay{x}.csv", "bay2 (1).csv"), None);
        assert_eq!(captured("a{x}a", "a"), None);
        assert_eq!(captured("a{x}a", "aa"), None);
    }

    #[test]
    fn unsound_patterns_are_refused() {
        for pattern in ["", "a{", "a{}b", "{a}{b}", "{a}x{a}", "a}b", "{a b}"] {
            assert!(NamePattern::parse(pattern).is_err(), "{pattern}");
        }
    }
}
