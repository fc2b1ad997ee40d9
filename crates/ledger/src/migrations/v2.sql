-- Version 2: names as devices write them, and what roster and corrections did to each month.

-- Of rows_accepted, how many are strike marks; the others are shots.
ALTER TABLE files ADD COLUMN marks_accepted INTEGER NOT NULL DEFAULT 0;

-- Who hit the shots of a file, as its device writes the names. They stand nowhere else: the lake only has placeholders.
CREATE TABLE player_texts (
    source_file_id TEXT NOT NULL REFERENCES files (source_file_id) ON DELETE CASCADE,
    text           TEXT NOT NULL,
    rows           INTEGER NOT NULL,
    first_seen     INTEGER NOT NULL,
    last_seen      INTEGER NOT NULL,
    PRIMARY KEY (source_file_id, text)
) STRICT;

-- With which roster, corrections and links the rows of a month were last brought into step, and what they were then.
CREATE TABLE amended_months (
    month            TEXT PRIMARY KEY,
    fingerprint      TEXT NOT NULL,
    shots_generation INTEGER NOT NULL,
    marks_generation INTEGER NOT NULL,
    links_generation INTEGER NOT NULL,
    amended_at       INTEGER NOT NULL
) STRICT;

-- From which shots and marks the links of a bay and day were made.
CREATE TABLE linked_groups (
    month       TEXT NOT NULL REFERENCES amended_months (month) ON DELETE CASCADE,
    name        TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    PRIMARY KEY (month, name)
) STRICT;

-- How many shots of a month a correction selects.
CREATE TABLE correction_counts (
    month      TEXT NOT NULL REFERENCES amended_months (month) ON DELETE CASCADE,
    correction TEXT NOT NULL,
    shots      INTEGER NOT NULL,
    PRIMARY KEY (month, correction)
) STRICT;
