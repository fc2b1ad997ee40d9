//! Which keys and source files the partitions hold, as 64-bit hashes in one SQLite file beside the segments.
//!
//! A wrong hit (two keys of one hash) only makes a publication read one partition more. A missing hit would leave a moved row
//! in two months, so an entry counts only if it is tied to the very file that is published: by SHA-256. Each transaction
//! changes hashes and SHA-256 together and is committed before the file shows; whatever a crash leaves, the entry of a file
//! either describes it or names another one, and is then built anew. The whole file may be deleted at any time.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::path::PathBuf;

use rusqlite::{Connection, params};
use shot::{Month, TableSchema};

use crate::index_entry::{EntryChange, Found, Hashes, layout, source_hashes};
use crate::index_tables::{
    HASHES_PER_STATEMENT, ascending, enter, forget, insert, is_damage_code, list_text, month_text, note_all, open,
    sweep,
};
use crate::keys::{OrderCheck, SOURCE_COLUMN, hash64, keys_of, order_columns};
use crate::store::Store;
use crate::{LakeError, Manifest, profile};

const FILE_NAME: &str = "key-index.sqlite";
/// The index, opened when first needed. Only the holder of the lake's write turn uses it.
#[derive(Debug)]
pub(crate) struct KeyIndex<'a> {
    store: &'a Store,
    path: PathBuf,
    connection: Option<Connection>,
}

struct Entry {
    sha256: String,
    layout: String,
    is_sorted: bool,
}

impl<'a> KeyIndex<'a> {
    pub(crate) fn new(store: &'a Store) -> KeyIndex<'a> {
        KeyIndex { store, path: store.staging_root.join(FILE_NAME), connection: None }
    }

    /// Brings the entries of a dataset in step with the files that stand, then looks the hashes up.
    pub(crate) fn look_up(
        &mut self,
        manifest: &Manifest,
        schema: &TableSchema,
        standing: &[Option<Month>],
        wanted: &Hashes,
    ) -> Result<Found, LakeError> {
        match self.try_look_up(manifest, schema, standing, wanted) {
            Err(error) if is_damage(&error) => {
                self.start_anew(&error)?;
                self.try_look_up(manifest, schema, standing, wanted)
            }
            other => other,
        }
    }

    /// Whether the entry of a partition describes the file that stands.
    pub(crate) fn describes(
        &mut self,
        manifest: &Manifest,
        schema: &TableSchema,
        month: Option<Month>,
    ) -> Result<bool, LakeError> {
        let entries = match self.entries(&schema.name) {
            Err(error) if is_damage(&error) => {
                self.start_anew(&error)?;
                BTreeMap::new()
            }
            other => other?,
        };
        let Some(entry) = entries.get(&month_text(month)) else { return Ok(false) };
        Ok(entry.layout == layout(schema) && vouches(self.store, manifest, schema, month, &entry.sha256)?)
    }

    /// Notes what the partitions are about to hold, in one transaction.
    pub(crate) fn note(&mut self, changes: &[EntryChange]) -> Result<(), LakeError> {
        if changes.is_empty() {
            return Ok(());
        }
        match self.try_note(changes) {
            // Nothing is noted then, and the next publication builds what it needs.
            Err(error) if is_damage(&error) => self.start_anew(&error),
            other => other,
        }
    }

    fn try_look_up(
        &mut self,
        manifest: &Manifest,
        schema: &TableSchema,
        standing: &[Option<Month>],
        wanted: &Hashes,
    ) -> Result<Found, LakeError> {
        let mut found = Found::default();
        let mut stale = Vec::new();
        let entries = self.entries(&schema.name)?;
        let today = layout(schema);
        for month in standing {
            let entry = entries.get(&month_text(*month)).filter(|entry| entry.layout == today);
            if let Some(entry) = entry
                && vouches(self.store, manifest, schema, *month, &entry.sha256)?
            {
                if !entry.is_sorted {
                    found.unsorted.insert(*month);
                }
                continue;
            }
            // The manifest does not vouch for the entry: ask the file itself.
            let sha256 = self.store.sha256_of(&self.store.partition_path(&schema.name, *month))?;
            if manifest.file(&schema.name, *month).is_none_or(|told| told.sha256 != sha256) {
                found.untold.insert(*month);
            }
            match entry {
                Some(entry) if entry.sha256 == sha256 => {
                    if !entry.is_sorted {
                        found.unsorted.insert(*month);
                    }
                }
                _ => stale.push((*month, sha256)),
            }
        }
        if !stale.is_empty() {
            tracing::info!(dataset = schema.name, partitions = stale.len(), "building entries of the key index anew");
            found.unsorted.extend(self.rebuild(schema, &stale)?);
        }
        found.with_key = self.months_with("keys", &schema.name, &wanted.keys)?;
        found.with_source = self.months_with("sources", &schema.name, &wanted.sources)?;
        // An entry may outlive its file.
        found.with_key.retain(|month| standing.contains(month));
        found.with_source.retain(|month| standing.contains(month));
        Ok(found)
    }

    fn entries(&mut self, dataset: &str) -> Result<BTreeMap<String, Entry>, LakeError> {
        let path = self.path.clone();
        let connection = self.opened()?;
        let read = || {
            let mut statement = connection
                .prepare_cached("SELECT month, sha256, layout, is_sorted FROM partitions WHERE dataset = ?1")?;
            let rows = statement.query_map([dataset], |row| {
                let entry = Entry { sha256: row.get(1)?, layout: row.get(2)?, is_sorted: row.get(3)? };
                Ok((row.get(0)?, entry))
            })?;
            rows.collect::<rusqlite::Result<BTreeMap<String, Entry>>>()
        };
        read().map_err(|cause| LakeError::index("read", &path, cause))
    }

    fn months_with(
        &mut self,
        table: &str,
        dataset: &str,
        hashes: &HashSet<u64>,
    ) -> Result<BTreeSet<Option<Month>>, LakeError> {
        let path = self.path.clone();
        let connection = self.opened()?;
        // CROSS JOIN fixes the order of the loops: one descent into the tree a wanted hash.
        let query = format!(
            "SELECT DISTINCT partitions.month FROM json_each(?1) AS wanted
             CROSS JOIN {table} AS held ON held.hash = wanted.value
             CROSS JOIN partitions ON partitions.number = held.partition WHERE partitions.dataset = ?2"
        );
        let mut months = BTreeSet::new();
        let mut read = || -> rusqlite::Result<()> {
            let mut statement = connection.prepare_cached(&query)?;
            for piece in ascending(hashes).chunks(HASHES_PER_STATEMENT) {
                for month in statement.query_map(params![list_text(piece), dataset], |row| row.get::<_, String>(0))? {
                    months.insert(Month::parse(&month?));
                }
            }
            Ok(())
        };
        read().map_err(|cause| LakeError::index("read", &path, cause))?;
        Ok(months)
    }

    /// Describes files anew, reading only the columns that matter. Answers which of them are not in order.
    fn rebuild(
        &mut self,
        schema: &TableSchema,
        stale: &[(Option<Month>, String)],
    ) -> Result<BTreeSet<Option<Month>>, LakeError> {
        let (store, path) = (self.store, self.path.clone());
        let failed = |cause| LakeError::index("rebuild", &path, cause);
        let mut unsorted = BTreeSet::new();
        let transaction = self.opened()?.transaction().map_err(failed)?;
        // First gathered as they come, then entered in the order of the tree: random insertion would write each page of a
        // large index once a partition.
        transaction
            .execute_batch(
                "CREATE TEMP TABLE IF NOT EXISTS gathered (hash INTEGER NOT NULL, partition INTEGER NOT NULL);",
            )
            .map_err(failed)?;
        let mut has_leftovers = false;
        for (month, sha256) in stale {
            has_leftovers |= forget(&transaction, &schema.name, *month).map_err(failed)?;
            let number = enter(&transaction, &schema.name, *month, sha256, &layout(schema)).map_err(failed)?;
            let mut columns = order_columns(schema);
            columns.push(SOURCE_COLUMN);
            let mut order = OrderCheck::new(schema)?;
            let mut sources = HashSet::new();
            let file = store.partition_path(&schema.name, *month);
            profile::read_columns(store, &file, &columns, |rows| {
                order.check(rows)?;
                sources.extend(source_hashes(schema, rows)?);
                let hashes: Vec<u64> = keys_of(schema, rows)?.iter().map(|key| hash64(key)).collect();
                insert(&transaction, "gathered", number, &hashes).map_err(failed)
            })?;
            insert(&transaction, "sources", number, &ascending(&sources)).map_err(failed)?;
            if !order.is_sorted() {
                let note = "UPDATE partitions SET is_sorted = 0 WHERE number = ?1";
                transaction.execute(note, [number]).map_err(failed)?;
                unsorted.insert(*month);
            }
        }
        let enter_all = "INSERT OR IGNORE INTO keys SELECT hash, partition FROM gathered ORDER BY hash, partition";
        transaction.execute(enter_all, []).map_err(failed)?;
        transaction.execute_batch("DROP TABLE gathered;").map_err(failed)?;
        if has_leftovers {
            sweep(&transaction).map_err(failed)?;
        }
        store.files.stat(&path)?;
        transaction.commit().map_err(failed)?;
        Ok(unsorted)
    }

    fn try_note(&mut self, changes: &[EntryChange]) -> Result<(), LakeError> {
        let (store, path) = (self.store, self.path.clone());
        let transaction =
            self.opened()?.transaction().map_err(|cause| LakeError::index("begin to write", &path, cause))?;
        note_all(&transaction, changes).map_err(|cause| LakeError::index("write", &path, cause))?;
        // The commit does not go through `files`; this look lets tests fail it or cut the power before it.
        store.files.stat(&path)?;
        transaction.commit().map_err(|cause| LakeError::index("write", &path, cause))
    }

    fn opened(&mut self) -> Result<&mut Connection, LakeError> {
        let connection = match self.connection.take() {
            Some(connection) => connection,
            None => self.open_or_replace()?,
        };
        Ok(self.connection.insert(connection))
    }

    fn open_or_replace(&self) -> Result<Connection, LakeError> {
        if self.store.files.stat(&self.path)?.is_none() {
            self.store.files.create_dir_all(&self.store.staging_root)?;
            // Earlier versions kept one small file a partition.
            self.store.files.remove_dir_all(&self.store.staging_root.join("key-index"))?;
        }
        match open(&self.path) {
            Err(cause) if !is_damage_code(&cause) => Err(LakeError::index("open", &self.path, cause)),
            Ok(Some(connection)) => Ok(connection),
            other => {
                tracing::warn!(path = %self.path.display(), fault = ?other.err(), "the key index does not read; it is built anew");
                self.remove_files()?;
                let reopened = open(&self.path).map_err(|cause| LakeError::index("open", &self.path, cause))?;
                let hint = "move this file away; it is built anew";
                reopened.ok_or_else(|| LakeError::document(&self.path, "stays another database when removed", hint))
            }
        }
    }

    fn start_anew(&mut self, error: &LakeError) -> Result<(), LakeError> {
        tracing::warn!(path = %self.path.display(), %error, "the key index is damaged; it is built anew");
        self.connection = None;
        self.remove_files()
    }

    fn remove_files(&self) -> Result<(), LakeError> {
        for ending in ["", "-journal", "-wal", "-shm"] {
            let mut name = self.path.clone().into_os_string();
            name.push(ending);
            self.store.files.remove(&PathBuf::from(name))?;
        }
        Ok(())
    }
}

/// Whether manifest and size say that the file which stands is the one of this SHA-256.
fn vouches(
    store: &Store,
    manifest: &Manifest,
    schema: &TableSchema,
    month: Option<Month>,
    sha256: &str,
) -> Result<bool, LakeError> {
    let Some(told) = manifest.file(&schema.name, month).filter(|told| told.sha256 == sha256) else { return Ok(false) };
    let bytes = store.bytes_of(&store.partition_path(&schema.name, month))?;
    Ok(bytes.map(u64::cast_signed) == Some(told.bytes))
}

fn is_damage(error: &LakeError) -> bool {
    matches!(error, LakeError::Index { cause, .. } if is_damage_code(cause))
}
