//! What ships with the program: configuration, packs and demo data, and a new home made of them.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};

/// The folder that holds the shipped `config/`, `plugins/` and `demo-data/`: the working folder or one above it, or one above
/// the program itself.
pub fn shipped_folder() -> anyhow::Result<PathBuf> {
    let working = std::env::current_dir().context("the working folder cannot be named")?;
    let program = std::env::current_exe().unwrap_or_default();
    for start in [working.as_path(), program.as_path()] {
        for folder in start.ancestors() {
            if folder.join("plugins/formats").is_dir() && folder.join("config/heads.toml").is_file() {
                return Ok(folder.to_owned());
            }
        }
    }
    bail!(
        "the shipped configuration and packs were not found above {} nor above the program\n\
         hint: run this inside the strikemill folder that holds config/ and plugins/",
        working.display()
    )
}

/// Import folders of the shipped configuration; the demo's exports lie in folders of the same names.
pub const BAYS: [&str; 7] = ["bay1", "bay2", "bay3", "bay4", "bay5", "bay6", "tee1"];

/// Other folders of a home that are made empty.
const EMPTY_FOLDERS: [&str; 5] = ["archive", "quarantine", "state", "lake", "digests"];

/// Makes a home: shipped configuration and packs, empty folders. Refuses a folder that already has a configuration.
pub fn make_home(shipped: &Path, home: &Path) -> anyhow::Result<()> {
    if home.join(crate::config::CONFIGURATION_FILE).exists() {
        bail!(
            "{} has a configuration already; nothing was changed\nhint: choose another folder with --home DIR",
            home.display()
        );
    }
    for part in ["config", "plugins"] {
        copy_folder(&shipped.join(part), &home.join(part))?;
    }
    let imports = BAYS.iter().map(|bay| format!("import/{bay}"));
    for part in imports.chain(EMPTY_FOLDERS.map(str::to_owned)) {
        std::fs::create_dir_all(home.join(&part))
            .with_context(|| format!("cannot make {}", home.join(&part).display()))?;
    }
    Ok(())
}

/// Copies a folder with its sub-folders; a file that exists already is kept.
pub fn copy_folder(from: &Path, to: &Path) -> anyhow::Result<()> {
    std::fs::create_dir_all(to).with_context(|| format!("cannot make {}", to.display()))?;
    let entries = std::fs::read_dir(from).with_context(|| format!("cannot list {}", from.display()))?;
    for entry in entries {
        let entry = entry.with_context(|| format!("cannot list {}", from.display()))?;
        let target = to.join(entry.file_name());
        if entry.file_type().with_context(|| format!("cannot look at {}", entry.path().display()))?.is_dir() {
            copy_folder(&entry.path(), &target)?;
        } else if !target.exists() {
            std::fs::copy(entry.path(), &target)
                .with_context(|| format!("cannot copy {} to {}", entry.path().display(), target.display()))?;
        }
    }
    Ok(())
}
