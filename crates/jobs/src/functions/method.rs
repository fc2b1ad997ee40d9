//! `method_version()` and `learning_version()`: the versions of the methods behind verdicts and models.

use datafusion::common::Result;
use datafusion::logical_expr::{ColumnarValue, ScalarFunctionArgs, ScalarUDFImpl, Signature, Volatility};
use datafusion::scalar::ScalarValue;

use arrow::datatypes::DataType;

use super::{FunctionDescription, described};

/// A method and the version that stands beside its results.
pub(super) struct Method {
    name: &'static str,
    description: &'static str,
    version: &'static str,
}

pub(super) const METHODS: [Method; 2] = [
    Method {
        name: "method_version",
        description: "The version of the method behind verdict; it rises when the same evidence would be judged otherwise.",
        version: ::verdict::METHOD_VERSION,
    },
    Method {
        name: "learning_version",
        description: "The version of the method behind player_club_model, ball_model and bay_offsets; it rises when the same \
                      shots would teach otherwise.",
        version: ::learning::METHOD_VERSION,
    },
];

pub(super) fn description(method: &Method) -> FunctionDescription {
    FunctionDescription {
        usage: format!("{}()", method.name),
        description: method.description.into(),
        arguments: Vec::new(),
        results: described(&[("", "", "the version, a text")]),
    }
}

#[derive(Debug, PartialEq, Eq, Hash)]
pub(super) struct VersionFunction {
    name: &'static str,
    version: &'static str,
    signature: Signature,
}

impl VersionFunction {
    pub(super) fn new(method: &Method) -> VersionFunction {
        let signature = Signature::nullary(Volatility::Immutable);
        VersionFunction { name: method.name, version: method.version, signature }
    }
}

impl ScalarUDFImpl for VersionFunction {
    fn name(&self) -> &str {
        self.name
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn return_type(&self, _given: &[DataType]) -> Result<DataType> {
        Ok(DataType::Utf8)
    }

    fn invoke_with_args(&self, _call: ScalarFunctionArgs) -> Result<ColumnarValue> {
        Ok(ColumnarValue::Scalar(ScalarValue::from(self.version)))
    }
}
