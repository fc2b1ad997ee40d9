//! The dialect of a pack: which engine reads its files, and how.

use toml::Spanned;

use std::ops::Range;

use crate::columnar::{Columnar, Container};
use crate::compile::Compiler;
use crate::delimited::Delimited;
use crate::encoding::Encoding;
use crate::json_lines::JsonLines;
use crate::lines::CellStyle;
use crate::number::NumberStyle;
use crate::preamble::PreambleStyle;
use crate::record::Engine;
use crate::spec::{DialectSpec, EngineWord, PackSpec, ShortRows, Text};

/// The word of an engine and the keys of `[dialect]` that it reads.
pub(crate) fn keys_of(engine: EngineWord) -> (&'static str, &'static [&'static str]) {
    match engine {
        EngineWord::Delimited => (
            "delimited",
            &[
                "encoding",
                "delimiter",
                "quoteChar",
                "doubleQuote",
                "escapeChar",
                "skipInitialSpace",
                "commentChar",
                "headerRows",
                "headerJoin",
                "headerFill",
                "unitsRow",
                "shortRows",
                "preamble",
            ],
        ),
        EngineWord::JsonLines => ("json-lines", &["encoding"]),
        EngineWord::Json => ("json", &["encoding", "property"]),
        EngineWord::Xml => ("xml", &["property"]),
        EngineWord::Spreadsheet => (
            "spreadsheet",
            &["headerRows", "headerJoin", "headerFill", "unitsRow", "preamble", "sheetName", "sheetNumber"],
        ),
        EngineWord::Parquet => ("parquet", &[]),
        EngineWord::Arrow => ("arrow", &[]),
    }
}

/// The keys of a dialect that are written, with their places.
fn written_keys(dialect: &DialectSpec) -> Vec<(&'static str, Range<usize>)> {
    let DialectSpec {
        encoding,
        delimiter,
        quote_char,
        double_quote,
        header_rows,
        header_join,
        comment_char,
        units_row,
        preamble,
        escape_char,
        skip_initial_space,
        header_fill,
        short_rows,
        property,
        sheet_name,
        sheet_number,
    } = dialect;
    let keys = [
        ("encoding", encoding.as_ref().map(Spanned::span)),
        ("delimiter", delimiter.as_ref().map(Spanned::span)),
        ("quoteChar", quote_char.as_ref().map(Spanned::span)),
        ("doubleQuote", double_quote.as_ref().map(Spanned::span)),
        ("headerRows", header_rows.as_ref().map(Spanned::span)),
        ("headerJoin", header_join.as_ref().map(Spanned::span)),
        ("commentChar", comment_char.as_ref().map(Spanned::span)),
        ("unitsRow", units_row.as_ref().map(Spanned::span)),
        ("preamble", preamble.as_ref().map(Spanned::span)),
        ("escapeChar", escape_char.as_ref().map(Spanned::span)),
        ("skipInitialSpace", skip_initial_space.as_ref().map(Spanned::span)),
        ("headerFill", header_fill.as_ref().map(Spanned::span)),
        ("shortRows", short_rows.as_ref().map(Spanned::span)),
        ("property", property.as_ref().map(Spanned::span)),
        ("sheetName", sheet_name.as_ref().map(Spanned::span)),
        ("sheetNumber", sheet_number.as_ref().map(Spanned::span)),
    ];
    keys.into_iter().filter_map(|(key, span)| Some((key, span?))).collect()
}

impl Compiler<'_> {
    pub fn number_style(&mut self, base: NumberStyle, decimal: Option<&Text>, group: Option<&Text>) -> NumberStyle {
        let style = NumberStyle {
            decimal: decimal.and_then(|text| self.one_char(text)).unwrap_or(base.decimal),
            group: match group {
                Some(text) if text.get_ref().is_empty() => None,
                Some(text) => self.one_char(text),
                None => base.group,
            },
        };
        if let Some(place) = decimal.or(group).filter(|_| style.group == Some(style.decimal)) {
            self.fault(place.span(), "decimalChar and groupChar are the same", "set groupChar = \"\" if there is none");
        }
        style
    }

    pub fn one_char(&mut self, text: &Text) -> Option<char> {
        let mut chars = text.get_ref().chars();
        let only = chars.next().filter(|_| chars.next().is_none());
        if only.is_none() {
            self.fault(text.span(), "exactly one character is needed", "a tabulator is written \"\\t\"");
        }
        only
    }

    pub fn engine(&mut self, spec: &PackSpec) -> Box<dyn Engine> {
        let dialect = &spec.dialect;
        let (word, keys) = keys_of(*spec.engine.get_ref());
        for (key, span) in written_keys(dialect) {
            if !keys.contains(&key) {
                let hint = match keys {
                    [] => "it reads no key of [dialect]: remove this one".to_owned(),
                    _ => format!("it reads {}", keys.join(", ")),
                };
                self.fault(span, format!("the engine {word} does not read dialect.{key}"), hint);
            }
        }
        match spec.engine.get_ref() {
            EngineWord::Delimited => {
                let encodings = self.encodings(dialect);
                Box::new(self.delimited(dialect, encodings))
            }
            EngineWord::JsonLines => Box::new(JsonLines { encodings: self.encodings(dialect) }),
            EngineWord::Json => Box::new(self.json_document(dialect)),
            EngineWord::Xml => Box::new(self.xml(dialect, spec.engine.span())),
            EngineWord::Spreadsheet => Box::new(self.spreadsheet(dialect)),
            EngineWord::Parquet => Box::new(Columnar { container: Container::Parquet }),
            EngineWord::Arrow => Box::new(Columnar { container: Container::Arrow }),
        }
    }

    pub fn encodings(&mut self, dialect: &DialectSpec) -> Vec<Encoding> {
        let Some(labels) = &dialect.encoding else { return vec![Encoding::Utf8] };
        let mut encodings = Vec::new();
        for label in labels.get_ref().to_list() {
            if let Some(encoding) = Encoding::parse(&label) {
                encodings.push(encoding);
            } else {
                let hint = "labels of the WHATWG Encoding Standard, such as utf-8, windows-1252, iso-8859-15, utf-16le, utf-16be";
                self.fault(labels.span(), format!("the encoding \"{label}\" is unknown"), hint);
            }
        }
        encodings
    }

    pub fn delimited(&mut self, dialect: &DialectSpec, encodings: Vec<Encoding>) -> Delimited {
        let header_rows = dialect.header_rows.as_ref().map_or(vec![1], |rows| rows.get_ref().clone());
        if let Some(rows) = dialect
            .header_rows
            .as_ref()
            .filter(|_| header_rows.is_empty() || header_rows.iter().any(|row| !(1..=20).contains(row)))
        {
            self.fault(rows.span(), "headerRows lists rows from 1 to 20", "for example [1]");
        }
        let units_row = dialect.units_row.as_ref().map(|row| *row.get_ref());
        if let Some(row) = dialect
            .units_row
            .as_ref()
            .filter(|row| !(1..=20).contains(row.get_ref()) || header_rows.contains(row.get_ref()))
        {
            self.fault(row.span(), "unitsRow is a row from 1 to 20 that is not a header row", "for example 2");
        }
        let mut preamble = PreambleStyle::default();
        if let Some(spec) = &dialect.preamble {
            let written = spec.get_ref();
            preamble.end_mark.clone_from(&written.end_mark);
            preamble.lines = written.lines;
            preamble.separator = written.separator.as_ref().map_or(":".to_owned(), |text| text.get_ref().clone());
            if written.end_mark.is_some() == (written.lines > 0) || preamble.separator.is_empty() {
                let hint = "give endMark (the line that ends it) or lines (how many there are); separator is not empty";
                self.fault(spec.span(), "the preamble needs exactly one kind of end", hint);
            }
        }
        Delimited {
            encodings,
            cells: self.cells(dialect),
            comment: dialect.comment_char.as_ref().and_then(|text| self.one_char(text)),
            preamble,
            header_rows,
            header_join: dialect.header_join.as_ref().map_or_else(|| " ".to_owned(), |text| text.get_ref().clone()),
            header_fill: dialect.header_fill.as_ref().is_some_and(|word| *word.get_ref()),
            units_row,
            short_rows: dialect.short_rows.as_ref().map_or_else(ShortRows::default, |word| *word.get_ref()),
        }
    }

    fn cells(&mut self, dialect: &DialectSpec) -> CellStyle {
        let quote = match &dialect.quote_char {
            Some(text) if text.get_ref().is_empty() => None,
            Some(text) => self.one_char(text),
            None => Some('"'),
        };
        let escape = dialect.escape_char.as_ref().and_then(|text| self.one_char(text));
        let style = CellStyle {
            delimiter: dialect.delimiter.as_ref().and_then(|text| self.one_char(text)).unwrap_or(','),
            quote,
            double_quote: dialect.double_quote.as_ref().is_none_or(|word| *word.get_ref()),
            escape,
            skip_initial_space: dialect.skip_initial_space.as_ref().is_some_and(|word| *word.get_ref()),
        };
        let written = [&dialect.delimiter, &dialect.quote_char, &dialect.escape_char, &dialect.comment_char];
        let mut seen: Vec<&str> = Vec::new();
        for text in written.into_iter().flatten().filter(|text| !text.get_ref().is_empty()) {
            if seen.contains(&text.get_ref().as_str()) {
                let hint = "delimiter, quoteChar, escapeChar and commentChar differ; doubleQuote = true is the escape by a doubled quote";
                self.fault(text.span(), format!("\"{}\" has two tasks in this dialect", text.get_ref()), hint);
            }
            seen.push(text.get_ref());
        }
        if let Some(text) = dialect.escape_char.as_ref().filter(|_| dialect.quote_char.is_none() && escape == quote) {
            self.fault(text.span(), "the escape character is the quote", "doubleQuote = true reads doubled quotes");
        }
        style
    }
}
