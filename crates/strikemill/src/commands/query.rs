//! `strikemill query`: the lake in SQL.

use std::io::{BufWriter, Read, Write};
use std::path::Path;

use ::jobs::Output;
use anyhow::Context;

use crate::cli::{OutputKind, QueryArguments};
use crate::studio::{Access, MOST_ROWS, Studio};

pub fn run(home: &Path, arguments: &QueryArguments) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let studio = Studio::open(home, Access::Read)?;
    // A drawn table is held in memory until its widths are known, and nobody reads more of it.
    let most_rows = if matches!(arguments.output, OutputKind::Table) { 5_000 } else { MOST_ROWS };
    let engine = studio.engine(most_rows)?;
    let mut out = BufWriter::new(std::io::stdout().lock());
    if arguments.functions {
        for function in engine.functions() {
            writeln!(out, "{}\n    {}", function.usage, function.description)?;
            for (name, meaning) in &function.arguments {
                writeln!(out, "      {name:<32} {meaning}")?;
            }
            for (name, meaning) in &function.results {
                writeln!(out, "   -> {name:<32} {meaning}")?;
            }
            writeln!(out)?;
        }
        return Ok(out.flush()?);
    }
    let sql = match arguments.sql.as_deref() {
        Some("-") | None => {
            let mut text = String::new();
            std::io::stdin().read_to_string(&mut text).context("the query cannot be read from standard input")?;
            text
        }
        Some(text) => text.to_owned(),
    };
    let output = match arguments.output {
        OutputKind::Table => Output::Table,
        OutputKind::Csv => Output::Csv,
        OutputKind::Json => Output::Json,
    };
    let summary = engine.execute(&sql, output, &mut out)?;
    out.flush()?;
    if summary.cut {
        eprintln!(
            "note: only the first {} rows are shown\nhint: narrow the query, use --output csv or json, or read the Parquet files below lake/",
            summary.rows
        );
    }
    Ok(())
}
