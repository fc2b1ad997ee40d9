//! Does the lake hold what its manifest tells?

use std::collections::BTreeSet;

use crate::{Lake, LakeError};

impl Lake {
    /// Compares the manifest with the files: every live file stands, with its size and hash, and no other partition stands.
    /// Answers one sentence per difference; none means that all is well. Reads every file.
    pub fn differences(&self) -> Result<Vec<String>, LakeError> {
        let store = self.store();
        let manifest = self.manifest()?;
        let mut differences = Vec::new();
        let mut named = BTreeSet::new();
        for entry in &manifest.files {
            named.insert((entry.dataset.clone(), entry.month));
            let path = store.partition_path(&entry.dataset, entry.month);
            match store.bytes_of(&path)? {
                None => differences.push(format!("{} is missing", entry.path)),
                Some(bytes) if bytes.cast_signed() != entry.bytes => {
                    differences.push(format!("{} has {bytes} bytes, not {}", entry.path, entry.bytes));
                }
                Some(_) if store.files.sha256_of_file(&path)? != entry.sha256 => {
                    differences.push(format!("{} has other bytes than were published", entry.path));
                }
                Some(_) => {}
            }
        }
        for dataset in store.datasets()? {
            for month in store.partitions(&dataset)? {
                if !named.contains(&(dataset.clone(), month)) {
                    let path = store.relative_path(&dataset, month);
                    differences.push(format!("{path} stands, but the manifest does not name it"));
                }
            }
        }
        Ok(differences)
    }
}
