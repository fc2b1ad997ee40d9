//! The dialect of the engines whose records are trees: JSON and XML documents.

use crate::compile::Compiler;
use crate::json_document::JsonDocument;
use crate::spec::DialectSpec;
use crate::xml::Xml;

impl Compiler<'_> {
    pub fn json_document(&mut self, dialect: &DialectSpec) -> JsonDocument {
        JsonDocument { encodings: self.encodings(dialect), property: Vec::new() }
    }

    pub fn xml(&mut self, _dialect: &DialectSpec) -> Xml {
        Xml { property: Vec::new() }
    }
}
