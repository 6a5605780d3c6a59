-- pourcall records, schema version 1. Times: *_mono_s restart with each session, order and intervals only;
-- *_utc_s are seconds since 1970-01-01 UTC, for the record. Temperatures are degC, `_mc` thousandths of a degree.
-- Rows are never altered: a correction is a new row naming the old (`corrects`). Roll-up and state alone are kept up.

CREATE TABLE texts (                    -- settings, engine configurations, sheets, profiles: each text once, by its hash
    hash TEXT PRIMARY KEY,              -- SHA-256, hex
    kind TEXT NOT NULL,                 -- settings, config, sheet, profile
    body TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE furnaces (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE probes (
    id INTEGER PRIMARY KEY,
    furnace_id INTEGER NOT NULL REFERENCES furnaces(id),
    name TEXT NOT NULL,
    UNIQUE (furnace_id, name)
) STRICT;

CREATE TABLE calibrations (             -- of a probe, applied in emf; old readings keep theirs
    id INTEGER PRIMARY KEY,
    probe_id INTEGER NOT NULL REFERENCES probes(id),
    at_utc_s REAL NOT NULL,
    method TEXT NOT NULL,               -- ice, boiling, arrest, comparison
    reference_c REAL NOT NULL,
    emf_uv REAL,
    offset_uv REAL NOT NULL,
    spread_uv REAL,
    who TEXT NOT NULL,
    detail TEXT NOT NULL DEFAULT '',
    corrects INTEGER REFERENCES calibrations(id)
) STRICT;

CREATE TABLE sessions (                 -- one for each furnace and start of the daemon: monotonic time is its own
    id INTEGER PRIMARY KEY,
    furnace_id INTEGER NOT NULL REFERENCES furnaces(id),
    began_mono_s REAL NOT NULL,
    began_utc_s REAL NOT NULL,
    offset_ms INTEGER NOT NULL,         -- UTC less monotonic at the beginning; see journal.utc
    settings_hash TEXT NOT NULL REFERENCES texts(hash),
    config_hash TEXT NOT NULL REFERENCES texts(hash),
    journal_id INTEGER NOT NULL,        -- its first row, or the row after where it has none
    program TEXT NOT NULL,              -- version that wrote it
    UNIQUE (furnace_id, began_utc_s, began_mono_s)
) STRICT;

CREATE TABLE session_ends (             -- missing for a session that was cut off
    session_id INTEGER PRIMARY KEY REFERENCES sessions(id),
    mono_s REAL NOT NULL,
    utc_s REAL NOT NULL
) STRICT;

CREATE TABLE sources (                  -- where journal rows come from, so that a row carries one small number
    id INTEGER PRIMARY KEY,
    session_id INTEGER NOT NULL REFERENCES sessions(id),
    board TEXT NOT NULL,                -- '' for inputs that are no samples
    channel TEXT NOT NULL,
    raw_kind TEXT NOT NULL,             -- emf_uv, linear_c, its90_c, typed_c; board_status for a board's reports; '' for other inputs
    probe_id INTEGER REFERENCES probes(id),
    board_ms_base INTEGER NOT NULL,     -- board clock less monotonic milliseconds at its first sample
    seq_base INTEGER NOT NULL,          -- journal.id less sequence number at its first row
    UNIQUE (session_id, board, channel, raw_kind, probe_id)
) STRICT;

CREATE TABLE reasons (                  -- journal.marks & 63
    code INTEGER PRIMARY KEY,
    reason TEXT NOT NULL UNIQUE,
    status TEXT NOT NULL
) STRICT;

-- Every input in its order. Keyed by arrival alone: any other key costs several times the writes to flash. Whole
-- milliseconds and ten-thousandths are kept as small integers where they are exact, else as the REAL itself, so that
-- every figure comes back bit for bit. The view `readings` shows it in plain units. Of a board's report value is the
-- applied permille, cold the milliseconds it has left, code the boot count, u_mc the output, the flags its inputs.
CREATE TABLE journal (
    id INTEGER PRIMARY KEY,
    source INTEGER NOT NULL REFERENCES sources(id),
    seq INTEGER,                        -- sequence number within the session; NULL: id less sources.seq_base
    mono ANY NOT NULL,                  -- integer: milliseconds; real: seconds
    utc ANY NOT NULL,                   -- integer: milliseconds less mono less sessions.offset_ms; real: seconds UTC
    value ANY,                          -- raw value; integer: ten-thousandths; real: as it is
    cold ANY,                           -- cold junction, same
    marks INTEGER NOT NULL,             -- reason code (63: no reading was made) + 64 * flags of the board
    code INTEGER,                       -- the chip's word
    board_seq INTEGER,
    board_ms INTEGER,                   -- less whole mono milliseconds less sources.board_ms_base
    temp_mc INTEGER,                    -- temperature as decided at the time
    u_mc INTEGER,                       -- its expanded uncertainty (k = 2)
    extra ANY                           -- real: late_s; text: an input that is no sample (JSON); blob: the same (MessagePack)
) STRICT;

CREATE TABLE other_readings (           -- readings that are not the one of their sample
    id INTEGER PRIMARY KEY,
    journal_id INTEGER NOT NULL,
    source INTEGER NOT NULL REFERENCES sources(id),
    at_mono_s REAL NOT NULL,
    at_utc_s REAL NOT NULL,
    temp_mc INTEGER,
    u_mc INTEGER,
    reason INTEGER NOT NULL
) STRICT;
CREATE INDEX other_readings_by_journal ON other_readings(journal_id);

CREATE TABLE events (
    id INTEGER PRIMARY KEY,
    journal_id INTEGER NOT NULL REFERENCES journal(id),
    session_id INTEGER NOT NULL REFERENCES sessions(id),
    seq INTEGER NOT NULL,
    mono_s REAL NOT NULL,
    utc_s REAL NOT NULL,
    type TEXT NOT NULL,
    body TEXT NOT NULL                  -- JSON, as published
) STRICT;
CREATE INDEX events_by_journal ON events(journal_id);

CREATE TABLE rollup (                   -- minimum, maximum, sum and count, kept as it goes
    session_id INTEGER NOT NULL REFERENCES sessions(id),
    span_s INTEGER NOT NULL,            -- 5 or 60
    slot INTEGER NOT NULL,              -- whole spans of monotonic time
    probe_id INTEGER NOT NULL REFERENCES probes(id),
    n INTEGER NOT NULL,                 -- readings with a number
    n_bad INTEGER NOT NULL,             -- readings without
    min_mc INTEGER,
    max_mc INTEGER,
    sum_mc INTEGER NOT NULL,
    first_id INTEGER NOT NULL,
    last_id INTEGER NOT NULL,
    PRIMARY KEY (session_id, span_s, slot, probe_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE state (                    -- how far the roll-up has come
    only_row INTEGER PRIMARY KEY CHECK (only_row = 1),
    rolled_id INTEGER NOT NULL
) STRICT;
INSERT INTO state VALUES (1, 0);

CREATE TABLE gaps (                     -- times without readings; `closes` names the row that opened it
    id INTEGER PRIMARY KEY,
    furnace_id INTEGER NOT NULL REFERENCES furnaces(id),
    session_id INTEGER REFERENCES sessions(id),
    board TEXT NOT NULL,                -- '' where nothing was recorded at all
    began_utc_s REAL NOT NULL,
    ended_utc_s REAL,
    reason TEXT NOT NULL,
    closes INTEGER REFERENCES gaps(id)
) STRICT;

CREATE TABLE thinnings (                -- readings that were given up on request; rows in this range may be deleted
    id INTEGER PRIMARY KEY,
    at_utc_s REAL NOT NULL,
    who TEXT NOT NULL,
    why TEXT NOT NULL,
    first_id INTEGER NOT NULL,
    last_id INTEGER NOT NULL,
    keep_every_s REAL NOT NULL,
    rows_before INTEGER NOT NULL
) STRICT;

CREATE TABLE melts (
    id INTEGER PRIMARY KEY,
    melt TEXT NOT NULL UNIQUE,          -- 2026-014
    furnace_id INTEGER NOT NULL REFERENCES furnaces(id),
    session_id INTEGER NOT NULL REFERENCES sessions(id),
    journal_id INTEGER NOT NULL,
    began_mono_s REAL NOT NULL,
    began_utc_s REAL NOT NULL,
    alloy TEXT NOT NULL,
    alloy_name TEXT NOT NULL,
    charge_kg REAL NOT NULL,
    adopted INTEGER NOT NULL DEFAULT 0  -- 1: its beginning lies in another file
) STRICT;
CREATE INDEX melts_by_furnace ON melts(furnace_id, id);

CREATE TABLE melt_plans (               -- version 1 at the start; each change adds one
    id INTEGER PRIMARY KEY,
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    version INTEGER NOT NULL,
    at_utc_s REAL NOT NULL,
    alloy TEXT NOT NULL,
    charge_kg REAL NOT NULL,
    plan TEXT NOT NULL,                 -- JSON, frozen
    why TEXT NOT NULL DEFAULT '',
    UNIQUE (melt_id, version)
) STRICT;

CREATE TABLE planned_moulds (
    plan_id INTEGER NOT NULL REFERENCES melt_plans(id),
    position INTEGER NOT NULL,          -- from 0
    name TEXT NOT NULL,
    setup TEXT NOT NULL,
    material TEXT NOT NULL,
    mass_kg REAL NOT NULL,
    thinnest_mm REAL,
    lip_min_c REAL NOT NULL,
    lip_max_c REAL NOT NULL,
    loss_c REAL NOT NULL,
    PRIMARY KEY (plan_id, position)
) STRICT, WITHOUT ROWID;

CREATE TABLE melt_endings (
    id INTEGER PRIMARY KEY,
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    journal_id INTEGER NOT NULL,
    mono_s REAL NOT NULL,
    utc_s REAL NOT NULL,
    ending TEXT NOT NULL,
    corrects INTEGER REFERENCES melt_endings(id)
) STRICT;
CREATE INDEX melt_endings_by_melt ON melt_endings(melt_id);

CREATE TABLE charges (                  -- metal put in the pot, at the start and later
    id INTEGER PRIMARY KEY,
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    at_utc_s REAL NOT NULL,
    mass_kg REAL,
    source TEXT NOT NULL,               -- new, returns, scrap, or in words
    remelts INTEGER,
    detail TEXT NOT NULL DEFAULT '',
    corrects INTEGER REFERENCES charges(id)
) STRICT;
CREATE INDEX charges_by_melt ON charges(melt_id);

CREATE TABLE profile_runs (             -- a profile as it was when its run began
    id INTEGER PRIMARY KEY,
    furnace_id INTEGER NOT NULL REFERENCES furnaces(id),
    melt_id INTEGER REFERENCES melts(id),
    began_utc_s REAL NOT NULL,
    name TEXT NOT NULL,
    text_hash TEXT NOT NULL REFERENCES texts(hash),
    who TEXT NOT NULL
) STRICT;

CREATE TABLE alarms (                   -- one row for each move of an alarm
    id INTEGER PRIMARY KEY,
    event_id INTEGER NOT NULL REFERENCES events(id),
    furnace_id INTEGER NOT NULL REFERENCES furnaces(id),
    melt_id INTEGER REFERENCES melts(id),
    at_utc_s REAL NOT NULL,
    alarm TEXT NOT NULL,                -- kind:subject
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    priority INTEGER NOT NULL,
    state TEXT NOT NULL,
    present INTEGER NOT NULL,
    what TEXT NOT NULL,
    remedy TEXT NOT NULL,
    raised_utc_s REAL NOT NULL,
    by TEXT NOT NULL
) STRICT;
CREATE INDEX alarms_by_melt ON alarms(melt_id);

CREATE TABLE dips (
    id INTEGER PRIMARY KEY,
    event_id INTEGER REFERENCES events(id),
    furnace_id INTEGER NOT NULL REFERENCES furnaces(id),
    melt_id INTEGER REFERENCES melts(id),
    probe TEXT NOT NULL,
    number INTEGER NOT NULL,
    began_mono_s REAL NOT NULL,
    ended_mono_s REAL NOT NULL,
    ended_utc_s REAL NOT NULL,
    temp_c REAL,
    u_c REAL,
    how TEXT NOT NULL,
    fit_error_c REAL,
    depth_mm REAL,
    stirred INTEGER,
    why TEXT NOT NULL,
    corrects INTEGER REFERENCES dips(id)
) STRICT;
CREATE INDEX dips_by_melt ON dips(melt_id);

CREATE TABLE mould_setups (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    at_utc_s REAL NOT NULL,
    pattern TEXT NOT NULL DEFAULT '',
    material TEXT NOT NULL DEFAULT '',
    gating TEXT NOT NULL DEFAULT '',
    venting TEXT NOT NULL DEFAULT '',
    thinnest_mm REAL,
    mass_kg REAL,
    detail TEXT NOT NULL DEFAULT '',
    corrects INTEGER REFERENCES mould_setups(id)
) STRICT;
CREATE INDEX mould_setups_by_name ON mould_setups(name);

CREATE TABLE pours (
    id INTEGER PRIMARY KEY,
    event_id INTEGER REFERENCES events(id),
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    number INTEGER NOT NULL,
    mould TEXT NOT NULL,
    setup TEXT NOT NULL,
    session_id INTEGER NOT NULL REFERENCES sessions(id),
    journal_id INTEGER NOT NULL,
    at_mono_s REAL NOT NULL,
    at_utc_s REAL NOT NULL,
    lift_mono_s REAL,
    marked TEXT NOT NULL,
    pot_temp_c REAL,
    pot_u_c REAL,
    lip_temp_c REAL,
    lip_u_c REAL,
    lip_min_c REAL NOT NULL,
    lip_max_c REAL NOT NULL,
    basis TEXT NOT NULL,
    corrects INTEGER REFERENCES pours(id),
    who TEXT NOT NULL DEFAULT '',
    why TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX pours_by_melt ON pours(melt_id, number);
CREATE INDEX pours_by_setup ON pours(setup);
CREATE INDEX pours_by_corrected ON pours(corrects) WHERE corrects IS NOT NULL;

CREATE TABLE results (                  -- what inspection found, often days later; one row for each defect, or `sound`
    id INTEGER PRIMARY KEY,
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    pour_number INTEGER NOT NULL,
    at_utc_s REAL NOT NULL,
    who TEXT NOT NULL,
    defect TEXT NOT NULL,               -- sound, misrun, cold_shut ...
    severity INTEGER NOT NULL CHECK (severity BETWEEN 0 AND 3),
    detail TEXT NOT NULL DEFAULT '',
    corrects INTEGER REFERENCES results(id)
) STRICT;
CREATE INDEX results_by_pour ON results(melt_id, pour_number);

CREATE TABLE trial_series (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    setup TEXT NOT NULL,
    began_utc_s REAL NOT NULL,
    detail TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE trial_pours (
    series_id INTEGER NOT NULL REFERENCES trial_series(id),
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    pour_number INTEGER NOT NULL,
    PRIMARY KEY (series_id, melt_id, pour_number)
) STRICT, WITHOUT ROWID;

CREATE TABLE photos (                   -- the file lies in the photo folder under its hash
    id INTEGER PRIMARY KEY,
    hash TEXT NOT NULL,                 -- SHA-256, hex
    suffix TEXT NOT NULL,
    bytes INTEGER NOT NULL,
    at_utc_s REAL NOT NULL,
    who TEXT NOT NULL,
    melt_id INTEGER REFERENCES melts(id),
    pour_number INTEGER,
    caption TEXT NOT NULL DEFAULT '',
    UNIQUE (hash, melt_id, pour_number)
) STRICT;

CREATE TABLE notes (
    id INTEGER PRIMARY KEY,
    event_id INTEGER REFERENCES events(id),
    furnace_id INTEGER REFERENCES furnaces(id),
    melt_id INTEGER REFERENCES melts(id),
    pour_number INTEGER,
    at_utc_s REAL NOT NULL,
    what TEXT NOT NULL,                 -- note, skim, addition, temperature
    text TEXT NOT NULL,
    value REAL,
    who TEXT NOT NULL,
    corrects INTEGER REFERENCES notes(id)
) STRICT;
CREATE INDEX notes_by_melt ON notes(melt_id);

CREATE TABLE tags (
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    pour_number INTEGER NOT NULL DEFAULT 0,     -- 0: the melt as a whole
    tag TEXT NOT NULL,
    at_utc_s REAL NOT NULL,
    PRIMARY KEY (melt_id, pour_number, tag)
) STRICT, WITHOUT ROWID;

CREATE TABLE corrections (              -- of anything that has no `corrects` of its own: names table, row and field
    id INTEGER PRIMARY KEY,
    at_utc_s REAL NOT NULL,
    who TEXT NOT NULL,
    table_name TEXT NOT NULL,
    row_id INTEGER NOT NULL,
    field TEXT NOT NULL,
    old ANY,
    new ANY,
    why TEXT NOT NULL
) STRICT;

CREATE TABLE clock_offsets (            -- rows of this session carry a wrong UTC; true UTC is theirs plus this
    id INTEGER PRIMARY KEY,
    session_id INTEGER NOT NULL REFERENCES sessions(id),
    at_utc_s REAL NOT NULL,
    add_s REAL NOT NULL,
    why TEXT NOT NULL
) STRICT;

CREATE TABLE learned (                  -- learned parameters: furnace model, losses, windows; frozen text by hash
    id INTEGER PRIMARY KEY,
    furnace_id INTEGER REFERENCES furnaces(id),
    at_utc_s REAL NOT NULL,
    what TEXT NOT NULL,
    text_hash TEXT NOT NULL REFERENCES texts(hash)
) STRICT;

CREATE VIEW pours_now AS                -- pours as they stand after their corrections
    SELECT p.* FROM pours p WHERE NOT EXISTS (SELECT 1 FROM pours c WHERE c.corrects = p.id);

CREATE VIEW readings AS                 -- the journal's samples in plain units
    SELECT j.id, f.name AS furnace, p.name AS probe, s.session_id, coalesce(j.seq, j.id - s.seq_base) AS seq,
           CASE typeof(j.mono) WHEN 'integer' THEN j.mono / 1000.0 ELSE j.mono END AS mono_s,
           CASE typeof(j.utc) WHEN 'integer' THEN (j.mono + n.offset_ms + j.utc) / 1000.0 ELSE j.utc END AS utc_s,
           j.temp_mc / 1000.0 AS temp_c, j.u_mc / 1000.0 AS u_c, r.status, r.reason, s.raw_kind,
           CASE typeof(j.value) WHEN 'integer' THEN j.value / 10000.0 ELSE j.value END AS raw_value,
           CASE typeof(j.cold) WHEN 'integer' THEN j.cold / 10000.0 ELSE j.cold END AS cold_junction_c,
           j.marks >> 6 AS flags, s.board, s.channel
    FROM journal j JOIN sources s ON s.id = j.source JOIN sessions n ON n.id = s.session_id
         JOIN furnaces f ON f.id = n.furnace_id LEFT JOIN probes p ON p.id = s.probe_id
         LEFT JOIN reasons r ON r.code = j.marks & 63
    WHERE s.probe_id IS NOT NULL;

CREATE TRIGGER journal_keeps_rows BEFORE DELETE ON journal
    WHEN NOT EXISTS (SELECT 1 FROM thinnings t WHERE OLD.id BETWEEN t.first_id AND t.last_id)
      OR OLD.extra IS NOT NULL
    BEGIN SELECT RAISE(ABORT, 'journal keeps its rows; thinning needs its own dated row first'); END;
CREATE TRIGGER texts_stay_as_written BEFORE UPDATE ON texts
    BEGIN SELECT RAISE(ABORT, 'texts is append-only; a correction is a new row'); END;
CREATE TRIGGER texts_keep_rows BEFORE DELETE ON texts
    BEGIN SELECT RAISE(ABORT, 'texts is append-only; a correction is a new row'); END;
CREATE TRIGGER furnaces_stay_as_written BEFORE UPDATE ON furnaces
    BEGIN SELECT RAISE(ABORT, 'furnaces is append-only; a correction is a new row'); END;
CREATE TRIGGER furnaces_keep_rows BEFORE DELETE ON furnaces
    BEGIN SELECT RAISE(ABORT, 'furnaces is append-only; a correction is a new row'); END;
CREATE TRIGGER probes_stay_as_written BEFORE UPDATE ON probes
    BEGIN SELECT RAISE(ABORT, 'probes is append-only; a correction is a new row'); END;
CREATE TRIGGER probes_keep_rows BEFORE DELETE ON probes
    BEGIN SELECT RAISE(ABORT, 'probes is append-only; a correction is a new row'); END;
CREATE TRIGGER calibrations_stay_as_written BEFORE UPDATE ON calibrations
    BEGIN SELECT RAISE(ABORT, 'calibrations is append-only; a correction is a new row'); END;
CREATE TRIGGER calibrations_keep_rows BEFORE DELETE ON calibrations
    BEGIN SELECT RAISE(ABORT, 'calibrations is append-only; a correction is a new row'); END;
CREATE TRIGGER sessions_stay_as_written BEFORE UPDATE ON sessions
    BEGIN SELECT RAISE(ABORT, 'sessions is append-only; a correction is a new row'); END;
CREATE TRIGGER sessions_keep_rows BEFORE DELETE ON sessions
    BEGIN SELECT RAISE(ABORT, 'sessions is append-only; a correction is a new row'); END;
CREATE TRIGGER session_ends_stay_as_written BEFORE UPDATE ON session_ends
    BEGIN SELECT RAISE(ABORT, 'session_ends is append-only; a correction is a new row'); END;
CREATE TRIGGER session_ends_keep_rows BEFORE DELETE ON session_ends
    BEGIN SELECT RAISE(ABORT, 'session_ends is append-only; a correction is a new row'); END;
CREATE TRIGGER sources_stay_as_written BEFORE UPDATE ON sources
    BEGIN SELECT RAISE(ABORT, 'sources is append-only; a correction is a new row'); END;
CREATE TRIGGER sources_keep_rows BEFORE DELETE ON sources
    BEGIN SELECT RAISE(ABORT, 'sources is append-only; a correction is a new row'); END;
CREATE TRIGGER reasons_stay_as_written BEFORE UPDATE ON reasons
    BEGIN SELECT RAISE(ABORT, 'reasons is append-only; a correction is a new row'); END;
CREATE TRIGGER reasons_keep_rows BEFORE DELETE ON reasons
    BEGIN SELECT RAISE(ABORT, 'reasons is append-only; a correction is a new row'); END;
CREATE TRIGGER journal_stay_as_written BEFORE UPDATE ON journal
    BEGIN SELECT RAISE(ABORT, 'journal is append-only; a correction is a new row'); END;
CREATE TRIGGER other_readings_stay_as_written BEFORE UPDATE ON other_readings
    BEGIN SELECT RAISE(ABORT, 'other_readings is append-only; a correction is a new row'); END;
CREATE TRIGGER other_readings_keep_rows BEFORE DELETE ON other_readings
    BEGIN SELECT RAISE(ABORT, 'other_readings is append-only; a correction is a new row'); END;
CREATE TRIGGER events_stay_as_written BEFORE UPDATE ON events
    BEGIN SELECT RAISE(ABORT, 'events is append-only; a correction is a new row'); END;
CREATE TRIGGER events_keep_rows BEFORE DELETE ON events
    BEGIN SELECT RAISE(ABORT, 'events is append-only; a correction is a new row'); END;
CREATE TRIGGER gaps_stay_as_written BEFORE UPDATE ON gaps
    BEGIN SELECT RAISE(ABORT, 'gaps is append-only; a correction is a new row'); END;
CREATE TRIGGER gaps_keep_rows BEFORE DELETE ON gaps
    BEGIN SELECT RAISE(ABORT, 'gaps is append-only; a correction is a new row'); END;
CREATE TRIGGER thinnings_stay_as_written BEFORE UPDATE ON thinnings
    BEGIN SELECT RAISE(ABORT, 'thinnings is append-only; a correction is a new row'); END;
CREATE TRIGGER thinnings_keep_rows BEFORE DELETE ON thinnings
    BEGIN SELECT RAISE(ABORT, 'thinnings is append-only; a correction is a new row'); END;
CREATE TRIGGER melts_stay_as_written BEFORE UPDATE ON melts
    BEGIN SELECT RAISE(ABORT, 'melts is append-only; a correction is a new row'); END;
CREATE TRIGGER melts_keep_rows BEFORE DELETE ON melts
    BEGIN SELECT RAISE(ABORT, 'melts is append-only; a correction is a new row'); END;
CREATE TRIGGER melt_plans_stay_as_written BEFORE UPDATE ON melt_plans
    BEGIN SELECT RAISE(ABORT, 'melt_plans is append-only; a correction is a new row'); END;
CREATE TRIGGER melt_plans_keep_rows BEFORE DELETE ON melt_plans
    BEGIN SELECT RAISE(ABORT, 'melt_plans is append-only; a correction is a new row'); END;
CREATE TRIGGER planned_moulds_stay_as_written BEFORE UPDATE ON planned_moulds
    BEGIN SELECT RAISE(ABORT, 'planned_moulds is append-only; a correction is a new row'); END;
CREATE TRIGGER planned_moulds_keep_rows BEFORE DELETE ON planned_moulds
    BEGIN SELECT RAISE(ABORT, 'planned_moulds is append-only; a correction is a new row'); END;
CREATE TRIGGER melt_endings_stay_as_written BEFORE UPDATE ON melt_endings
    BEGIN SELECT RAISE(ABORT, 'melt_endings is append-only; a correction is a new row'); END;
CREATE TRIGGER melt_endings_keep_rows BEFORE DELETE ON melt_endings
    BEGIN SELECT RAISE(ABORT, 'melt_endings is append-only; a correction is a new row'); END;
CREATE TRIGGER charges_stay_as_written BEFORE UPDATE ON charges
    BEGIN SELECT RAISE(ABORT, 'charges is append-only; a correction is a new row'); END;
CREATE TRIGGER charges_keep_rows BEFORE DELETE ON charges
    BEGIN SELECT RAISE(ABORT, 'charges is append-only; a correction is a new row'); END;
CREATE TRIGGER profile_runs_stay_as_written BEFORE UPDATE ON profile_runs
    BEGIN SELECT RAISE(ABORT, 'profile_runs is append-only; a correction is a new row'); END;
CREATE TRIGGER profile_runs_keep_rows BEFORE DELETE ON profile_runs
    BEGIN SELECT RAISE(ABORT, 'profile_runs is append-only; a correction is a new row'); END;
CREATE TRIGGER alarms_stay_as_written BEFORE UPDATE ON alarms
    BEGIN SELECT RAISE(ABORT, 'alarms is append-only; a correction is a new row'); END;
CREATE TRIGGER alarms_keep_rows BEFORE DELETE ON alarms
    BEGIN SELECT RAISE(ABORT, 'alarms is append-only; a correction is a new row'); END;
CREATE TRIGGER dips_stay_as_written BEFORE UPDATE ON dips
    BEGIN SELECT RAISE(ABORT, 'dips is append-only; a correction is a new row'); END;
CREATE TRIGGER dips_keep_rows BEFORE DELETE ON dips
    BEGIN SELECT RAISE(ABORT, 'dips is append-only; a correction is a new row'); END;
CREATE TRIGGER mould_setups_stay_as_written BEFORE UPDATE ON mould_setups
    BEGIN SELECT RAISE(ABORT, 'mould_setups is append-only; a correction is a new row'); END;
CREATE TRIGGER mould_setups_keep_rows BEFORE DELETE ON mould_setups
    BEGIN SELECT RAISE(ABORT, 'mould_setups is append-only; a correction is a new row'); END;
CREATE TRIGGER pours_stay_as_written BEFORE UPDATE ON pours
    BEGIN SELECT RAISE(ABORT, 'pours is append-only; a correction is a new row'); END;
CREATE TRIGGER pours_keep_rows BEFORE DELETE ON pours
    BEGIN SELECT RAISE(ABORT, 'pours is append-only; a correction is a new row'); END;
CREATE TRIGGER results_stay_as_written BEFORE UPDATE ON results
    BEGIN SELECT RAISE(ABORT, 'results is append-only; a correction is a new row'); END;
CREATE TRIGGER results_keep_rows BEFORE DELETE ON results
    BEGIN SELECT RAISE(ABORT, 'results is append-only; a correction is a new row'); END;
CREATE TRIGGER trial_series_stay_as_written BEFORE UPDATE ON trial_series
    BEGIN SELECT RAISE(ABORT, 'trial_series is append-only; a correction is a new row'); END;
CREATE TRIGGER trial_series_keep_rows BEFORE DELETE ON trial_series
    BEGIN SELECT RAISE(ABORT, 'trial_series is append-only; a correction is a new row'); END;
CREATE TRIGGER trial_pours_stay_as_written BEFORE UPDATE ON trial_pours
    BEGIN SELECT RAISE(ABORT, 'trial_pours is append-only; a correction is a new row'); END;
CREATE TRIGGER trial_pours_keep_rows BEFORE DELETE ON trial_pours
    BEGIN SELECT RAISE(ABORT, 'trial_pours is append-only; a correction is a new row'); END;
CREATE TRIGGER photos_stay_as_written BEFORE UPDATE ON photos
    BEGIN SELECT RAISE(ABORT, 'photos is append-only; a correction is a new row'); END;
CREATE TRIGGER photos_keep_rows BEFORE DELETE ON photos
    BEGIN SELECT RAISE(ABORT, 'photos is append-only; a correction is a new row'); END;
CREATE TRIGGER notes_stay_as_written BEFORE UPDATE ON notes
    BEGIN SELECT RAISE(ABORT, 'notes is append-only; a correction is a new row'); END;
CREATE TRIGGER notes_keep_rows BEFORE DELETE ON notes
    BEGIN SELECT RAISE(ABORT, 'notes is append-only; a correction is a new row'); END;
CREATE TRIGGER corrections_stay_as_written BEFORE UPDATE ON corrections
    BEGIN SELECT RAISE(ABORT, 'corrections is append-only; a correction is a new row'); END;
CREATE TRIGGER corrections_keep_rows BEFORE DELETE ON corrections
    BEGIN SELECT RAISE(ABORT, 'corrections is append-only; a correction is a new row'); END;
CREATE TRIGGER clock_offsets_stay_as_written BEFORE UPDATE ON clock_offsets
    BEGIN SELECT RAISE(ABORT, 'clock_offsets is append-only; a correction is a new row'); END;
CREATE TRIGGER clock_offsets_keep_rows BEFORE DELETE ON clock_offsets
    BEGIN SELECT RAISE(ABORT, 'clock_offsets is append-only; a correction is a new row'); END;
CREATE TRIGGER learned_stay_as_written BEFORE UPDATE ON learned
    BEGIN SELECT RAISE(ABORT, 'learned is append-only; a correction is a new row'); END;
CREATE TRIGGER learned_keep_rows BEFORE DELETE ON learned
    BEGIN SELECT RAISE(ABORT, 'learned is append-only; a correction is a new row'); END;
