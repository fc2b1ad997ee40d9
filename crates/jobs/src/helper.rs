//! The other side of `apart`: the helper process that computes one window of one job.

use std::fs::File;
use std::io::{BufRead, BufWriter, Read, Write};
use std::path::Path;
use std::sync::Arc;

use arrow::array::RecordBatch;
use arrow_ipc::writer::StreamWriter;

use crate::apart::{PieceAnswer, PieceRequest, fingerprint};
use crate::compute;
use crate::error::JobsError;
use crate::run::RunFacts;
use crate::runner::Runner;
use crate::scope::Window;

impl Runner {
    /// Computes what one line of standard input asks for, answers on standard output, and returns. It ends the process when
    /// whoever asked is gone.
    pub fn help(&self) -> Result<(), JobsError> {
        let mut line = String::new();
        std::io::stdin().lock().read_line(&mut line).map_err(JobsError::Output)?;
        let request: PieceRequest =
            serde_json::from_str(&line).map_err(|error| JobsError::Engine(format!("the request: {error}")))?;
        let unclaimed = request.rows.clone();
        std::thread::spawn(move || {
            let mut rest = Vec::new();
            // Whatever comes, the end of it means that the daemon is gone or does not wait any longer.
            let _ = std::io::stdin().lock().read_to_end(&mut rest);
            // Nobody will fetch the rows; where none were written there is nothing to remove.
            let _ = std::fs::remove_file(unclaimed);
            std::process::exit(1);
        });
        let answer = match self.rows_asked_for(&request) {
            Ok(Some(rows)) => match write_rows(&request.rows, &rows) {
                Ok(()) => PieceAnswer::Computed,
                Err(error) => PieceAnswer::Failed(error.to_string()),
            },
            Ok(None) => PieceAnswer::ReadsAnotherConfiguration,
            Err(error) => PieceAnswer::Failed(error.to_string()),
        };
        tell(&answer)
    }

    fn rows_asked_for(&self, request: &PieceRequest) -> Result<Option<RecordBatch>, JobsError> {
        let Some(pack) = self.packs().get(&request.job).cloned() else { return Ok(None) };
        let engine = Arc::clone(&self.engine);
        if fingerprint(&engine, &pack) != request.fingerprint {
            return Ok(None);
        }
        let window = Window { first: request.first, last: request.last };
        let facts = request.series_and_moment.map(|(series, run_at)| RunFacts { series, run_at });
        let manifest = request.manifest.clone();
        let seconds = compute::seconds(&engine, &pack);
        let rows = self.engine.wait_for(seconds, |stop| async move {
            compute::rows(&engine, &pack, &manifest, window, facts, &stop).await
        })?;
        Ok(Some(rows))
    }
}

/// Answers for a helper that cannot read the home's configuration: the daemon then computes by itself.
pub fn decline_to_help() -> Result<(), JobsError> {
    tell(&PieceAnswer::ReadsAnotherConfiguration)
}

fn tell(answer: &PieceAnswer) -> Result<(), JobsError> {
    let mut text = serde_json::to_vec(answer).map_err(|error| JobsError::Engine(error.to_string()))?;
    text.push(b'\n');
    std::io::stdout().lock().write_all(&text).map_err(JobsError::Output)
}

fn write_rows(path: &Path, rows: &RecordBatch) -> Result<(), JobsError> {
    let told = |error: std::io::Error| JobsError::Engine(format!("{}: {error}", path.display()));
    let mut writer = StreamWriter::try_new(BufWriter::new(File::create(path).map_err(told)?), &rows.schema())?;
    writer.write(rows)?;
    writer.finish()?;
    writer.into_inner()?.flush().map_err(told)
}
