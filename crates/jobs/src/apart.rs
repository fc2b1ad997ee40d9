//! Computing in a process of its own, so that the daemon gives the engine's memory back when a job is done, and no fault of
//! the engine can end it.
//!
//! The daemon stays the only one that publishes. Its helper, the same program, reads the frozen files of one moment and
//! writes the rows of one window into a file; request and answer are lines of JSON on its standard input and output. A
//! helper that reads another configuration than the daemon works by, or does not start at all, is no failure: the daemon
//! then computes by itself.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use arrow::array::RecordBatch;
use arrow::compute::concat_batches;
use arrow_ipc::reader::StreamReader;
use lake::Manifest;
use serde::{Deserialize, Serialize};

use crate::engine::Engine;
use crate::error::JobsError;
use crate::pack::JobPack;
use crate::run::RunFacts;
use crate::scope::Window;

/// Makes the command that starts a helper.
pub type HelperCommand = Arc<dyn Fn() -> Command + Send + Sync>;

/// Time between two looks at a helper.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// A helper keeps its own time limit; only one that hangs beyond it is ended from here.
const GRACE: Duration = Duration::from_secs(10);

/// What a helper is to compute.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct PieceRequest {
    pub job: String,
    /// Of the job, the method and the program; a helper that finds another one does not compute.
    pub fingerprint: String,
    pub manifest: Manifest,
    pub first: i32,
    pub last: i32,
    pub series_and_moment: Option<(i64, i64)>,
    /// Where the rows go.
    pub rows: PathBuf,
}

/// What a helper answers.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum PieceAnswer {
    /// The rows stand in the file.
    Computed,
    /// It works by another configuration.
    ReadsAnotherConfiguration,
    /// What went wrong, with its hint.
    Failed(String),
}

/// The rows of a window, computed by a helper; nothing where no helper can do it.
pub(crate) fn rows_by_helper(
    command: &HelperCommand,
    engine: &Engine,
    pack: &JobPack,
    manifest: &Manifest,
    window: Window,
    facts: Option<RunFacts>,
    seconds: u64,
) -> Result<Option<RecordBatch>, JobsError> {
    let place = AnswerPlace::new(&engine.limits().spill_folder)?;
    let request = PieceRequest {
        job: pack.name.clone(),
        fingerprint: fingerprint(engine, pack),
        manifest: manifest.clone(),
        first: window.first,
        last: window.last,
        series_and_moment: facts.map(|facts| (facts.series, facts.run_at)),
        rows: place.0.clone(),
    };
    let Some(mut helper) = Helper::start(command, &request) else { return Ok(None) };
    let until = Instant::now() + Duration::from_secs(seconds) + GRACE;
    loop {
        if engine.is_cancelled() {
            return Err(JobsError::Cancelled);
        }
        if helper.has_ended() {
            break;
        }
        if Instant::now() >= until {
            return Err(Engine::out_of_time(seconds));
        }
        std::thread::sleep(LOOK_EVERY);
    }
    match helper.answer() {
        Some(PieceAnswer::Computed) => {
            tracing::debug!(job = %pack.name, "computed by a process of its own");
            read_rows(&place.0, pack).map(Some)
        }
        Some(PieceAnswer::Failed(message)) => Err(JobsError::Apart(message)),
        Some(PieceAnswer::ReadsAnotherConfiguration) => {
            tracing::info!(job = %pack.name, "the configuration on disk is not the one in force; the job is computed within the daemon");
            Ok(None)
        }
        None => Err(JobsError::Engine(format!(
            "the process that computed {} ended without an answer; it may have run out of memory",
            pack.name
        ))),
    }
}

/// What a result depends on besides the rows that are read.
pub(crate) fn fingerprint(engine: &Engine, pack: &JobPack) -> String {
    let text = format!(
        "{} {:?} {:?} {:?} {:?} {} {}",
        pack.sql,
        pack.inputs,
        pack.output,
        pack.parameters,
        pack.limits,
        engine.method_text(),
        env!("CARGO_PKG_VERSION")
    );
    files::sha256_of_bytes(text.as_bytes())
}

/// A file of one answer; it goes with its owner.
struct AnswerPlace(PathBuf);

impl AnswerPlace {
    fn new(folder: &Path) -> Result<AnswerPlace, JobsError> {
        static NUMBER: AtomicU64 = AtomicU64::new(0);
        files::Files::new().create_dir_all(folder).map_err(|error| JobsError::Engine(error.to_string()))?;
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        Ok(AnswerPlace(folder.join(format!("rows-{}-{number}.arrows", std::process::id()))))
    }
}

impl Drop for AnswerPlace {
    fn drop(&mut self) {
        // Where none was written there is none to remove.
        let _ = std::fs::remove_file(&self.0);
    }
}

fn read_rows(path: &Path, pack: &JobPack) -> Result<RecordBatch, JobsError> {
    let file = std::fs::File::open(path).map_err(|error| JobsError::Engine(format!("{}: {error}", path.display())))?;
    let schema = pack.output.arrow_schema();
    let mut batches = Vec::new();
    for batch in StreamReader::try_new(BufReader::new(file), None)? {
        batches.push(batch?.with_schema(Arc::clone(&schema))?);
    }
    Ok(concat_batches(&schema, &batches)?)
}

/// A helper at work; ended with its owner.
struct Helper {
    child: Child,
}

impl Helper {
    fn start(command: &HelperCommand, request: &PieceRequest) -> Option<Helper> {
        let mut command = command();
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
        #[cfg(unix)]
        {
            use std::os::unix::process::CommandExt;
            // A Ctrl-C in the daemon's terminal is meant for the daemon, which lets the job at hand finish.
            command.process_group(0);
        }
        let mut line = serde_json::to_vec(request).ok()?;
        line.push(b'\n');
        match command.spawn() {
            Ok(child) => {
                let mut helper = Helper { child };
                // It reads the whole request before it does anything. Its input stays open: the end of it tells a helper that
                // nobody waits for it any longer.
                let told = helper.child.stdin.as_mut().is_some_and(|input| input.write_all(&line).is_ok());
                told.then_some(helper)
            }
            Err(error) => {
                tracing::debug!(error = %error, "no process of its own for a job; it is computed within the daemon");
                None
            }
        }
    }

    fn has_ended(&mut self) -> bool {
        !matches!(self.child.try_wait(), Ok(None))
    }

    /// The answer of a helper that has ended.
    fn answer(&mut self) -> Option<PieceAnswer> {
        let mut line = String::new();
        BufReader::new(self.child.stdout.take()?).read_line(&mut line).ok()?;
        serde_json::from_str(&line).ok()
    }
}

impl Drop for Helper {
    fn drop(&mut self) {
        // Both fail only where it has ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
