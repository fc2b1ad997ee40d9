//! Running a job's query over a window of days.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use arrow::array::RecordBatch;
use arrow::compute::concat_batches;
use datafusion::common::ScalarValue;
use datafusion::logical_expr::{LogicalPlan, LogicalPlanBuilder, lit};
use datafusion::prelude::{Expr, ident};
use lake::{Manifest, ManifestFile};

use crate::engine::Engine;
use crate::error::JobsError;
use crate::pack::JobPack;
use crate::run::{RunFacts, known_to_sql};
use crate::scope::Window;
use crate::sql::Readable;
use crate::stream::next_batch;
use crate::{contract, sql};

const MIB: u64 = 1024 * 1024;

/// Plans a job against the datasets' schemas and checks its columns; computes nothing.
pub(crate) async fn check(engine: &Engine, pack: &JobPack, stop: &Arc<AtomicBool>) -> Result<(), JobsError> {
    let manifest = engine.lake().manifest()?;
    let readable = inputs_of(pack);
    let context = engine.session(&manifest, engine.limits().memory_bytes, &readable, &|_| false, stop)?;
    let facts = pack.append_only.is_some().then(RunFacts::any);
    let statement = sql::parse(&pack.sql, &known_to_sql(&pack.parameters, facts)).map_err(JobsError::Sql)?;
    let plan = engine.plan(&context, statement, &pack.sql, &readable).await?;
    contract::check_columns(&pack.name, plan.schema().as_arrow(), &pack.output)
}

/// The time limit of a job, in seconds.
pub(crate) fn seconds(engine: &Engine, pack: &JobPack) -> u64 {
    pack.limits.seconds.unwrap_or(engine.limits().seconds)
}

/// The job's rows of a window, in the contract's columns, from the input files of a manifest.
pub(crate) async fn rows(
    engine: &Engine,
    pack: &JobPack,
    manifest: &Manifest,
    window: Window,
    facts: Option<RunFacts>,
    stop: &Arc<AtomicBool>,
) -> Result<RecordBatch, JobsError> {
    let memory_bytes = pack.limits.memory_mib.map_or(engine.limits().memory_bytes, |mib| mib.saturating_mul(MIB));
    let readable = inputs_of(pack);
    let context = engine.session(manifest, memory_bytes, &readable, &|file| is_read(pack, file, window), stop)?;
    let explained = |error| sql::explain(&pack.sql, &error, &readable);
    let statement = sql::parse(&pack.sql, &known_to_sql(&pack.parameters, facts)).map_err(JobsError::Sql)?;
    let plan = engine.plan(&context, statement, &pack.sql, &readable).await?;
    contract::check_columns(&pack.name, plan.schema().as_arrow(), &pack.output)?;
    let plan = within(plan, pack, window).map_err(explained)?;
    let frame = context.execute_logical_plan(plan).await.map_err(explained)?;
    let mut stream = frame.execute_stream().await.map_err(explained)?;
    let mut batches = Vec::new();
    while let Some(batch) = next_batch(&mut stream).await {
        let batch = batch.map_err(explained)?;
        if batch.num_rows() > 0 {
            batches.push(contract::conform(&pack.name, &batch, &pack.output)?);
        }
    }
    let rows = concat_batches(&pack.output.arrow_schema(), &batches)?;
    contract::check_keys(&pack.name, &rows, &pack.output)?;
    Ok(rows)
}

/// A job sees no datasets but its inputs: one that the pack forgets to name is an error at once, instead of a result that goes
/// stale unnoticed.
fn inputs_of(pack: &JobPack) -> Readable {
    Readable { names: pack.inputs.iter().map(|input| input.dataset.clone()).collect(), for_job: true }
}

/// Whether a file holds input that the window's rows may be made from.
fn is_read(pack: &JobPack, file: &ManifestFile, window: Window) -> bool {
    let Some(input) = pack.inputs.iter().find(|input| input.dataset == file.dataset) else { return false };
    file.month.is_none_or(|month| window.with_look_back(input.look_back_weeks).touches(month))
}

/// The plan with only the window's rows; the optimiser carries the condition down to the scan where the query allows.
fn within(
    plan: LogicalPlan,
    pack: &JobPack,
    window: Window,
) -> Result<LogicalPlan, datafusion::error::DataFusionError> {
    let Some(day) = pack.output.partition_day.as_ref().filter(|_| !window.is_all()) else { return Ok(plan) };
    let bound = |day| -> Expr { lit(ScalarValue::Date32(Some(day))) };
    let condition = ident(day.as_str()).between(bound(window.first), bound(window.last));
    LogicalPlanBuilder::from(Arc::new(plan)).alias("job_result")?.filter(condition)?.build()
}
