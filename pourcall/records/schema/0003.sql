-- pourcall records, schema version 3: where returned metal came from, what became of the metal at the end, moulds
-- described as a whole, pours that were none.

ALTER TABLE charges ADD COLUMN from_melt_id INTEGER REFERENCES melts(id);  -- the melt returned metal is from
ALTER TABLE charges ADD COLUMN from_ingot INTEGER;                  -- which of its ingots, where it was one
ALTER TABLE charges ADD COLUMN who TEXT NOT NULL DEFAULT '';
ALTER TABLE charges ADD COLUMN why TEXT NOT NULL DEFAULT '';        -- of a correction
ALTER TABLE charges ADD COLUMN taken_back INTEGER NOT NULL DEFAULT 0;  -- 1: the entry this row corrects does not hold
CREATE INDEX charges_by_source ON charges(from_melt_id) WHERE from_melt_id IS NOT NULL;

ALTER TABLE melt_endings ADD COLUMN who TEXT NOT NULL DEFAULT '';
ALTER TABLE melt_endings ADD COLUMN detail TEXT NOT NULL DEFAULT '';  -- in words: why it was abandoned

CREATE TABLE leavings (                 -- metal that was left at the end of a melt: ingots, each with its number, a heel
    id INTEGER PRIMARY KEY,
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    at_utc_s REAL NOT NULL,
    kind TEXT NOT NULL,                 -- ingot, heel
    number INTEGER NOT NULL,            -- of an ingot, from 1: 2026-014-i1; a heel has 0
    mass_kg REAL NOT NULL,
    who TEXT NOT NULL,
    why TEXT NOT NULL DEFAULT '',       -- of a correction
    taken_back INTEGER NOT NULL DEFAULT 0,
    corrects INTEGER REFERENCES leavings(id)
) STRICT;
CREATE INDEX leavings_by_melt ON leavings(melt_id);

ALTER TABLE mould_setups ADD COLUMN batch TEXT NOT NULL DEFAULT '';  -- of the mould material
ALTER TABLE mould_setups ADD COLUMN preheat_c REAL;
ALTER TABLE mould_setups ADD COLUMN who TEXT NOT NULL DEFAULT '';
ALTER TABLE mould_setups ADD COLUMN why TEXT NOT NULL DEFAULT '';   -- of a change
CREATE INDEX mould_setups_by_time ON mould_setups(name, at_utc_s);

ALTER TABLE pours ADD COLUMN batch TEXT NOT NULL DEFAULT '';        -- of the mould material, where it is not the setup's
ALTER TABLE pours ADD COLUMN not_poured INTEGER NOT NULL DEFAULT 0;  -- 1: marked by mistake

DROP VIEW pours_now;
CREATE VIEW pours_now AS                -- pours as they stand after their corrections; without those that were none
    SELECT p.* FROM pours p WHERE p.not_poured = 0 AND NOT EXISTS (SELECT 1 FROM pours c WHERE c.corrects = p.id);

CREATE VIEW leavings_now AS             -- what was left, after its corrections
    SELECT l.* FROM leavings l WHERE l.taken_back = 0
    AND NOT EXISTS (SELECT 1 FROM leavings c WHERE c.melt_id = l.melt_id AND c.corrects = l.id);

CREATE TRIGGER leavings_stay_as_written BEFORE UPDATE ON leavings
    BEGIN SELECT RAISE(ABORT, 'leavings is append-only; a correction is a new row'); END;
CREATE TRIGGER leavings_keep_rows BEFORE DELETE ON leavings
    BEGIN SELECT RAISE(ABORT, 'leavings is append-only; a correction is a new row'); END;
