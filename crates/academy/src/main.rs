//! Writes the demo academy to a folder.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use academy::demo::bay::Bay;
use academy::demo::{self, Demo, tally};
use anyhow::{Context, bail};
use clap::Parser;

/// Makes the seeded demo academy: the bays' exports, the truth behind them, and the roster.
#[derive(Parser)]
#[command(name = "academy", version)]
struct Arguments {
    /// Same seed, same bytes.
    #[arg(long, default_value_t = demo::SEED)]
    seed: u64,
    /// Folder to write to; files of an earlier run are overwritten.
    #[arg(long, default_value = "demo-data")]
    out: PathBuf,
    /// Where to write the roster.
    #[arg(long)]
    roster: Option<PathBuf>,
    /// Head profiles to draw the true heads around.
    #[arg(long, default_value = "config/heads.toml")]
    heads: PathBuf,
}

fn main() -> anyhow::Result<()> {
    let arguments = Arguments::parse();
    let text = fs::read_to_string(&arguments.heads)
        .with_context(|| format!("cannot read {}\nhint: name the head book with --heads", arguments.heads.display()))?;
    let heads = toml::from_str(&text).with_context(|| format!("{} is no head book", arguments.heads.display()))?;
    let demo = demo::generate(arguments.seed, &heads)?;

    refuse_strange_files(&arguments.out, &demo)?;
    for (path, bytes) in &demo.contents {
        write(&arguments.out.join(path), bytes)?;
    }
    if let Some(path) = &arguments.roster {
        write(path, demo.roster.as_bytes())?;
    }
    report(&demo).context("cannot print the report")
}

/// Files that this run would not make would pass for a part of the demo.
fn refuse_strange_files(out: &Path, demo: &Demo) -> anyhow::Result<()> {
    for folder in Bay::ALL.map(Bay::folder).into_iter().chain(["truth"]) {
        let path = out.join(folder);
        if !path.exists() {
            continue;
        }
        for entry in fs::read_dir(&path).with_context(|| format!("cannot list {}", path.display()))? {
            let entry = entry.with_context(|| format!("cannot list {}", path.display()))?;
            let name = format!("{folder}/{}", entry.file_name().to_string_lossy());
            if !demo.contents.contains_key(&name) {
                bail!(
                    "{} is not of this demo\nhint: remove it or choose another folder with --out",
                    entry.path().display()
                );
            }
        }
    }
    Ok(())
}

fn write(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder).with_context(|| format!("cannot make {}", folder.display()))?;
    }
    fs::write(path, bytes).with_context(|| format!("cannot write {}", path.display()))
}

fn report(demo: &Demo) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    let bytes: usize = demo.contents.values().map(Vec::len).sum();
    writeln!(out, "{} files, {:.1} MB", demo.contents.len(), bytes as f64 / 1e6)?;
    writeln!(out, "{:8} {:5} strike marks", "", demo.files.iter().map(|file| file.marks).sum::<usize>())?;
    for (bay, shots) in tally::by_bay(&demo.recorded) {
        writeln!(out, "{:8} {shots:5} shots", bay.folder())?;
    }
    writeln!(out, "driver shots   all  miss  strike  delivery  either  both  neither  lost to strike (median m)")?;
    let tallies = tally::drivers(&demo.recorded);
    let all = tally::together(&tallies);
    for (name, tally) in tallies.iter().map(|(name, tally)| (*name, tally)).chain([("together", &all)]) {
        write!(out, "{name:12} {:5} {:5}", tally.shots, tally.misses)?;
        for cause in academy::TrueCause::ALL {
            write!(out, "  {:5.0} %", 100.0 * tally.share(cause))?;
        }
        writeln!(out, "  {:5.1}", tally.median_carry_lost_m().unwrap_or(0.0))?;
    }
    Ok(())
}
