//! Which keys and source files a partition holds, as sorted 64-bit hashes in a small file beside the segments.
//!
//! A wrong hit (two keys of one hash) only makes a publication read one partition more. A missing hit would leave a moved row
//! in two months, so an index counts only if it is tied to the very file that is published: by SHA-256.

use std::collections::HashSet;

use arrow::array::{RecordBatch, StringArray};
use shot::{Month, TableSchema};

use crate::keys::{SOURCE_COLUMN, hash64, keys_of, typed};
use crate::store::Store;
use crate::{LakeError, Manifest, profile};

const MAGIC: &[u8; 8] = b"SMKEYS01";
const HASH_DIGITS: usize = 64;

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct KeyIndex {
    /// SHA-256 of the partition file this index describes.
    partition_sha256: String,
    keys: Vec<u64>,
    sources: Vec<u64>,
}

impl KeyIndex {
    pub(crate) fn of_rows(
        schema: &TableSchema,
        rows: &RecordBatch,
        partition_sha256: &str,
    ) -> Result<KeyIndex, LakeError> {
        let mut hashes = Hashes::default();
        hashes.add(schema, rows)?;
        Ok(hashes.into_index(partition_sha256))
    }

    pub(crate) fn has_key(&self, hash: u64) -> bool {
        self.keys.binary_search(&hash).is_ok()
    }

    pub(crate) fn has_source(&self, hash: u64) -> bool {
        self.sources.binary_search(&hash).is_ok()
    }

    /// The index of a partition that stands: as stored if it is tied to the file, rebuilt and stored otherwise. The second answer
    /// is whether the manifest tells of this very file; after an interrupted publication it may not.
    pub(crate) fn of_partition(
        store: &Store,
        manifest: &Manifest,
        schema: &TableSchema,
        month: Option<Month>,
    ) -> Result<(KeyIndex, bool), LakeError> {
        let path = store.partition_path(&schema.name, month);
        let stored = match store.read_document(&store.index_path(&schema.name, month))? {
            Some(bytes) => KeyIndex::decode(&bytes),
            None => None,
        };
        let entry = manifest.file(&schema.name, month);
        if let (Some(index), Some(entry)) = (&stored, entry)
            && index.partition_sha256 == entry.sha256
            && store.bytes_of(&path)?.map(u64::cast_signed) == Some(entry.bytes)
        {
            return Ok((index.clone(), true));
        }
        // The manifest does not vouch for the index: ask the file itself.
        let sha256 = store.files.sha256_of_file(&path)?;
        let is_told = entry.is_some_and(|entry| entry.sha256 == sha256);
        match stored {
            Some(index) if index.partition_sha256 == sha256 => return Ok((index, is_told)),
            _ => {}
        }
        tracing::info!(dataset = schema.name, ?month, "rebuilding a key index");
        let mut hashes = Hashes::default();
        for rows in profile::read_all(store, &path, schema)?.batches {
            hashes.add(schema, &rows)?;
        }
        let index = hashes.into_index(&sha256);
        index.write(store, &schema.name, month)?;
        Ok((index, is_told))
    }

    pub(crate) fn write(&self, store: &Store, dataset: &str, month: Option<Month>) -> Result<(), LakeError> {
        store.write_document(&store.index_path(dataset, month), &self.encode())
    }

    fn encode(&self) -> Vec<u8> {
        let mut bytes = MAGIC.to_vec();
        bytes.extend_from_slice(self.partition_sha256.as_bytes());
        bytes.extend_from_slice(&(self.sources.len() as u64).to_le_bytes());
        bytes.extend_from_slice(&(self.keys.len() as u64).to_le_bytes());
        for hash in self.sources.iter().chain(&self.keys) {
            bytes.extend_from_slice(&hash.to_le_bytes());
        }
        bytes
    }

    /// `None` for anything but a whole index of this version: it is then rebuilt.
    fn decode(bytes: &[u8]) -> Option<KeyIndex> {
        let rest = bytes.strip_prefix(MAGIC)?;
        let (sha256, rest) = rest.split_at_checked(HASH_DIGITS)?;
        let (words, remainder) = rest.as_chunks::<8>();
        let mut numbers = words.iter().map(|word| u64::from_le_bytes(*word));
        let source_count = usize::try_from(numbers.next()?).ok()?;
        let key_count = usize::try_from(numbers.next()?).ok()?;
        let sources: Vec<u64> = numbers.by_ref().take(source_count).collect();
        let keys: Vec<u64> = numbers.collect();
        let is_whole = remainder.is_empty() && sources.len() == source_count && keys.len() == key_count;
        let is_ordered = keys.is_sorted() && sources.is_sorted();
        let partition_sha256 = String::from_utf8(sha256.to_vec()).ok()?;
        (is_whole && is_ordered).then_some(KeyIndex { partition_sha256, keys, sources })
    }
}

#[derive(Default)]
struct Hashes {
    keys: Vec<u64>,
    sources: HashSet<u64>,
}

impl Hashes {
    fn add(&mut self, schema: &TableSchema, rows: &RecordBatch) -> Result<(), LakeError> {
        self.keys.extend(keys_of(schema, rows)?.iter().map(|key| hash64(key)));
        let sources: &StringArray = typed(&schema.name, rows, SOURCE_COLUMN)?;
        self.sources.extend(sources.iter().flatten().map(|source| hash64(source.as_bytes())));
        Ok(())
    }

    fn into_index(mut self, partition_sha256: &str) -> KeyIndex {
        self.keys.sort_unstable();
        let mut sources: Vec<u64> = self.sources.into_iter().collect();
        sources.sort_unstable();
        KeyIndex { partition_sha256: partition_sha256.to_owned(), keys: self.keys, sources }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_index_survives_its_file_and_a_torn_one_is_no_index() {
        let index = KeyIndex { partition_sha256: "a".repeat(64), keys: vec![1, 5, u64::MAX], sources: vec![7] };
        let bytes = index.encode();
        assert_eq!(KeyIndex::decode(&bytes), Some(index.clone()));
        assert!(index.has_key(5) && !index.has_key(4) && index.has_source(7) && !index.has_source(1));
        for length in [0, 7, 8, 70, 72, 79, 80, 88, bytes.len() - 8, bytes.len() - 1] {
            assert_eq!(KeyIndex::decode(&bytes[..length]), None, "{length} bytes");
        }
    }
}
