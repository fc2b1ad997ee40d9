-- Version 3: volumes of the import folders, forgotten persons, removals by hand, and what IT was told.

-- What kind of volume an import folder was last seen on, so that a share that is not mounted is never taken for an empty folder.
CREATE TABLE watched_volumes (
    folder     TEXT PRIMARY KEY,
    kind       TEXT NOT NULL,
    is_network INTEGER NOT NULL CHECK (is_network IN (0, 1)),
    noted_at   INTEGER NOT NULL
) STRICT;

-- Persons whose rows must never come back, as salted digests: the ledger is not to remember their names.
CREATE TABLE forgotten_persons (
    digest       TEXT PRIMARY KEY,
    forgotten_at INTEGER NOT NULL
) STRICT;

-- Files that a person removed by an explicit command. Their entry in files stays, so that they are not imported again.
CREATE TABLE removals (
    number         INTEGER PRIMARY KEY,
    removed_at     INTEGER NOT NULL,
    command        TEXT NOT NULL,
    source_file_id TEXT NOT NULL,
    path           TEXT NOT NULL,
    bytes          INTEGER NOT NULL
) STRICT;

-- What wants a person, and when somebody was told. A subject that mended itself keeps its row until it is told about again.
CREATE TABLE alerts (
    subject     TEXT PRIMARY KEY,
    kind        TEXT NOT NULL,
    message     TEXT NOT NULL,
    first_at    INTEGER NOT NULL,
    told_at     INTEGER,
    resolved_at INTEGER
) STRICT;

-- The last files and the counts are asked for again and again, however many files there are.
CREATE INDEX files_by_change ON files (
    coalesce(archived_at, published_at, quarantined_at, staged_at, claimed_at) DESC, import_sequence DESC, source_file_id
);
CREATE INDEX files_by_state_with_rows ON files (state, rows_accepted, rows_rejected);
CREATE INDEX file_names_by_name ON file_names (name);
