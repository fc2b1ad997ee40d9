//! The engine for column files: Apache Parquet and Arrow IPC.

use std::borrow::Cow;
use std::cell::{Cell, RefCell};
use std::collections::HashMap;
use std::ops::ControlFlow;
use std::rc::Rc;
use std::sync::Arc;

use arrow::array::{ArrayRef, RecordBatch, StructArray};
use arrow::datatypes::SchemaRef;

use crate::column_path::{Step, names_of, steps_to};
use crate::column_value::{Value, length_at, value_at};
use crate::context::ParseLimits;
use crate::file_fault::{Budget, FileFault, guarded};
use crate::record::{Engine, Glance, Item, Opening, Record};
use crate::rule::Rule;
use crate::{arrow_file, parquet_file};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Container {
    Parquet,
    Arrow,
}

#[derive(Debug)]
pub(crate) struct Columnar {
    pub container: Container,
}

/// A step through the rows of a file.
pub(crate) enum NextBatch {
    Batch(RecordBatch),
    End,
    /// The file ends within a batch, behind whole ones.
    CutShort,
}

/// A file whose schema was read.
pub(crate) struct Opened<'a> {
    pub schema: SchemaRef,
    /// Keys and values that the file states about itself.
    pub metadata: Vec<(String, String)>,
    pub next: Box<dyn FnMut() -> Result<NextBatch, FileFault> + 'a>,
}

/// What the schema states.
struct ColumnHead {
    opening: Opening,
    names: Vec<String>,
    /// Lists of any length, whose items no schema names.
    lists: Vec<String>,
}

/// What all rows of a file share while they are read.
struct Reading<'a> {
    schema: &'a SchemaRef,
    limits: &'a ParseLimits,
    budget: &'a Budget,
    /// Steps by field name, found at its first use.
    steps: RefCell<HashMap<String, Option<Rc<[Step]>>>>,
    is_exhausted: Cell<bool>,
}

impl Reading<'_> {
    fn steps(&self, field: &str) -> Option<Rc<[Step]>> {
        if let Some(known) = self.steps.borrow().get(field) {
            return known.clone();
        }
        let steps: Option<Rc<[Step]>> = steps_to(self.schema.fields(), field).map(Into::into);
        self.steps.borrow_mut().insert(field.to_owned(), steps.clone());
        steps
    }
}

/// A row of a batch.
struct BatchRow<'a> {
    reading: &'a Reading<'a>,
    /// The columns as members of one structure.
    columns: &'a ArrayRef,
    index: usize,
    line: i64,
}

impl BatchRow<'_> {
    fn value(&self, field: &str) -> Value {
        let Some(steps) = self.reading.steps(field) else { return Value::Missing };
        let longest = self.reading.limits.max_line_bytes;
        let value = guarded(Rule::BadColumnFile, || Ok(value_at(self.columns, self.index, &steps, longest)));
        let value = value.unwrap_or_else(|fault| Value::Unreadable(fault.message));
        // A dictionary gives the same long text to row after row.
        if let Value::Text(text) = &value
            && !self.reading.budget.spend(text.len())
        {
            self.reading.is_exhausted.set(true);
            return Value::Missing;
        }
        value
    }
}

impl Record for BatchRow<'_> {
    fn line(&self) -> i64 {
        self.line
    }

    fn text(&self, field: &str) -> Option<Cow<'_, str>> {
        match self.value(field) {
            Value::Missing => None,
            Value::Text(text) | Value::Number(text, _) => Some(Cow::Owned(text)),
            Value::Unreadable(what) => Some(Cow::Owned(format!("({what})"))),
        }
    }

    fn number(&self, field: &str) -> Option<f64> {
        match self.value(field) {
            Value::Number(_, number) => Some(number),
            _ => None,
        }
    }

    fn fault(&self, field: &str) -> Option<(Rule, String)> {
        match self.value(field) {
            Value::Unreadable(what) => Some((Rule::UnreadableValue, format!("the column holds {what}"))),
            _ => None,
        }
    }
}

fn columns_of(batch: RecordBatch) -> Result<ArrayRef, FileFault> {
    guarded(Rule::BadColumnFile, || Ok(Arc::new(StructArray::from(batch)) as ArrayRef))
}

impl Columnar {
    fn open<'a>(
        &self,
        bytes: &'a [u8],
        limits: &'a ParseLimits,
        budget: &'a Budget,
        with_rows: bool,
    ) -> Result<(Opened<'a>, ColumnHead), FileFault> {
        let mut opened = match self.container {
            Container::Parquet => parquet_file::open(bytes, limits, budget, with_rows)?,
            Container::Arrow => arrow_file::open(bytes, limits, budget)?,
        };
        let mut lists = Vec::new();
        let names = names_of(opened.schema.fields(), limits.max_fields, &mut lists);
        if names.len() > limits.max_fields {
            let message = format!("the file has more than {} columns", limits.max_fields);
            return Err(FileFault::new(Rule::TooManyFields, message));
        }
        // Whole programs' states are kept in metadata at times; they are no preamble.
        opened.metadata.retain(|(_, value)| value.len() <= limits.max_line_bytes);
        opened.metadata.truncate(limits.max_fields);
        let opening = Opening {
            preamble: std::mem::take(&mut opened.metadata),
            // With lists the fields differ from row to row.
            header: lists.is_empty().then(|| names.clone()),
            header_line: 0,
        };
        Ok((opened, ColumnHead { opening, names, lists }))
    }

    fn look(&self, bytes: &[u8]) -> Result<Glance, FileFault> {
        let limits = ParseLimits::default();
        let budget = Budget::new(&limits);
        let (_, head) = self.open(bytes, &limits, &budget, false)?;
        let mut glance = Glance { fields: head.names, ..Glance::default() };
        if !head.lists.is_empty() {
            // How many items a list has shows in the first row only.
            let (mut opened, _) = self.open(bytes, &limits, &budget, true)?;
            if let NextBatch::Batch(batch) = (opened.next)()? {
                let columns = columns_of(batch)?;
                for list in head.lists {
                    let steps = steps_to(opened.schema.fields(), &list).unwrap_or_default();
                    let items = length_at(&columns, 0, &steps).min(limits.max_fields);
                    let place = glance.fields.iter().position(|name| *name == list).map_or(0, |place| place + 1);
                    glance.fields.splice(place..place, (0..items).map(|item| format!("{list}.{item}")));
                }
            }
        }
        glance.text = glance.fields.join("\n");
        for (key, value) in head.opening.preamble {
            glance.text.extend(["\n", &key, "=", &value]);
            glance.preamble_keys.push(key);
        }
        Ok(glance)
    }

    fn read_rows(
        &self,
        bytes: &[u8],
        limits: &ParseLimits,
        take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>,
    ) -> Result<(), FileFault> {
        let budget = Budget::new(limits);
        let (mut opened, head) = self.open(bytes, limits, &budget, true)?;
        if take(Item::Opening(&head.opening)).is_break() {
            return Ok(());
        }
        let reading = Reading {
            schema: &opened.schema,
            limits,
            budget: &budget,
            steps: RefCell::default(),
            is_exhausted: Cell::new(false),
        };
        let mut line = 0;
        loop {
            let batch = match (opened.next)()? {
                NextBatch::Batch(batch) => batch,
                NextBatch::End => return Ok(()),
                NextBatch::CutShort => {
                    let message = format!("the file ends in the middle of the rows behind row {line}");
                    let _ = take(Item::Problem(Rule::BadColumnFile.rejects(line + 1, None, "", message)));
                    return Ok(());
                }
            };
            let rows = batch.num_rows();
            let columns = columns_of(batch)?;
            for index in 0..rows {
                line += 1;
                let flow = take(Item::Record(&BatchRow { reading: &reading, columns: &columns, index, line }));
                if reading.is_exhausted.get() {
                    return Err(budget.fault());
                }
                if flow.is_break() {
                    return Ok(());
                }
            }
        }
    }
}

impl Engine for Columnar {
    fn glance(&self, bytes: &[u8]) -> Glance {
        self.look(bytes).unwrap_or_else(|fault| Glance { obstacle: Some(fault.message), ..Glance::default() })
    }

    fn read(&self, bytes: &[u8], limits: &ParseLimits, take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>) {
        if let Err(fault) = self.read_rows(bytes, limits, take) {
            let _ = take(Item::Problem(fault.problem()));
        }
    }

    fn complete(&self, tail: &[u8]) -> bool {
        match self.container {
            Container::Parquet => parquet_file::is_complete(tail),
            Container::Arrow => arrow_file::is_complete(tail),
        }
    }
}
