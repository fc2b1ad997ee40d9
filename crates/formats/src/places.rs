//! Where a record stands in a document: its physical line, or its number where lines do not tell records apart.

/// Counts lines while a text is read forwards. Line ends are those of [`crate::lines::Lines`].
#[derive(Debug)]
pub(crate) struct LineCounter<'a> {
    bytes: &'a [u8],
    position: usize,
    line: i64,
}

impl<'a> LineCounter<'a> {
    pub fn new(text: &'a str) -> LineCounter<'a> {
        LineCounter { bytes: text.as_bytes(), position: 0, line: 1 }
    }

    /// The line, from 1, of a byte. Positions must not go backwards.
    pub fn line_of(&mut self, position: usize) -> i64 {
        let end = position.min(self.bytes.len());
        while self.position < end {
            let byte = self.bytes[self.position];
            self.position += 1;
            let lone_return = byte == b'\r' && self.bytes.get(self.position) != Some(&b'\n');
            if byte == b'\n' || lone_return {
                self.line += 1;
            }
        }
        self.line
    }
}

/// How the records of one document are counted: by line, unless two of them share one. Rows of a file must be told apart, and a
/// document without line ends, which many programs write, has but one line.
#[derive(Debug)]
pub(crate) struct Survey<'a> {
    counter: LineCounter<'a>,
    last: i64,
    shared: bool,
}

impl<'a> Survey<'a> {
    pub fn new(text: &'a str) -> Survey<'a> {
        Survey { counter: LineCounter::new(text), last: 0, shared: false }
    }

    /// Takes note of a record that begins here.
    pub fn record(&mut self, position: usize) {
        if self.shared {
            return;
        }
        let line = self.counter.line_of(position);
        self.shared = line == self.last;
        self.last = line;
    }

    /// Whether records must be counted by number.
    pub fn shares_lines(&self) -> bool {
        self.shared
    }
}

/// Names the places of the records of a document, in their order.
#[derive(Debug)]
pub(crate) struct Places<'a> {
    counter: LineCounter<'a>,
    by_number: bool,
    records: i64,
}

impl<'a> Places<'a> {
    pub fn new(text: &'a str, by_number: bool) -> Places<'a> {
        Places { counter: LineCounter::new(text), by_number, records: 0 }
    }

    /// The place of the next record, which begins at this byte.
    pub fn next(&mut self, position: usize) -> i64 {
        self.records += 1;
        if self.by_number { self.records } else { self.counter.line_of(position) }
    }
}

/// The beginning of a text from a byte on, short enough for a report.
pub(crate) fn excerpt(text: &str, from: usize) -> String {
    text.get(from..).unwrap_or_default().chars().take(201).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_end_as_in_line_based_files() {
        let text = "a\nb\r\nc\rd";
        let mut counter = LineCounter::new(text);
        let lines: Vec<i64> = [0, 1, 2, 4, 5, 6, 7, 99].map(|position| counter.line_of(position)).to_vec();
        assert_eq!(lines, [1, 1, 2, 2, 3, 3, 4, 4]);
    }

    #[test]
    fn two_records_on_a_line_are_counted_by_number() {
        let text = "[{},\n{},{}]";
        let mut survey = Survey::new(text);
        for position in [1, 5] {
            survey.record(position);
        }
        assert!(!survey.shares_lines());
        survey.record(8);
        assert!(survey.shares_lines());
        let mut places = Places::new(text, true);
        assert_eq!([1, 5, 8].map(|position| places.next(position)), [1, 2, 3]);
        let mut places = Places::new(text, false);
        assert_eq!([1, 5].map(|position| places.next(position)), [1, 2]);
    }
}
