//! The packs of a folder. This module holds the crate's only I/O.

use std::io::{ErrorKind, Read};
use std::path::Path;

use crate::compile::compile;
use crate::fault::PackFault;
use crate::pack::{Pack, ProofMaterial};

/// Longest `format.toml`, in bytes; a pack is written by hand.
const LONGEST_FORMAT: u64 = 1 << 20;
/// Longest sample and longest `expected.csv`, in bytes.
const LONGEST_SAMPLE: u64 = 16 << 20;

/// All packs of a folder that are sound.
#[derive(Debug, Default)]
pub struct PackSet {
    packs: Vec<Pack>,
    /// Folders of packs that are faulty or could not be read.
    left_out: Vec<String>,
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
                Err(found) => {
                    faults.extend(found);
                    set.left_out.push(folder.file_name().unwrap_or_default().to_string_lossy().into_owned());
                }
            }
        }
        (set, faults)
    }

    /// The packs, by name.
    pub fn packs(&self) -> &[Pack] {
        &self.packs
    }

    /// Folder names of packs that are there but cannot be used: a file that no other pack fits may be theirs.
    pub fn left_out(&self) -> &[String] {
        &self.left_out
    }

    /// The pack of a name.
    pub fn pack(&self, name: &str) -> Option<&Pack> {
        self.packs.iter().find(|pack| pack.name() == name)
    }
}

fn unreadable(path: &Path, error: &std::io::Error) -> PackFault {
    let mut fault = PackFault::whole(
        path,
        format!("cannot be read: {error}"),
        "check that it exists and that the daemon's user may read it",
    );
    fault.is_unreadable = error.kind() != ErrorKind::NotFound;
    fault
}

/// The bytes of a file, or a fault where it is longer than a pack's file should be.
fn read_bytes(path: &Path, longest: u64) -> Result<Vec<u8>, PackFault> {
    let file = std::fs::File::open(path).map_err(|error| unreadable(path, &error))?;
    let mut bytes = Vec::new();
    // One byte more tells a file at the limit from one beyond it, however it grows meanwhile.
    file.take(longest + 1).read_to_end(&mut bytes).map_err(|error| unreadable(path, &error))?;
    if bytes.len() as u64 > longest {
        let message = format!("the file is longer than {longest} bytes");
        return Err(PackFault::whole(
            path,
            message,
            "a pack holds a short text and small samples; cut the sample down",
        ));
    }
    Ok(bytes)
}

fn read_text(path: &Path, longest: u64) -> Result<String, PackFault> {
    String::from_utf8(read_bytes(path, longest)?)
        .map_err(|_| PackFault::whole(path, "the file is no UTF-8 text", "save it as UTF-8"))
}

fn load_pack(folder: &Path) -> Result<Pack, Vec<PackFault>> {
    let path = folder.join("format.toml");
    let text = read_text(&path, LONGEST_FORMAT).map_err(|fault| vec![fault])?;
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
            material.expected = Some(read_text(&path, LONGEST_SAMPLE)?);
        } else if name.starts_with("sample") && path.is_file() {
            material.samples.push((name, read_bytes(&path, LONGEST_SAMPLE)?));
        }
    }
    material.samples.sort();
    Ok(material)
}
