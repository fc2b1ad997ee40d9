//! What testing a pack found, and how it is shown: by sample and line, expected and found side by side under the line itself.

use std::fmt;

/// Characters of a source line, and of a value, that are shown.
const LONGEST_LINE: usize = 140;
const LONGEST_VALUE: usize = 60;

/// What testing a pack found.
#[derive(Debug, Clone, PartialEq)]
pub struct PackTestReport {
    /// Name of the pack.
    pub pack: String,
    /// Version of the pack.
    pub version: String,
    /// The samples, by name.
    pub samples: Vec<SampleReport>,
    /// Everything that differs, in the order of samples, lines and columns; empty where the pack is proven.
    pub differences: Vec<Difference>,
}

/// What one sample held.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SampleReport {
    /// File name of the sample.
    pub file: String,
    /// Rows seen.
    pub rows_seen: u64,
    /// Rows taken.
    pub shots: usize,
    /// Rows taken of a pack of strike marks.
    pub marks: usize,
    /// Problems, rejecting and noted.
    pub problems: usize,
}

/// One difference between what was expected and what was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// File name of the sample, or `expected.csv`.
    pub file: String,
    /// Line in that file; 0 = the whole file.
    pub line: i64,
    /// Column of `expected.csv`.
    pub column: String,
    /// What was expected; empty = nothing.
    pub expected: String,
    /// What was found; empty = nothing.
    pub found: String,
    /// Text of the line, where the sample has lines.
    pub text: String,
}

impl PackTestReport {
    /// Whether nothing differs.
    pub fn passed(&self) -> bool {
        self.differences.is_empty()
    }
}

fn cut(text: &str, most: usize) -> String {
    let plain: String = text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).take(most).collect();
    if text.chars().count() > most { format!("{plain}…") } else { plain }
}

fn shown(value: &str) -> String {
    if value.is_empty() { "nothing".to_owned() } else { cut(value, LONGEST_VALUE) }
}

impl fmt::Display for PackTestReport {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let verdict = if self.passed() { "ok" } else { "DIFFERS" };
        write!(out, "{} {}: {verdict}", self.pack, self.version)?;
        for sample in &self.samples {
            let SampleReport { file, rows_seen, shots, marks, problems } = sample;
            let taken = if *marks > 0 { format!("{marks} marks") } else { format!("{shots} shots") };
            write!(out, "\n  {file}: {rows_seen} rows, {taken}, {problems} problems")?;
        }
        let mut rest = self.differences.as_slice();
        while let Some(first) = rest.first() {
            let same = |other: &&Difference| other.file == first.file && other.line == first.line;
            let count = rest.iter().take_while(same).count();
            write_line(out, &rest[..count])?;
            rest = &rest[count..];
        }
        Ok(())
    }
}

/// The differences of one line as a small table.
fn write_line(out: &mut fmt::Formatter<'_>, differences: &[Difference]) -> fmt::Result {
    let first = &differences[0];
    if first.line == 0 {
        write!(out, "\n  {}", first.file)?;
    } else {
        write!(out, "\n  {}:{}", first.file, first.line)?;
    }
    if !first.text.trim().is_empty() {
        write!(out, "  {}", cut(first.text.trim_end(), LONGEST_LINE))?;
    }
    let wide = |texts: &mut dyn Iterator<Item = usize>| texts.max().unwrap_or_default();
    let column = wide(&mut differences.iter().map(|difference| difference.column.chars().count())).max("column".len());
    let expected = wide(&mut differences.iter().map(|difference| shown(&difference.expected).chars().count()))
        .max("expected".len());
    write!(out, "\n    {:<column$}  {:<expected$}  found", "column", "expected")?;
    for difference in differences {
        let wanted = shown(&difference.expected);
        write!(out, "\n    {:<column$}  {wanted:<expected$}  {}", difference.column, shown(&difference.found))?;
    }
    Ok(())
}
