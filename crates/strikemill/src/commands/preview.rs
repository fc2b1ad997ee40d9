//! `strikemill import --dry-run`: what an import would do, told without touching anything.

use std::path::{Path, PathBuf};

use ::intake::{Foreseen, NameToSettle, Preview, PreviewBasis, Taking, Unsettled, preview};
use anyhow::bail;
use ledger::Ledger;

use crate::output::say;
use crate::studio::{Written, intake_settings, report_faults};

/// Problems shown of one file.
const SHOWN: usize = 5;

pub fn run(home: &Path, paths: &[PathBuf]) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let written = Written::load(home).map_err(|faults| report_faults(&faults))?;
    for fault in written.pack_faults.iter().chain(&written.corrections_faults) {
        eprintln!("{}\n", fault.trim_end());
    }
    let ledger = Ledger::open_to_read(&written.configuration.place("state/ledger.sqlite"))?;
    let basis = PreviewBasis {
        settings: &intake_settings(&written.configuration),
        packs: &written.packs,
        roster: &written.roster,
        corrections: &written.corrections,
        ledger: ledger.as_ref(),
    };
    let previews = preview(&basis, paths)?;
    let mut refused = 0;
    for told in &previews {
        refused += usize::from(!tell(told)?);
    }
    say!("\nnothing was changed: this was a dry run");
    if refused > 0 {
        bail!("{refused} file(s) would not be imported");
    }
    Ok(())
}

/// Tells what would become of a file; false where it would not come into the lake.
fn tell(preview: &Preview) -> std::io::Result<bool> {
    let file = preview.path.display();
    match &preview.foreseen {
        Foreseen::Taken(taking) => tell_taking(&file.to_string(), taking)?,
        Foreseen::Known { first_name } => say!("known        {file}: the same bytes as {first_name}"),
        Foreseen::Refused { reason, hint, scores, problems } => {
            say!("refused      {file}: {reason}\n             hint: {hint}");
            for score in scores {
                say!("             {:>3} points  {}: {}", score.score, score.pack, score.because);
            }
            tell_problems(problems)?;
            return Ok(false);
        }
        Foreseen::Unreadable { message } => {
            say!("unreadable   {file}: {message}");
            return Ok(false);
        }
    }
    Ok(true)
}

fn tell_taking(file: &str, taking: &Taking) -> std::io::Result<()> {
    let what =
        if taking.marks > 0 { format!("{} strike marks", taking.marks) } else { format!("{} shots", taking.shots) };
    let (pack, version, rejected) = (&taking.pack, &taking.pack_version, taking.rejected);
    say!("would import {file}: {what} by {pack} {version}, {rejected} rows rejected");
    if let Some(score) = &taking.score {
        say!("             {} points: {}", score.score, score.because);
    }
    if taking.was_refused {
        say!("             the same bytes are in quarantine now; they would be taken this time");
    }
    for (column, word, times) in &taking.unknown_words {
        say!("             word unknown to the pack: \"{word}\" in {column}, {times} time(s)");
    }
    for name in &taking.names {
        say!("             {}", words_of(name));
    }
    for (line, shots) in &taking.corrections {
        say!("             line {line} of the corrections selects {shots} shot(s)");
    }
    tell_problems(&taking.problems)
}

/// A name and what it lacks, for people of the site.
fn words_of(name: &NameToSettle) -> String {
    let (text, rows) = (&name.text, name.rows);
    match (&name.why, &name.player_id) {
        (Unsettled::WithoutConsent, Some(player)) => {
            format!("name without consent: \"{text}\" ({player}), {rows} row(s); kept, not analysed")
        }
        _ => format!("name not in the roster: \"{text}\", {rows} row(s); kept under a placeholder, not analysed"),
    }
}

fn tell_problems(problems: &[::intake::Problem]) -> std::io::Result<()> {
    for problem in problems.iter().take(SHOWN) {
        let place = match (&problem.column, problem.line) {
            (Some(column), line) if line > 0 => format!("row {line}, {column}"),
            (None, line) if line > 0 => format!("row {line}"),
            (Some(column), _) => column.clone(),
            (None, _) => "the file".to_owned(),
        };
        say!(
            "             {} {place}: {}\n                 hint: {}",
            problem.severity.word(),
            problem.message,
            problem.hint
        );
    }
    if problems.len() > SHOWN {
        say!("             and {} more problems", problems.len() - SHOWN);
    }
    Ok(())
}
