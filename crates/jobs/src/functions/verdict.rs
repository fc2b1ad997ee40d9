//! `verdict(evidence, head)`: the judgement of one shot.

use std::hash::{Hash, Hasher};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use ::verdict::{Evidence, Judge, Settings, ShotVerdict};
use arrow::array::{
    Array, ArrayRef, AsArray, BooleanBuilder, Float64Array, Float64Builder, NullBufferBuilder, StringArray,
    StringBuilder, StructArray,
};
use arrow::datatypes::{DataType, Field, FieldRef, Fields};
use datafusion::common::{Result, exec_err, plan_err};
use datafusion::logical_expr::{
    ColumnarValue, ReturnFieldArgs, ScalarFunctionArgs, ScalarUDFImpl, Signature, Volatility,
};

use super::columns::{is_text, real_array, text_array, texts};
use super::impact::{literal_text, unknown_head};
use super::learning::ball_of;
use super::list_definition::Word;
use super::workers::in_parts;
use super::{Books, FunctionDescription, described};

const USAGE: &str = "verdict(named_struct('ball_speed_mps', ball_speed_mps, ...), head, ball)";
const FACE_REFERENCE: &str = "face_reference";
const STRIKE_SOURCE: &str = "strike_source";
/// The evidence that is no number.
pub(super) const WORDS: [Word; 2] = [
    (FACE_REFERENCE, "face-centre or strike-point: the point of the face that face_deg belongs to"),
    (STRIKE_SOURCE, "measured or linked: where the strike position comes from"),
];
/// Below this many rows, starting threads costs more than it saves.
const ROWS_WORTH_THREADS: usize = 64;

pub(super) fn description() -> FunctionDescription {
    let mut arguments = Vec::new();
    for (name, meaning) in Evidence::NUMBERS {
        arguments.push((name, "", meaning));
    }
    for (name, meaning) in WORDS {
        arguments.push((name, "", meaning));
    }
    arguments.push(("head", "", "name of a head profile"));
    arguments.push((
        "ball",
        "",
        "name of a ball profile; may be left out: null or an unknown name = the standard ball",
    ));
    let mut results = Vec::new();
    for (name, meaning) in ShotVerdict::TEXTS {
        results.push((name, "", meaning));
    }
    results.push(("misread", "", "whether a reader of the curve alone would have been misled"));
    for (name, unit, meaning) in ShotVerdict::NUMBERS {
        results.push((name, unit, meaning));
    }
    FunctionDescription {
        usage: USAGE.into(),
        description: "Judges one shot: strike or delivery, and the carry that the strike cost. The fields of the \
                      evidence may stand in any order and be left out where nothing is known. Without evidence or head \
                      the result is null. Call it once, in a subquery, and read the fields of its result outside."
            .into(),
        arguments: described(&arguments),
        results: described(&results),
    }
}

fn result_fields() -> Fields {
    let mut fields = Vec::new();
    for (name, _) in ShotVerdict::TEXTS {
        fields.push(Field::new(name, DataType::Utf8, true));
    }
    fields.push(Field::new("misread", DataType::Boolean, true));
    for (name, ..) in ShotVerdict::NUMBERS {
        fields.push(Field::new(name, DataType::Float64, true));
    }
    Fields::from(fields)
}

pub(super) struct VerdictFunction {
    books: Books,
    settings: Settings,
    judge: Judge,
    /// Set when the caller's time is over.
    stop: Arc<AtomicBool>,
    signature: Signature,
}

impl VerdictFunction {
    pub(super) fn new(books: Books, settings: Settings, stop: Arc<AtomicBool>) -> VerdictFunction {
        let judge = Judge::new(settings.clone());
        // It always answers alike, yet is told to be volatile: else the engine repeats the call for each field that a query
        // reads, and once more in each condition, and a judgement is dear.
        let signature = Signature::user_defined(Volatility::Volatile);
        VerdictFunction { books, settings, judge, stop, signature }
    }
}

impl std::fmt::Debug for VerdictFunction {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("verdict")
    }
}

impl PartialEq for VerdictFunction {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.books.heads, &other.books.heads)
            && Arc::ptr_eq(&self.books.balls, &other.books.balls)
            && self.settings == other.settings
    }
}

impl Eq for VerdictFunction {}

impl Hash for VerdictFunction {
    fn hash<H: Hasher>(&self, state: &mut H) {
        Arc::as_ptr(&self.books.heads).hash(state);
    }
}

impl ScalarUDFImpl for VerdictFunction {
    fn name(&self) -> &'static str {
        "verdict"
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn coerce_types(&self, given: &[DataType]) -> Result<Vec<DataType>> {
        match given {
            [DataType::Struct(fields), words @ ..] if (1..=2).contains(&words.len()) && words.iter().all(is_text) => {
                check_fields(fields)?;
                Ok(given.to_vec())
            }
            [DataType::Null, words @ ..] if (1..=2).contains(&words.len()) && words.iter().all(is_text) => {
                Ok(given.to_vec())
            }
            _ => plan_err!("verdict takes a structure of evidence and the name of a head\nhint: write {USAGE}"),
        }
    }

    fn return_type(&self, _given: &[DataType]) -> Result<DataType> {
        Ok(DataType::Struct(result_fields()))
    }

    fn return_field_from_args(&self, call: ReturnFieldArgs) -> Result<FieldRef> {
        if let Some(head) = literal_text(&call, 1)
            && self.books.heads.find(head).is_none()
        {
            return plan_err!("{}", unknown_head(&self.books.heads, head));
        }
        Ok(Arc::new(Field::new(self.name(), DataType::Struct(result_fields()), true)))
    }

    fn invoke_with_args(&self, call: ScalarFunctionArgs) -> Result<ColumnarValue> {
        let rows = call.number_rows;
        let evidence = call.args[0].to_array(rows)?;
        let heads = texts(&call.args[1], rows)?;
        let balls = call.args.get(2).map(|balls| texts(balls, rows)).transpose()?;
        let Some(evidence) = evidence.as_struct_opt() else {
            return finish(&vec![None; rows]).map(ColumnarValue::Array);
        };
        let batch = EvidenceColumns::read(evidence)?;
        let verdicts =
            in_parts(rows, ROWS_WORTH_THREADS, |range| self.judge_range(&batch, &heads, balls.as_ref(), range))?;
        finish(&verdicts).map(ColumnarValue::Array)
    }
}

impl VerdictFunction {
    fn judge_range(
        &self,
        batch: &EvidenceColumns,
        heads: &StringArray,
        balls: Option<&StringArray>,
        range: std::ops::Range<usize>,
    ) -> Result<Vec<Option<ShotVerdict>>> {
        let mut verdicts = Vec::with_capacity(range.len());
        for row in range {
            if self.stop.load(Ordering::Relaxed) {
                return exec_err!("stopped");
            }
            if heads.is_null(row) || batch.is_null(row) {
                verdicts.push(None);
                continue;
            }
            let Some(head) = self.books.heads.find(heads.value(row)) else {
                return exec_err!("{}", unknown_head(&self.books.heads, heads.value(row)));
            };
            let ball = balls.filter(|balls| balls.is_valid(row)).map(|balls| balls.value(row));
            let ball = ball_of(&self.books.balls, ball);
            verdicts.push(Some(self.judge.judge_with(&batch.evidence(row)?, head, &ball)));
        }
        Ok(verdicts)
    }
}

fn check_fields(fields: &Fields) -> Result<()> {
    for field in fields {
        let name = field.name().as_str();
        let data_type = field.data_type();
        let is_number = Evidence::NUMBERS.iter().any(|(number, _)| *number == name);
        let is_word = name == FACE_REFERENCE || name == STRIKE_SOURCE;
        if is_number && !data_type.is_numeric() && !data_type.is_null() {
            return plan_err!("verdict: {name} must be a number, not {data_type}\nhint: write {USAGE}");
        }
        if is_word && !is_text(data_type) {
            return plan_err!("verdict: {name} must be a text, not {data_type}\nhint: write {USAGE}");
        }
        if !is_number && !is_word {
            let mut known: Vec<&str> = Evidence::NUMBERS.iter().map(|(number, _)| *number).collect();
            known.extend([FACE_REFERENCE, STRIKE_SOURCE]);
            return plan_err!("verdict knows no evidence called {name}\nhint: it knows {}", known.join(", "));
        }
    }
    Ok(())
}

/// The evidence of many shots, by column.
struct EvidenceColumns {
    present: Option<arrow::buffer::NullBuffer>,
    numbers: Vec<(usize, Float64Array)>,
    face_reference: Option<StringArray>,
    strike_source: Option<StringArray>,
}

impl EvidenceColumns {
    fn read(evidence: &StructArray) -> Result<EvidenceColumns> {
        let mut numbers = Vec::new();
        let mut face_reference = None;
        let mut strike_source = None;
        for (field, column) in evidence.fields().iter().zip(evidence.columns()) {
            match field.name().as_str() {
                FACE_REFERENCE => face_reference = Some(text_array(column)?),
                STRIKE_SOURCE => strike_source = Some(text_array(column)?),
                name => {
                    if let Some(position) = Evidence::NUMBERS.iter().position(|(number, _)| *number == name) {
                        numbers.push((position, real_array(column)?));
                    }
                }
            }
        }
        Ok(EvidenceColumns { present: evidence.nulls().cloned(), numbers, face_reference, strike_source })
    }

    fn is_null(&self, row: usize) -> bool {
        self.present.as_ref().is_some_and(|present| present.is_null(row))
    }

    fn evidence(&self, row: usize) -> Result<Evidence> {
        let mut evidence = Evidence::default();
        for (position, column) in &self.numbers {
            evidence.set_at(*position, column.is_valid(row).then(|| column.value(row)));
        }
        let word = |column: &Option<StringArray>| -> Option<String> {
            column.as_ref().filter(|texts| texts.is_valid(row)).map(|texts| texts.value(row).to_owned())
        };
        let (face, strike) = (word(&self.face_reference), word(&self.strike_source));
        match read_words(&mut evidence, "verdict", [face.as_deref(), strike.as_deref()]) {
            Ok(()) => Ok(evidence),
            Err(message) => exec_err!("{message}"),
        }
    }
}

/// Puts the evidence that is no number, in the order of [`WORDS`].
pub(super) fn read_words(evidence: &mut Evidence, function: &str, words: [Option<&str>; 2]) -> Result<(), String> {
    evidence.face_at_strike_point = is_second(function, FACE_REFERENCE, words[0], ["face-centre", "strike-point"])?;
    evidence.strike_linked = is_second(function, STRIKE_SOURCE, words[1], ["measured", "linked"])?;
    Ok(())
}

/// Whether a text is the second of two words; the first is meant where it is missing.
fn is_second(function: &str, name: &str, word: Option<&str>, words: [&str; 2]) -> Result<bool, String> {
    match word {
        None => Ok(false),
        Some(word) if words.contains(&word) => Ok(word == words[1]),
        Some(word) => Err(format!("{function}: {name} is \"{word}\"\nhint: it is {} or {}", words[0], words[1])),
    }
}

fn finish(verdicts: &[Option<ShotVerdict>]) -> Result<ArrayRef> {
    let mut columns: Vec<ArrayRef> = Vec::new();
    for position in 0..ShotVerdict::TEXTS.len() {
        let mut builder = StringBuilder::new();
        for verdict in verdicts {
            builder.append_option(verdict.as_ref().and_then(|verdict| verdict.text_at(position)));
        }
        columns.push(Arc::new(builder.finish()));
    }
    let mut misread = BooleanBuilder::new();
    for verdict in verdicts {
        misread.append_option(verdict.as_ref().and_then(|verdict| verdict.misread));
    }
    columns.push(Arc::new(misread.finish()));
    for position in 0..ShotVerdict::NUMBERS.len() {
        let mut builder = Float64Builder::with_capacity(verdicts.len());
        for verdict in verdicts {
            builder.append_option(verdict.as_ref().and_then(|verdict| verdict.number_at(position)));
        }
        columns.push(Arc::new(builder.finish()));
    }
    let mut present = NullBufferBuilder::new(verdicts.len());
    for verdict in verdicts {
        present.append(verdict.is_some());
    }
    Ok(Arc::new(StructArray::try_new_with_length(result_fields(), columns, present.finish(), verdicts.len())?))
}
