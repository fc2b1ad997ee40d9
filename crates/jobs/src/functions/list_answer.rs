//! Answers of a function of lists as structured columns.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanBuilder, Float64Builder, ListArray, NullBufferBuilder, StringBuilder, StructArray,
};
use arrow::buffer::OffsetBuffer;
use arrow::datatypes::Field;
use datafusion::common::Result;

use super::list_definition::Definition;

/// One answer, fields in the order of the definition's results.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Told {
    pub texts: Vec<Option<String>>,
    pub flags: Vec<Option<bool>>,
    pub numbers: Vec<Option<f64>>,
}

/// The answers of all calls of a batch as one column: a structure each, missing where there is no answer, or a list of
/// structures each.
pub(super) fn collect(definition: &Definition, answers: &[Vec<Told>]) -> Result<ArrayRef> {
    if definition.results.many {
        let all: Vec<Option<&Told>> = answers.iter().flatten().map(Some).collect();
        let element = Field::new_list_field(arrow::datatypes::DataType::Struct(definition.result_fields()), true);
        let mut present = NullBufferBuilder::new(answers.len());
        for answer in answers {
            present.append(!answer.is_empty());
        }
        let offsets = OffsetBuffer::from_lengths(answers.iter().map(Vec::len));
        let list = ListArray::try_new(Arc::new(element), offsets, structures(definition, &all)?, present.finish())?;
        return Ok(Arc::new(list));
    }
    let first: Vec<Option<&Told>> = answers.iter().map(|answer| answer.first()).collect();
    structures(definition, &first)
}

fn structures(definition: &Definition, answers: &[Option<&Told>]) -> Result<ArrayRef> {
    let mut columns: Vec<ArrayRef> = Vec::new();
    for at in 0..definition.results.texts.len() {
        let mut builder = StringBuilder::new();
        for answer in answers {
            builder.append_option(answer.and_then(|told| told.texts.get(at)?.as_deref()));
        }
        columns.push(Arc::new(builder.finish()));
    }
    for at in 0..definition.results.flags.len() {
        let mut builder = BooleanBuilder::new();
        for answer in answers {
            builder.append_option(answer.and_then(|told| told.flags.get(at).copied().flatten()));
        }
        columns.push(Arc::new(builder.finish()));
    }
    for at in 0..definition.results.numbers.len() {
        let mut builder = Float64Builder::with_capacity(answers.len());
        for answer in answers {
            let number = answer.and_then(|told| told.numbers.get(at).copied().flatten());
            builder.append_option(number.filter(|number| number.is_finite()));
        }
        columns.push(Arc::new(builder.finish()));
    }
    let mut present = NullBufferBuilder::new(answers.len());
    for answer in answers {
        present.append(answer.is_some());
    }
    let fields = definition.result_fields();
    Ok(Arc::new(StructArray::try_new_with_length(fields, columns, present.finish(), answers.len())?))
}
