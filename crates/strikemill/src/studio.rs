//! Everything of one home opened and tied together, as the commands and the daemon need it.

use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, anyhow, bail};
use files::Files;
use flight::BallBook;
use formats::PackSet;
use impact::HeadBook;
use intake::{Corrections, Intake, IntakeSettings, Roster, WatchedFolder};
use jobs::{Engine, EngineLimits, JobPackSet, Runner};
use lake::Lake;
use ledger::{InstanceLock, Ledger};

use crate::config::{CORRECTIONS_FILE, Configuration, ROSTER_FILE};
use crate::fault::Fault;

/// Name and version in footers and logs.
pub const WRITER: &str = concat!("strikemill ", env!("CARGO_PKG_VERSION"));

/// The text files that people write, read and checked.
pub struct Written {
    pub configuration: Configuration,
    pub heads: HeadBook,
    pub balls: BallBook,
    pub roster: Roster,
    pub corrections: Corrections,
    pub packs: PackSet,
    pub job_packs: JobPackSet,
    /// Faults of single lines of the corrections, which are left out.
    pub corrections_faults: Vec<String>,
    /// Faults that leave something out but do not stop the daemon: a pack that cannot be used.
    pub pack_faults: Vec<String>,
}

impl Written {
    /// Reads configuration, head profiles, roster and packs. Everything that can be found wrong comes back at once: as an
    /// error where nothing can be trusted without it, else in `pack_faults`.
    pub fn load(home: &Path) -> Result<Written, Vec<String>> {
        let mut faults: Vec<String> = Vec::new();
        let configuration = Configuration::load(home);
        if let Err(found) = &configuration {
            faults.extend(found.iter().map(Fault::to_string));
        }
        let heads = load_heads(home);
        if let Err(found) = &heads {
            faults.extend(found.iter().map(Fault::to_string));
        }
        let balls = load_balls(home);
        if let Err(found) = &balls {
            faults.extend(found.iter().map(Fault::to_string));
        }
        let mut places = (home.join(ROSTER_FILE), home.join(CORRECTIONS_FILE), chrono_tz::UTC);
        if let Ok(sound) = &configuration {
            places = (sound.roster_file.clone(), sound.corrections_file.clone(), sound.zone);
        }
        let (roster_file, corrections_file, zone) = places;
        let (roster, found) = Roster::load(&roster_file);
        faults.extend(found.iter().map(ToString::to_string));
        if let Ok(heads) = &heads {
            faults.extend(unknown_heads(&roster, heads).iter().map(Fault::to_string));
        }
        let (corrections, found) = Corrections::load(&corrections_file, zone);
        let mut corrections_faults: Vec<String> = found.iter().map(ToString::to_string).collect();
        if corrections.is_unreadable() {
            // Going on without them would take back whatever they corrected.
            faults.append(&mut corrections_faults);
        }
        let (packs, found) = PackSet::load(&home.join("plugins/formats"));
        let (unreadable, faulty): (Vec<_>, Vec<_>) = found.into_iter().partition(|fault| fault.is_unreadable);
        // A pack that is sound for all we know must not be left out: what its device sends would go to quarantine.
        faults.extend(unreadable.iter().map(ToString::to_string));
        let mut pack_faults: Vec<String> = faulty.iter().map(ToString::to_string).collect();
        let (job_packs, found) = JobPackSet::load(&home.join("plugins/jobs"));
        pack_faults.extend(found.iter().map(ToString::to_string));
        match (configuration, heads, balls) {
            (Ok(configuration), Ok(heads), Ok(balls)) if faults.is_empty() => Ok(Written {
                configuration,
                heads,
                balls,
                roster,
                corrections,
                packs,
                job_packs,
                corrections_faults,
                pack_faults,
            }),
            _ => {
                faults.extend(pack_faults);
                Err(faults)
            }
        }
    }
}

fn load_heads(home: &Path) -> Result<HeadBook, Vec<Fault>> {
    let path = home.join("config/heads.toml");
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) => {
            let hint = "copy config/heads.toml of the shipped configuration";
            return Err(vec![Fault::of_file(&path, format!("the head profiles cannot be read: {error}"), hint)]);
        }
    };
    let book: HeadBook = toml::from_str(&text).map_err(|error: toml::de::Error| {
        let offset = error.span().map_or(0, |span| span.start);
        let hint = "each [[head]] of the shipped file shows every key with its unit";
        vec![Fault::at(&path, &text, offset, error.message().to_owned(), hint)]
    })?;
    let mut faults = Vec::new();
    for problem in book.faults() {
        faults.push(at_profile(&path, &text, &problem.sentence(), problem.hint));
    }
    if faults.is_empty() { Ok(book) } else { Err(faults) }
}

/// A fault at the line that names the profile which its message has in backticks: there a person looks.
fn at_profile(path: &Path, text: &str, message: &str, hint: &str) -> Fault {
    let named = message.split('`').nth(1).and_then(|name| text.find(&format!("name = \"{name}\"")));
    match named {
        Some(offset) => Fault::at(path, text, offset, message.to_owned(), hint),
        None => Fault::of_file(path, message.to_owned(), hint),
    }
}

/// The ball profiles; a home without the file has the standard ball alone.
fn load_balls(home: &Path) -> Result<BallBook, Vec<Fault>> {
    let path = home.join("config/balls.toml");
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(BallBook { balls: Vec::new() }),
        Err(error) => {
            let hint = "copy config/balls.toml of the shipped configuration";
            return Err(vec![Fault::of_file(&path, format!("the ball profiles cannot be read: {error}"), hint)]);
        }
    };
    toml::from_str(&text).map_err(|error: toml::de::Error| {
        let written = error.message();
        let usual = "each [[ball]] of the shipped file shows every key with its unit";
        // The book tells all that is impossible at once: a sentence and a hint each.
        if !written.contains("\nhint: ") {
            let offset = error.span().map_or(0, |span| span.start);
            return vec![Fault::at(&path, &text, offset, written.to_owned(), usual)];
        }
        let mut faults = Vec::new();
        let mut lines = written.lines().peekable();
        while let Some(message) = lines.next() {
            let hint = lines.next_if(|line| line.starts_with("hint: ")).map_or(usual, |line| &line[6..]);
            faults.push(at_profile(&path, &text, message, hint));
        }
        faults
    })
}

fn unknown_heads(roster: &Roster, heads: &HeadBook) -> Vec<Fault> {
    let path = roster.path();
    let text = std::fs::read_to_string(path).unwrap_or_default();
    let known: Vec<&str> = heads.heads.iter().map(|head| head.name.as_str()).collect();
    let mut faults = Vec::new();
    for player in roster.players() {
        for (club, profile) in &player.clubs {
            if heads.find(profile).is_none() {
                let message =
                    format!("{}: {club} names the head profile \"{profile}\", which there is not", player.player_id);
                let line_start: usize =
                    text.split_inclusive('\n').take((player.line as usize).saturating_sub(1)).map(str::len).sum();
                let within = text[line_start..].find(&format!("={profile}")).map_or(0, |at| at + 1);
                let hint = format!("profiles of config/heads.toml: {}", known.join(", "));
                faults.push(Fault::at(path, &text, line_start + within, message, &hint));
            }
        }
    }
    faults
}

/// Shows faults on standard error and makes the one-line error that ends the command.
pub fn report_faults(faults: &[String]) -> anyhow::Error {
    for fault in faults {
        eprintln!("{}", fault.trim_end());
        eprintln!();
    }
    let count = faults.len();
    anyhow!("{count} fault{} found; nothing was changed", if count == 1 { "" } else { "s" })
}

/// Most rows of one answer that is streamed out.
pub const MOST_ROWS: u64 = 10_000_000;

/// Whether a command writes into the home.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// Alone on the home, with its lock held.
    Write,
    /// Beside a running daemon.
    Read,
}

/// A home, opened.
pub struct Studio {
    pub configuration: Configuration,
    pub files: Files,
    pub ledger: Arc<Ledger>,
    pub lake: Arc<Lake>,
    pub roster: Arc<Roster>,
    pub corrections: Arc<Corrections>,
    pub packs: Arc<PackSet>,
    pub job_packs: JobPackSet,
    heads: Arc<HeadBook>,
    balls: Arc<BallBook>,
    /// Held as long as anything works on the home.
    lock: Option<Arc<InstanceLock>>,
}

/// The settings of intake, from the configuration.
pub fn intake_settings(configuration: &Configuration) -> IntakeSettings {
    let mut settings = IntakeSettings::at_home(&configuration.home, &configuration.site_id, configuration.zone);
    settings.folders = configuration
        .folders
        .iter()
        .map(|folder| WatchedFolder {
            bay: folder.bay.clone(),
            environment: folder.environment.clone(),
            share: folder.share,
            ..WatchedFolder::new(&folder.path)
        })
        .collect();
    settings.quiet_period = configuration.quiet_period;
    settings.rescan_every = configuration.rescan_every;
    settings.waiting_too_long = configuration.waiting_too_long;
    settings.share_rescan_every = configuration.share_rescan_every;
    settings.least_free = configuration.least_free;
    settings.limits = configuration.limits;
    settings.roster_file = Some(configuration.roster_file.clone());
    settings.corrections_file = Some(configuration.corrections_file.clone());
    settings
}

impl Studio {
    /// Reads what people wrote and opens what the daemon keeps.
    pub fn open(home: &Path, access: Access) -> anyhow::Result<Studio> {
        let written = Written::load(home).map_err(|faults| report_faults(&faults))?;
        for fault in &written.pack_faults {
            tracing::error!(target: "strikemill", "a pack is left out\n{}", fault.trim_end());
        }
        for fault in &written.corrections_faults {
            tracing::warn!(target: "strikemill", "a correction is left out\n{}", fault.trim_end());
        }
        Studio::of(written, access)
    }

    /// Opens what the daemon keeps.
    pub fn of(written: Written, access: Access) -> anyhow::Result<Studio> {
        crate::repair_note::refuse_unrepaired(&written.configuration)?;
        if access == Access::Read {
            crate::repair_note::refuse_other_home(&written.configuration)?;
        }
        Studio::opened(written, access)
    }

    /// Opens a home whose repair is under way.
    pub fn for_repair(written: Written) -> anyhow::Result<Studio> {
        Studio::opened(written, Access::Write)
    }

    fn opened(written: Written, access: Access) -> anyhow::Result<Studio> {
        let configuration = written.configuration;
        let state = configuration.place("state");
        if !state.is_dir() {
            if access == Access::Read {
                bail!(
                    "{} has no state folder yet: nothing was imported\nhint: start it with `strikemill run`, or import files \
                     with `strikemill import`",
                    configuration.home.display()
                );
            }
            std::fs::create_dir_all(&state).with_context(|| format!("cannot make {}", state.display()))?;
        }
        let lock = match access {
            Access::Write => Some(InstanceLock::acquire(&state)?),
            Access::Read => None,
        };
        let files = Files::new();
        let ledger = Arc::new(Ledger::open(&state.join("ledger.sqlite"))?);
        if access == Access::Write
            && let Some(before) = ledger.settle_home(&configuration.home)?
        {
            tracing::warn!(before, now = %configuration.home.display(), "the home was moved or copied; the ledger's paths follow");
        }
        let open = if access == Access::Write { Lake::open } else { Lake::open_to_read };
        let lake = open(files.clone(), &configuration.place("lake"), &state.join("staging"), &configuration.site_id)?;
        Ok(Studio {
            files,
            ledger,
            lake: Arc::new(lake),
            roster: Arc::new(written.roster),
            corrections: Arc::new(written.corrections),
            packs: Arc::new(written.packs),
            job_packs: written.job_packs,
            heads: Arc::new(written.heads),
            balls: Arc::new(written.balls),
            configuration,
            lock: lock.map(Arc::new),
        })
    }

    /// The same home by what people have written since; ledger, lake and lock stay open.
    pub fn renewed(&self, written: Written) -> anyhow::Result<Studio> {
        let configuration = written.configuration;
        if configuration.site_id != self.configuration.site_id {
            bail!("a home belongs to one site for ever\nhint: give the other site a home of its own");
        }
        Ok(Studio {
            configuration,
            files: self.files.clone(),
            ledger: Arc::clone(&self.ledger),
            lake: Arc::clone(&self.lake),
            roster: Arc::new(written.roster),
            corrections: Arc::new(written.corrections),
            packs: Arc::new(written.packs),
            job_packs: written.job_packs,
            heads: Arc::new(written.heads),
            balls: Arc::new(written.balls),
            lock: self.lock.clone(),
        })
    }

    /// Intake as configured.
    pub fn intake(&self) -> anyhow::Result<Intake> {
        let settings = intake_settings(&self.configuration);
        let (ledger, lake) = (Arc::clone(&self.ledger), Arc::clone(&self.lake));
        let intake = Intake::open(
            settings,
            self.files.clone(),
            ledger,
            lake,
            Arc::clone(&self.packs),
            Arc::clone(&self.roster),
        )?;
        let heads = Arc::clone(&self.heads);
        let check = move |roster: &Roster| unknown_heads(roster, &heads).iter().map(Fault::to_string).collect();
        Ok(intake.with_corrections(Arc::clone(&self.corrections)).with_roster_check(Arc::new(check)))
    }
    /// The SQL engine over the lake, with the most rows an answer may have.
    pub fn engine(&self, most_rows: u64) -> anyhow::Result<Arc<Engine>> {
        let configuration = &self.configuration;
        let limits = EngineLimits {
            memory_bytes: configuration.query_memory_bytes as u64,
            rows: most_rows,
            seconds: configuration.query_seconds,
            spill_folder: configuration.place("state/spill"),
        };
        let outputs = self.job_packs.packs().iter().map(|pack| pack.output.clone()).collect();
        let engine =
            Engine::new(Arc::clone(&self.lake), Arc::clone(&self.heads), configuration.verdict.clone(), limits)?;
        Ok(Arc::new(engine.with_balls(Arc::clone(&self.balls)).with_datasets(outputs)))
    }

    /// The runner of the analysis jobs, computing in this process.
    pub fn runner(&self) -> anyhow::Result<Arc<Runner>> {
        Ok(Arc::new(self.plain_runner()?))
    }

    /// The runner of the daemon: a process of its own computes, so that the daemon stays small and no job can end it.
    pub fn runner_with_helper(&self) -> anyhow::Result<Arc<Runner>> {
        let program = std::env::current_exe().context("cannot tell where the program is")?;
        let home = self.configuration.home.clone();
        Ok(Arc::new(self.plain_runner()?.with_helper(move || {
            let mut command = std::process::Command::new(&program);
            command.arg("compute").arg("--home").arg(&home);
            command
        })))
    }

    fn plain_runner(&self) -> anyhow::Result<Runner> {
        let engine = self.engine(MOST_ROWS)?;
        let ledger = Arc::clone(&self.ledger);
        Ok(Runner::new(engine, self.job_packs.clone(), ledger, self.configuration.zone, WRITER))
    }
}
