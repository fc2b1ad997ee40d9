//! A page of TOML under way: lines, comments, and the questions that stand at a line.

use super::Question;

/// Longest text quoted in a comment.
const LONGEST_QUOTED: usize = 60;

/// Lines written so far.
#[derive(Debug, Default)]
pub(super) struct Page {
    text: String,
    line: usize,
    questions: Vec<Question>,
}

impl Page {
    /// Writes one line; the line's number from 1.
    pub fn line(&mut self, text: &str) -> usize {
        self.text.push_str(text);
        self.text.push('\n');
        self.line += 1;
        self.line
    }

    /// Writes a comment; a long one is broken at blanks.
    pub fn comment(&mut self, text: &str) {
        let mut line = String::from("#");
        for word in text.split_whitespace() {
            if line.chars().count() + word.chars().count() > 125 {
                self.line(&line);
                line = String::from("#");
            }
            line.push(' ');
            line.push_str(word);
        }
        self.line(&line);
    }

    /// Writes a line that holds a choice of a person, and asks for it.
    pub fn decide(&mut self, text: &str, question: String) {
        let line = self.line(&format!("{text} # DECIDE"));
        self.questions.push(Question { line, text: question });
    }

    /// Asks about the line that comes next.
    pub fn ask_ahead(&mut self, question: String) {
        self.questions.push(Question { line: self.line + 1, text: question });
    }

    /// A blank line, and a table.
    pub fn table(&mut self, name: &str) {
        self.line("");
        self.line(&format!("[{name}]"));
    }

    /// What was written, and the questions by line.
    pub fn finish(mut self) -> (String, Vec<Question>) {
        self.questions.sort_by_key(|question| question.line);
        (self.text, self.questions)
    }
}

/// A TOML string.
pub(super) fn quoted(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for letter in text.chars() {
        match letter {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\t' => out.push_str("\\t"),
            '\n' => out.push_str("\\n"),
            '\r' => out.push_str("\\r"),
            control if control.is_control() => {
                let code = format!("\\u{:04X}", control as u32);
                out.push_str(&code);
            }
            other => out.push(other),
        }
    }
    out.push('"');
    out
}

/// A TOML list of strings.
pub(super) fn list<'a>(texts: impl IntoIterator<Item = &'a str>) -> String {
    let quoted: Vec<String> = texts.into_iter().map(quoted).collect();
    format!("[{}]", quoted.join(", "))
}

/// A TOML list over several lines where it is long.
pub(super) fn long_list(page: &mut Page, key: &str, texts: &[String]) {
    let short = format!("{key} = {}", list(texts.iter().map(String::as_str)));
    if short.chars().count() <= 120 {
        page.line(&short);
        return;
    }
    page.line(&format!("{key} = ["));
    let mut line = String::from("   ");
    for text in texts {
        let item = format!(" {},", quoted(text));
        if line.chars().count() + item.chars().count() > 120 && line.trim() != "" {
            page.line(&line);
            line = String::from("   ");
        }
        line.push_str(&item);
    }
    page.line(&line);
    page.line("]");
}

/// A text of the sample inside a comment or a question: one line, not too long.
pub(super) fn shown(text: &str) -> String {
    let plain: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(LONGEST_QUOTED).collect();
    format!("\"{}\"", plain.trim())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_text_survives_quoting() {
        for text in ["a", "\"", "\\", "a\nb\t\r", "\u{1}\u{7f}ä", "'"] {
            let read: toml::Table = toml::from_str(&format!("k = {}\n", quoted(text))).expect("TOML");
            assert_eq!(read["k"].as_str(), Some(text));
        }
    }

    #[test]
    fn questions_know_their_line() {
        let mut page = Page::default();
        page.line("one");
        page.ask_ahead("about two".to_owned());
        page.line("two");
        page.decide("three = 3", "about three".to_owned());
        let (text, questions) = page.finish();
        assert_eq!(text, "one\ntwo\nthree = 3 # DECIDE\n");
        assert_eq!(questions.iter().map(|question| question.line).collect::<Vec<_>>(), [2, 3]);
    }
}
