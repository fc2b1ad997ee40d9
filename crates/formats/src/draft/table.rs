//! A sample as named columns of texts. The engine of the pack to be written does the reading, so that the draft sees the very names and
//! texts that the pack will see later.

use std::collections::{BTreeMap, HashMap};
use std::ops::ControlFlow;
use std::path::Path;

use crate::compile::compile;
use crate::context::ParseLimits;
use crate::record::{Item, Opening};

use super::numbers::is_missing_token;
use super::unit_words;

/// Records of a sample that are looked at.
const LOOKED_AT: usize = 2_000;
/// Columns of a sample that are looked at.
const MOST_COLUMNS: usize = 400;

/// One column.
#[derive(Debug, Clone, Default)]
#[expect(clippy::struct_excessive_bools, reason = "four findings about a column that exclude none of each other")]
pub(super) struct Column {
    /// Header word or path.
    pub name: String,
    /// Word of the units row.
    pub unit_word: Option<String>,
    /// Text of each record; nothing where it lacks, is empty, or is a token for "no reading".
    pub texts: Vec<Option<String>>,
    /// Whether the file holds numbers as numbers, so that no text says how they are written.
    pub native: bool,
    /// Whether another column has the same name.
    pub twin: bool,
    /// Whether each record has it.
    pub always: bool,
    /// Whether it stands outside the records of a document, and its value is one of the preamble too.
    pub outside: bool,
    /// A word for the unit that stands beside a single value.
    pub stated_unit: Option<String>,
    /// Another column that holds the word for the unit of this one, and the words it holds.
    pub unit_field: Option<(String, Vec<String>)>,
}

impl Column {
    /// The texts that are there.
    pub fn filled(&self) -> impl Iterator<Item = &str> {
        self.texts.iter().flatten().map(String::as_str)
    }

    /// Different texts, with how often each occurs, in the order of the alphabet.
    pub fn distinct(&self) -> BTreeMap<&str, usize> {
        let mut counts = BTreeMap::new();
        for text in self.filled() {
            *counts.entry(text).or_default() += 1;
        }
        counts
    }
}

/// A sample as a table.
#[derive(Debug, Clone, Default)]
pub(super) struct Table {
    pub columns: Vec<Column>,
    pub preamble: Vec<(String, String)>,
    /// Tokens for "no reading" that occur, as written.
    pub missing_tokens: Vec<String>,
    pub rows: usize,
    /// Lines that were no record: line and message.
    pub broken: Vec<(i64, String)>,
    /// Line on which the record behind the last one to be kept begins, where there are more.
    pub first_line_beyond: Option<i64>,
}

impl Table {
    fn note_end(&mut self, kept: usize, line: i64) {
        if self.rows + self.broken.len() > kept && self.first_line_beyond.is_none() {
            self.first_line_beyond = Some(line);
        }
    }
}

/// Reads a sample through the engine that `dialect` (keys of a pack, above `[schema]`) names. `kept` = how many records a
/// sample of the pack is to hold.
pub(super) fn read_table(bytes: &[u8], dialect: &str, kept: usize) -> Result<Table, String> {
    let text = format!(
        "name = \"probe\"\nversion = \"1\"\n{dialect}\n[schema]\nfields = [\"-\"]\n[time]\nparts = [{{ constant = \"0\" }}]\n\
         epochUnit = \"s\"\n"
    );
    let pack = compile(Path::new("probe/format.toml"), &text).map_err(|faults| {
        let shown: Vec<String> = faults.into_iter().map(|fault| fault.message).collect();
        shown.join("; ")
    })?;
    let glance = pack.engine.glance(bytes);
    if let Some(obstacle) = glance.obstacle {
        return Err(obstacle);
    }
    let mut table = Table { columns: columns_of(&glance.fields), ..Table::default() };
    let limits = ParseLimits::default();
    let mut refused = None;
    let mut present = vec![0_usize; table.columns.len()];
    pack.engine.read(bytes, &limits, &mut |item| {
        match item {
            Item::Opening(opening) => table.preamble = opened(opening),
            Item::Problem(problem) if problem.line == 0 => {
                refused = Some(problem.message);
                return ControlFlow::Break(());
            }
            Item::Problem(problem) => {
                table.broken.push((problem.line, format!("{}: {}", problem.rule, problem.message)));
                table.note_end(kept, problem.line);
            }
            Item::Record(record) => {
                table.rows += 1;
                table.note_end(kept, record.line());
                for (place, column) in table.columns.iter_mut().enumerate() {
                    let text = record.text(&column.name);
                    present[place] += usize::from(text.is_some());
                    column.native |= record.number(&column.name).is_some();
                    if column.unit_word.is_none() {
                        column.unit_word = record.unit_word(&column.name).map(str::to_owned);
                    }
                    let text = text.map(|text| text.trim().to_owned()).filter(|text| !text.is_empty());
                    column.texts.push(text);
                }
            }
        }
        if table.rows >= LOOKED_AT { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    });
    if let Some(message) = refused {
        return Err(message);
    }
    if table.rows == 0 {
        return Err("not one record could be cut out of it".to_owned());
    }
    for (column, present) in table.columns.iter_mut().zip(present) {
        column.always = present == table.rows;
    }
    drop_tokens(&mut table);
    find_unit_fields(&mut table);
    let preamble = &table.preamble;
    for column in table.columns.iter_mut().filter(|column| column.name.starts_with("../")) {
        let tail = column.name.trim_start_matches("../");
        let same = |(key, value): &(String, String)| key.ends_with(tail) && column.filled().all(|text| text == value);
        column.outside = preamble.iter().any(same);
    }
    Ok(table)
}

/// The columns that hold values: of paths only the innermost, and no nameless ones.
fn columns_of(fields: &[String]) -> Vec<Column> {
    let mut counts: HashMap<&str, usize> = HashMap::new();
    for field in fields {
        *counts.entry(field.as_str()).or_default() += 1;
    }
    let mut columns: Vec<Column> = Vec::new();
    for field in fields {
        let is_outer =
            fields.iter().any(|other| other.strip_prefix(field.as_str()).is_some_and(|rest| rest.starts_with('.')));
        let seen = columns.iter().any(|column| column.name == *field);
        if field.trim().is_empty() || is_outer || seen || columns.len() >= MOST_COLUMNS {
            continue;
        }
        let twin = counts.get(field.as_str()).is_some_and(|count| *count > 1);
        columns.push(Column { name: field.clone(), twin, ..Column::default() });
    }
    columns
}

fn opened(opening: &Opening) -> Vec<(String, String)> {
    opening.preamble.iter().filter(|(_, value)| !value.is_empty()).cloned().collect()
}

fn drop_tokens(table: &mut Table) {
    for column in &mut table.columns {
        for text in &mut column.texts {
            if let Some(token) = text.take_if(|text| is_missing_token(text))
                && !table.missing_tokens.contains(&token)
            {
                table.missing_tokens.push(token);
            }
        }
    }
}

/// Finds the columns that hold nothing but words for units, and the columns that these belong to: `speed` and `speed/@unit`, `speed.value`
/// and `speed.unit`, `speed` and `speed_unit`.
fn find_unit_fields(table: &mut Table) {
    let mut unit_columns: Vec<(String, Vec<String>)> = Vec::new();
    for column in &table.columns {
        let mut counted: Vec<(&str, usize)> = column.distinct().into_iter().collect();
        // The most common word first: it stands for where a record has none.
        counted.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
        let words: Vec<String> = counted.into_iter().map(|(word, _)| word.to_owned()).collect();
        let units = words.iter().filter(|word| !unit_words::meanings(word).is_empty()).count();
        if units > 0 && units * 2 >= words.len() && words.len() <= 8 {
            unit_columns.push((column.name.clone(), words));
        }
    }
    for column in &mut table.columns {
        let is_unit = unit_columns.iter().any(|(name, _)| *name == column.name);
        let belongs = |name: &str| {
            let beside =
                name.strip_prefix(column.name.as_str()).is_some_and(|rest| rest.starts_with(['/', '_', '.', ' ', '-']));
            let siblings = match (name.rsplit_once(['.', '/']), column.name.rsplit_once(['.', '/'])) {
                (Some((one, _)), Some((other, _))) => one == other,
                _ => false,
            };
            beside || siblings
        };
        if !is_unit {
            column.unit_field = unit_columns.iter().find(|(name, _)| belongs(name)).cloned();
        }
    }
}
