-- pourcall records, schema version 4: what was decided by stands in columns of its own, beside the sentence that told it.
-- The sentences of older rows are kept as they were said; what they tell is put into these columns once, when a record
-- is brought to this version (records/upkeep/old_sentences.py). NULL: not on record.

ALTER TABLE pours ADD COLUMN figure TEXT;            -- what the pot's temperature rests on: probe, last_good, dip_on, dip, typed, none
ALTER TABLE pours ADD COLUMN at_lift INTEGER;        -- 1: as the pot left the furnace; 0: as it was poured
ALTER TABLE pours ADD COLUMN age_s REAL;             -- of a dip or a typed figure, when the pot was judged by it
ALTER TABLE pours ADD COLUMN stale_s REAL;           -- between the last figure and that moment
ALTER TABLE pours ADD COLUMN lag_c REAL;             -- allowed for the sheath
ALTER TABLE pours ADD COLUMN dip INTEGER;            -- its number
ALTER TABLE pours ADD COLUMN instrument TEXT;        -- of a typed figure

ALTER TABLE dips ADD COLUMN fault TEXT;              -- why it is of no use: too_short, mushy ...
ALTER TABLE dips ADD COLUMN widened INTEGER NOT NULL DEFAULT 0;  -- 1: its uncertainty is the spread of three in a row

ALTER TABLE planned_moulds ADD COLUMN window_basis TEXT;  -- sheet, learned, stated
ALTER TABLE planned_moulds ADD COLUMN loss_basis TEXT;    -- computed, measured, stated
ALTER TABLE planned_moulds ADD COLUMN open_s REAL;        -- in the open, from the lift to the lip
ALTER TABLE planned_moulds ADD COLUMN walk_c REAL;
ALTER TABLE planned_moulds ADD COLUMN ladle_c REAL;       -- NULL with a loss_basis: no ladle
ALTER TABLE planned_moulds ADD COLUMN stream_c REAL;

CREATE TABLE panel_pairs (              -- the panel was read while the metal was known and both stood still
    id INTEGER PRIMARY KEY,
    event_id INTEGER REFERENCES events(id),
    furnace_id INTEGER NOT NULL REFERENCES furnaces(id),
    melt_id INTEGER REFERENCES melts(id),
    at_utc_s REAL NOT NULL,
    metal_c REAL NOT NULL,
    panel_c REAL NOT NULL
) STRICT;
CREATE INDEX panel_pairs_by_furnace ON panel_pairs(furnace_id);

CREATE TRIGGER panel_pairs_stay_as_written BEFORE UPDATE ON panel_pairs
    BEGIN SELECT RAISE(ABORT, 'panel_pairs is append-only; a correction is a new row'); END;
CREATE TRIGGER panel_pairs_keep_rows BEFORE DELETE ON panel_pairs
    BEGIN SELECT RAISE(ABORT, 'panel_pairs is append-only; a correction is a new row'); END;
