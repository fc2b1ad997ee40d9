//! The dialect of the engines whose records are trees: JSON and XML documents.

use crate::compile::Compiler;
use crate::json_document::JsonDocument;
use crate::json_walk::Step;
use crate::spec::{DialectSpec, Text};
use crate::xml::Xml;

/// Steps of a path to the records; the readers go one call deeper for each.
const MOST_STEPS: usize = 16;

impl Compiler<'_> {
    pub fn json_document(&mut self, dialect: &DialectSpec) -> JsonDocument {
        let steps = match &dialect.property {
            Some(path) if !path.get_ref().is_empty() => {
                self.steps(path, path.get_ref(), '.', "for example data.shots, or sessions.*.shots")
            }
            _ => Vec::new(),
        };
        let step = |name: String| if name == "*" { Step::Every } else { Step::Name(name) };
        JsonDocument { encodings: self.encodings(dialect), path: steps.into_iter().map(step).collect() }
    }

    pub fn xml(&mut self, dialect: &DialectSpec, place: std::ops::Range<usize>) -> Xml {
        let hint = "property = \"export/session/shot\" names the elements from the outermost to the record";
        let Some(path) = &dialect.property else {
            self.fault(place, "the engine xml needs dialect.property", hint);
            return Xml { path: Vec::new() };
        };
        let written = path.get_ref();
        let steps = self.steps(path, written.strip_prefix('/').unwrap_or(written), '/', hint);
        for step in &steps {
            if step.contains(':') {
                self.fault(path.span(), format!("\"{step}\" has a prefix"), "write element names without their prefix");
            } else if step.contains(|c: char| c.is_whitespace() || "@[]()<>\"'".contains(c)) {
                self.fault(path.span(), format!("\"{step}\" is no element name"), hint);
            }
        }
        Xml { path: steps }
    }

    fn steps(&mut self, place: &Text, path: &str, separator: char, hint: &str) -> Vec<String> {
        let steps: Vec<String> = path.split(separator).map(str::to_owned).collect();
        if steps.iter().any(String::is_empty) {
            self.fault(place.span(), format!("the path \"{}\" has an empty step", place.get_ref()), hint);
        }
        if steps.len() > MOST_STEPS {
            self.fault(place.span(), format!("the path has more than {MOST_STEPS} steps"), hint);
        }
        steps
    }
}
