//! `strikemill check`: everything that people wrote, checked without touching anything.

use std::path::Path;

use ::intake::CorrectionAction;
use ledger::Ledger;

use crate::cli::CheckArguments;
use crate::config::Configuration;
use crate::output::say;
use crate::repair_note::{refuse_other_home, refuse_unrepaired};
use crate::studio::{Access, Studio, Written, report_faults};

pub fn run(home: &Path, arguments: &CheckArguments) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let written = Written::load(home).map_err(|faults| report_faults(&faults))?;
    let mut faults = written.pack_faults.clone();
    faults.extend(written.corrections_faults.iter().cloned());
    faults.extend(other_site(&written.configuration));
    for line in written.corrections.lines() {
        if let CorrectionAction::Player(text) = &line.action
            && written.roster.player(text).is_none()
        {
            let place = written.corrections.path().display();
            say!("warning: {place}:{}: \"{text}\" is no player of the roster; its shots get a placeholder", line.line);
        }
    }
    for warning in written.heads.warnings() {
        say!("warning: {}: {warning}", home.join("config/heads.toml").display());
    }
    for warning in written.balls.warnings() {
        say!("warning: {}: {warning}", home.join("config/balls.toml").display());
    }
    for folder in &written.configuration.folders {
        if !folder.path.is_dir() {
            let place = folder.path.display();
            say!("warning: the import folder {place} is not there (yet); it counts as unreachable until it is");
        }
    }
    for pack in written.packs.packs() {
        let report = ::formats::test_pack(pack);
        if !report.passed() {
            faults.push(format!("error: the format pack {} fails its own test\n{report}", pack.name()));
        }
    }
    let counts = format!(
        "{} import folders, {} players, {} corrections, {} head profiles, {} ball profiles, {} format packs, {} jobs",
        written.configuration.folders.len(),
        written.roster.players().len(),
        written.corrections.lines().len(),
        written.heads.heads.len(),
        written.balls.balls.len(),
        written.packs.packs().len(),
        written.job_packs.packs().len()
    );
    if let Err(unrepaired) = refuse_unrepaired(&written.configuration)
        && !arguments.deep
    {
        faults.push(format!("error: {unrepaired}"));
        return Err(report_faults(&faults));
    }
    // Planning a job needs the lake; before the first import there is none and the packs' own checks must do.
    if faults.is_empty() && home.join("state").is_dir() {
        refuse_other_home(&written.configuration)?;
        let deep = if arguments.deep { super::check_deep::run(&written)? } else { Vec::new() };
        faults.extend(deep);
        let names: Vec<String> = written.job_packs.packs().iter().map(|pack| pack.name.clone()).collect();
        if !faults.is_empty() {
            return Err(report_faults(&faults));
        }
        let studio = Studio::of(written, Access::Read)?;
        // The deep look has seen all of this already.
        let differences = if arguments.deep { Vec::new() } else { studio.lake.differences()? };
        for difference in differences {
            faults.push(format!(
                "error: the lake is not what its manifest says: {difference}\n\
                 hint: `strikemill check --deep` tells more; `strikemill repair` reads what is lost from the archive again"
            ));
        }
        let runner = studio.runner()?;
        for name in names {
            if let Err(error) = runner.check_job(&name) {
                faults.push(format!("error: job {name}: {error}"));
            }
        }
    }
    if !faults.is_empty() {
        return Err(report_faults(&faults));
    }
    say!("sound: {counts}");
    Ok(())
}

/// The daemon refuses to start where the ledger belongs to another site than the configuration names.
fn other_site(configuration: &Configuration) -> Option<String> {
    // A ledger that cannot be read is told by what follows.
    let ledger = Ledger::open_to_read(&configuration.place("state/ledger.sqlite")).ok()??;
    let bound = ledger.site().ok()??;
    (bound != configuration.site_id).then(|| {
        format!(
            "error: the ledger belongs to the site \"{bound}\", the configuration says \"{}\"\n\
             hint: the id is part of every shot's identity; change it back, or give the other site a home of its own",
            configuration.site_id
        )
    })
}
