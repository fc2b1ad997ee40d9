//! The functions that strikemill adds to SQL.

mod calendar;
mod columns;
mod impact;
mod learning;
mod list;
mod list_answer;
mod list_definition;
mod list_rows;
mod method;
mod numbers;
mod physics;
mod practice;
mod verdict;
mod workers;

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use ::flight::BallBook;
use ::impact::HeadBook;
use ::verdict::Settings;
use datafusion::execution::context::SessionContext;
use datafusion::logical_expr::ScalarUDF;

/// What a function is called, takes and gives; the text of `query --functions`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FunctionDescription {
    /// Name and arguments as one writes them.
    pub usage: String,
    /// What it does, in one or two sentences.
    pub description: String,
    /// Arguments, or the fields of the one structured argument, with their meaning and unit.
    pub arguments: Vec<(String, String)>,
    /// Fields of the result with their meaning and unit; one unnamed entry where the result is a plain value.
    pub results: Vec<(String, String)>,
}

/// The profiles that functions know by name.
#[derive(Debug, Clone)]
pub(crate) struct Books {
    pub heads: Arc<HeadBook>,
    pub balls: Arc<BallBook>,
}

/// Adds every function to a session. Setting `stop` ends a call that takes long.
pub(crate) fn register(context: &SessionContext, books: &Books, settings: &Settings, stop: &Arc<AtomicBool>) {
    let heads = &books.heads;
    for definition in physics::DEFINITIONS {
        context.register_udf(ScalarUDF::new_from_impl(numbers::NumberFunction::new(definition)));
    }
    context.register_udf(ScalarUDF::new_from_impl(calendar::MondayFunction::new()));
    for method in &method::METHODS {
        context.register_udf(ScalarUDF::new_from_impl(method::VersionFunction::new(method)));
    }
    context.register_udf(ScalarUDF::new_from_impl(impact::ImpactFunction::new(Arc::clone(heads))));
    let verdict = verdict::VerdictFunction::new(books.clone(), settings.clone(), Arc::clone(stop));
    context.register_udf(ScalarUDF::new_from_impl(verdict));
    for definition in list_definitions(&books.balls) {
        let function = list::ListFunction::new(definition, Arc::clone(heads), Arc::clone(stop));
        context.register_udf(ScalarUDF::new_from_impl(function));
    }
}

/// The functions of lists of rows.
fn list_definitions(balls: &Arc<BallBook>) -> Vec<list_definition::Definition> {
    let mut definitions = learning::definitions(balls);
    definitions.extend(practice::definitions());
    definitions
}

/// Every function, in the order a reader meets them.
pub fn descriptions() -> Vec<FunctionDescription> {
    let mut found = vec![verdict::description(), impact::description()];
    found.extend(physics::DEFINITIONS.iter().map(numbers::description));
    let no_balls = Arc::new(BallBook { balls: Vec::new() });
    found.extend(list_definitions(&no_balls).iter().map(list_definition::describe));
    found.push(calendar::description());
    found.extend(method::METHODS.iter().map(method::description));
    found
}

/// Names with meanings as owned pairs; a unit, where there is one, is put behind the meaning.
fn described(entries: &[(&str, &str, &str)]) -> Vec<(String, String)> {
    let mut pairs = Vec::with_capacity(entries.len());
    for (name, unit, meaning) in entries {
        let text = if unit.is_empty() { (*meaning).to_owned() } else { format!("{meaning} [{unit}]") };
        pairs.push(((*name).to_owned(), text));
    }
    pairs
}
