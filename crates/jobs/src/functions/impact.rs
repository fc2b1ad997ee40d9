//! `impact(...)`: the launch that a delivery, a strike position and a head give the ball.

use std::hash::{Hash, Hasher};
use std::sync::Arc;

use ::impact::{Delivery, Hand, HeadBook};
use arrow::array::Array;
use arrow::datatypes::{DataType, Field, FieldRef};
use datafusion::common::{Result, exec_err, plan_err};
use datafusion::logical_expr::{
    ColumnarValue, ReturnFieldArgs, ScalarFunctionArgs, ScalarUDFImpl, Signature, Volatility,
};

use super::columns::{Entry, RealRows, fill_row, is_text, numeric_types, real_fields, reals, texts};
use super::{FunctionDescription, described};

const NAME: &str = "impact";

/// The numbers, in order; the name of the head follows them.
const NUMBERS: [Entry; 8] = [
    ("club_speed_mps", "m/s", "speed of the face centre"),
    ("attack_deg", "deg", "vertical direction of the face centre, positive = up"),
    ("path_deg", "deg", "horizontal direction of the face centre, positive = right"),
    ("face_deg", "deg", "azimuth of the normal at the face centre, positive = right"),
    ("delivered_loft_deg", "deg", "elevation of the normal at the face centre"),
    ("strike_toe_mm", "mm", "strike position from the face centre, positive = toe"),
    ("strike_up_mm", "mm", "strike position from the face centre, positive = crown"),
    ("hand", "", "+1 right-handed, -1 left-handed"),
];

const RESULTS: [Entry; 5] = [
    ("ball_speed_mps", "m/s", "speed of the ball after impact"),
    ("launch_elevation_deg", "deg", "vertical start direction, positive = up"),
    ("launch_azimuth_deg", "deg", "horizontal start direction, positive = right"),
    ("spin_rpm", "/min", "total spin rate"),
    ("spin_tilt_deg", "deg", "tilt of the spin axis, positive = curves right"),
];

pub(super) fn description() -> FunctionDescription {
    let names: Vec<&str> = NUMBERS.iter().map(|(name, ..)| *name).collect();
    let mut arguments = NUMBERS.to_vec();
    arguments.push(("head", "", "name of a head profile, a text"));
    FunctionDescription {
        usage: format!("{NAME}({}, head)", names.join(", ")),
        description:
            "Strikes a ball with a free head: speed loss off the centre, gear effect, bulge and roll. A missing \
                      argument, or a head that misses the ball, gives null; fat and thin contact lie outside the model."
                .into(),
        arguments: described(&arguments),
        results: described(&RESULTS),
    }
}

/// The message for a head that the book does not have.
pub(super) fn unknown_head(heads: &HeadBook, name: &str) -> String {
    let known: Vec<&str> = heads.heads.iter().map(|head| head.name.as_str()).collect();
    format!("no head profile is called \"{name}\"\nhint: the profiles are {}", known.join(", "))
}

/// An argument's text where it is written as a literal.
pub(super) fn literal_text<'call>(call: &'call ReturnFieldArgs, position: usize) -> Option<&'call str> {
    call.scalar_arguments.get(position).copied().flatten()?.try_as_str().flatten()
}

pub(super) struct ImpactFunction {
    heads: Arc<HeadBook>,
    signature: Signature,
}

impl ImpactFunction {
    pub(super) fn new(heads: Arc<HeadBook>) -> ImpactFunction {
        ImpactFunction { heads, signature: Signature::user_defined(Volatility::Immutable) }
    }
}

impl std::fmt::Debug for ImpactFunction {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str(NAME)
    }
}

impl PartialEq for ImpactFunction {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.heads, &other.heads)
    }
}

impl Eq for ImpactFunction {}

impl Hash for ImpactFunction {
    fn hash<H: Hasher>(&self, state: &mut H) {
        Arc::as_ptr(&self.heads).hash(state);
    }
}

impl ScalarUDFImpl for ImpactFunction {
    fn name(&self) -> &'static str {
        NAME
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn coerce_types(&self, given: &[DataType]) -> Result<Vec<DataType>> {
        let Some((head, numbers)) = given.split_last().filter(|(head, numbers)| is_text(head) && numbers.len() == 8)
        else {
            return plan_err!(
                "{NAME} takes eight numbers and the name of a head, a text\nhint: write {}",
                description().usage
            );
        };
        let mut types = numeric_types(NAME, &NUMBERS, numbers)?;
        types.push(head.clone());
        Ok(types)
    }

    fn return_type(&self, _given: &[DataType]) -> Result<DataType> {
        Ok(DataType::Struct(real_fields(&RESULTS)))
    }

    fn return_field_from_args(&self, call: ReturnFieldArgs) -> Result<FieldRef> {
        if let Some(head) = literal_text(&call, NUMBERS.len())
            && self.heads.find(head).is_none()
        {
            return plan_err!("{}", unknown_head(&self.heads, head));
        }
        Ok(Arc::new(Field::new(NAME, DataType::Struct(real_fields(&RESULTS)), true)))
    }

    fn invoke_with_args(&self, call: ScalarFunctionArgs) -> Result<ColumnarValue> {
        let rows = call.number_rows;
        let (head_argument, number_arguments) = match call.args.split_last() {
            Some(parts) if parts.1.len() == NUMBERS.len() => parts,
            _ => return exec_err!("{NAME} takes eight numbers and a text"),
        };
        let columns = number_arguments.iter().map(|value| reals(value, rows)).collect::<Result<Vec<_>>>()?;
        let heads = texts(head_argument, rows)?;
        let mut results = RealRows::new(&RESULTS, rows);
        let mut numbers = Vec::with_capacity(NUMBERS.len());
        for row in 0..rows {
            if heads.is_null(row) || !fill_row(&columns, row, &mut numbers) {
                results.push_null();
                continue;
            }
            let Some(head) = self.heads.find(heads.value(row)) else {
                return exec_err!("{}", unknown_head(&self.heads, heads.value(row)));
            };
            let &[club_speed, attack, path, face, loft, toe, up, hand] = numbers.as_slice() else {
                return exec_err!("{NAME} takes eight numbers and a text");
            };
            if (hand.abs() - 1.0).abs() > 1e-9 {
                return exec_err!("{NAME}: hand is {hand}\nhint: +1 is right-handed, -1 left-handed");
            }
            let delivery = Delivery::from_array([club_speed, attack, path, face, loft, toe, up]);
            match ::impact::launch(head, &delivery, Hand::from_sign(hand)) {
                Some(launch) => results.push(&launch.to_array()),
                None => results.push_null(),
            }
        }
        Ok(ColumnarValue::Array(results.finish()?))
    }
}
