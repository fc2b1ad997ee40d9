//! `strikemill forget`: a person leaves lake, ledger and pages for good.

use std::path::Path;

use anyhow::bail;
use chrono::Utc;

use crate::cli::ForgetArguments;
use crate::commands::check_deep::known_schemas;
use crate::output::{Teller, tell};
use crate::pipeline::failed_runs;
use crate::requests::{Bench, Task, by_hand};

/// Has a person forgotten, by the daemon where one runs.
pub fn run(home: &Path, arguments: &ForgetArguments) -> anyhow::Result<()> {
    by_hand(home, Task::Forget { person: arguments.person.clone() })
}

/// The work of `forget`. Its lines go to the person who gave the command, never into the log.
pub fn forget_person(bench: &Bench, person: &str, out: &mut dyn Teller) -> anyhow::Result<()> {
    let configuration = &bench.studio.configuration;
    let schemas = known_schemas(&bench.studio.job_packs);
    let digests = configuration.place("digests");
    let done = bench.intake.forget(person, &schemas, &digests, Utc::now())?;
    tell!(out, "forgotten    {} row(s) in {} partition(s) of the lake", done.rows, done.partitions);
    tell!(out, "suppressed   {} text(s) lead to nobody from here on, whatever file brings them", done.texts);
    for page in &done.pages {
        tell!(out, "removed      {}", page.display());
    }
    if !done.pages.is_empty() {
        tell!(out, "hint: `strikemill digest --week DAY` writes such a page anew, without the person");
    }
    let failures = failed_runs(&bench.runner.run_after_import()?);
    if !done.archived.is_empty() || !done.quarantined.is_empty() {
        tell!(out, "");
        tell!(out, "These originals still hold the person. Nothing of that comes back, but the bytes are there:");
        for (kind, files) in [("archived", &done.archived), ("refused ", &done.quarantined)] {
            for (id, path) in files {
                let beginning = id.get(..12).unwrap_or(id);
                tell!(out, "  {kind} {path}");
                tell!(out, "           strikemill remove --file {beginning}");
            }
        }
        tell!(out, "An original holds other people's rows too; once removed it cannot be read again.");
    }
    for line in &done.written_lines {
        tell!(out, "still named  {line}: take the line out");
    }
    let asides = moved_aside(configuration);
    for path in &asides {
        tell!(out, "not looked into: {}: what a repair set aside may hold rows of the person", path.display());
    }
    tell!(out, "Backups and copies elsewhere are yours to look after.");
    if !failures.is_empty() {
        bail!("the person is forgotten, but {}", failures.join("; "));
    }
    Ok(())
}

/// What a repair or a damaged segment left aside.
fn moved_aside(configuration: &crate::config::Configuration) -> Vec<std::path::PathBuf> {
    let state = configuration.place("state");
    let site = configuration.place("lake").join(format!("site={}", configuration.site_id));
    let mut found = Vec::new();
    for folder in [&state, &site, &state.join("staging")] {
        let Ok(entries) = std::fs::read_dir(folder) else { continue };
        for entry in entries.flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            if name.starts_with("damaged") || name.starts_with("ledger.damaged-") {
                found.push(entry.path());
            }
        }
    }
    found.sort();
    found
}
