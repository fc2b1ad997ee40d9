//! The dialect of a pack: which engine reads its files, and how.

use toml::Spanned;

use crate::compile::Compiler;
use crate::delimited::Delimited;
use crate::encoding::Encoding;
use crate::json_lines::JsonLines;
use crate::lines::CellStyle;
use crate::number::NumberStyle;
use crate::preamble::PreambleStyle;
use crate::record::Engine;
use crate::spec::{DialectSpec, EngineWord, PackSpec, Text};

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

    fn one_char(&mut self, text: &Text) -> Option<char> {
        let mut chars = text.get_ref().chars();
        let only = chars.next().filter(|_| chars.next().is_none());
        if only.is_none() {
            self.fault(text.span(), "exactly one character is needed", "a tabulator is written \"\\t\"");
        }
        only
    }

    pub fn engine(&mut self, spec: &PackSpec) -> Box<dyn Engine> {
        let dialect = &spec.dialect;
        let encodings = self.encodings(dialect);
        match spec.engine.get_ref() {
            EngineWord::JsonLines => {
                let layout = [dialect.delimiter.as_ref(), dialect.quote_char.as_ref(), dialect.comment_char.as_ref()];
                let preamble = dialect.preamble.as_ref().map(Spanned::span);
                let rows =
                    dialect.header_rows.as_ref().map(Spanned::span).or(dialect.units_row.as_ref().map(Spanned::span));
                if let Some(span) = layout.into_iter().flatten().map(Spanned::span).next().or(preamble).or(rows) {
                    self.fault(span, "the engine json-lines reads only dialect.encoding", "remove this key");
                }
                Box::new(JsonLines { encodings })
            }
            EngineWord::Delimited => Box::new(self.delimited(dialect, encodings)),
        }
    }

    fn encodings(&mut self, dialect: &DialectSpec) -> Vec<Encoding> {
        let Some(labels) = &dialect.encoding else { return vec![Encoding::Utf8] };
        let mut encodings = Vec::new();
        for label in labels.get_ref().to_list() {
            if let Some(encoding) = Encoding::parse(&label) {
                encodings.push(encoding);
            } else {
                let hint = format!("known are {}", Encoding::WORDS.map(|(_, word)| word).join(", "));
                self.fault(labels.span(), format!("the encoding \"{label}\" is unknown"), hint);
            }
        }
        encodings
    }

    fn delimited(&mut self, dialect: &DialectSpec, encodings: Vec<Encoding>) -> Delimited {
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
        let quote = match &dialect.quote_char {
            Some(text) if text.get_ref().is_empty() => None,
            Some(text) => self.one_char(text),
            None => Some('"'),
        };
        Delimited {
            encodings,
            cells: CellStyle {
                delimiter: dialect.delimiter.as_ref().and_then(|text| self.one_char(text)).unwrap_or(','),
                quote,
                double_quote: dialect.double_quote.unwrap_or(true),
            },
            comment: dialect.comment_char.as_ref().and_then(|text| self.one_char(text)),
            preamble,
            header_rows,
            header_join: dialect.header_join.clone().unwrap_or_else(|| " ".to_owned()),
            units_row,
        }
    }
}
