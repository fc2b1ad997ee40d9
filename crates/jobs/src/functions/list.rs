//! Functions of a list of rows: `name(array_agg(named_struct(...)), scalars...)`, with a structured answer.
//!
//! What the rows are and what becomes of them a [`Definition`] says; here is what all such functions share: fields are checked
//! while the query is planned, rows are put in one order whoever delivered them first, lists share the processors.

use std::hash::{Hash, Hasher};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use ::impact::HeadBook;
use arrow::array::{Array, ArrayRef, AsArray};
use arrow::datatypes::{DataType, Field, FieldRef};
use datafusion::common::{Result, exec_err, plan_err};
use datafusion::logical_expr::{
    ColumnarValue, ReturnFieldArgs, ScalarFunctionArgs, ScalarUDFImpl, Signature, Volatility,
};

use super::columns::is_text;
use super::impact::{literal_text, unknown_head};
use super::list_answer::{Told, collect};
use super::list_definition::{Definition, Rows, ScalarKind, Scalars, check_fields, describe};
use super::list_rows::{RowColumns, ScalarColumns};
use super::workers::in_parts;

pub(super) struct ListFunction {
    definition: Arc<Definition>,
    heads: Arc<HeadBook>,
    /// Set when the caller's time is over.
    stop: Arc<AtomicBool>,
    signature: Signature,
}

impl ListFunction {
    pub(super) fn new(definition: Definition, heads: Arc<HeadBook>, stop: Arc<AtomicBool>) -> ListFunction {
        // Told to be volatile for the reason that verdict is: else the engine repeats the call for each field that is read.
        let signature = Signature::user_defined(Volatility::Volatile);
        ListFunction { definition: Arc::new(definition), heads, stop, signature }
    }

    fn usage(&self) -> String {
        describe(&self.definition).usage
    }

    /// The answers of some lists; none for a list that is missing.
    fn answer(&self, lists: &Lists, scalars: &ScalarColumns, range: std::ops::Range<usize>) -> Result<Vec<Vec<Told>>> {
        let mut answers = Vec::with_capacity(range.len());
        for row in range {
            if self.stop.load(Ordering::Relaxed) {
                return exec_err!("stopped");
            }
            let values = scalars.row(row);
            let Some((first, length)) = lists.range(row).filter(|_| self.is_given(&values)) else {
                answers.push(Vec::new());
                continue;
            };
            if length > self.definition.most_rows {
                return exec_err!(
                    "{} was given a list of {length} rows; it takes {} at most\nhint: keep the newest, for example by \
                     row_number() over the player and club",
                    self.definition.name,
                    self.definition.most_rows
                );
            }
            let rows = lists.rows.read_list(first, length);
            answers.push(self.compute(&rows, &values)?);
        }
        Ok(answers)
    }

    /// Whether the scalars that a call cannot do without are there.
    fn is_given(&self, values: &Scalars) -> bool {
        let scalars = self.definition.scalars.iter().enumerate();
        scalars.filter(|(_, scalar)| scalar.kind == ScalarKind::Head).all(|(at, _)| values.text(at).is_some())
    }

    fn compute(&self, rows: &Rows, values: &Scalars) -> Result<Vec<Told>> {
        let mut head = None;
        for (at, scalar) in self.definition.scalars.iter().enumerate() {
            if scalar.kind != ScalarKind::Head {
                continue;
            }
            let name = values.text(at).unwrap_or_default();
            head = self.heads.find(name);
            if head.is_none() {
                return exec_err!("{}", unknown_head(&self.heads, name));
            }
        }
        (self.definition.compute)(rows, values, head).or_else(|message| exec_err!("{message}"))
    }
}

/// The lists of a batch: which of the rows belong to which.
struct Lists {
    ranges: Vec<Option<(usize, usize)>>,
    rows: RowColumns,
}

impl Lists {
    fn read(definition: &Definition, argument: &ArrayRef) -> Result<Lists> {
        if let Some(list) = argument.as_list_opt::<i32>() {
            let Some(rows) = list.values().as_struct_opt() else { return Ok(Lists::missing(argument.len())) };
            let mut ranges = Vec::with_capacity(list.len());
            for row in 0..list.len() {
                let (start, end) = (list.value_offsets()[row], list.value_offsets()[row + 1]);
                ranges.push(list.is_valid(row).then(|| (start as usize, (end - start) as usize)));
            }
            return Ok(Lists { ranges, rows: RowColumns::read(definition, rows)? });
        }
        let Some(rows) = argument.as_struct_opt() else { return Ok(Lists::missing(argument.len())) };
        let ranges = (0..rows.len()).map(|row| rows.is_valid(row).then_some((row, 1))).collect();
        Ok(Lists { ranges, rows: RowColumns::read(definition, rows)? })
    }

    fn missing(count: usize) -> Lists {
        Lists { ranges: vec![None; count], rows: RowColumns::none() }
    }

    fn range(&self, row: usize) -> Option<(usize, usize)> {
        self.ranges[row]
    }
}

impl std::fmt::Debug for ListFunction {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str(self.definition.name)
    }
}

impl PartialEq for ListFunction {
    fn eq(&self, other: &Self) -> bool {
        self.definition.name == other.definition.name && Arc::ptr_eq(&self.heads, &other.heads)
    }
}

impl Eq for ListFunction {}

impl Hash for ListFunction {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.definition.name.hash(state);
    }
}

impl ScalarUDFImpl for ListFunction {
    fn name(&self) -> &str {
        self.definition.name
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn coerce_types(&self, given: &[DataType]) -> Result<Vec<DataType>> {
        let name = self.definition.name;
        let wanted = self.definition.scalars.len() + 1;
        if given.len() != wanted {
            return plan_err!("{name} takes {wanted} arguments, not {}\nhint: write {}", given.len(), self.usage());
        }
        match &given[0] {
            DataType::List(element) if self.definition.takes_list => match element.data_type() {
                DataType::Struct(fields) => check_fields(&self.definition, fields)?,
                other => return plan_err!("{name} takes a list of rows, not of {other}\nhint: write {}", self.usage()),
            },
            DataType::Struct(fields) if !self.definition.takes_list => check_fields(&self.definition, fields)?,
            DataType::Null => {}
            other => return plan_err!("{name} cannot read {other}\nhint: write {}", self.usage()),
        }
        for (scalar, data_type) in self.definition.scalars.iter().zip(&given[1..]) {
            let fits = match scalar.kind {
                ScalarKind::Number => data_type.is_numeric() || data_type.is_null(),
                ScalarKind::Text | ScalarKind::Head => is_text(data_type),
            };
            if !fits {
                let word = if scalar.kind == ScalarKind::Number { "a number" } else { "a text" };
                return plan_err!("argument {} of {name} must be {word}\nhint: write {}", scalar.name, self.usage());
            }
        }
        Ok(given.to_vec())
    }

    fn return_type(&self, _given: &[DataType]) -> Result<DataType> {
        Ok(self.definition.result_type())
    }

    fn return_field_from_args(&self, call: ReturnFieldArgs) -> Result<FieldRef> {
        for (at, scalar) in self.definition.scalars.iter().enumerate() {
            if scalar.kind == ScalarKind::Head
                && let Some(head) = literal_text(&call, at + 1)
                && self.heads.find(head).is_none()
            {
                return plan_err!("{}", unknown_head(&self.heads, head));
            }
        }
        Ok(Arc::new(Field::new(self.definition.name, self.definition.result_type(), true)))
    }

    fn invoke_with_args(&self, call: ScalarFunctionArgs) -> Result<ColumnarValue> {
        let count = call.number_rows;
        let Some((rows, scalars)) = call.args.split_first() else {
            return exec_err!("{} takes a list", self.definition.name);
        };
        let lists = Lists::read(&self.definition, &rows.to_array(count)?)?;
        let scalars = ScalarColumns::read(&self.definition, scalars, count)?;
        let answers = in_parts(count, self.definition.worth_threads, |range| self.answer(&lists, &scalars, range))?;
        collect(&self.definition, &answers).map(ColumnarValue::Array)
    }
}
