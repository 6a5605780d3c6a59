-- pourcall records, schema version 2: what thinning gave up is told by date and count; records of another
-- installation say where they came from.

-- Of the first and last row in the range, and how many of its rows were given up.
ALTER TABLE thinnings ADD COLUMN from_utc_s REAL NOT NULL DEFAULT 0;
ALTER TABLE thinnings ADD COLUMN until_utc_s REAL NOT NULL DEFAULT 0;
ALTER TABLE thinnings ADD COLUMN rows_given_up INTEGER NOT NULL DEFAULT 0;
-- For the trigger that guards each row of the journal.
CREATE INDEX thinnings_by_end ON thinnings(last_id);

CREATE TABLE merges (                   -- archives of other installations that were taken in; one row each time
    id INTEGER PRIMARY KEY,
    at_utc_s REAL NOT NULL,
    who TEXT NOT NULL,
    mark TEXT NOT NULL,                 -- stands behind the names that came in: melt 2026-014@hill, furnace crucible@hill
    archive TEXT NOT NULL,              -- name of the file
    archive_hash TEXT NOT NULL,         -- SHA-256, hex
    made_utc_s REAL NOT NULL,           -- when the archive was made
    program TEXT NOT NULL,              -- version that made it
    melts INTEGER NOT NULL,             -- how many came in
    rows INTEGER NOT NULL               -- of the journal
) STRICT;

CREATE TABLE merged_melts (             -- under which number a melt was known where it was made
    melt_id INTEGER PRIMARY KEY REFERENCES melts(id),
    merge_id INTEGER NOT NULL REFERENCES merges(id),
    theirs TEXT NOT NULL
) STRICT;

CREATE TRIGGER merges_stay_as_written BEFORE UPDATE ON merges
    BEGIN SELECT RAISE(ABORT, 'merges is append-only; a correction is a new row'); END;
CREATE TRIGGER merges_keep_rows BEFORE DELETE ON merges
    BEGIN SELECT RAISE(ABORT, 'merges is append-only; a correction is a new row'); END;
CREATE TRIGGER merged_melts_stay_as_written BEFORE UPDATE ON merged_melts
    BEGIN SELECT RAISE(ABORT, 'merged_melts is append-only; a correction is a new row'); END;
CREATE TRIGGER merged_melts_keep_rows BEFORE DELETE ON merged_melts
    BEGIN SELECT RAISE(ABORT, 'merged_melts is append-only; a correction is a new row'); END;
