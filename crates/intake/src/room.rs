//! Room on the disks: intake pauses before one is full, and goes on by itself.

use std::error::Error;
use std::io;
use std::path::Path;

use files::FileError;
use lake::LakeError;

use crate::report::ScanReport;
use crate::{Intake, IntakeError};

const MIB: u64 = 1 << 20;

impl Intake {
    /// Why there is too little room for so many more bytes; nothing where there is enough.
    pub(crate) fn shortage(&self, more: u64) -> Option<String> {
        let settings = &self.settings;
        if settings.least_free == 0 {
            return None;
        }
        let needed = settings.least_free.saturating_add(more);
        let places: [(&str, &Path); 4] = [
            ("archive", &settings.archive_dir),
            ("quarantine", &settings.quarantine_dir),
            ("staging", &settings.staging_dir),
            ("lake", &settings.lake_dir),
        ];
        for (name, place) in places {
            match self.files.volume_to_be(place) {
                Ok(Some(volume)) if volume.free_bytes < needed => {
                    return Some(format!(
                        "intake pauses: the volume of the {name} folder {} has {} MiB free, it must have {}\n\
                         hint: free space there; intake goes on by itself, and nothing was lost",
                        files::readable_path(place),
                        volume.free_bytes / MIB,
                        needed.div_ceil(MIB)
                    ));
                }
                Ok(_) => {}
                // Whoever works there next tells what is wrong, with a better reason.
                Err(error) => tracing::debug!(error = %error, "cannot see how much room a volume has"),
            }
        }
        None
    }

    /// Notes that nothing is taken for now; told in the log when it begins.
    pub(crate) fn pause(&self, report: &mut ScanReport, why: String) {
        let mut begins = false;
        self.note_vitals(|vitals| {
            begins = vitals.paused.is_none();
            vitals.paused = Some(why.clone());
        });
        if begins {
            tracing::warn!("{why}");
        }
        report.paused.get_or_insert(why);
    }

    /// At the end of a scan: one that met no shortage ends the pause.
    pub(crate) fn end_pause(&self, report: &ScanReport) {
        let mut ended = None;
        if report.paused.is_none() && !report.stopped {
            self.note_vitals(|vitals| ended = vitals.paused.take());
        }
        if ended.is_some() {
            tracing::info!("there is room again; intake goes on");
        }
    }

    /// Whether an error means that a disk is full; intake then pauses as if it had been foreseen.
    pub(crate) fn pause_if_full(&self, report: &mut ScanReport, error: &IntakeError) -> bool {
        let is_full = is_full(error);
        if is_full {
            self.pause(report, format!("intake pauses: {error}"));
        }
        is_full
    }
}

pub(crate) fn is_full(error: &IntakeError) -> bool {
    match error {
        IntakeError::File(error) | IntakeError::Lake(LakeError::File(error)) => error.is_full(),
        IntakeError::Ledger(error) => error.is_full(),
        // The Parquet and Arrow libraries wrap what the disk answered.
        IntakeError::Lake(LakeError::Parquet { cause, .. }) => is_full_within(cause),
        IntakeError::Lake(LakeError::Rows { cause, .. }) | IntakeError::Rows { cause, .. } => is_full_within(cause),
        _ => false,
    }
}

fn is_full_within(outer: &(dyn Error + 'static)) -> bool {
    let mut cause = Some(outer);
    while let Some(error) = cause {
        if let Some(error) = error.downcast_ref::<FileError>() {
            return error.is_full();
        }
        if let Some(error) = error.downcast_ref::<io::Error>()
            && matches!(error.kind(), io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded)
        {
            return true;
        }
        cause = error.source();
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_disk_is_known_wherever_it_shows() {
        let full = || FileError::new("write", Path::new("/lake/a"), io::ErrorKind::StorageFull.into());
        let wrapped = arrow::error::ArrowError::from_external_error(Box::new(io::Error::from(full())));
        let other = FileError::new("write", Path::new("/lake/a"), io::ErrorKind::Other.into());
        assert!(is_full(&IntakeError::File(full())));
        assert!(is_full(&IntakeError::Lake(LakeError::File(full()))));
        assert!(is_full(&IntakeError::Rows { dataset: "shots", cause: wrapped }));
        assert!(!is_full(&IntakeError::File(other)));
    }
}
