//! The packs of a folder. This module holds the crate's only I/O.

use std::path::Path;

use crate::compile::compile;
use crate::fault::PackFault;
use crate::pack::{Pack, ProofMaterial};

/// All packs of a folder that are sound.
#[derive(Debug, Default)]
pub struct PackSet {
    packs: Vec<Pack>,
}

impl PackSet {
    /// Loads every folder in `dir` as a pack, by name. A faulty pack yields its faults and does not hide the good ones.
    /// Plain files in `dir` and names that begin with a dot are passed over.
    pub fn load(dir: &Path) -> (PackSet, Vec<PackFault>) {
        let mut set = PackSet::default();
        let mut faults = Vec::new();
        let entries = match std::fs::read_dir(dir) {
            Ok(entries) => entries,
            Err(error) => return (set, vec![unreadable(dir, &error)]),
        };
        let mut folders = Vec::new();
        for entry in entries {
            match entry {
                Ok(entry) if entry.path().is_dir() && !entry.file_name().to_string_lossy().starts_with('.') => {
                    folders.push(entry.path());
                }
                Ok(_) => {}
                Err(error) => faults.push(unreadable(dir, &error)),
            }
        }
        folders.sort();
        for folder in folders {
            match load_pack(&folder) {
                Ok(pack) => set.packs.push(pack),
                Err(found) => faults.extend(found),
            }
        }
        (set, faults)
    }

    /// The packs, by name.
    pub fn packs(&self) -> &[Pack] {
        &self.packs
    }

    /// The pack of a name.
    pub fn pack(&self, name: &str) -> Option<&Pack> {
        self.packs.iter().find(|pack| pack.name() == name)
    }
}

fn unreadable(path: &Path, error: &std::io::Error) -> PackFault {
    PackFault::whole(
        path,
        format!("cannot be read: {error}"),
        "check that it exists and that the daemon's user may read it",
    )
}

fn load_pack(folder: &Path) -> Result<Pack, Vec<PackFault>> {
    let path = folder.join("format.toml");
    let text = std::fs::read_to_string(&path).map_err(|error| vec![unreadable(&path, &error)])?;
    let mut pack = compile(&path, &text)?;
    let material = load_proof(folder).map_err(|fault| vec![fault])?;
    pack.proof.folder = material.folder;
    pack.proof.samples = material.samples;
    pack.proof.expected = material.expected;
    Ok(pack)
}

/// Samples and expected rows; a pack may lack them, its test then says so.
fn load_proof(folder: &Path) -> Result<ProofMaterial, PackFault> {
    let mut material = ProofMaterial { folder: folder.to_owned(), ..ProofMaterial::default() };
    let entries = std::fs::read_dir(folder).map_err(|error| unreadable(folder, &error))?;
    for entry in entries {
        let path = entry.map_err(|error| unreadable(folder, &error))?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if name == "expected.csv" {
            material.expected = Some(std::fs::read_to_string(&path).map_err(|error| unreadable(&path, &error))?);
        } else if name.starts_with("sample") && path.is_file() {
            let bytes = std::fs::read(&path).map_err(|error| unreadable(&path, &error))?;
            material.samples.push((name, bytes));
        }
    }
    material.samples.sort();
    Ok(material)
}
