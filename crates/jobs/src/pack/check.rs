//! One pack file to one checked pack.

use std::path::{Path, PathBuf};

use files::Files;
use shot::{Column, ColumnKind, TableSchema};
use toml::Spanned;

use super::append_only::append_only;
use super::fault::PackFault;
use super::file::{OutputFile, PackFile};
use super::{JobInput, JobPack, PackLimits, Parameter, Trigger};
use crate::schedule::Cron;
use crate::{run, sql};

/// A pack with what is needed to point at its text.
pub(super) struct Draft {
    pub pack: JobPack,
    pub path: PathBuf,
    pub text: String,
    pub input_spans: Vec<std::ops::Range<usize>>,
    pub output_span: std::ops::Range<usize>,
    pub after_job_span: Option<std::ops::Range<usize>>,
}

/// Collects the faults of one file.
pub(super) struct Faults<'a> {
    path: &'a Path,
    text: &'a str,
    found: Vec<PackFault>,
}

impl Faults<'_> {
    pub(super) fn add(&mut self, span: std::ops::Range<usize>, message: String, hint: &str) {
        self.found.push(PackFault::at(self.path, self.text, Some(span), message, hint));
    }
}

/// Reads and checks one pack folder.
pub(super) fn read(folder: &Path) -> Result<Draft, Vec<PackFault>> {
    let path = folder.join("job.toml");
    let text = read_text(&path)?;
    let file: PackFile = toml::from_str(&text).map_err(|error| {
        let hint = "the keys of a job pack are described in the documentation of job packs";
        vec![PackFault::at(&path, &text, error.span(), error.message().to_owned(), hint)]
    })?;
    let sql_path = folder.join("query.sql");
    let sql_text = read_text(&sql_path)?;

    let mut faults = Faults { path: &path, text: &text, found: Vec::new() };
    check_name(folder, &file.name, &mut faults);
    if file.inputs.is_empty() {
        let hint = "add [[inputs]] with the dataset the query reads";
        faults.add(file.name.span(), "the pack names no inputs".into(), hint);
    }
    let output = output_schema(&file.output, &mut faults);
    let append_only = append_only(&file, &output, &mut faults);
    let parameters = parameters(&file, &mut faults);
    let trigger = trigger(&file, &mut faults);
    let months_at_once = months_at_once(&file, &output, &mut faults);
    let planned = run::known_to_sql(&parameters, append_only.is_some().then(run::RunFacts::any));
    let used = sql::used_parameters(&sql_text);
    for (name, value) in &file.parameters {
        if used.as_ref().is_some_and(|used| !used.contains(name)) {
            let hint = format!("write ${name} in query.sql, or take the parameter out");
            faults.add(value.span(), format!("query.sql does not use the parameter \"{name}\""), &hint);
        }
    }
    let mut found = faults.found;
    if let Err(fault) = sql::parse(&sql_text, &planned) {
        let at = fault.line.zip(fault.column);
        found.push(PackFault::at_line(&sql_path, &sql_text, at, fault.message, fault.hint));
    }
    if !found.is_empty() {
        return Err(found);
    }

    let mut inputs = Vec::new();
    let mut input_spans = Vec::new();
    for input in &file.inputs {
        let dataset = input.dataset.get_ref().clone();
        inputs.push(JobInput { dataset, look_back_weeks: input.look_back_weeks });
        input_spans.push(input.dataset.span());
    }
    let pack = JobPack {
        name: file.name.into_inner(),
        version: file.version.into_inner(),
        description: file.description,
        inputs,
        output,
        revision_by: file.output.revision_by.map(Spanned::into_inner),
        append_only,
        trigger,
        parameters,
        limits: PackLimits { memory_mib: file.limits.memory_mib, seconds: file.limits.seconds, months_at_once },
        sql: sql_text,
        sql_path,
    };
    let output_span = file.output.dataset.span();
    let after_job_span = file.trigger.after_job.as_ref().map(Spanned::span);
    Ok(Draft { pack, path, text, input_spans, output_span, after_job_span })
}

fn read_text(path: &Path) -> Result<String, Vec<PackFault>> {
    /// Far more than a person writes.
    const MOST_BYTES: u64 = 1024 * 1024;
    let hint = "a job pack is a folder with job.toml and query.sql, both UTF-8";
    let fault = |message: String| vec![PackFault::at(path, "", None, message, hint)];
    let bytes = Files::new()
        .read(path, MOST_BYTES)
        .map_err(|error| fault(format!("cannot {} the file: {}", error.operation, error.cause)))?;
    String::from_utf8(bytes).map_err(|error| fault(format!("the file is not UTF-8: {error}")))
}

fn check_name(folder: &Path, name: &Spanned<String>, faults: &mut Faults) {
    let folder_name = folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    if *name.get_ref() != folder_name {
        let message = format!("the pack is called \"{}\" but its folder \"{folder_name}\"", name.get_ref());
        faults.add(name.span(), message, "give both the same name");
    }
}

fn output_schema(output: &OutputFile, faults: &mut Faults) -> TableSchema {
    let kinds: Vec<&str> = ColumnKind::WORDS.iter().map(|(_, word)| *word).collect();
    let mut columns = Vec::new();
    for column in &output.columns {
        let name = column.name.get_ref();
        let kind = ColumnKind::parse(column.kind.get_ref()).unwrap_or_else(|| {
            let message = format!("column \"{name}\": \"{}\" is no type", column.kind.get_ref());
            faults.add(column.kind.span(), message, &format!("the types are {}", kinds.join(", ")));
            ColumnKind::Text
        });
        columns.push(Column {
            name: name.clone(),
            kind,
            unit: column.unit.clone(),
            description: column.description.clone(),
            required: column.required,
        });
    }
    let key = output.key.get_ref().clone();
    let schema = TableSchema {
        name: output.dataset.get_ref().clone(),
        version: output.version,
        description: output.description.clone(),
        columns,
        sort: output.sort.as_ref().map_or_else(|| key.clone(), |sort| sort.get_ref().clone()),
        key,
        partition_day: output.partition_day.as_ref().map(|day| day.get_ref().clone()),
    };
    if schema.key.is_empty() {
        faults.add(output.key.span(), "the key names no column".into(), "name the columns that identify a row");
    }
    for message in schema.faults() {
        faults.add(output.dataset.span(), message, "mend the [output] part of the pack");
    }
    check_revision(output, &schema, faults);
    schema
}

fn check_revision(output: &OutputFile, schema: &TableSchema, faults: &mut Faults) {
    let Some(revision_by) = &output.revision_by else { return };
    let name = revision_by.get_ref();
    if !schema.column(name).is_some_and(|column| column.kind == ColumnKind::Day && column.required) {
        let message = format!("revision_by names \"{name}\", which is no required column of type day");
        faults.add(revision_by.span(), message, "name the column that holds the Monday of the row's week");
    }
    if !schema.column("revision").is_some_and(|column| column.kind == ColumnKind::Integer) {
        let hint = "add the column revision of type integer; the query gives any number there, for example 0";
        faults.add(revision_by.span(), "revision_by needs an output column \"revision\"".into(), hint);
    }
    if schema.partition_day.is_none() {
        let hint = "name the day column whose month partitions the dataset";
        faults.add(revision_by.span(), "revision_by needs partition_day".into(), hint);
    }
}

fn months_at_once(file: &PackFile, schema: &TableSchema, faults: &mut Faults) -> Option<u32> {
    let months = file.limits.months_at_once.as_ref()?;
    if *months.get_ref() == 0 || schema.partition_day.is_none() {
        let hint = "give at least 1, and name under [output] the day column whose month partitions the dataset";
        faults.add(months.span(), "months_at_once cannot be kept".into(), hint);
    }
    Some(*months.get_ref())
}

fn parameters(file: &PackFile, faults: &mut Faults) -> std::collections::BTreeMap<String, Parameter> {
    let mut values = std::collections::BTreeMap::new();
    for (name, value) in &file.parameters {
        let parameter = match value.get_ref() {
            toml::Value::Integer(number) => Parameter::Integer(*number),
            toml::Value::Float(number) if number.is_finite() => Parameter::Real(*number),
            toml::Value::String(text) => Parameter::Text(text.clone()),
            toml::Value::Boolean(flag) => Parameter::Flag(*flag),
            _ => {
                let hint = "a parameter is a whole number, a finite number, a text, true or false";
                faults.add(value.span(), format!("parameter \"{name}\" cannot be used in SQL"), hint);
                continue;
            }
        };
        values.insert(name.clone(), parameter);
    }
    values
}

fn trigger(file: &PackFile, faults: &mut Faults) -> Trigger {
    /// Long enough for the exports of one lesson to arrive together.
    const DEBOUNCE_S: u64 = 60;
    if let Some(zone) = &file.trigger.zone
        && zone.get_ref().parse::<chrono_tz::Tz>().is_err()
    {
        faults.add(
            zone.span(),
            format!("\"{}\" is no time zone", zone.get_ref()),
            "use an IANA name such as Europe/Berlin",
        );
    }
    if let Some(cron) = &file.trigger.cron
        && let Err(reason) = Cron::parse(cron.get_ref())
    {
        let hint = "five fields: minute, hour, day of month, month, day of week; for example \"30 5 * * 1\"";
        faults.add(cron.span(), format!("the cron expression cannot be read: {reason}"), hint);
    }
    Trigger {
        cron: file.trigger.cron.as_ref().map(|cron| cron.get_ref().clone()),
        zone: file.trigger.zone.as_ref().map(|zone| zone.get_ref().clone()),
        after_import: file.trigger.after_import,
        debounce_s: file.trigger.debounce_s.unwrap_or(DEBOUNCE_S),
        after_job: file.trigger.after_job.as_ref().map(|job| job.get_ref().clone()),
    }
}
