//! Which keys and source files the partitions hold, as 64-bit hashes in one SQLite file beside the segments.
//!
//! A wrong hit (two keys of one hash) only makes a publication read one partition more. A missing hit would leave a moved row
//! in two months, so an entry counts only if it is tied to the very file that is published: by SHA-256. Each transaction
//! changes hashes and SHA-256 together and is committed before the file shows; whatever a crash leaves, the entry of a file
//! either describes it or names another one, and is then built anew. The whole file may be deleted at any time.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::path::PathBuf;

use arrow::array::{RecordBatch, StringArray};
use rusqlite::{Connection, ErrorCode, OpenFlags, OptionalExtension, Transaction, params};
use shot::{Month, TableSchema};

use crate::keys::{OrderCheck, SOURCE_COLUMN, hash64, keys_of, order_columns, typed};
use crate::store::Store;
use crate::{LakeError, Manifest, profile};

const FILE_NAME: &str = "key-index.sqlite";
/// Marks the file as ours ("SMKI"); another file under this name is replaced.
const APPLICATION: i32 = 0x534d_4b49;
/// Rises when the tables change; an index of another version is built anew.
const VERSION: i32 = 1;
/// Memory that SQLite may use for pages, in KiB.
const CACHE_KIB: i32 = 16 * 1024;
/// Hashes handed to SQLite in one statement.
const HASHES_PER_STATEMENT: usize = 2_000;

// A partition that is described anew gets a new number, so that what is left of the old description is never a hit.
const TABLES: &str = "
    CREATE TABLE partitions (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        dataset TEXT NOT NULL,
        month TEXT NOT NULL,
        sha256 TEXT NOT NULL,
        layout TEXT NOT NULL,
        is_sorted INTEGER NOT NULL,
        UNIQUE (dataset, month)
    ) STRICT;
    CREATE TABLE keys (
        hash INTEGER NOT NULL, partition INTEGER NOT NULL, PRIMARY KEY (hash, partition)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE sources (
        hash INTEGER NOT NULL, partition INTEGER NOT NULL, PRIMARY KEY (hash, partition)
    ) STRICT, WITHOUT ROWID;
";

/// Hashes of keys and of source files.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Hashes {
    pub(crate) keys: HashSet<u64>,
    pub(crate) sources: HashSet<u64>,
}

impl Hashes {
    pub(crate) fn add_rows(&mut self, schema: &TableSchema, rows: &RecordBatch) -> Result<(), LakeError> {
        self.keys.extend(keys_of(schema, rows)?.iter().map(|key| hash64(key)));
        self.sources.extend(source_hashes(schema, rows)?);
        Ok(())
    }

    /// These without those.
    pub(crate) fn without(&self, others: &Hashes) -> Hashes {
        Hashes {
            keys: self.keys.difference(&others.keys).copied().collect(),
            sources: self.sources.difference(&others.sources).copied().collect(),
        }
    }
}

/// What a partition's entry becomes, to be noted before the file shows.
#[derive(Debug)]
pub(crate) struct EntryChange {
    pub(crate) dataset: String,
    pub(crate) month: Option<Month>,
    pub(crate) layout: String,
    /// SHA-256 of the new file; `None` where the partition goes.
    pub(crate) sha256: Option<String>,
    /// Whether the entry so far describes the file so far, so that only `gone` and `added` need be written. Otherwise `added`
    /// is everything.
    pub(crate) builds_on_entry: bool,
    pub(crate) gone: Hashes,
    pub(crate) added: Hashes,
}

impl EntryChange {
    pub(crate) fn removal(schema: &TableSchema, month: Option<Month>) -> EntryChange {
        EntryChange {
            dataset: schema.name.clone(),
            month,
            layout: layout(schema),
            sha256: None,
            builds_on_entry: false,
            gone: Hashes::default(),
            added: Hashes::default(),
        }
    }
}

/// What the index says about a publication into one dataset.
#[derive(Debug, Default)]
pub(crate) struct Found {
    /// Partitions whose file the manifest does not tell of; after an interrupted publication there may be some.
    pub(crate) untold: BTreeSet<Option<Month>>,
    /// Partitions that hold one of the keys, or at least a key of the same hash.
    pub(crate) with_key: BTreeSet<Option<Month>>,
    /// Partitions that hold rows of one of the source files.
    pub(crate) with_source: BTreeSet<Option<Month>>,
    /// Partitions whose rows do not stand in today's order.
    pub(crate) unsorted: BTreeSet<Option<Month>>,
}

/// What the key hashes and the order mean: an entry made for other key or sort columns is no use.
pub(crate) fn layout(schema: &TableSchema) -> String {
    format!("key {}; order {}", schema.key.join(","), order_columns(schema).join(","))
}

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

/// `None` for a database that is not this index in this version.
fn open(path: &std::path::Path) -> rusqlite::Result<Option<Connection>> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags)?;
    // A full sync is not for durability, which this file could do without: a torn transaction would be a wrong index.
    connection.execute_batch(&format!(
        "PRAGMA synchronous = FULL; PRAGMA cache_size = -{CACHE_KIB}; PRAGMA cell_size_check = ON;"
    ))?;
    let tables: i64 = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if tables == 0 {
        connection.execute_batch(&format!(
            "BEGIN; {TABLES} PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {VERSION}; COMMIT;"
        ))?;
        return Ok(Some(connection));
    }
    let application: i32 = connection.query_row("PRAGMA application_id", [], |row| row.get(0))?;
    let version: i32 = connection.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    Ok((application == APPLICATION && version == VERSION).then_some(connection))
}

fn note_all(transaction: &Transaction<'_>, changes: &[EntryChange]) -> rusqlite::Result<()> {
    let mut has_leftovers = false;
    for change in changes {
        let Some(sha256) = &change.sha256 else {
            has_leftovers |= forget(transaction, &change.dataset, change.month)?;
            continue;
        };
        let number = if change.builds_on_entry {
            let renew = "UPDATE partitions SET sha256 = ?1, layout = ?2, is_sorted = 1
                 WHERE dataset = ?3 AND month = ?4 RETURNING number";
            let values = params![sha256, change.layout, change.dataset, month_text(change.month)];
            // Without the entry it builds on, a part would pass for the whole: better no entry, which is built when needed.
            let Some(number) = transaction.prepare_cached(renew)?.query_row(values, |row| row.get(0)).optional()?
            else {
                continue;
            };
            delete(transaction, "keys", number, &change.gone.keys)?;
            delete(transaction, "sources", number, &change.gone.sources)?;
            number
        } else {
            has_leftovers |= forget(transaction, &change.dataset, change.month)?;
            enter(transaction, &change.dataset, change.month, sha256, &change.layout)?
        };
        insert(transaction, "keys", number, &ascending(&change.added.keys))?;
        insert(transaction, "sources", number, &ascending(&change.added.sources))?;
    }
    if has_leftovers { sweep(transaction) } else { Ok(()) }
}

/// Takes an entry away; its hashes stay until they are swept. Answers whether there was one.
fn forget(transaction: &Transaction<'_>, dataset: &str, month: Option<Month>) -> rusqlite::Result<bool> {
    let mut statement = transaction.prepare_cached("DELETE FROM partitions WHERE dataset = ?1 AND month = ?2")?;
    Ok(statement.execute(params![dataset, month_text(month)])? > 0)
}

fn enter(
    transaction: &Transaction<'_>,
    dataset: &str,
    month: Option<Month>,
    sha256: &str,
    layout: &str,
) -> rusqlite::Result<i64> {
    let enter = "INSERT INTO partitions (dataset, month, sha256, layout, is_sorted) VALUES (?1, ?2, ?3, ?4, 1)";
    transaction.prepare_cached(enter)?.execute(params![dataset, month_text(month), sha256, layout])?;
    Ok(transaction.last_insert_rowid())
}

fn insert(transaction: &Transaction<'_>, table: &str, partition: i64, hashes: &[u64]) -> rusqlite::Result<()> {
    let enter = format!("INSERT OR IGNORE INTO {table} (hash, partition) SELECT value, ?1 FROM json_each(?2)");
    let mut statement = transaction.prepare_cached(&enter)?;
    for piece in hashes.chunks(HASHES_PER_STATEMENT) {
        statement.execute(params![partition, list_text(piece)])?;
    }
    Ok(())
}

fn delete(transaction: &Transaction<'_>, table: &str, partition: i64, hashes: &HashSet<u64>) -> rusqlite::Result<()> {
    let remove = format!("DELETE FROM {table} WHERE hash = ?1 AND partition = ?2");
    let mut statement = transaction.prepare_cached(&remove)?;
    for hash in hashes {
        statement.execute([hash.cast_signed(), partition])?;
    }
    Ok(())
}

fn sweep(transaction: &Transaction<'_>) -> rusqlite::Result<()> {
    transaction.execute("DELETE FROM keys WHERE partition NOT IN (SELECT number FROM partitions)", [])?;
    transaction.execute("DELETE FROM sources WHERE partition NOT IN (SELECT number FROM partitions)", [])?;
    Ok(())
}

fn source_hashes(schema: &TableSchema, rows: &RecordBatch) -> Result<HashSet<u64>, LakeError> {
    let sources: &StringArray = typed(&schema.name, rows, SOURCE_COLUMN)?;
    let mut hashes = HashSet::new();
    let mut latest = None;
    for source in sources.iter().flatten() {
        // Rows of one file mostly stand together.
        if latest != Some(source) {
            hashes.insert(hash64(source.as_bytes()));
            latest = Some(source);
        }
    }
    Ok(hashes)
}

/// In the order of the tree, in which numbers are signed.
fn ascending(hashes: &HashSet<u64>) -> Vec<u64> {
    let mut ordered: Vec<u64> = hashes.iter().copied().collect();
    ordered.sort_unstable_by_key(|hash| hash.cast_signed());
    ordered
}

fn list_text(hashes: &[u64]) -> String {
    use std::fmt::Write;
    let mut text = String::with_capacity(hashes.len() * 21 + 2);
    for (position, hash) in hashes.iter().enumerate() {
        let start = if position == 0 { '[' } else { ',' };
        // Writing to a text cannot fail.
        let _ = write!(text, "{start}{}", hash.cast_signed());
    }
    text.push(']');
    text
}

fn month_text(month: Option<Month>) -> String {
    month.map_or_else(String::new, |month| month.to_string())
}

fn is_damage(error: &LakeError) -> bool {
    matches!(error, LakeError::Index { cause, .. } if is_damage_code(cause))
}

fn is_damage_code(cause: &rusqlite::Error) -> bool {
    matches!(cause.sqlite_error_code(), Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase))
}
