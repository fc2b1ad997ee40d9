//! A cursor over the text of a JSON document. It finds where values begin and end without recursion and without holding any, so that
//! a broken record costs itself and not the document.

/// Why a document cannot be read on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Fault {
    /// The text ends before the document does.
    Cut,
    /// Something stands there that cannot.
    Broken { at: usize, what: String },
}

/// Open brackets that are kept track of; far beyond what anybody nests.
const MOST_OPEN: usize = 1 << 16;

#[derive(Debug, Clone)]
pub(crate) struct Cursor<'a> {
    text: &'a str,
    position: usize,
}

impl<'a> Cursor<'a> {
    pub fn new(text: &'a str) -> Cursor<'a> {
        Cursor { text, position: 0 }
    }

    pub fn position(&self) -> usize {
        self.position
    }

    /// Everything behind the cursor.
    pub fn rest(&self) -> &'a str {
        &self.text[self.position..]
    }

    fn byte(&self) -> Option<u8> {
        self.text.as_bytes().get(self.position).copied()
    }

    fn broken<V>(&self, what: &str) -> Result<V, Fault> {
        let found = match self.rest().chars().next() {
            Some(c) if !c.is_control() => format!("\"{c}\" stands where {what} is expected"),
            _ => format!("{what} is expected"),
        };
        Err(Fault::Broken { at: self.position, what: found })
    }

    /// The first byte of the next token, which is not passed.
    pub fn peek(&mut self) -> Result<u8, Fault> {
        while let Some(b' ' | b'\t' | b'\r' | b'\n') = self.byte() {
            self.position += 1;
        }
        self.byte().ok_or(Fault::Cut)
    }

    /// Passes the bracket that opens a list or an object.
    pub fn enter(&mut self) {
        self.position += 1;
    }

    /// Goes to the next element of the list that was entered, or behind its end.
    pub fn next_element(&mut self, first: &mut bool) -> Result<bool, Fault> {
        self.next_part(first, b']')
    }

    /// Goes to the value of the next member of the object that was entered, or behind its end.
    pub fn next_member(&mut self, first: &mut bool) -> Result<Option<String>, Fault> {
        if !self.next_part(first, b'}')? {
            return Ok(None);
        }
        if self.peek()? != b'"' {
            return self.broken("the name of a member");
        }
        let start = self.position;
        self.skip_string()?;
        let Ok(name) = serde_json::from_str::<String>(&self.text[start..self.position]) else {
            return Err(Fault::Broken { at: start, what: "the name of a member is no JSON string".to_owned() });
        };
        if self.peek()? != b':' {
            return self.broken("a colon");
        }
        self.position += 1;
        self.peek()?;
        Ok(Some(name))
    }

    fn next_part(&mut self, first: &mut bool, closer: u8) -> Result<bool, Fault> {
        let is_first = std::mem::replace(first, false);
        let byte = self.peek()?;
        if byte == closer {
            self.position += 1;
            return Ok(false);
        }
        if !is_first {
            if byte != b',' {
                return self.broken(if closer == b']' { "a comma or \"]\"" } else { "a comma or \"}\"" });
            }
            self.position += 1;
            self.peek()?;
        }
        Ok(true)
    }

    /// Passes a value and gives its text. Brackets are matched; a closing one that fits an outer bracket of the value closes the inner
    /// ones too, so that a bracket forgotten within a record ends with the record. Whether the text is JSON is left open.
    pub fn skip_value(&mut self) -> Result<&'a str, Fault> {
        let mut open: Vec<u8> = Vec::new();
        let mut byte = self.peek()?;
        let start = self.position;
        loop {
            match byte {
                b'"' => self.skip_string()?,
                b'{' | b'[' => {
                    if open.len() >= MOST_OPEN {
                        return Err(Fault::Broken { at: start, what: "brackets nest without end".to_owned() });
                    }
                    open.push(if byte == b'{' { b'}' } else { b']' });
                    self.position += 1;
                }
                b'}' | b']' | b',' | b':' if open.is_empty() => return self.broken("a value"),
                b'}' | b']' => {
                    while let Some(wanted) = open.pop()
                        && wanted != byte
                    {
                        if open.is_empty() {
                            return self.broken("the end of a value that is still open");
                        }
                    }
                    self.position += 1;
                }
                b',' | b':' => self.position += 1,
                _ => self.skip_word(),
            }
            if open.is_empty() {
                return Ok(&self.text[start..self.position]);
            }
            byte = self.peek()?;
        }
    }

    /// Passes a string. A line end ends it too: JSON allows none in a string, and what follows is then read as it was meant.
    fn skip_string(&mut self) -> Result<(), Fault> {
        let bytes = self.text.as_bytes();
        let mut at = self.position + 1;
        loop {
            match bytes.get(at) {
                None => {
                    self.position = bytes.len();
                    return Err(Fault::Cut);
                }
                Some(b'\\') => at += 2,
                Some(b'"') => {
                    self.position = at + 1;
                    return Ok(());
                }
                Some(b'\n' | b'\r') => {
                    self.position = at;
                    return Ok(());
                }
                Some(_) => at += 1,
            }
        }
    }

    /// Passes a number or word, or whatever stands in place of one.
    fn skip_word(&mut self) {
        let end = self
            .rest()
            .bytes()
            .position(|b| matches!(b, b',' | b':' | b'{'..=b'}' | b'[' | b']' | b'"' | b'\t'..=b' '));
        self.position += end.unwrap_or(self.rest().len()).max(1);
        while !self.text.is_char_boundary(self.position) {
            self.position += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn skipped(text: &str) -> Result<(&str, &str), Fault> {
        let mut cursor = Cursor::new(text);
        let value = cursor.skip_value()?;
        Ok((value, cursor.rest()))
    }

    #[test]
    fn values_end_where_they_end() {
        assert_eq!(skipped(" {\"a\":[1,\"]}\\\"\"]} ,"), Ok(("{\"a\":[1,\"]}\\\"\"]}", " ,")));
        assert_eq!(skipped("12.5e3]"), Ok(("12.5e3", "]")));
        assert_eq!(skipped("\"x\"y"), Ok(("\"x\"", "y")));
        assert_eq!(skipped("{\"a\":[1},2"), Ok(("{\"a\":[1}", ",2")), "the inner bracket ends with the outer one");
        assert_eq!(skipped("{\"a\":\"x\n},2"), Ok(("{\"a\":\"x\n}", ",2")), "the line end ends the string");
        assert_eq!(skipped("ü,"), Ok(("ü", ",")));
    }

    #[test]
    fn cut_is_told_from_broken() {
        for cut in ["", " ", "{", "{\"a", "{\"a\":[1,2", "\"\\", "[[[["] {
            assert_eq!(skipped(cut), Err(Fault::Cut), "{cut}");
        }
        for broken in ["{\"a\":1]", ",", "]", &"[".repeat(100_000)] {
            assert!(matches!(skipped(broken), Err(Fault::Broken { .. })), "{}", crate::places::excerpt(broken, 0));
        }
    }

    #[test]
    fn members_and_elements_are_visited_in_turn() {
        let mut cursor = Cursor::new("{\"a\\u0062\" : [1 , {}], \"c\":2}!");
        let (mut first, mut inner) = (true, true);
        cursor.enter();
        assert_eq!(cursor.next_member(&mut first), Ok(Some("ab".to_owned())));
        cursor.enter();
        assert_eq!(cursor.next_element(&mut inner), Ok(true));
        assert_eq!(cursor.skip_value(), Ok("1"));
        assert_eq!(cursor.next_element(&mut inner), Ok(true));
        assert_eq!(cursor.skip_value(), Ok("{}"));
        assert_eq!(cursor.next_element(&mut inner), Ok(false));
        assert_eq!(cursor.next_member(&mut first), Ok(Some("c".to_owned())));
        assert_eq!(cursor.skip_value(), Ok("2"));
        assert_eq!(cursor.next_member(&mut first), Ok(None));
        assert_eq!(cursor.rest(), "!");
    }
}
