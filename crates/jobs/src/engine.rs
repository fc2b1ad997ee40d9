//! The embedded SQL engine over the lake. This crate is the only one that names it, since its interface changes often.
//!
//! A session sees the files that one reading of the manifest named, by their frozen names, so that nothing published meanwhile
//! mixes in; each dataset under its own name with its own schema. It only reads. Work runs on threads of its own, so that no caller's asynchronous thread is ever held up.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, sync_channel};
use std::time::{Duration, Instant};

use datafusion::datasource::empty::EmptyTable;
use datafusion::datasource::file_format::parquet::ParquetFormat;
use datafusion::datasource::listing::{ListingOptions, ListingTable, ListingTableConfig, ListingTableUrl};
use datafusion::execution::SessionStateBuilder;
use datafusion::execution::context::{SQLOptions, SessionContext};
use datafusion::execution::disk_manager::{DiskManagerBuilder, DiskManagerMode};
use datafusion::execution::memory_pool::FairSpillPool;
use datafusion::execution::object_store::ObjectStoreUrl;
use datafusion::execution::runtime_env::RuntimeEnvBuilder;
use datafusion::logical_expr::LogicalPlan;
use datafusion::object_store::local::LocalFileSystem;
use datafusion::prelude::SessionConfig;
use datafusion::sql::parser::Statement;
use files::Files;
use flight::BallBook;
use impact::HeadBook;
use lake::{Lake, Manifest, ManifestFile};
use shot::TableSchema;
use tokio::runtime::Runtime;
use verdict::Settings;

use crate::error::JobsError;
use crate::functions::{self, FunctionDescription};
use crate::sql::Readable;
use crate::{history, judge_once, sql};

/// Rows of one batch: small enough for the engine to take turns often, since judging a shot is dear.
const BATCH_ROWS: usize = 2048;
/// Address of the lake inside a session; files are named relative to the lake's root.
const LAKE_URL: &str = "lake://local/";
/// Deeply nested expressions need more than the usual 2 MiB in builds without optimisation.
const STACK_BYTES: usize = 16 * 1024 * 1024;

/// What one query or job may use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EngineLimits {
    /// Memory for sorting, grouping and joining; beyond it the engine spills to disk.
    pub memory_bytes: u64,
    /// Most rows of a query's result. Jobs have no such limit.
    pub rows: u64,
    /// Longest run of a query or job, in seconds.
    pub seconds: u64,
    /// Folder for spilled data, in the state folder.
    pub spill_folder: PathBuf,
}

/// The engine over one lake.
pub struct Engine {
    lake: Arc<Lake>,
    heads: Arc<HeadBook>,
    balls: Arc<BallBook>,
    settings: Settings,
    limits: EngineLimits,
    datasets: Vec<TableSchema>,
    cancelled: AtomicBool,
    /// `None` only while the engine is dropped.
    runtime: Option<Runtime>,
}

impl Engine {
    /// An engine that knows the datasets of the pipeline and `job_runs`.
    pub fn new(
        lake: Arc<Lake>,
        heads: Arc<HeadBook>,
        settings: Settings,
        limits: EngineLimits,
    ) -> Result<Engine, JobsError> {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .thread_name("strikemill-engine")
            .thread_stack_size(STACK_BYTES)
            .enable_all()
            .build()
            .map_err(|error| JobsError::Engine(format!("cannot start its threads: {error}")))?;
        let mut datasets = shot::published_datasets();
        datasets.push(history::job_runs());
        Ok(Engine {
            lake,
            heads,
            balls: Arc::new(BallBook { balls: Vec::new() }),
            settings,
            limits,
            datasets,
            cancelled: AtomicBool::new(false),
            runtime: Some(runtime),
        })
    }

    /// The same engine with ball profiles; without them every ball is the standard one.
    #[must_use]
    pub fn with_balls(mut self, balls: Arc<BallBook>) -> Engine {
        self.balls = balls;
        self
    }

    /// The same engine with more datasets, those that job packs make.
    #[must_use]
    pub fn with_datasets(mut self, datasets: Vec<TableSchema>) -> Engine {
        self.datasets.extend(datasets);
        self
    }

    /// Every dataset that a query may name.
    pub fn datasets(&self) -> &[TableSchema] {
        &self.datasets
    }

    /// What strikemill adds to SQL.
    pub fn functions(&self) -> Vec<FunctionDescription> {
        functions::descriptions()
    }

    /// The limits it runs under.
    pub fn limits(&self) -> &EngineLimits {
        &self.limits
    }

    /// The lake it reads.
    pub fn lake(&self) -> &Arc<Lake> {
        &self.lake
    }

    /// Everything besides data and SQL that results depend on.
    pub(crate) fn method_text(&self) -> String {
        let versions = [verdict::METHOD_VERSION, learning::METHOD_VERSION];
        format!("{versions:?} {:?} {:?} {:?}", self.settings, self.heads, self.balls)
    }

    pub(crate) fn runtime(&self) -> &Runtime {
        self.runtime.as_ref().expect("the runtime is taken only when the engine is dropped")
    }

    /// What a query may read: every dataset.
    pub(crate) fn all_datasets(&self) -> Readable {
        let mut names: Vec<String> = self.datasets.iter().map(|dataset| dataset.name.clone()).collect();
        names.sort();
        Readable { names, for_job: false }
    }

    /// A session that knows the datasets of `readable`, by the files of a manifest that `wanted` takes.
    pub(crate) fn session(
        &self,
        manifest: &Manifest,
        memory_bytes: u64,
        readable: &Readable,
        wanted: &dyn Fn(&ManifestFile) -> bool,
        stop: &Arc<AtomicBool>,
    ) -> Result<SessionContext, JobsError> {
        Files::new().create_dir_all(&self.limits.spill_folder).map_err(|error| JobsError::Engine(error.to_string()))?;
        let spill = DiskManagerMode::Directories(vec![self.limits.spill_folder.clone()]);
        let environment = RuntimeEnvBuilder::new()
            .with_memory_pool(Arc::new(FairSpillPool::new(usize::try_from(memory_bytes).unwrap_or(usize::MAX))))
            .with_disk_manager_builder(DiskManagerBuilder::default().with_mode(spill))
            .build_arc()?;
        let url = ObjectStoreUrl::parse(LAKE_URL)?;
        if self.lake.root().is_dir() {
            let store = LocalFileSystem::new_with_prefix(self.lake.root())
                .map_err(|error| JobsError::Engine(error.to_string()))?;
            environment.register_object_store(url.as_ref(), Arc::new(store));
        }
        let state = SessionStateBuilder::new()
            .with_config(session_config(memory_bytes))
            .with_runtime_env(environment)
            .with_default_features()
            .with_physical_optimizer_rules(judge_once::rules())
            .build();
        let context = SessionContext::new_with_state(state);
        for dataset in self.datasets.iter().filter(|dataset| readable.names.contains(&dataset.name)) {
            let mut paths = Vec::new();
            for file in manifest.of_dataset(&dataset.name).filter(|file| wanted(file)) {
                // The engine would pass over a file that is gone, and answer with fewer rows as if all were well.
                let Some(path) = self.lake.readable_path(file)? else {
                    return Err(JobsError::LakeDamaged { file: file.path.clone() });
                };
                paths.push(ListingTableUrl::parse(format!("{LAKE_URL}{path}"))?);
            }
            if paths.is_empty() {
                context.register_table(dataset.name.as_str(), Arc::new(EmptyTable::new(dataset.arrow_schema())))?;
                continue;
            }
            // Frozen files have another ending than live ones.
            let options = ListingOptions::new(Arc::new(ParquetFormat::default())).with_file_extension("");
            let config = ListingTableConfig::new_with_multi_paths(paths)
                .with_listing_options(options)
                .with_schema(dataset.arrow_schema());
            context.register_table(dataset.name.as_str(), Arc::new(ListingTable::try_new(config)?))?;
        }
        let books = functions::Books { heads: Arc::clone(&self.heads), balls: Arc::clone(&self.balls) };
        functions::register(&context, &books, &self.settings, stop);
        Ok(context)
    }

    /// Plans a parsed statement; `sql` is its text, for errors.
    pub(crate) async fn plan(
        &self,
        context: &SessionContext,
        statement: Statement,
        sql: &str,
        readable: &Readable,
    ) -> Result<LogicalPlan, JobsError> {
        let explained = |error| sql::explain(sql, &error, readable);
        let plan = context.state().statement_to_plan(statement).await.map_err(explained)?;
        let read_only = SQLOptions::new().with_allow_ddl(false).with_allow_dml(false).with_allow_statements(false);
        read_only.verify_plan(&plan).map_err(explained)?;
        Ok(plan)
    }

    /// Runs work on the engine's threads and blocks this one until it is done or its time is over. The work is given a flag
    /// that is set when nobody waits for it any longer.
    pub(crate) fn wait_for<T: Send + 'static, W>(
        &self,
        seconds: u64,
        work: impl FnOnce(Arc<AtomicBool>) -> W,
    ) -> Result<T, JobsError>
    where
        W: Future<Output = Result<T, JobsError>> + Send + 'static,
    {
        /// Time between two looks whether the caller still may wait.
        const LOOK_EVERY: Duration = Duration::from_millis(100);
        if self.cancelled.load(Ordering::SeqCst) {
            return Err(JobsError::Cancelled);
        }
        let until = Instant::now() + Duration::from_secs(seconds);
        let (sender, receiver) = sync_channel(1);
        let stop = Arc::new(AtomicBool::new(false));
        let work = work(Arc::clone(&stop));
        let task = self.runtime().spawn(async move {
            // Nobody is left to tell where the caller's time is over.
            let _ = sender.send(work.await);
        });
        // The limit is kept on this side, since one step of the engine can take long without looking at a clock.
        let result = loop {
            let left = until.saturating_duration_since(Instant::now());
            match receiver.recv_timeout(left.min(LOOK_EVERY)) {
                Ok(result) => break result,
                Err(RecvTimeoutError::Disconnected) => break Err(JobsError::Engine("the work broke off".into())),
                Err(RecvTimeoutError::Timeout) if self.cancelled.load(Ordering::SeqCst) => {
                    break Err(JobsError::Cancelled);
                }
                Err(RecvTimeoutError::Timeout) if left.is_zero() => break Err(Engine::out_of_time(seconds)),
                Err(RecvTimeoutError::Timeout) => {}
            }
        };
        stop.store(true, Ordering::Relaxed);
        task.abort();
        result
    }

    /// Breaks off whatever it computes, and refuses to compute anything more.
    pub fn cancel(&self) {
        self.cancelled.store(true, Ordering::SeqCst);
    }

    /// Whether it was told to break off.
    pub(crate) fn is_cancelled(&self) -> bool {
        self.cancelled.load(Ordering::SeqCst)
    }

    pub(crate) fn out_of_time(seconds: u64) -> JobsError {
        JobsError::Limit {
            message: format!("the time limit of {seconds} s was reached"),
            hint: "narrow the dates with WHERE local_date, or raise the limit".into(),
        }
    }
}

impl Drop for Engine {
    fn drop(&mut self) {
        // An engine may be dropped on an asynchronous thread, where waiting for its threads would panic.
        if let Some(runtime) = self.runtime.take() {
            runtime.shutdown_background();
        }
    }
}

fn session_config(memory_bytes: u64) -> SessionConfig {
    /// What each of the engine's sorts sets aside to merge what it spilled; more than enough for our rows.
    const MOST_FOR_MERGING: u64 = 10 * 1024 * 1024;
    let config = SessionConfig::new();
    // With little memory the sorts would otherwise set aside all of it and have nothing to sort in.
    let for_merging = (memory_bytes / (8 * config.target_partitions() as u64)).min(MOST_FOR_MERGING);
    config
        .with_batch_size(BATCH_ROWS)
        .with_information_schema(true)
        .with_sort_spill_reservation_bytes(for_merging as usize)
        // Units and meanings of columns live in field metadata.
        .set_bool("datafusion.execution.parquet.skip_metadata", false)
        .set_bool("datafusion.execution.parquet.schema_force_view_types", false)
        .set_bool("datafusion.sql_parser.map_string_types_to_utf8view", false)
        .set_bool("datafusion.sql_parser.collect_spans", true)
        // It would call our functions once for each field read of their results.
        .set_bool("datafusion.optimizer.enable_leaf_expression_pushdown", false)
}
