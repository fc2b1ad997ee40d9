//! Other names under which a field may stand, since devices rename their columns from one release to the next.

use std::borrow::Cow;
use std::collections::HashMap;

use shot::Problem;

use crate::record::Record;
use crate::rule::Rule;

/// The other names of a pack's fields.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct FieldNames {
    /// Other names by field, in the order of the pack.
    others: HashMap<String, Vec<String>>,
    /// Field by other name.
    fields: HashMap<String, String>,
}

impl FieldNames {
    /// Takes one more name of a field; false where that name is taken.
    pub fn add(&mut self, field: &str, other: &str) -> bool {
        if self.fields.contains_key(other) {
            return false;
        }
        self.fields.insert(other.to_owned(), field.to_owned());
        self.others.entry(field.to_owned()).or_default().push(other.to_owned());
        true
    }

    /// The pack's name of a field of the file.
    pub fn canonical<'n>(&'n self, name: &'n str) -> &'n str {
        self.fields.get(name).map_or(name, String::as_str)
    }

    /// The names of a field, for reports.
    pub fn listed(&self, field: &str) -> String {
        let others = self.others.get(field).map_or(&[] as &[String], Vec::as_slice);
        let quoted: Vec<String> =
            std::iter::once(field).chain(others.iter().map(String::as_str)).map(|name| format!("\"{name}\"")).collect();
        quoted.join(" or ")
    }

    /// A record whose fields are found under any of their names.
    pub fn wrap<'r>(&'r self, record: &'r dyn Record) -> Renamed<'r> {
        Renamed { record, names: self }
    }

    /// What is wrong with a record that holds one field under two names.
    pub fn ambiguous(&self, record: &dyn Record) -> Option<Problem> {
        for (field, others) in &self.others {
            let names = std::iter::once(field).chain(others);
            let held: Vec<&str> = names.filter(|name| record.text(name).is_some()).map(String::as_str).collect();
            if held.len() > 1 {
                let message = format!("the record holds one field under two names: {}", held.join(" and "));
                return Some(Rule::AmbiguousColumn.rejects(record.line(), Some(field), "", message));
            }
        }
        None
    }
}

/// A record seen by the pack's names.
pub(crate) struct Renamed<'r> {
    record: &'r dyn Record,
    names: &'r FieldNames,
}

impl Renamed<'_> {
    /// What `find` gives for the first of a field's names that has it.
    fn first<'s, V>(&'s self, field: &str, find: impl Fn(&'s dyn Record, &str) -> Option<V>) -> Option<V> {
        find(self.record, field).or_else(|| {
            let others = self.names.others.get(field)?;
            others.iter().find_map(|other| find(self.record, other))
        })
    }
}

impl Record for Renamed<'_> {
    fn line(&self) -> i64 {
        self.record.line()
    }

    fn text(&self, field: &str) -> Option<Cow<'_, str>> {
        self.first(field, <dyn Record>::text)
    }

    fn number(&self, field: &str) -> Option<f64> {
        self.first(field, <dyn Record>::number)
    }

    fn fault(&self, field: &str) -> Option<(Rule, String)> {
        self.first(field, Record::fault)
    }

    fn unit_word(&self, field: &str) -> Option<&str> {
        self.first(field, |record, name| record.unit_word(name))
    }
}
