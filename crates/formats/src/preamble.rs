//! Lines above the header: `Key: value`, up to a mark or for a fixed number of lines.

/// How the lines above the header are read.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct PreambleStyle {
    /// A line equal to this ends the preamble.
    pub end_mark: Option<String>,
    /// The preamble has this many lines.
    pub lines: usize,
    /// What parts key and value.
    pub separator: String,
}

impl PreambleStyle {
    /// Whether there is a preamble at all.
    pub fn is_present(&self) -> bool {
        self.end_mark.is_some() || self.lines > 0
    }

    /// Whether the line ends a preamble that has a mark.
    pub fn is_end(&self, line: &str) -> bool {
        self.end_mark.as_deref().is_some_and(|mark| line.trim() == mark)
    }

    /// Key and value of a line; a line without separator has neither.
    pub fn entry(&self, line: &str) -> Option<(String, String)> {
        let (key, value) = line.split_once(self.separator.as_str())?;
        let key = key.trim();
        (!key.is_empty()).then(|| (key.to_owned(), value.trim().to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_separator_parts() {
        let style = PreambleStyle { end_mark: Some("---".into()), lines: 0, separator: ":".into() };
        assert_eq!(style.entry(" Time : 10:20 "), Some(("Time".into(), "10:20".into())));
        assert_eq!(style.entry("no key here"), None);
        assert_eq!(style.entry(": value"), None);
        assert!(style.is_end(" --- "));
        assert!(!style.is_end("----"));
    }
}
