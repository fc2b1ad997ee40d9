//! Scheduled SQL jobs over the lake, ad-hoc queries, and the functions that strikemill adds to SQL.
//!
//! - [`Engine`]: a read-only session over the files that the manifest names; the only room that knows the SQL engine.
//! - [`JobPackSet`]: job packs, `job.toml` with a contract beside `query.sql`.
//! - [`Runner`]: brings the output of jobs up to date, month by month, and keeps their history.
//!
//! **Invariant:** a job never leaves a half-written or wrong output: its rows are checked against the contract before the
//! lake replaces anything, and a failing job keeps its last good output.

mod apart;
mod append;
mod compute;
mod contract;
mod engine;
mod error;
mod functions;
mod helper;
mod history;
mod judge_once;
mod output;
mod pack;
mod publication;
mod pulse;
mod query;
mod revision;
mod run;
mod runner;
mod schedule;
mod scope;
mod sql;
mod stream;

pub use apart::HelperCommand;
pub use engine::{Engine, EngineLimits};
pub use error::{JobsError, SqlFault};
pub use functions::FunctionDescription;
pub use helper::decline_to_help;
pub use history::{RunRecord, job_runs};
pub use output::Output;
pub use pack::{AppendOnly, JobInput, JobPack, JobPackSet, PackFault, PackLimits, Parameter, Trigger};
pub use pulse::RunnerPulse;
pub use query::QuerySummary;
pub use runner::{RunReport, RunTrigger, Runner};
pub use schedule::{Cron, owed};
