//! What a function of lists takes and gives.

use std::sync::Arc;

use ::impact::HeadProfile;
use arrow::datatypes::{DataType, Field, Fields};
use datafusion::common::{Result, plan_err};

use super::columns::{Entry, is_text};
use super::list_answer::Told;
use super::{FunctionDescription, described};

/// Name and meaning of a text or a flag.
pub(super) type Word = (&'static str, &'static str);

/// What becomes of the rows of a list: one answer, or one for each thing that they speak of. An error ends in a hint.
pub(super) type Compute = Box<dyn Fn(&Rows, &Scalars, Option<&HeadProfile>) -> Result<Vec<Told>, String> + Send + Sync>;

pub(super) struct Definition {
    pub name: &'static str,
    pub description: &'static str,
    /// Whether rows come as a list, or as one structure.
    pub takes_list: bool,
    /// Numbers of a row; flags count as 0 and 1.
    pub numbers: Vec<Entry>,
    pub texts: Vec<Word>,
    /// The arguments behind the list.
    pub scalars: Vec<Scalar>,
    pub results: Results,
    /// Longest list, a bound of the time that one call takes.
    pub most_rows: usize,
    /// Up to this many lists threads are not worth starting.
    pub worth_threads: usize,
    pub compute: Compute,
}

/// An argument behind the list.
pub(super) struct Scalar {
    pub name: &'static str,
    pub unit: &'static str,
    pub meaning: &'static str,
    pub kind: ScalarKind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ScalarKind {
    Number,
    Text,
    /// The name of a head profile; without it there is no answer.
    Head,
}

/// The fields of an answer, texts first.
#[derive(Default)]
pub(super) struct Results {
    /// Whether an answer is a list of structures rather than one.
    pub many: bool,
    pub texts: Vec<Word>,
    pub flags: Vec<Word>,
    pub numbers: Vec<Entry>,
}

/// The rows of one list, fields in the order of the definition. Numbers that are not finite are missing.
pub(super) struct Rows {
    pub numbers: Vec<Vec<Option<f64>>>,
    pub texts: Vec<Vec<Option<String>>>,
}

impl Rows {
    /// Each row as numbers and texts.
    pub fn each(&self) -> impl Iterator<Item = (&[Option<f64>], Vec<Option<&str>>)> {
        self.numbers.iter().zip(&self.texts).map(|(numbers, texts)| {
            let texts = texts.iter().map(Option::as_deref).collect();
            (numbers.as_slice(), texts)
        })
    }
}

/// The arguments behind the list, of one call.
#[derive(Default)]
pub(super) struct Scalars {
    pub numbers: Vec<Option<f64>>,
    pub texts: Vec<Option<String>>,
}

impl Scalars {
    pub fn number(&self, at: usize) -> Option<f64> {
        self.numbers.get(at).copied().flatten().filter(|number| number.is_finite())
    }

    pub fn text(&self, at: usize) -> Option<&str> {
        self.texts.get(at)?.as_deref()
    }
}

impl Definition {
    pub fn result_fields(&self) -> Fields {
        let mut fields = Vec::new();
        for (name, _) in &self.results.texts {
            fields.push(Field::new(*name, DataType::Utf8, true));
        }
        for (name, _) in &self.results.flags {
            fields.push(Field::new(*name, DataType::Boolean, true));
        }
        for (name, ..) in &self.results.numbers {
            fields.push(Field::new(*name, DataType::Float64, true));
        }
        Fields::from(fields)
    }

    pub fn result_type(&self) -> DataType {
        let one = DataType::Struct(self.result_fields());
        if self.results.many { DataType::List(Arc::new(Field::new_list_field(one, true))) } else { one }
    }
}

/// Refuses fields that the function does not know, and those of a wrong type.
pub(super) fn check_fields(definition: &Definition, fields: &Fields) -> Result<()> {
    let function = definition.name;
    for field in fields {
        let (name, data_type) = (field.name().as_str(), field.data_type());
        if definition.numbers.iter().any(|(number, ..)| *number == name) {
            if !data_type.is_numeric() && !data_type.is_null() && *data_type != DataType::Boolean {
                return plan_err!(
                    "{function}: {name} must be a number or a flag, not {data_type}\nhint: cast it, or leave it out"
                );
            }
        } else if definition.texts.iter().any(|(text, _)| *text == name) {
            if !is_text(data_type) {
                return plan_err!("{function}: {name} must be a text, not {data_type}\nhint: cast it, or leave it out");
            }
        } else {
            let mut known: Vec<&str> = definition.numbers.iter().map(|(number, ..)| *number).collect();
            known.extend(definition.texts.iter().map(|(text, _)| *text));
            return plan_err!("{function} knows no field called {name}\nhint: it knows {}", known.join(", "));
        }
    }
    Ok(())
}

/// The text of `query --functions`.
pub(super) fn describe(definition: &Definition) -> FunctionDescription {
    let first = definition.numbers.first().map_or("name", |(name, ..)| *name);
    let row = format!("named_struct('{first}', {first}, ...)");
    let mut parts = vec![if definition.takes_list { format!("array_agg({row})") } else { row }];
    parts.extend(definition.scalars.iter().map(|scalar| scalar.name.to_owned()));
    let mut arguments = described(&definition.numbers);
    let words =
        |entries: &[Word]| described(&entries.iter().map(|(name, meaning)| (*name, "", *meaning)).collect::<Vec<_>>());
    arguments.extend(words(&definition.texts));
    for scalar in &definition.scalars {
        arguments.extend(described(&[(scalar.name, scalar.unit, scalar.meaning)]));
    }
    let mut results = words(&definition.results.texts);
    results.extend(words(&definition.results.flags));
    results.extend(described(&definition.results.numbers));
    FunctionDescription {
        usage: format!("{}({})", definition.name, parts.join(", ")),
        description: definition.description.to_owned(),
        arguments,
        results,
    }
}
