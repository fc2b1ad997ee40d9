//! What people wrote about players and shots, as intake works by it now, and how a change of it is noticed.

use std::collections::HashSet;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError};

use chrono::{DateTime, Utc};
use files::{FileError, sha256_of_bytes};

use crate::forgotten::Forgotten;
use crate::report::ScanReport;
use crate::{Corrections, Intake, IntakeError, Roster, TableFault};

/// Roster and corrections at one moment.
#[derive(Debug, Clone, Default)]
pub(crate) struct Basis {
    pub(crate) roster: Arc<Roster>,
    pub(crate) corrections: Arc<Corrections>,
    pub(crate) forgotten: Arc<Forgotten>,
}

/// What is known of the two files.
#[derive(Debug, Default)]
pub(crate) struct Reading {
    pub(crate) basis: Arc<Basis>,
    roster_bytes: Option<String>,
    corrections_bytes: Option<String>,
    /// What is wrong with the files as they stand; told at every scan until it is mended.
    roster_faults: Vec<(PathBuf, String)>,
    corrections_faults: Vec<(PathBuf, String)>,
    /// Keys of corrections of which it was told that they select nothing.
    pub(crate) told_idle: HashSet<String>,
}

impl Reading {
    pub(crate) fn of(roster: Arc<Roster>, forgotten: Forgotten) -> Reading {
        let roster = Arc::new(forgotten.leave_out_of(Arc::unwrap_or_clone(roster)));
        let basis = Basis { roster, corrections: Arc::default(), forgotten: Arc::new(forgotten) };
        Reading { basis: Arc::new(basis), ..Reading::default() }
    }
}

/// Further demands on a roster, for example that its head profiles exist; answers what is wrong.
pub type RosterCheck = Arc<dyn Fn(&Roster) -> Vec<String> + Send + Sync>;

impl Intake {
    /// Corrections that are in force from the start.
    #[must_use]
    pub fn with_corrections(self, corrections: Arc<Corrections>) -> Intake {
        {
            let mut reading = self.reading.lock().unwrap_or_else(PoisonError::into_inner);
            reading.basis = Arc::new(Basis { corrections, ..Basis::clone(&reading.basis) });
        }
        self
    }

    /// A roster that is changed while intake runs must also pass this check.
    #[must_use]
    pub fn with_roster_check(mut self, check: RosterCheck) -> Intake {
        self.roster_check = Some(check);
        self
    }

    /// The roster that is in force.
    pub fn roster(&self) -> Arc<Roster> {
        Arc::clone(&self.basis().roster)
    }

    /// The corrections that are in force.
    pub fn corrections(&self) -> Arc<Corrections> {
        Arc::clone(&self.basis().corrections)
    }

    pub(crate) fn basis(&self) -> Arc<Basis> {
        Arc::clone(&self.reading.lock().unwrap_or_else(PoisonError::into_inner).basis)
    }

    /// Looks whether roster or corrections were changed since the last look, and works by the new ones from here on. A roster
    /// with a fault, or corrections that cannot be read at all, leave the old ones in force. The caller has the turn.
    pub(crate) fn refresh_basis(&self, now: DateTime<Utc>, report: &mut ScanReport) -> Result<(), IntakeError> {
        let mut reading = self.reading.lock().unwrap_or_else(PoisonError::into_inner);
        let mut changed = self.refresh_roster(&mut reading);
        let roster_changed = changed;
        changed |= self.refresh_corrections(&mut reading);
        for (path, message) in reading.roster_faults.iter().chain(&reading.corrections_faults) {
            report.note_trouble(path, message.clone());
        }
        drop(reading);
        if roster_changed {
            self.replace_dimensions(now, report)?;
        }
        if changed {
            self.demand_amending();
        }
        Ok(())
    }

    fn refresh_roster(&self, reading: &mut Reading) -> bool {
        let Some(path) = &self.settings.roster_file else { return false };
        let Some(fingerprint) = self.fingerprint_of(path) else { return false };
        if reading.roster_bytes.as_ref() == Some(&fingerprint) {
            return false;
        }
        let (roster, faults) = Roster::load(path);
        let mut messages: Vec<String> = faults.iter().map(TableFault::to_string).collect();
        if let (true, Some(check)) = (messages.is_empty(), &self.roster_check) {
            messages = check(&roster);
        }
        let roster = reading.basis.forgotten.leave_out_of(roster);
        reading.roster_bytes = Some(fingerprint);
        let consequence =
            "\nhint: until it is mended the roster of before stays in force; `strikemill check` tells more";
        reading.roster_faults =
            messages.into_iter().map(|message| (path.clone(), format!("{message}{consequence}"))).collect();
        // The first look after a start sees what the program has just read.
        if !reading.roster_faults.is_empty() || *reading.basis.roster == roster {
            return false;
        }
        tracing::info!(players = roster.players().len(), "the roster was changed");
        reading.basis = Arc::new(Basis { roster: Arc::new(roster), ..Basis::clone(&reading.basis) });
        true
    }

    fn refresh_corrections(&self, reading: &mut Reading) -> bool {
        let Some(path) = &self.settings.corrections_file else { return false };
        let Some(fingerprint) = self.fingerprint_of(path) else { return false };
        if reading.corrections_bytes.as_ref() == Some(&fingerprint) {
            return false;
        }
        let (corrections, faults) = Corrections::load(path, self.settings.zone);
        reading.corrections_bytes = Some(fingerprint);
        let consequence = if corrections.is_unreadable() {
            "\nhint: until it is mended the corrections of before stay in force"
        } else {
            "\nhint: until it is mended this line corrects nothing; the others do"
        };
        reading.corrections_faults =
            faults.into_iter().map(|fault| (path.clone(), format!("{fault}{consequence}"))).collect();
        if corrections.is_unreadable() || reading.basis.corrections.lines() == corrections.lines() {
            return false;
        }
        tracing::info!(lines = corrections.lines().len(), "the corrections were changed");
        reading.basis = Arc::new(Basis { corrections: Arc::new(corrections), ..Basis::clone(&reading.basis) });
        true
    }

    /// A text that changes when the file does; nothing where the disk does not answer, which the next scan tries again.
    fn fingerprint_of(&self, path: &Path) -> Option<String> {
        const MOST_BYTES: u64 = 64 << 20;
        match self.files.read(path, MOST_BYTES) {
            Ok(bytes) => Some(sha256_of_bytes(&bytes)),
            Err(error) => fingerprint_of_failure(&error),
        }
    }
}

fn fingerprint_of_failure(error: &FileError) -> Option<String> {
    // These are states of the file, which the reading itself tells about.
    const OF_THE_FILE: [ErrorKind; 3] = [ErrorKind::NotFound, ErrorKind::PermissionDenied, ErrorKind::FileTooLarge];
    if OF_THE_FILE.contains(&error.kind()) {
        return Some(error.kind().to_string());
    }
    tracing::debug!(error = %error, "cannot look whether a file was changed");
    None
}
