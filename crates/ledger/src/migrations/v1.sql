-- Version 1 of the ledger. Instants are UTC microseconds since 1970. A version that has been released is never edited: changes are a new file.

CREATE TABLE meta (
    key   TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT;

CREATE TABLE files (
    source_file_id  TEXT PRIMARY KEY CHECK (length(source_file_id) = 64),
    state           TEXT NOT NULL CHECK (state IN ('claimed', 'staged', 'published', 'archived', 'quarantined')),
    first_name      TEXT NOT NULL,
    folder          TEXT NOT NULL,
    bytes           INTEGER NOT NULL CHECK (bytes >= 0),
    format          TEXT,
    format_version  TEXT,
    import_sequence INTEGER UNIQUE,
    rows_accepted   INTEGER NOT NULL DEFAULT 0,
    rows_rejected   INTEGER NOT NULL DEFAULT 0,
    reason          TEXT,
    -- Where the bytes stand until they are archived; null afterwards.
    source_path     TEXT,
    -- 1 = the file belongs to somebody else and is copied, never removed.
    keep_source     INTEGER NOT NULL DEFAULT 0 CHECK (keep_source IN (0, 1)),
    -- 1 = publishing first takes back the rows that an older pack version gave.
    replaces_rows   INTEGER NOT NULL DEFAULT 0 CHECK (replaces_rows IN (0, 1)),
    archive_path    TEXT,
    quarantine_path TEXT,
    claimed_at      INTEGER NOT NULL,
    staged_at       INTEGER,
    published_at    INTEGER,
    archived_at     INTEGER,
    quarantined_at  INTEGER
) STRICT;
CREATE INDEX files_by_state ON files (state, import_sequence);

CREATE TABLE file_names (
    source_file_id TEXT NOT NULL REFERENCES files (source_file_id) ON DELETE CASCADE,
    name           TEXT NOT NULL,
    folder         TEXT NOT NULL,
    seen_at        INTEGER NOT NULL,
    PRIMARY KEY (source_file_id, name, folder)
) STRICT;

-- The newest generation of each partition; month is empty for a dataset without months.
CREATE TABLE generations (
    dataset      TEXT NOT NULL,
    month        TEXT NOT NULL,
    generation   INTEGER NOT NULL,
    rows         INTEGER NOT NULL,
    published_at INTEGER NOT NULL,
    PRIMARY KEY (dataset, month)
) STRICT;

CREATE TABLE job_runs (
    run_id            TEXT PRIMARY KEY,
    job               TEXT NOT NULL,
    nominal_time      INTEGER,
    trigger           TEXT NOT NULL,
    started           INTEGER NOT NULL,
    finished          INTEGER,
    outcome           TEXT,
    message           TEXT,
    rows              INTEGER,
    input_generations TEXT NOT NULL
) STRICT;
CREATE INDEX job_runs_by_job ON job_runs (job, started);

CREATE TABLE sightings (
    path         TEXT PRIMARY KEY,
    bytes        INTEGER NOT NULL,
    modified     INTEGER,
    first_seen   INTEGER NOT NULL,
    stable_since INTEGER NOT NULL,
    last_seen    INTEGER NOT NULL,
    state        TEXT NOT NULL CHECK (state IN ('settling', 'waiting', 'retrying')),
    note         TEXT NOT NULL
) STRICT;

CREATE TABLE digests (
    coach   TEXT NOT NULL,
    week    TEXT NOT NULL,
    path    TEXT NOT NULL,
    made_at INTEGER NOT NULL,
    PRIMARY KEY (coach, week)
) STRICT;
