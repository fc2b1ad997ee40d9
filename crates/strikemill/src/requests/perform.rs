//! What each task does, the same within the daemon and within a command that has the home for itself.

use std::sync::Arc;

use intake::Intake;
use jobs::Runner;

use super::Task;
use crate::commands::{forget, import, jobs as job_commands, remove};
use crate::output::Teller;
use crate::studio::Studio;

/// What work is done with: a home and the rooms opened on it.
#[derive(Clone)]
pub struct Bench {
    pub studio: Arc<Studio>,
    pub intake: Arc<Intake>,
    pub runner: Arc<Runner>,
}

impl Bench {
    /// The rooms of a home that was opened to write.
    pub fn of(studio: Arc<Studio>) -> anyhow::Result<Bench> {
        let intake = Arc::new(studio.intake()?);
        let runner = studio.runner()?;
        Ok(Bench { studio, intake, runner })
    }

    /// The rooms of the daemon's home: jobs are computed by a process of their own.
    pub fn of_daemon(studio: Arc<Studio>) -> anyhow::Result<Bench> {
        let intake = Arc::new(studio.intake()?);
        let runner = studio.runner_with_helper()?;
        Ok(Bench { studio, intake, runner })
    }
}

/// Does a task and tells each thing that came of it. An error is what the command ends with.
pub fn perform(task: &Task, bench: &Bench, out: &mut dyn Teller) -> anyhow::Result<()> {
    match task {
        Task::Import { paths } => import::import_paths(bench, paths, out),
        Task::Retry { hash } => import::retry_refused(bench, hash, out),
        Task::Reprocess { pack, since } => import::read_again(bench, pack, *since, out),
        Task::Forget { person } => forget::forget_person(bench, person, out),
        Task::Remove { archived_before, quarantined_before, file, dry_run } => {
            let chosen = remove::Chosen {
                archived_before: *archived_before,
                quarantined_before: *quarantined_before,
                file: file.clone(),
            };
            remove::remove_originals(bench, &chosen, *dry_run, out)
        }
        Task::RunJob { name, full, refit } => job_commands::run_now(bench, name, *full, *refit, out),
    }
}
