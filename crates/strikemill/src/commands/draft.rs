//! `strikemill formats draft`: a first pack from one sample of a new export.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use comfy_table::{CellAlignment, ContentArrangement, Table, presets};
use files::Files;
use formats::{Draft, PackSet, Recognition};

use crate::output::say;

/// Far more than a sample needs; larger exports are cut by the person.
const MOST_BYTES: u64 = 64 << 20;
/// Widest table of columns, in characters.
const WIDTH: u16 = 118;

/// Drafts a pack from `sample` into `out`, the folder of packs where nothing is named.
pub fn run(home: &Path, sample: &Path, name: Option<&str>, out: Option<&Path>) -> anyhow::Result<()> {
    let files = Files::new();
    let folder = out.map_or_else(|| home.join("plugins/formats"), Path::to_owned);
    if out.is_none() && !folder.is_dir() {
        bail!("{} is not there\nhint: name the home with --home DIR, or a folder with --out DIR", folder.display());
    }
    let Some(file_name) = sample.file_name().map(|name| name.to_string_lossy().into_owned()) else {
        bail!("{} names no file\nhint: give one export of the new device", sample.display());
    };
    let bytes = files.read(sample, MOST_BYTES)?;
    let name = name.map_or_else(|| formats::pack_name_of(&file_name), str::to_owned);
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if name.is_empty() || !name.chars().all(plain) {
        bail!("\"{name}\" cannot name a pack\nhint: use small letters, digits and hyphens: --name my-device");
    }
    refuse_taken(&folder, &name, &file_name, &bytes)?;
    let draft = formats::draft(&name, &file_name, &bytes);
    say!("{file_name}");
    for note in &draft.notes {
        say!("  {note}");
    }
    show_findings(&draft)?;
    let page = match &draft.obstacle {
        None => write_pack(&files, &folder, &draft)?,
        Some(obstacle) => return Err(write_unfinished(&files, &folder, &draft, obstacle)?),
    };
    show_questions(&draft, &page)?;
    show_proof(&folder, &draft, &file_name, &bytes)?;
    say!();
    say!("Next: decide the questions in {}, compare expected.csv with the device's own display, then", page.display());
    if out.is_some() {
        say!("  move the folder into plugins/formats of the home, and there: strikemill formats test {name}");
    } else {
        say!("  strikemill formats test {name} --home {}", home.display());
    }
    Ok(())
}

/// Nothing is overwritten, and two packs for one export would keep each other from being chosen.
fn refuse_taken(folder: &Path, name: &str, file_name: &str, bytes: &[u8]) -> anyhow::Result<()> {
    for taken in [folder.join(name), unfinished_path(folder, name)] {
        if taken.exists() {
            bail!(
                "{} is there already; nothing was changed\nhint: choose another name with --name, or remove it",
                taken.display()
            );
        }
    }
    if !folder.is_dir() {
        return Ok(());
    }
    let (packs, _) = PackSet::load(folder);
    if let Recognition::Match { pack, .. } = packs.recognise(file_name, bytes) {
        bail!(
            "the pack \"{}\" reads this export already; a second one would keep both from being chosen\n\
             hint: mend that pack, or draft into another folder with --out DIR",
            pack.name()
        );
    }
    Ok(())
}

fn show_findings(draft: &Draft) -> std::io::Result<()> {
    if draft.findings.is_empty() {
        return Ok(());
    }
    let mut table = Table::new();
    table.load_preset(presets::NOTHING).set_content_arrangement(ContentArrangement::Dynamic).set_width(WIDTH);
    table.set_header(["in the file", "read as", "unit, sign or format", "sure", "because"]);
    if let Some(sure) = table.column_mut(3) {
        sure.set_cell_alignment(CellAlignment::Right);
    }
    for finding in &draft.findings {
        let left_alone = finding.becomes.is_empty();
        let sure = if left_alone { String::new() } else { format!("{} %", finding.confidence) };
        let becomes = if left_alone { "-" } else { &finding.becomes };
        table.add_row([&finding.place, becomes, &finding.how, &sure, &finding.because]);
    }
    say!();
    say!("{}", table.trim_fmt());
    Ok(())
}

/// Writes the whole folder under a hidden name first, since a running daemon may load the packs at any moment.
fn write_pack(files: &Files, folder: &Path, draft: &Draft) -> anyhow::Result<PathBuf> {
    let hidden = folder.join(format!(".{}.draft", draft.name));
    let target = folder.join(&draft.name);
    files.remove_dir_all(&hidden)?;
    files.create_dir_all(&hidden)?;
    files.write_durable(&hidden.join("format.toml"), draft.format_toml.as_bytes())?;
    files.write_durable(&hidden.join(&draft.sample_name), &draft.sample_bytes)?;
    files.write_durable(&hidden.join("expected.csv"), draft.expected_csv.as_bytes())?;
    files.rename_durable(&hidden, &target)?;
    Ok(target.join("format.toml"))
}

/// Where a draft that is no pack goes: a plain file beside the packs, which the importer passes over.
fn unfinished_path(folder: &Path, name: &str) -> PathBuf {
    folder.join(format!("{name}.draft.toml"))
}

fn write_unfinished(files: &Files, folder: &Path, draft: &Draft, obstacle: &str) -> anyhow::Result<anyhow::Error> {
    if draft.format_toml.is_empty() {
        return Ok(anyhow::anyhow!("no pack can be drafted: {obstacle}\nhint: give an export as the device writes it"));
    }
    let path = unfinished_path(folder, &draft.name);
    files.create_dir_all(folder)?;
    files.write_durable(&path, draft.format_toml.as_bytes())?;
    show_questions(draft, &path)?;
    Ok(anyhow::anyhow!(
        "this is no pack yet: {obstacle}\nhint: what was recognised stands in {}, which the importer passes over; complete it, and \
         move it to {}",
        path.display(),
        folder.join(&draft.name).join("format.toml").display()
    ))
}

fn show_questions(draft: &Draft, page: &Path) -> std::io::Result<()> {
    say!();
    say!("To be decided by a person:");
    for (number, question) in draft.questions.iter().enumerate() {
        say!("{:>3}. {}:{}", number + 1, page.display(), question.line);
        say!("     {}", question.text);
    }
    Ok(())
}

/// Reads what was written as the importer will, so that nothing is promised that does not hold.
fn show_proof(folder: &Path, draft: &Draft, file_name: &str, bytes: &[u8]) -> anyhow::Result<()> {
    let (packs, faults) = PackSet::load(folder);
    let own = folder.join(&draft.name);
    if let Some(fault) = faults.iter().find(|fault| fault.path.starts_with(&own)) {
        bail!("the drafted pack does not load\n{fault}");
    }
    let pack = packs.pack(&draft.name).context("the drafted pack is not among the packs that were loaded")?;
    let report = formats::test_pack(pack);
    say!();
    say!("{report}");
    say!("  expected.csv was written by this very pack: it proves nothing until you have checked it by hand");
    if !report.passed() {
        bail!("the drafted pack does not pass its own test");
    }
    if let Recognition::Tie { packs, .. } = packs.recognise(file_name, bytes) {
        let names: Vec<&str> = packs.iter().map(|pack| pack.name()).collect();
        say!(
            "  warning: these packs fit the export equally well, so that it would be quarantined: {}",
            names.join(", ")
        );
    }
    Ok(())
}
