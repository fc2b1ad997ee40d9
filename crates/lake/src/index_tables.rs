//! The SQL of the key index: its tables, and how they are opened, filled and cleaned.

use std::collections::HashSet;
use std::path::Path;

use rusqlite::{Connection, ErrorCode, OpenFlags, OptionalExtension, Transaction, params};
use shot::Month;

use crate::index_entry::EntryChange;

/// Marks the file as ours ("SMKI"); another file under this name is replaced.
const APPLICATION: i32 = 0x534d_4b49;
/// Rises when the tables change; an index of another version is built anew.
const VERSION: i32 = 1;
/// Memory that SQLite may use for pages, in KiB.
const CACHE_KIB: i32 = 16 * 1024;
/// Hashes handed to SQLite in one statement.
pub(crate) const HASHES_PER_STATEMENT: usize = 2_000;

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

/// `None` for a database that is not this index in this version.
pub(crate) fn open(path: &Path) -> rusqlite::Result<Option<Connection>> {
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

pub(crate) fn note_all(transaction: &Transaction<'_>, changes: &[EntryChange]) -> rusqlite::Result<()> {
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
pub(crate) fn forget(transaction: &Transaction<'_>, dataset: &str, month: Option<Month>) -> rusqlite::Result<bool> {
    let mut statement = transaction.prepare_cached("DELETE FROM partitions WHERE dataset = ?1 AND month = ?2")?;
    Ok(statement.execute(params![dataset, month_text(month)])? > 0)
}

pub(crate) fn enter(
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

pub(crate) fn insert(
    transaction: &Transaction<'_>,
    table: &str,
    partition: i64,
    hashes: &[u64],
) -> rusqlite::Result<()> {
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

pub(crate) fn sweep(transaction: &Transaction<'_>) -> rusqlite::Result<()> {
    transaction.execute("DELETE FROM keys WHERE partition NOT IN (SELECT number FROM partitions)", [])?;
    transaction.execute("DELETE FROM sources WHERE partition NOT IN (SELECT number FROM partitions)", [])?;
    Ok(())
}

/// In the order of the tree, in which numbers are signed.
pub(crate) fn ascending(hashes: &HashSet<u64>) -> Vec<u64> {
    let mut ordered: Vec<u64> = hashes.iter().copied().collect();
    ordered.sort_unstable_by_key(|hash| hash.cast_signed());
    ordered
}

pub(crate) fn list_text(hashes: &[u64]) -> String {
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

pub(crate) fn month_text(month: Option<Month>) -> String {
    month.map_or_else(String::new, |month| month.to_string())
}

pub(crate) fn is_damage_code(cause: &rusqlite::Error) -> bool {
    matches!(cause.sqlite_error_code(), Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::index_entry::Hashes;

    fn hashes(keys: &[u64]) -> Hashes {
        Hashes { keys: keys.iter().copied().collect(), sources: keys.iter().map(|key| key / 10).collect() }
    }

    fn change(month: u32, sha256: Option<&str>, builds_on_entry: bool, gone: &[u64], added: &[u64]) -> EntryChange {
        EntryChange {
            dataset: "shots".into(),
            month: Some(Month { year: 2026, month }),
            layout: "key shot_id".into(),
            sha256: sha256.map(str::to_owned),
            builds_on_entry,
            gone: hashes(gone),
            added: hashes(added),
        }
    }

    /// Month and key hash of all that counts, then how many hashes there are altogether.
    fn held(connection: &Connection) -> (Vec<(String, u64)>, i64) {
        let query = "SELECT month, hash FROM keys JOIN partitions ON number = partition ORDER BY month, hash";
        let mut statement = connection.prepare(query).expect("a query");
        let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get::<_, i64>(1)?.cast_unsigned())));
        let rows = rows.expect("rows").collect::<rusqlite::Result<Vec<_>>>().expect("rows");
        (rows, connection.query_row("SELECT count(*) FROM keys", [], |row| row.get(0)).expect("a count"))
    }

    #[test]
    fn changes_build_on_entries_and_leave_nothing_behind() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("index.sqlite");
        let mut connection = open(&path).expect("opened").expect("ours");
        let mut note = |changes: &[EntryChange]| {
            let transaction = connection.transaction().expect("begun");
            note_all(&transaction, changes).expect("noted");
            transaction.commit().expect("committed");
            held(&connection)
        };
        let january = |keys: &[u64]| keys.iter().map(|key| ("2026-01".to_owned(), *key)).collect::<Vec<_>>();
        // The largest hash is a negative number to SQLite.
        let whole = [change(1, Some("a"), false, &[], &[10, 20, u64::MAX])];
        assert_eq!(note(&whole), (january(&[u64::MAX, 10, 20]), 3));
        // What goes and comes again in one change stays.
        let part = [change(1, Some("b"), true, &[20, u64::MAX], &[20, 30])];
        assert_eq!(note(&part), (january(&[10, 20, 30]), 3));
        // A part without the whole it belongs to is no entry.
        let orphan = [change(2, Some("c"), true, &[], &[40])];
        assert_eq!(note(&orphan), (january(&[10, 20, 30]), 3));
        let anew = [change(1, Some("d"), false, &[], &[50])];
        assert_eq!(note(&anew), (january(&[50]), 1));
        assert_eq!(note(&[change(1, None, false, &[], &[])]), (Vec::new(), 0));
    }
}
