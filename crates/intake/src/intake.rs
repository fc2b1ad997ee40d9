//! The handle on intake.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, PoisonError};

use files::Files;
use formats::PackSet;
use lake::Lake;
use ledger::Ledger;

use crate::basis::{Reading, RosterCheck};
use crate::forgotten::Forgotten;
use crate::grown::LatelyKept;
use crate::looks::Looks;
use crate::open_files::OpenFiles;
use crate::report::{Progress, ProgressFn, ProgressStep};
use crate::shares::WatchPlan;
use crate::vitals::Turn;
use crate::{IntakeError, IntakeSettings, Roster, StopHandle, Vitals};

/// Intake of one site. All calls block; one at a time works, the others wait their turn.
pub struct Intake {
    pub(crate) settings: IntakeSettings,
    pub(crate) files: Files,
    pub(crate) ledger: Arc<Ledger>,
    pub(crate) lake: Arc<Lake>,
    pub(crate) packs: Arc<PackSet>,
    pub(crate) reading: Mutex<Reading>,
    pub(crate) roster_check: Option<RosterCheck>,
    /// Whether some month may be out of step with roster, corrections or strike marks.
    pub(crate) amending_due: AtomicBool,
    pub(crate) lately_kept: Mutex<LatelyKept>,
    progress: Option<ProgressFn>,
    pub(crate) vitals: Mutex<Vitals>,
    pub(crate) stop: StopHandle,
    /// Files that folder events told are being written.
    pub(crate) open_files: Arc<OpenFiles>,
    /// Quarantine folders by the ending of their names, once they were listed.
    pub(crate) quarantine_folders: Mutex<Option<HashMap<String, PathBuf>>>,
    pub(crate) watch_plan: Mutex<WatchPlan>,
    looks: Mutex<Looks>,
}

impl std::fmt::Debug for Intake {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.debug_struct("Intake").field("settings", &self.settings).finish_non_exhaustive()
    }
}

impl Intake {
    /// Opens intake: checks the settings, binds the ledger to the site and makes the folders that are ours. Import folders
    /// are not made: one that is missing may be a share that is not mounted. Call [`Intake::recover`] next.
    pub fn open(
        settings: IntakeSettings,
        files: Files,
        ledger: Arc<Ledger>,
        lake: Arc<Lake>,
        packs: Arc<PackSet>,
        roster: Arc<Roster>,
    ) -> Result<Intake, IntakeError> {
        settings.check()?;
        if lake.site_id() != settings.site_id {
            return Err(IntakeError::Settings {
                problem: format!("the lake is that of site {}, intake that of {}", lake.site_id(), settings.site_id),
                hint: "this is a fault of strikemill, report it".into(),
            });
        }
        ledger.bind_site(&settings.site_id)?;
        files.create_dir_all(&settings.archive_dir)?;
        files.create_dir_all(&settings.quarantine_dir)?;
        let forgotten = Forgotten::load(&ledger, &files, &settings)?;
        let looks = Mutex::new(Looks::inherit(ledger.sightings()?));
        Ok(Intake {
            settings,
            files,
            ledger,
            lake,
            packs,
            reading: Mutex::new(Reading::of(roster, forgotten)),
            roster_check: None,
            amending_due: AtomicBool::new(true),
            lately_kept: Mutex::new(LatelyKept::default()),
            progress: None,
            vitals: Mutex::new(Vitals::at_start()),
            stop: StopHandle::default(),
            open_files: Arc::default(),
            quarantine_folders: Mutex::default(),
            watch_plan: Mutex::default(),
            looks,
        })
    }

    /// Tells somebody about progress, for example a progress bar.
    #[must_use]
    pub fn with_progress(mut self, progress: ProgressFn) -> Intake {
        self.progress = Some(progress);
        self
    }

    /// The settings.
    pub fn settings(&self) -> &IntakeSettings {
        &self.settings
    }

    pub(crate) fn tell(&self, step: ProgressStep, files_done: usize, files_total: usize, shots: i64) {
        self.note_progress();
        if let Some(progress) = &self.progress {
            progress(Progress { step, files_done, files_total, shots });
        }
    }

    /// Tells the watcher where the folders stand.
    pub(crate) fn note_folders(&self, looks: &Looks) {
        *self.watch_plan.lock().unwrap_or_else(PoisonError::into_inner) = WatchPlan::of(looks);
    }

    /// Waits for the turn of this call.
    pub(crate) fn turn(&self) -> Turn<'_> {
        // After a panic the looks may lack a file; the next look finds it again.
        Turn::begin(self, self.looks.lock().unwrap_or_else(PoisonError::into_inner))
    }
}
