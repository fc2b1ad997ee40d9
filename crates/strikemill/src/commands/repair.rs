//! `strikemill repair`: a lost ledger from the lake, lost parts of the lake from the archive. The daemon is stopped; nothing is
//! deleted; each step can be cut off and done again.

use std::path::{Path, PathBuf};
use std::time::Duration;

use ::intake::{
    Audit, AuditSubject, FileOutcome, LedgerRebuild, PartitionName, TableSchema, month_of_text, start_after_repair,
};
use anyhow::bail;
use chrono::Utc;
use files::Files;
use lake::{Lake, LakeRepair};
use ledger::{InstanceLock, Ledger, LedgerCondition};

use crate::commands::check_deep::{Teller, known_schemas};
use crate::output::say;
use crate::pipeline::failed_runs;
use crate::repair_note::RepairNote;
use crate::studio::{Studio, Written, intake_settings, report_faults};

pub fn run(home: &Path) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let written = Written::load(home).map_err(|faults| report_faults(&faults))?;
    for fault in &written.pack_faults {
        eprintln!("warning: a pack is left out, so files of its kind cannot be read again\n{}", fault.trim_end());
    }
    let label = format!("damaged-{}", Utc::now().format("%Y%m%d-%H%M%S"));
    let ledger_was_rebuilt = mend_ledger(&written, &label)?;
    let studio = Studio::for_repair(written)?;
    let files_faulty = mend_lake(&studio, &label, ledger_was_rebuilt)?;
    if files_faulty > 0 {
        bail!("{files_faulty} file(s) could not be read again; `strikemill check --deep` tells what is missing");
    }
    Ok(())
}

/// Rebuilds the ledger where it is damaged or gone. True if it was.
fn mend_ledger(written: &Written, label: &str) -> anyhow::Result<bool> {
    let configuration = &written.configuration;
    let state = configuration.place("state");
    let files = Files::new();
    files.create_dir_all(&state)?;
    let _lock = InstanceLock::acquire(&state)?;
    let path = state.join("ledger.sqlite");
    match Ledger::condition(&path)? {
        LedgerCondition::Sound => return Ok(false),
        LedgerCondition::Absent => say!("the ledger is gone; it is rebuilt from lake, archive and quarantine"),
        LedgerCondition::Damaged(faults) => {
            say!("the ledger is damaged; it is rebuilt from lake, archive and quarantine");
            for fault in faults.iter().take(3) {
                say!("  {fault}");
            }
        }
    }
    // Built whole under another name: until it is done the damaged one stays where it is, and keeps the daemon from starting.
    let building = state.join("ledger.rebuilding.sqlite");
    for path in with_companions(&building) {
        files.remove(&path)?;
    }
    let lake = Lake::open_to_read(
        files.clone(),
        &configuration.place("lake"),
        &state.join("staging"),
        &configuration.site_id,
    )?;
    let ledger = Ledger::open(&building)?;
    let settings = intake_settings(configuration);
    let rebuild = LedgerRebuild {
        ledger: &ledger,
        lake: &lake,
        files: &files,
        settings: &settings,
        packs: &written.packs,
        roster: &written.roster,
    };
    let teller = Teller::new();
    let done = rebuild.run(Utc::now(), &|number, total| {
        teller.tell(::intake::AuditProgress::Kept(number, total));
    })?;
    teller.end();
    ledger.close()?;
    let aside = state.join(format!("ledger.{label}"));
    for old in with_companions(&path) {
        if files.stat(&old)?.is_some() {
            files.create_dir_all(&aside)?;
            if let Some(name) = old.file_name() {
                files.rename_durable(&old, &aside.join(name))?;
            }
        }
    }
    files.rename_durable(&building, &path)?;
    for fault in &done.passed_over {
        say!("passed over: {}", fault.lines().next().unwrap_or_default());
    }
    say!(
        "ledger rebuilt: {} files of the lake, {} of the archive that the lake does not tell of, {} in quarantine; the next import is number {}",
        done.from_lake,
        done.unknown_to_the_lake,
        done.refused,
        done.next_import_sequence
    );
    if done.without_copy > 0 {
        say!("{} files of the lake have no copy in the archive", done.without_copy);
    }
    if files.stat(&aside)?.is_some() {
        say!("the damaged ledger stands at {}", aside.display());
    }
    say!("not in it: past runs of jobs, removals by hand, summaries written before; jobs run again where it matters");
    Ok(true)
}

/// The database and the files that SQLite lays beside it.
fn with_companions(path: &Path) -> Vec<PathBuf> {
    let beside = |ending: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    };
    // The log first: left without its database it could be taken for that of the next one.
    vec![beside("-wal"), beside("-shm"), path.to_owned()]
}

/// Brings the lake back to what ledger and archive say. Answers how many files could not be read again.
fn mend_lake(studio: &Studio, label: &str, ledger_was_rebuilt: bool) -> anyhow::Result<usize> {
    let state = studio.configuration.place("state");
    let schemas = known_schemas(&studio.job_packs);
    let mut note = RepairNote::read(&studio.files, &state)?;
    let was_begun = !note.is_empty();
    let newest = studio.ledger.generations()?.iter().map(|partition| partition.generation).max().unwrap_or(0);
    let mut done = Vec::new();
    if !studio.lake.has_sound_manifest()? {
        // Without one nothing else can be asked.
        note.add(studio.lake.concerned_by(&[])?.iter().map(named).collect(), Vec::new());
        note.write(&studio.files, &state)?;
        done.push(studio.lake.repair(&[], &schemas, label, newest)?);
    }
    let before = look(studio, &schemas)?;
    let concerned = studio.lake.concerned_by(&before.lake.faults)?;
    note.add(concerned.iter().map(named).collect(), before.files_to_read_again.clone());
    if note.is_empty() {
        if ledger_was_rebuilt {
            settle(studio, &[])?;
        }
        say!("the lake is sound: {} files, {} rows", before.lake.files, before.lake.rows);
        return told_rest(&before);
    }
    if was_begun {
        say!("a repair was cut off; it goes on");
    }
    note.write(&studio.files, &state)?;
    done.push(studio.lake.repair(&before.lake.faults, &schemas, label, newest)?);
    for done in &done {
        tell_repair(done)?;
    }
    let partitions: Vec<PartitionName> =
        note.partitions.iter().map(|(dataset, month)| (dataset.clone(), month_of_text(month))).collect();
    // What is back as it was published needs no reading; what an earlier attempt set aside does.
    let is_back = |name: &PartitionName| {
        done.iter().any(|done| done.restored.contains(name) || done.entered.contains(name))
            && !done.iter().any(|done| done.set_aside.contains(name))
    };
    let lost: Vec<PartitionName> = partitions.into_iter().filter(|name| was_begun || !is_back(name)).collect();
    let mut failed = settle(studio, &lost)?;
    failed += read_again(studio, &lost, &note.files)?;
    run_jobs(studio, &lost)?;
    RepairNote::remove(&studio.files, &state)?;
    let after = look(studio, &schemas)?;
    say!("the lake now: {} files, {} rows, generation {}", after.lake.files, after.lake.rows, after.lake.generation);
    failed += told_rest(&after)?;
    Ok(failed)
}

fn look(studio: &Studio, schemas: &[TableSchema]) -> anyhow::Result<Audit> {
    let teller = Teller::new();
    let subject = AuditSubject {
        ledger: &studio.ledger,
        lake: &studio.lake,
        files: &studio.files,
        archive_dir: &studio.configuration.place("archive"),
        schemas,
        patience: Duration::ZERO,
    };
    let audit = subject.audit_rows(&|progress| teller.tell(progress))?;
    teller.end();
    Ok(audit)
}

fn named((dataset, month): &PartitionName) -> (String, String) {
    (dataset.clone(), month.map_or_else(String::new, |month| month.to_string()))
}

fn tell_repair(done: &LakeRepair) -> anyhow::Result<()> {
    if done.manifest_rebuilt {
        say!("the manifest is written anew from the files' footers");
    }
    for (what, partitions) in [
        ("back as published ", &done.restored),
        ("in the manifest   ", &done.entered),
        ("to be made anew   ", &done.set_aside),
    ] {
        for (dataset, month) in partitions {
            say!("{what} {dataset} {}", month.map_or_else(String::new, |month| month.to_string()));
        }
    }
    for path in &done.aside {
        say!("set aside          {}", path.display());
    }
    Ok(())
}

/// Finishes what was in flight and brings what is computed from imports into step. Answers how many steps failed.
fn settle(studio: &Studio, lost: &[PartitionName]) -> anyhow::Result<usize> {
    let intake = studio.intake()?;
    intake.demand_amending_of(lost)?;
    let troubles = start_after_repair(&intake, Utc::now())?;
    for trouble in &troubles {
        say!("failed       {}: {}", trouble.path.display(), trouble.message);
    }
    Ok(troubles.len())
}

fn read_again(studio: &Studio, lost: &[PartitionName], files: &[String]) -> anyhow::Result<usize> {
    let intake = studio.intake()?;
    let mut wanted = files.to_vec();
    wanted.extend(intake.files_behind(lost)?);
    wanted.sort();
    wanted.dedup();
    if wanted.is_empty() {
        return Ok(0);
    }
    say!("{} archived file(s) are read again", wanted.len());
    let (mut rows, mut failed) = (0, 0);
    for (path, outcome) in intake.read_again(&wanted, Utc::now())? {
        match outcome {
            FileOutcome::Imported { shots, marks, .. } => rows += shots + marks,
            FileOutcome::Failed { message } | FileOutcome::Waiting { note: message } => {
                failed += 1;
                say!("failed       {}: {message}", path.display());
            }
            _ => {}
        }
    }
    say!("{rows} rows read from them; those that stood already stay as they were");
    Ok(failed)
}

/// Computes what jobs had in lost partitions anew, and whatever follows from changed inputs.
fn run_jobs(studio: &Studio, lost: &[PartitionName]) -> anyhow::Result<()> {
    let runner = studio.runner()?;
    let mut reports = Vec::new();
    for pack in studio.job_packs.packs() {
        if lost.iter().any(|(dataset, _)| *dataset == pack.output.name) {
            // All days of the calendar a shot can have: what is equal stays untouched.
            reports.push(runner.run_job(&pack.name, ::jobs::RunTrigger::Person, Some((0, 84_000)))?);
        }
    }
    reports.extend(runner.run_after_import()?);
    for failure in failed_runs(&reports) {
        say!("failed       {failure}");
    }
    Ok(())
}

/// What a repair cannot mend, for example a row whose original is nowhere.
fn told_rest(audit: &Audit) -> anyhow::Result<usize> {
    for fault in &audit.faults {
        say!("left         {fault}");
    }
    Ok(audit.faults.len())
}
