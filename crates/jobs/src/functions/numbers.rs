//! Functions that take numbers and give one number or a structure of numbers.

use std::hash::{Hash, Hasher};

use arrow::datatypes::DataType;
use datafusion::common::Result;
use datafusion::logical_expr::{ColumnarValue, ScalarFunctionArgs, ScalarUDFImpl, Signature, Volatility};

use super::columns::{Entry, RealRows, fill_row, numeric_types, real_fields, reals};
use super::{FunctionDescription, described};

/// One function of numbers.
pub(super) struct Definition {
    pub name: &'static str,
    pub description: &'static str,
    pub arguments: &'static [Entry],
    /// One unnamed entry: the result is a plain number.
    pub results: &'static [Entry],
    /// Answers into the second argument; `false` where there is no answer.
    pub compute: fn(&[f64], &mut Vec<f64>) -> bool,
}

impl Definition {
    fn is_plain(&self) -> bool {
        self.results.len() == 1 && self.results[0].0.is_empty()
    }

    fn result_type(&self) -> DataType {
        if self.is_plain() { DataType::Float64 } else { DataType::Struct(real_fields(self.results)) }
    }
}

pub(super) fn description(definition: &Definition) -> FunctionDescription {
    let names: Vec<&str> = definition.arguments.iter().map(|(name, ..)| *name).collect();
    FunctionDescription {
        usage: format!("{}({})", definition.name, names.join(", ")),
        description: definition.description.to_owned(),
        arguments: described(definition.arguments),
        results: described(definition.results),
    }
}

/// A [`Definition`] as the engine wants it. Two are equal where their names are.
pub(super) struct NumberFunction {
    definition: &'static Definition,
    signature: Signature,
}

impl NumberFunction {
    pub(super) fn new(definition: &'static Definition) -> NumberFunction {
        NumberFunction { definition, signature: Signature::user_defined(Volatility::Immutable) }
    }
}

impl std::fmt::Debug for NumberFunction {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str(self.definition.name)
    }
}

impl PartialEq for NumberFunction {
    fn eq(&self, other: &Self) -> bool {
        self.definition.name == other.definition.name
    }
}

impl Eq for NumberFunction {}

impl Hash for NumberFunction {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.definition.name.hash(state);
    }
}

impl ScalarUDFImpl for NumberFunction {
    fn name(&self) -> &str {
        self.definition.name
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn coerce_types(&self, given: &[DataType]) -> Result<Vec<DataType>> {
        numeric_types(self.definition.name, self.definition.arguments, given)
    }

    fn return_type(&self, _given: &[DataType]) -> Result<DataType> {
        Ok(self.definition.result_type())
    }

    fn invoke_with_args(&self, call: ScalarFunctionArgs) -> Result<ColumnarValue> {
        let rows = call.number_rows;
        let columns = call.args.iter().map(|value| reals(value, rows)).collect::<Result<Vec<_>>>()?;
        let mut results = RealRows::new(self.definition.results, rows);
        let mut numbers = Vec::with_capacity(columns.len());
        let mut answer = Vec::with_capacity(self.definition.results.len());
        for row in 0..rows {
            answer.clear();
            if fill_row(&columns, row, &mut numbers) && (self.definition.compute)(&numbers, &mut answer) {
                results.push(&answer);
            } else {
                results.push_null();
            }
        }
        let column = if self.definition.is_plain() { results.finish_single() } else { results.finish()? };
        Ok(ColumnarValue::Array(column))
    }
}
