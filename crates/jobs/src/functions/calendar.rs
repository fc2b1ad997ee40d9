//! `monday(date)`: the start of the week that weekly datasets are keyed by.

use std::sync::Arc;

use arrow::array::{AsArray, Date32Array};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Date32Type};
use datafusion::common::{Result, plan_err};
use datafusion::logical_expr::{ColumnarValue, ScalarFunctionArgs, ScalarUDFImpl, Signature, Volatility};

use super::columns::is_text;
use super::{FunctionDescription, described};

pub(super) fn description() -> FunctionDescription {
    FunctionDescription {
        usage: "monday(date)".into(),
        description: "The Monday of the ISO week that holds a day.".into(),
        arguments: described(&[("date", "", "a day such as local_date, or a text YYYY-MM-DD")]),
        results: described(&[("", "", "the Monday, a day")]),
    }
}

#[derive(Debug, PartialEq, Eq, Hash)]
pub(super) struct MondayFunction {
    signature: Signature,
}

impl MondayFunction {
    pub(super) fn new() -> MondayFunction {
        MondayFunction { signature: Signature::user_defined(Volatility::Immutable) }
    }
}

impl ScalarUDFImpl for MondayFunction {
    fn name(&self) -> &'static str {
        "monday"
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn coerce_types(&self, given: &[DataType]) -> Result<Vec<DataType>> {
        match given {
            [DataType::Date32 | DataType::Date64] => Ok(vec![DataType::Date32]),
            [text] if is_text(text) => Ok(vec![DataType::Date32]),
            [DataType::Timestamp(..)] => {
                plan_err!("monday takes a day, not an instant\nhint: use local_date, the day in the site's own zone")
            }
            _ => plan_err!("monday takes one argument, a day\nhint: write monday(local_date)"),
        }
    }

    fn return_type(&self, _given: &[DataType]) -> Result<DataType> {
        Ok(DataType::Date32)
    }

    fn invoke_with_args(&self, call: ScalarFunctionArgs) -> Result<ColumnarValue> {
        let days = cast(&call.args[0].to_array(call.number_rows)?, &DataType::Date32)?;
        let mondays: Date32Array = days.as_primitive::<Date32Type>().unary(shot::monday_of);
        Ok(ColumnarValue::Array(Arc::new(mondays)))
    }
}
