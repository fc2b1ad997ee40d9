//! `method_version()`: the version of the method behind `verdict`.

use datafusion::common::Result;
use datafusion::logical_expr::{ColumnarValue, ScalarFunctionArgs, ScalarUDFImpl, Signature, Volatility};
use datafusion::scalar::ScalarValue;

use arrow::datatypes::DataType;

use super::{FunctionDescription, described};

pub(super) fn description() -> FunctionDescription {
    FunctionDescription {
        usage: "method_version()".into(),
        description:
            "The version of the method behind verdict; it rises when the same evidence would be judged otherwise."
                .into(),
        arguments: Vec::new(),
        results: described(&[("", "", "the version, a text")]),
    }
}

#[derive(Debug, PartialEq, Eq, Hash)]
pub(super) struct MethodVersionFunction {
    signature: Signature,
}

impl MethodVersionFunction {
    pub(super) fn new() -> MethodVersionFunction {
        MethodVersionFunction { signature: Signature::nullary(Volatility::Immutable) }
    }
}

impl ScalarUDFImpl for MethodVersionFunction {
    fn name(&self) -> &'static str {
        "method_version"
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn return_type(&self, _given: &[DataType]) -> Result<DataType> {
        Ok(DataType::Utf8)
    }

    fn invoke_with_args(&self, _call: ScalarFunctionArgs) -> Result<ColumnarValue> {
        Ok(ColumnarValue::Scalar(ScalarValue::from(::verdict::METHOD_VERSION)))
    }
}
