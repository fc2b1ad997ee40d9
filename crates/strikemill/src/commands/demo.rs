//! `strikemill demo`: a throwaway academy, from exports to summaries, by the code that the daemon runs.

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use anyhow::{Context, bail};
use chrono::{NaiveDate, TimeDelta, Utc};
use comfy_table::{CellAlignment, Table, presets};
use digest::PlayerLine;
use intake::ProgressStep;
use jobs::Output;

use crate::cli::DemoArguments;
use crate::output::say;
use crate::pipeline::{WrittenSummary, failed_runs, write_summaries};
use crate::shipped::{BAYS, copy_folder, make_home, shipped_folder};
use crate::studio::{Access, Studio};

/// Marks a folder as made by the demo: only such a folder is ever removed.
const MARK: &str = ".strikemill-demo";

pub fn run(arguments: &DemoArguments) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let started = Instant::now();
    let home = arguments.into.as_path();
    make_academy(home)?;
    let studio = Studio::open(home, Access::Write)?;
    import_everything(&studio)?;

    let bar = spinner("judging every shot");
    let runner = studio.runner()?;
    let failures = failed_runs(&runner.run_after_import()?);
    if !failures.is_empty() {
        bail!("{}", failures.join("\n"));
    }
    bar.finish_and_clear();

    let week = last_week(&studio)?;
    let summaries = write_summaries(&studio, week, None, Utc::now())?;
    show(&studio, week, &summaries)?;
    say!("\nDone in {:.0} s.", started.elapsed().as_secs_f64());
    Ok(())
}

fn make_academy(home: &Path) -> anyhow::Result<()> {
    let mark = home.join(MARK);
    if mark.is_file() {
        std::fs::remove_dir_all(home).with_context(|| format!("cannot clear {}", home.display()))?;
    } else if home.exists() {
        bail!(
            "{} exists and was not made by the demo; nothing was changed\nhint: name another folder with --into DIR",
            home.display()
        );
    }
    let shipped = shipped_folder()?;
    std::fs::create_dir_all(home).with_context(|| format!("cannot make {}", home.display()))?;
    std::fs::write(&mark, "Made by `strikemill demo`, which may remove this folder again.\n")
        .with_context(|| format!("cannot write {}", mark.display()))?;
    make_home(&shipped, home)?;
    for bay in BAYS {
        copy_folder(&shipped.join("demo-data").join(bay), &home.join("import").join(bay))?;
    }
    Ok(())
}

fn spinner(what: &'static str) -> indicatif::ProgressBar {
    let bar = indicatif::ProgressBar::new_spinner().with_message(what);
    bar.enable_steady_tick(std::time::Duration::from_millis(120));
    bar
}

fn import_everything(studio: &Studio) -> anyhow::Result<()> {
    let bar = indicatif::ProgressBar::new(0);
    let style = indicatif::ProgressStyle::with_template("{msg:<24} {bar:40} {pos}/{len} files")?;
    bar.set_style(style);
    let shown = bar.clone();
    let intake = studio.intake()?.with_progress(Arc::new(move |progress| {
        shown.set_message(match progress.step {
            ProgressStep::Reading => "reading exports",
            ProgressStep::Publishing => "writing the lake",
            ProgressStep::Archiving => "archiving the exports",
        });
        shown.set_length(progress.files_total as u64);
        shown.set_position(progress.files_done as u64);
    }));
    let now = Utc::now();
    intake.publish_dimensions(now)?;
    // Two looks, as far apart as the quiet period asks: the daemon would wait in between, the demo moves its clock.
    intake.scan_once(now)?;
    let quiet = TimeDelta::from_std(studio.configuration.quiet_period)? + TimeDelta::seconds(2);
    let report = intake.scan_once(now + quiet)?;
    bar.finish_and_clear();
    for trouble in &report.troubles {
        eprintln!("{}: {}", trouble.path.display(), trouble.message);
    }
    say!(
        "{} exports read: {} shots, {} rows rejected; {} known under another name, {} in quarantine",
        report.files_published,
        report.shots,
        report.rejected,
        report.duplicates,
        report.quarantined
    );
    Ok(())
}

/// The latest week that has figures.
fn last_week(studio: &Studio) -> anyhow::Result<NaiveDate> {
    let mut answer = Vec::new();
    let sql = "SELECT max(week) AS week FROM carry_loss";
    studio.engine(1)?.execute(sql, Output::Json, &mut answer)?;
    let rows: serde_json::Value = serde_json::from_slice(&answer).context("the engine's answer is no JSON")?;
    let week = rows[0]["week"].as_str().context("no shot could be judged")?;
    week.parse().with_context(|| format!("\"{week}\" is no day"))
}

fn show(studio: &Studio, week: NaiveDate, summaries: &[WrittenSummary]) -> anyhow::Result<()> {
    say!("\nWeek of {week}, by coach and player (carry lost to strike is per shot, with its 90 % interval):");
    for summary in summaries {
        let mut table = Table::new();
        table.load_preset(presets::NOTHING);
        table.set_header(PlayerLine::HEADINGS);
        for line in digest::table_rows(&summary.week) {
            table.add_row(line.cells());
        }
        for column in table.column_iter_mut() {
            if (2..=8).contains(&column.index) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        say!("\ncoach {}\n{table}", summary.week.coach.as_deref().unwrap_or("all"));
    }
    say!("\nWritten:");
    for summary in summaries {
        say!("  {}", summary.path.display());
    }
    let lake = studio.configuration.place("lake");
    let mut datasets: Vec<String> = studio.lake.manifest()?.files.into_iter().map(|file| file.dataset).collect();
    datasets.dedup();
    for dataset in datasets {
        say!("  {}/{dataset}/**/*.parquet", lake.display());
    }
    let home = studio.configuration.home.display();
    say!("\nGo on with:");
    say!("  strikemill status --home {home}");
    say!("  strikemill query --home {home} \"SELECT player_id, miss, evidence FROM strike_misses LIMIT 5\"");
    say!("  (in this folder: cargo run -- status --home {home})");
    Ok(())
}
