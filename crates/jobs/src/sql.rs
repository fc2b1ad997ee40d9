//! SQL texts before they are planned: one statement, read-only, parameters as literals; and engine errors in words a person
//! can act on.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;

use datafusion::common::utils::datafusion_strsim::normalized_levenshtein;
use datafusion::common::{Column, SchemaError};
use datafusion::error::DataFusionError;
use datafusion::sql::parser::{DFParser, Statement};
use datafusion::sql::sqlparser::ast::{
    Expr, Statement as PlainStatement, TableFactor, UnaryOperator, Value, ValueWithSpan, Visit, Visitor,
    visit_expressions_mut,
};

use crate::error::{JobsError, SqlFault};
use crate::pack::Parameter;

/// Parses one read-only statement and puts the parameters in the place of its `$name`s.
pub(crate) fn parse(sql: &str, parameters: &BTreeMap<String, Parameter>) -> Result<Statement, SqlFault> {
    let mut statements = DFParser::parse_sql(sql).map_err(|error| {
        let hint = "check the spelling and the order of the clauses near that place";
        let text = error.strip_backtrace();
        located(sql, &text, place_in_text(&text), hint)
    })?;
    let Some(mut statement) = statements.pop_front() else {
        return Err(located(sql, "there is no statement", None, "write one SELECT statement"));
    };
    if !statements.is_empty() {
        let hint = "leave one SELECT statement; use WITH to build on intermediate results";
        return Err(located(sql, "there is more than one statement", None, hint));
    }
    refuse_changes(sql, &statement)?;
    if let Statement::Statement(plain) = &statement
        && let ControlFlow::Break(table) = plain.visit(&mut Unheard)
    {
        let hint = "for a part of the rows write a condition, for example WHERE local_date >= ...";
        return Err(located(sql, &format!("TABLESAMPLE of {table} is not supported"), None, hint));
    }
    let missing = put_parameters(&mut statement, parameters);
    if let Some((name, place)) = missing {
        let known: Vec<String> = parameters.keys().map(|name| format!("${name}")).collect();
        let hint = if known.is_empty() {
            "there are no parameters; a job pack gives them under [parameters]".to_owned()
        } else {
            format!("the parameters are {}", known.join(", "))
        };
        return Err(located(sql, &format!("{name} has no value"), place, &hint));
    }
    Ok(statement)
}

fn refuse_changes(sql: &str, statement: &Statement) -> Result<(), SqlFault> {
    let text = match statement {
        Statement::Explain(explain) => return refuse_changes(sql, &explain.statement),
        Statement::Statement(plain) => match plain.as_ref() {
            PlainStatement::Query(_)
            | PlainStatement::ShowTables { .. }
            | PlainStatement::ShowColumns { .. }
            | PlainStatement::ExplainTable { .. } => return Ok(()),
            PlainStatement::Explain { statement, .. } => {
                return refuse_changes(sql, &Statement::Statement(statement.clone()));
            }
            other => other.to_string(),
        },
        other => other.to_string(),
    };
    let words: Vec<&str> = text.split_whitespace().take(2).collect();
    let is_two_words = matches!(words.first(), Some(&("CREATE" | "DROP" | "ALTER")));
    let kind = words[..words.len().min(if is_two_words { 2 } else { 1 })].join(" ");
    let hint = "write a SELECT; new datasets come from job packs, and results are saved with --output";
    Err(located(sql, &format!("{kind} is refused: queries and jobs only read the lake"), None, hint))
}

/// The names that a text writes as `$name`; nothing where it cannot be parsed.
pub(crate) fn used_parameters(sql: &str) -> Option<BTreeSet<String>> {
    let mut statement = DFParser::parse_sql(sql).ok()?.pop_front()?;
    let Statement::Statement(plain) = &mut statement else { return None };
    let mut used = BTreeSet::new();
    let _: ControlFlow<()> = visit_expressions_mut(plain.as_mut(), |expression| {
        if let Expr::Value(ValueWithSpan { value: Value::Placeholder(name), .. }) = expression {
            used.insert(name.trim_start_matches('$').to_owned());
        }
        ControlFlow::Continue(())
    });
    Some(used)
}

/// Refuses what the engine would pass over in silence.
struct Unheard;

impl Visitor for Unheard {
    type Break = String;

    fn pre_visit_table_factor(&mut self, factor: &TableFactor) -> ControlFlow<String> {
        match factor {
            TableFactor::Table { sample: Some(_), name, .. } => ControlFlow::Break(name.to_string()),
            _ => ControlFlow::Continue(()),
        }
    }
}

/// Puts values in place of `$name`; answers the first name without a value.
fn put_parameters(
    statement: &mut Statement,
    parameters: &BTreeMap<String, Parameter>,
) -> Option<(String, Option<(u64, u64)>)> {
    let plain = match statement {
        Statement::Explain(explain) => return put_parameters(&mut explain.statement, parameters),
        Statement::Statement(plain) => plain,
        _ => return None,
    };
    let outcome = visit_expressions_mut(plain.as_mut(), |expression| {
        let Expr::Value(ValueWithSpan { value: Value::Placeholder(name), span }) = expression else {
            return ControlFlow::Continue(());
        };
        match parameters.get(name.trim_start_matches('$')) {
            Some(parameter) => {
                *expression = literal(parameter, *span);
                ControlFlow::Continue(())
            }
            None => ControlFlow::Break((name.clone(), Some((span.start.line, span.start.column)))),
        }
    });
    match outcome {
        ControlFlow::Break(missing) => Some(missing),
        ControlFlow::Continue(()) => None,
    }
}

fn literal(parameter: &Parameter, span: datafusion::sql::sqlparser::tokenizer::Span) -> Expr {
    let number = |text: String, negative: bool| {
        let value = Expr::Value(ValueWithSpan { value: Value::Number(text, false), span });
        if negative { Expr::UnaryOp { op: UnaryOperator::Minus, expr: Box::new(value) } } else { value }
    };
    let plain = match parameter {
        Parameter::Integer(value) => number(value.unsigned_abs().to_string(), *value < 0),
        // `{:?}` keeps the decimal point of a whole number, so that it stays a floating-point literal.
        Parameter::Real(value) => number(format!("{:?}", value.abs()), value.is_sign_negative()),
        Parameter::Text(text) => Expr::Value(ValueWithSpan { value: Value::SingleQuotedString(text.clone()), span }),
        Parameter::Flag(flag) => Expr::Value(ValueWithSpan { value: Value::Boolean(*flag), span }),
    };
    Expr::Nested(Box::new(plain))
}

/// The datasets that a statement may name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Readable {
    pub names: Vec<String>,
    /// Whether they are the inputs of a job, rather than all there are.
    pub for_job: bool,
}

impl Readable {
    fn hint(&self) -> String {
        let names = self.names.join(", ");
        if self.for_job {
            return format!("the inputs of this job are {names}; name others under [[inputs]] of the pack");
        }
        format!("the datasets are {names}")
    }
}

/// Turns an error of the engine into one a person can act on.
pub(crate) fn explain(sql: &str, error: &DataFusionError, readable: &Readable) -> JobsError {
    let place =
        error.diagnostic().and_then(|diagnostic| diagnostic.span).map(|span| (span.start.line, span.start.column));
    let root = error.find_root();
    let text = root.strip_backtrace();
    if let DataFusionError::ResourcesExhausted(reason) = root {
        let message = format!("the memory limit was reached: {}", first_line(reason));
        return JobsError::Limit { message, hint: "read fewer rows or columns, or raise the memory limit".into() };
    }
    if let DataFusionError::SchemaError(schema_error, _) = root
        && let SchemaError::FieldNotFound { field, valid_fields } = schema_error.as_ref()
    {
        let message = format!("no column is called {}", field.name);
        return JobsError::Sql(located(sql, &message, place, &column_hint(&field.name, valid_fields)));
    }
    if let Some(table) = missing_table(&text) {
        let message = format!("no dataset is called {table}");
        return JobsError::Sql(located(sql, &message, place, &readable.hint()));
    }
    if matches!(root, DataFusionError::Internal(_)) {
        return JobsError::Engine(text);
    }
    let message = without_kind(&text);
    // Our own functions end their messages in a hint.
    if let Some((message, hint)) = message.split_once("\nhint: ") {
        return JobsError::Sql(located(sql, message, place, hint));
    }
    let place = place.or_else(|| place_in_text(&message));
    JobsError::Sql(located(sql, &message, place, general_hint(&text)))
}

fn general_hint(text: &str) -> &'static str {
    if text.contains("Invalid function") || text.contains("function signature") {
        return "strikemill's own functions are listed by `query --functions`";
    }
    "check the names, the types and the brackets near that place"
}

/// A fault with the line it stands in.
fn located(sql: &str, message: &str, place: Option<(u64, u64)>, hint: &str) -> SqlFault {
    let place = place.filter(|(line, _)| *line > 0);
    let snippet = place.and_then(|(line, _)| sql.lines().nth(line as usize - 1)).map(str::to_owned);
    SqlFault {
        message: without_kind(message),
        line: place.map(|(line, _)| line),
        column: place.map(|(_, column)| column),
        snippet,
        hint: hint.to_owned(),
    }
}

/// The `Line: 1, Column: 8` that the parser writes into its messages.
fn place_in_text(message: &str) -> Option<(u64, u64)> {
    let (_, rest) = message.rsplit_once("Line: ")?;
    let (line, rest) = rest.split_once(", Column: ")?;
    let digits: String = rest.chars().take_while(char::is_ascii_digit).collect();
    Some((line.parse().ok()?, digits.parse().ok()?))
}

/// Drops the engine's own words for the kind of error, which say nothing to a reader.
fn without_kind(text: &str) -> String {
    let kinds = ["Error during planning: ", "Execution error: ", "SQL error: ", "External error: ", "Schema error: "];
    let mut rest = text;
    while let Some(shorter) = kinds.iter().find_map(|kind| rest.strip_prefix(kind)) {
        rest = shorter;
    }
    let rest = rest.strip_prefix("ParserError(\"").and_then(|inner| inner.strip_suffix("\")")).unwrap_or(rest);
    rest.to_owned()
}

fn first_line(text: &str) -> &str {
    text.lines().next().unwrap_or("")
}

fn missing_table(text: &str) -> Option<&str> {
    let (_, rest) = text.split_once("table '")?;
    let (name, rest) = rest.split_once('\'')?;
    rest.trim_start().starts_with("not found").then(|| name.rsplit('.').next().unwrap_or(name))
}

fn column_hint(wanted: &str, valid: &[Column]) -> String {
    /// How alike two names must be before one is offered for the other; 1 = equal.
    const ALIKE: f64 = 0.5;
    let mut ranked: Vec<(f64, &str)> = Vec::new();
    for column in valid {
        if !ranked.iter().any(|(_, name)| *name == column.name) {
            ranked.push((normalized_levenshtein(wanted, &column.name), &column.name));
        }
    }
    ranked.sort_by(|left, right| right.0.total_cmp(&left.0));
    let close: Vec<&str> =
        ranked.iter().filter(|(likeness, _)| *likeness >= ALIKE).take(3).map(|(_, name)| *name).collect();
    if !close.is_empty() {
        return format!("did you mean {}?", close.join(" or "));
    }
    let names: Vec<&str> = ranked.iter().map(|(_, name)| *name).collect();
    if names.is_empty() {
        return "there are no columns here; name a dataset after FROM".to_owned();
    }
    format!("the columns are {}", names.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with_limit(value: Parameter) -> BTreeMap<String, Parameter> {
        BTreeMap::from([("limit".to_owned(), value)])
    }

    #[test]
    fn only_reading_statements_pass() {
        let none = BTreeMap::new();
        for sql in
            ["SELECT 1", "WITH a AS (SELECT 1) SELECT * FROM a", "EXPLAIN SELECT 1", "SHOW TABLES", "DESCRIBE shots"]
        {
            assert!(parse(sql, &none).is_ok(), "{sql}");
        }
        let refused = [
            ("DROP TABLE shots", "DROP TABLE is refused"),
            ("CREATE TABLE a AS SELECT 1", "CREATE TABLE is refused"),
            ("CREATE EXTERNAL TABLE a STORED AS CSV LOCATION '/tmp/a'", "CREATE EXTERNAL is refused"),
            ("INSERT INTO shots VALUES (1)", "INSERT is refused"),
            ("DELETE FROM shots", "DELETE is refused"),
            ("UPDATE shots SET bay = '1'", "UPDATE is refused"),
            ("COPY shots TO 'a.csv'", "COPY is refused"),
            ("EXPLAIN COPY shots TO 'a.csv'", "COPY is refused"),
            ("SET datafusion.execution.batch_size = 1", "SET is refused"),
            ("SELECT * FROM shots TABLESAMPLE SYSTEM (10)", "TABLESAMPLE of shots is not supported"),
            ("SELECT 1; SELECT 2", "more than one statement"),
            ("", "no statement"),
        ];
        for (sql, expected) in refused {
            let fault = parse(sql, &none).expect_err(sql);
            assert!(fault.message.contains(expected), "{sql}: {fault}");
        }
    }

    #[test]
    fn a_parameter_cannot_change_the_statement() {
        let statement =
            parse("SELECT $limit, '$limit' -- $limit", &with_limit(Parameter::Text("x'; DROP TABLE a".into())));
        assert_eq!(statement.expect("it parses").to_string(), "SELECT ('x''; DROP TABLE a'), '$limit'");
        let statement = parse("SELECT 3 - $limit", &with_limit(Parameter::Real(-2.0)));
        assert_eq!(statement.expect("it parses").to_string(), "SELECT 3 - (-2.0)");
    }

    #[test]
    fn a_parameter_without_a_value_is_named_with_its_place() {
        let fault = parse("SELECT 1,\n  $limti", &with_limit(Parameter::Integer(1))).expect_err("misspelt");
        assert_eq!((fault.line, fault.column), (Some(2), Some(3)));
        assert_eq!(fault.message, "$limti has no value");
        assert_eq!(fault.hint, "the parameters are $limit");
    }

    #[test]
    fn a_syntax_error_tells_its_place() {
        let fault = parse("SELECT 1\nFORM shots WHERE", &BTreeMap::new()).expect_err("misspelt");
        assert_eq!(fault.line, Some(2), "{fault}");
        assert!(fault.to_string().contains("^\nhint: "), "{fault}");
    }
}
