//! `strikemill check --deep`: do ledger, lake, archive and quarantine tell one story?

use std::cell::Cell;
use std::io::{IsTerminal, Write};
use std::time::{Duration, Instant};

use ::intake::{AuditProgress, AuditSubject, TableSchema, published_datasets};
use files::Files;
use lake::Lake;
use ledger::{InstanceLock, Ledger};

use crate::output::say;
use crate::studio::Written;

/// How long something may seem wrong while a daemon works: a large partition is written in less.
const PATIENCE_BESIDE_A_DAEMON: Duration = Duration::from_secs(20);

/// Every dataset that can be described: those of the pipeline and those of the jobs.
pub fn known_schemas(written_packs: &jobs::JobPackSet) -> Vec<TableSchema> {
    let mut schemas = published_datasets();
    schemas.push(jobs::job_runs());
    schemas.extend(written_packs.packs().iter().map(|pack| pack.output.clone()));
    schemas
}

/// Looks at everything without writing anything; answers the faults.
pub fn run(written: &Written) -> anyhow::Result<Vec<String>> {
    let configuration = &written.configuration;
    let state = configuration.place("state");
    let files = Files::new();
    let Some(ledger) = Ledger::open_to_read(&state.join("ledger.sqlite"))? else {
        return Ok(vec![format!(
            "error: {} has no ledger\nhint: `strikemill repair` rebuilds it from the lake and the archive",
            state.display()
        )]);
    };
    let lake = Lake::open_to_read(
        files.clone(),
        &configuration.place("lake"),
        &state.join("staging"),
        &configuration.site_id,
    )?;
    let is_running = InstanceLock::holder(&state).is_some();
    let schemas = known_schemas(&written.job_packs);
    let archive_dir = written.configuration.place("archive");
    let subject = AuditSubject {
        ledger: &ledger,
        lake: &lake,
        files: &files,
        archive_dir: &archive_dir,
        schemas: &schemas,
        patience: if is_running { PATIENCE_BESIDE_A_DAEMON } else { Duration::ZERO },
    };
    let teller = Teller::new();
    let audit = subject.audit(&|progress| teller.tell(progress))?;
    teller.end();
    for note in &audit.notes {
        say!("note: {note}");
    }
    say!(
        "looked at {} files of the lake ({} rows, generation {}) and {} files in archive and quarantine",
        audit.lake.files,
        audit.lake.rows,
        audit.lake.generation,
        audit.kept_files
    );
    Ok(audit.faults.iter().map(|fault| format!("error: {fault}")).collect())
}

/// Says how far a long look has come: on a terminal in one line that is written over, else now and then.
pub struct Teller {
    is_terminal: bool,
    last: Cell<Instant>,
    has_told: Cell<bool>,
}

impl Teller {
    pub fn new() -> Teller {
        Teller {
            is_terminal: std::io::stderr().is_terminal(),
            last: Cell::new(Instant::now()),
            has_told: Cell::new(false),
        }
    }

    pub fn tell(&self, progress: AuditProgress) {
        let pause = if self.is_terminal { Duration::from_millis(200) } else { Duration::from_secs(30) };
        if self.last.get().elapsed() < pause {
            return;
        }
        self.last.set(Instant::now());
        self.has_told.set(true);
        let words = match progress {
            AuditProgress::Lake(seen) => format!(
                "lake: {} of {} files, {} of {} MiB",
                seen.files,
                seen.files_total,
                seen.bytes >> 20,
                seen.bytes_total >> 20
            ),
            AuditProgress::Kept(done, total) => format!("archive and quarantine: {done} of {total} files"),
        };
        if self.is_terminal {
            let _ = write!(std::io::stderr(), "\r{words}\x1b[K"); // progress is a courtesy; a closed terminal is no fault
        } else {
            let _ = writeln!(std::io::stderr(), "{words}");
        }
    }

    pub fn end(&self) {
        if self.is_terminal && self.has_told.get() {
            let _ = write!(std::io::stderr(), "\r\x1b[K");
        }
    }
}
