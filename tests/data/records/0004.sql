PRAGMA application_id = 1347376466;
PRAGMA user_version = 4;
BEGIN TRANSACTION;
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
INSERT INTO "calibrations" VALUES(1,1,1780000000.0,'ice',0.0,-12.0,12.0,4.0,'Ann','',NULL);
CREATE TABLE charges (                  -- metal put in the pot, at the start and later
    id INTEGER PRIMARY KEY,
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    at_utc_s REAL NOT NULL,
    mass_kg REAL,
    source TEXT NOT NULL,               -- new, returns, scrap, or in words
    remelts INTEGER,
    detail TEXT NOT NULL DEFAULT '',
    corrects INTEGER REFERENCES charges(id)
, from_melt_id INTEGER REFERENCES melts(id), from_ingot INTEGER, who TEXT NOT NULL DEFAULT '', why TEXT NOT NULL DEFAULT '', taken_back INTEGER NOT NULL DEFAULT 0) STRICT;
INSERT INTO "charges" VALUES(1,1,1780000200.0,0.5,'returns',2,'',NULL,NULL,NULL,'shop','',0);
CREATE TABLE clock_offsets (            -- rows of this session carry a wrong UTC; true UTC is theirs plus this
    id INTEGER PRIMARY KEY,
    session_id INTEGER NOT NULL REFERENCES sessions(id),
    at_utc_s REAL NOT NULL,
    add_s REAL NOT NULL,
    why TEXT NOT NULL
) STRICT;
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
INSERT INTO "corrections" VALUES(1,1780000000.0,'Ann','pours',1,'mould','Cleat A','Cleat B','mixed up');
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
, fault TEXT, widened INTEGER NOT NULL DEFAULT 0) STRICT;
INSERT INTO "dips" VALUES(1,2,1,1,'dip_probe',1,341.0,361.0,1780000261.0,548.2,2.5,'settled',0.8,NULL,NULL,'',NULL,NULL,0);
INSERT INTO "dips" VALUES(2,6,1,2,'dip_probe',1,541.0,561.0,1780000461.0,548.2,2.5,'settled',0.8,NULL,NULL,'',NULL,NULL,0);
INSERT INTO "dips" VALUES(3,10,1,3,'dip_probe',1,741.0,761.0,1780050661.0,548.2,2.5,'settled',0.8,NULL,NULL,'',NULL,NULL,0);
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
INSERT INTO "events" VALUES(1,1,1,1,300.0,1780000200.0,'melt_started','{"type":"melt_started","plan":{"melt":"2026-001","alloy":{"key":"za27","name":"ZA-27","family":"zinc","solidus_c":376.0,"liquidus_c":484.0,"eutectic_c":null,"arrests_c":[],"pour_min_c":515.0,"pour_max_c":590.0,"alloy_max_c":620.0,"liquid_margin_c":15.0,"latent_kj_per_kg":128.0,"cp_solid_j_per_kg_k":534.0,"cp_liquid_j_per_kg_k":600.0,"density_liquid_kg_per_m3":4600.0,"zinc_bearing":false,"sheet_hash":""},"charge_kg":1.5,"moulds":[{"name":"Cleat A","setup":"cleat_v1","mass_kg":0.4,"thinnest_mm":null,"material":"green_sand","lip_min_c":520.0,"lip_max_c":560.0,"loss_c":25.0,"loss_u_c":5.0,"loss_s":20.0,"window_same_probe":false,"why":{"name":""},"window_basis":null,"way":null}],"limits":[{"limit_c":620.0,"whose":"alloy","why":"sheet"}],"fume":null,"later_kg":0.0},"furnace":"crucible","seq":1,"mono_s":300.0,"utc_s":1780000200.0}');
INSERT INTO "events" VALUES(2,61,1,61,361.0,1780000261.0,'dip_recorded','{"type":"dip_recorded","dip":{"probe":"dip_probe","number":1,"began_mono_s":341.0,"ended_mono_s":361.0,"ended_utc_s":1780000261.0,"temp_c":548.2,"u_c":2.5,"how":"settled","fit_error_c":0.8},"furnace":"crucible","seq":61,"mono_s":361.0,"utc_s":1780000261.0}');
INSERT INTO "events" VALUES(3,62,1,62,362.0,1780000262.0,'pour_marked','{"type":"pour_marked","melt":"2026-001","pour":{"number":1,"mould":"Cleat A","setup":"cleat_v1","at_mono_s":362.0,"at_utc_s":1780000262.0,"marked":"live","pot_temp_c":566.0,"pot_u_c":3.0,"lip_temp_c":541.0,"lip_u_c":6.0,"lip_min_c":520.0,"lip_max_c":560.0,"basis":"probe in the metal less 25 degC on the way","lift_mono_s":342.0},"furnace":"crucible","seq":62,"mono_s":362.0,"utc_s":1780000262.0}');
INSERT INTO "events" VALUES(4,63,1,63,363.0,1780000263.0,'melt_ended','{"type":"melt_ended","melt":"2026-001","ending":"poured","furnace":"crucible","seq":63,"mono_s":363.0,"utc_s":1780000263.0}');
INSERT INTO "events" VALUES(5,64,1,64,500.0,1780000400.0,'melt_started','{"type":"melt_started","plan":{"melt":"2026-002","alloy":{"key":"za27","name":"ZA-27","family":"zinc","solidus_c":376.0,"liquidus_c":484.0,"eutectic_c":null,"arrests_c":[],"pour_min_c":515.0,"pour_max_c":590.0,"alloy_max_c":620.0,"liquid_margin_c":15.0,"latent_kj_per_kg":128.0,"cp_solid_j_per_kg_k":534.0,"cp_liquid_j_per_kg_k":600.0,"density_liquid_kg_per_m3":4600.0,"zinc_bearing":false,"sheet_hash":""},"charge_kg":1.5,"moulds":[{"name":"Cleat A","setup":"cleat_v1","mass_kg":0.4,"thinnest_mm":null,"material":"green_sand","lip_min_c":520.0,"lip_max_c":560.0,"loss_c":25.0,"loss_u_c":5.0,"loss_s":20.0,"window_same_probe":false,"why":{"name":""},"window_basis":null,"way":null}],"limits":[{"limit_c":620.0,"whose":"alloy","why":"sheet"}],"fume":null,"later_kg":0.0},"furnace":"crucible","seq":64,"mono_s":500.0,"utc_s":1780000400.0}');
INSERT INTO "events" VALUES(6,124,1,124,561.0,1780000461.0,'dip_recorded','{"type":"dip_recorded","dip":{"probe":"dip_probe","number":1,"began_mono_s":541.0,"ended_mono_s":561.0,"ended_utc_s":1780000461.0,"temp_c":548.2,"u_c":2.5,"how":"settled","fit_error_c":0.8},"furnace":"crucible","seq":124,"mono_s":561.0,"utc_s":1780000461.0}');
INSERT INTO "events" VALUES(7,125,1,125,562.0,1780000462.0,'pour_marked','{"type":"pour_marked","melt":"2026-002","pour":{"number":1,"mould":"Cleat A","setup":"cleat_v1","at_mono_s":562.0,"at_utc_s":1780000462.0,"marked":"live","pot_temp_c":566.0,"pot_u_c":3.0,"lip_temp_c":541.0,"lip_u_c":6.0,"lip_min_c":520.0,"lip_max_c":560.0,"basis":"probe in the metal less 25 degC on the way","lift_mono_s":542.0},"furnace":"crucible","seq":125,"mono_s":562.0,"utc_s":1780000462.0}');
INSERT INTO "events" VALUES(8,126,1,126,563.0,1780000463.0,'melt_ended','{"type":"melt_ended","melt":"2026-002","ending":"poured","furnace":"crucible","seq":126,"mono_s":563.0,"utc_s":1780000463.0}');
INSERT INTO "events" VALUES(9,127,2,1,700.0,1780050600.0,'melt_started','{"type":"melt_started","plan":{"melt":"2026-003","alloy":{"key":"za27","name":"ZA-27","family":"zinc","solidus_c":376.0,"liquidus_c":484.0,"eutectic_c":null,"arrests_c":[],"pour_min_c":515.0,"pour_max_c":590.0,"alloy_max_c":620.0,"liquid_margin_c":15.0,"latent_kj_per_kg":128.0,"cp_solid_j_per_kg_k":534.0,"cp_liquid_j_per_kg_k":600.0,"density_liquid_kg_per_m3":4600.0,"zinc_bearing":false,"sheet_hash":""},"charge_kg":1.5,"moulds":[{"name":"Cleat A","setup":"cleat_v1","mass_kg":0.4,"thinnest_mm":null,"material":"green_sand","lip_min_c":520.0,"lip_max_c":560.0,"loss_c":25.0,"loss_u_c":5.0,"loss_s":20.0,"window_same_probe":false,"why":{"name":""},"window_basis":null,"way":null}],"limits":[{"limit_c":620.0,"whose":"alloy","why":"sheet"}],"fume":null,"later_kg":0.0},"furnace":"crucible","seq":1,"mono_s":700.0,"utc_s":1780050600.0}');
INSERT INTO "events" VALUES(10,187,2,61,761.0,1780050661.0,'dip_recorded','{"type":"dip_recorded","dip":{"probe":"dip_probe","number":1,"began_mono_s":741.0,"ended_mono_s":761.0,"ended_utc_s":1780050661.0,"temp_c":548.2,"u_c":2.5,"how":"settled","fit_error_c":0.8},"furnace":"crucible","seq":61,"mono_s":761.0,"utc_s":1780050661.0}');
INSERT INTO "events" VALUES(11,188,2,62,762.0,1780050662.0,'pour_marked','{"type":"pour_marked","melt":"2026-003","pour":{"number":1,"mould":"Cleat A","setup":"cleat_v1","at_mono_s":762.0,"at_utc_s":1780050662.0,"marked":"live","pot_temp_c":566.0,"pot_u_c":3.0,"lip_temp_c":541.0,"lip_u_c":6.0,"lip_min_c":520.0,"lip_max_c":560.0,"basis":"probe in the metal less 25 degC on the way","lift_mono_s":742.0},"furnace":"crucible","seq":62,"mono_s":762.0,"utc_s":1780050662.0}');
CREATE TABLE furnaces (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
) STRICT;
INSERT INTO "furnaces" VALUES(1,'crucible');
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
INSERT INTO "gaps" VALUES(1,1,1,'',1780000463.0,1780050000.0,'not running',NULL);
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
INSERT INTO "journal" VALUES(1,1,NULL,300000,0,NULL,NULL,63,NULL,NULL,NULL,NULL,NULL,'{"type":"command_in","command":{"type":"start_melt","plan":{"melt":"2026-001","alloy":{"key":"za27","name":"ZA-27","family":"zinc","solidus_c":376.0,"liquidus_c":484.0,"eutectic_c":null,"arrests_c":[],"pour_min_c":515.0,"pour_max_c":590.0,"alloy_max_c":620.0,"liquid_margin_c":15.0,"latent_kj_per_kg":128.0,"cp_solid_j_per_kg_k":534.0,"cp_liquid_j_per_kg_k":600.0,"density_liquid_kg_per_m3":4600.0,"zinc_bearing":false,"sheet_hash":""},"charge_kg":1.5,"moulds":[{"name":"Cleat A","setup":"cleat_v1","mass_kg":0.4,"thinnest_mm":null,"material":"green_sand","lip_min_c":520.0,"lip_max_c":560.0,"loss_c":25.0,"loss_u_c":5.0,"loss_s":20.0,"window_same_probe":false,"why":{"name":""},"window_basis":null,"way":null}],"limits":[{"limit_c":620.0,"whose":"alloy","why":"sheet"}],"fume":null,"later_kg":0.0}},"seq":1,"mono_s":300.0,"utc_s":1780000200.0}');
INSERT INTO "journal" VALUES(2,2,NULL,301000,0,205059000,220625,0,NULL,2,0,500143,2500,NULL);
INSERT INTO "journal" VALUES(3,2,NULL,302000,0,205117000,220625,0,NULL,3,0,500286,2500,NULL);
INSERT INTO "journal" VALUES(4,2,NULL,303000,0,205176000,220625,0,NULL,4,0,500429,2500,NULL);
INSERT INTO "journal" VALUES(5,2,NULL,304000,0,205234000,220625,0,NULL,5,0,500571,2500,NULL);
INSERT INTO "journal" VALUES(6,2,NULL,305000,0,205293000,220625,0,NULL,6,0,500714,2500,NULL);
INSERT INTO "journal" VALUES(7,2,NULL,306000,0,205351000,220625,0,NULL,7,0,500857,2500,NULL);
INSERT INTO "journal" VALUES(8,2,NULL,307000,0,205410000,220625,0,NULL,8,0,501000,2500,NULL);
INSERT INTO "journal" VALUES(9,2,NULL,308000,0,205469000,220625,0,NULL,9,0,501143,2500,NULL);
INSERT INTO "journal" VALUES(10,2,NULL,3.09333333333333314395e+02,1.78000020933333325378e+09,205527000,220625,0,NULL,10,0,501286,2500,NULL);
INSERT INTO "journal" VALUES(11,2,NULL,310000,0,205586000,220625,0,NULL,11,0,501429,2500,NULL);
INSERT INTO "journal" VALUES(12,2,NULL,311000,0,205644000,220625,0,NULL,12,0,501571,2500,NULL);
INSERT INTO "journal" VALUES(13,2,NULL,312000,0,205703000,220625,0,NULL,13,0,501714,2500,NULL);
INSERT INTO "journal" VALUES(14,2,NULL,313000,0,205761000,220625,0,NULL,14,0,501857,2500,NULL);
INSERT INTO "journal" VALUES(15,2,NULL,314000,0,205820000,220625,0,NULL,15,0,502000,2500,NULL);
INSERT INTO "journal" VALUES(16,2,NULL,315000,0,205879000,220625,0,NULL,16,0,502143,2500,NULL);
INSERT INTO "journal" VALUES(17,2,NULL,316000,0,205937000,220625,0,NULL,17,0,502286,2500,NULL);
INSERT INTO "journal" VALUES(18,2,NULL,317000,0,205996000,220625,0,NULL,18,0,502429,2500,NULL);
INSERT INTO "journal" VALUES(19,2,NULL,3.18333333333333314387e+02,1.78000021833333325381e+09,206054000,220625,0,NULL,19,0,502571,2500,NULL);
INSERT INTO "journal" VALUES(20,2,NULL,319000,0,206113000,220625,0,NULL,20,0,502714,2500,NULL);
INSERT INTO "journal" VALUES(21,2,NULL,320000,0,206171000,220625,0,NULL,21,0,502857,2500,NULL);
INSERT INTO "journal" VALUES(22,2,NULL,321000,0,206230000,220625,0,NULL,22,0,503000,2500,NULL);
INSERT INTO "journal" VALUES(23,2,NULL,322000,0,206289000,220625,0,NULL,23,0,503143,2500,NULL);
INSERT INTO "journal" VALUES(24,2,NULL,323000,0,206347000,220625,0,NULL,24,0,503286,2500,NULL);
INSERT INTO "journal" VALUES(25,2,NULL,324000,0,206406000,220625,0,NULL,25,0,503429,2500,NULL);
INSERT INTO "journal" VALUES(26,2,NULL,325000,0,206464000,220625,0,NULL,26,0,503571,2500,NULL);
INSERT INTO "journal" VALUES(27,2,NULL,326000,0,206523000,220625,0,NULL,27,0,503714,2500,NULL);
INSERT INTO "journal" VALUES(28,2,NULL,3.27333333333333314379e+02,1.78000022733333325385e+09,206581000,220625,0,NULL,28,0,503857,2500,NULL);
INSERT INTO "journal" VALUES(29,2,NULL,328000,0,206640000,220625,0,NULL,29,0,504000,2500,NULL);
INSERT INTO "journal" VALUES(30,2,NULL,329000,0,206699000,220625,0,NULL,30,0,504143,2500,NULL);
INSERT INTO "journal" VALUES(31,2,NULL,330000,0,NULL,220625,10,NULL,31,0,NULL,NULL,NULL);
INSERT INTO "journal" VALUES(32,2,NULL,331000,0,206816000,220625,0,NULL,32,0,504429,2500,NULL);
INSERT INTO "journal" VALUES(33,2,NULL,332000,0,206874000,220625,0,NULL,33,0,504571,2500,NULL);
INSERT INTO "journal" VALUES(34,2,NULL,333000,0,206933000,220625,0,NULL,34,0,504714,2500,NULL);
INSERT INTO "journal" VALUES(35,2,NULL,334000,0,206991000,220625,0,NULL,35,0,504857,2500,NULL);
INSERT INTO "journal" VALUES(36,2,NULL,335000,0,207050000,220625,0,NULL,36,0,505000,2500,NULL);
INSERT INTO "journal" VALUES(37,2,NULL,3.36333333333333314393e+02,1.78000023633333325388e+09,207109000,220625,0,NULL,37,0,505143,2500,NULL);
INSERT INTO "journal" VALUES(38,2,NULL,337000,0,207167000,220625,0,NULL,38,0,505286,2500,NULL);
INSERT INTO "journal" VALUES(39,2,NULL,338000,0,207226000,220625,0,NULL,39,0,505429,2500,NULL);
INSERT INTO "journal" VALUES(40,2,NULL,339000,0,207284000,220625,0,NULL,40,0,505571,2500,NULL);
INSERT INTO "journal" VALUES(41,2,NULL,340000,0,207343000,220625,0,NULL,41,0,505714,2500,0.4);
INSERT INTO "journal" VALUES(42,2,NULL,341000,0,207401000,220625,0,NULL,42,0,505857,2500,NULL);
INSERT INTO "journal" VALUES(43,2,NULL,342000,0,207460000,220625,0,NULL,43,0,506000,2500,NULL);
INSERT INTO "journal" VALUES(44,2,NULL,343000,0,207519000,220625,0,NULL,44,0,506143,2500,NULL);
INSERT INTO "journal" VALUES(45,2,NULL,344000,0,207577000,220625,0,NULL,45,0,506286,2500,NULL);
INSERT INTO "journal" VALUES(46,2,NULL,3.45333333333333314385e+02,1.78000024533333325383e+09,207636000,220625,0,NULL,46,0,506429,2500,NULL);
INSERT INTO "journal" VALUES(47,2,NULL,346000,0,207694000,220625,0,NULL,47,0,506571,2500,NULL);
INSERT INTO "journal" VALUES(48,2,NULL,347000,0,207753000,220625,0,NULL,48,0,506714,2500,NULL);
INSERT INTO "journal" VALUES(49,2,NULL,348000,0,207811000,220625,0,NULL,49,0,506857,2500,NULL);
INSERT INTO "journal" VALUES(50,2,NULL,349000,0,207870000,220625,0,NULL,50,0,507000,2500,NULL);
INSERT INTO "journal" VALUES(51,2,NULL,350000,0,207929000,220625,0,NULL,51,0,507143,2500,NULL);
INSERT INTO "journal" VALUES(52,2,NULL,351000,0,207987000,220625,0,NULL,52,0,507286,2500,NULL);
INSERT INTO "journal" VALUES(53,2,NULL,352000,0,208046000,220625,0,NULL,53,0,507429,2500,NULL);
INSERT INTO "journal" VALUES(54,2,NULL,353000,0,208104000,220625,0,NULL,54,0,507571,2500,NULL);
INSERT INTO "journal" VALUES(55,2,NULL,3.54333333333333314377e+02,1.78000025433333325386e+09,208163000,220625,0,NULL,55,0,507714,2500,NULL);
INSERT INTO "journal" VALUES(56,2,NULL,355000,0,208221000,220625,0,NULL,56,0,507857,2500,NULL);
INSERT INTO "journal" VALUES(57,2,NULL,356000,0,208280000,220625,0,NULL,57,0,508000,2500,NULL);
INSERT INTO "journal" VALUES(58,2,NULL,357000,0,208339000,220625,0,NULL,58,0,508143,2500,NULL);
INSERT INTO "journal" VALUES(59,2,NULL,358000,0,208397000,220625,0,NULL,59,0,508286,2500,NULL);
INSERT INTO "journal" VALUES(60,2,NULL,359000,0,208456000,220625,0,NULL,60,0,508429,2500,NULL);
INSERT INTO "journal" VALUES(61,1,NULL,361000,0,NULL,NULL,63,NULL,NULL,NULL,NULL,NULL,'{"type":"command_in","command":{"type":"note","text":"dip"},"seq":61,"mono_s":361.0,"utc_s":1780000261.0}');
INSERT INTO "journal" VALUES(62,1,NULL,362000,0,NULL,NULL,63,NULL,NULL,NULL,NULL,NULL,'{"type":"command_in","command":{"type":"note","text":"poured"},"seq":62,"mono_s":362.0,"utc_s":1780000262.0}');
INSERT INTO "journal" VALUES(63,1,NULL,363000,0,NULL,NULL,63,NULL,NULL,NULL,NULL,NULL,'{"type":"command_in","command":{"type":"end_melt","ending":"poured"},"seq":63,"mono_s":363.0,"utc_s":1780000263.0}');
INSERT INTO "journal" VALUES(64,1,NULL,500000,0,NULL,NULL,63,NULL,NULL,NULL,NULL,NULL,'{"type":"command_in","command":{"type":"start_melt","plan":{"melt":"2026-002","alloy":{"key":"za27","name":"ZA-27","family":"zinc","solidus_c":376.0,"liquidus_c":484.0,"eutectic_c":null,"arrests_c":[],"pour_min_c":515.0,"pour_max_c":590.0,"alloy_max_c":620.0,"liquid_margin_c":15.0,"latent_kj_per_kg":128.0,"cp_solid_j_per_kg_k":534.0,"cp_liquid_j_per_kg_k":600.0,"density_liquid_kg_per_m3":4600.0,"zinc_bearing":false,"sheet_hash":""},"charge_kg":1.5,"moulds":[{"name":"Cleat A","setup":"cleat_v1","mass_kg":0.4,"thinnest_mm":null,"material":"green_sand","lip_min_c":520.0,"lip_max_c":560.0,"loss_c":25.0,"loss_u_c":5.0,"loss_s":20.0,"window_same_probe":false,"why":{"name":""},"window_basis":null,"way":null}],"limits":[{"limit_c":620.0,"whose":"alloy","why":"sheet"}],"fume":null,"later_kg":0.0}},"seq":64,"mono_s":500.0,"utc_s":1780000400.0}');
INSERT INTO "journal" VALUES(65,2,NULL,501000,0,205059000,220625,0,NULL,65,0,500143,2500,NULL);
INSERT INTO "journal" VALUES(66,2,NULL,502000,0,205117000,220625,0,NULL,66,0,500286,2500,NULL);
INSERT INTO "journal" VALUES(67,2,NULL,503000,0,205176000,220625,0,NULL,67,0,500429,2500,NULL);
INSERT INTO "journal" VALUES(68,2,NULL,504000,0,205234000,220625,0,NULL,68,0,500571,2500,NULL);
INSERT INTO "journal" VALUES(69,2,NULL,505000,0,205293000,220625,0,NULL,69,0,500714,2500,NULL);
INSERT INTO "journal" VALUES(70,2,NULL,506000,0,205351000,220625,0,NULL,70,0,500857,2500,NULL);
INSERT INTO "journal" VALUES(71,2,NULL,507000,0,205410000,220625,0,NULL,71,0,501000,2500,NULL);
INSERT INTO "journal" VALUES(72,2,NULL,508000,0,205469000,220625,0,NULL,72,0,501143,2500,NULL);
INSERT INTO "journal" VALUES(73,2,NULL,5.09333333333333314373e+02,1.78000040933333325381e+09,205527000,220625,0,NULL,73,0,501286,2500,NULL);
INSERT INTO "journal" VALUES(74,2,NULL,510000,0,205586000,220625,0,NULL,74,0,501429,2500,NULL);
INSERT INTO "journal" VALUES(75,2,NULL,511000,0,205644000,220625,0,NULL,75,0,501571,2500,NULL);
INSERT INTO "journal" VALUES(76,2,NULL,512000,0,205703000,220625,0,NULL,76,0,501714,2500,NULL);
INSERT INTO "journal" VALUES(77,2,NULL,513000,0,205761000,220625,0,NULL,77,0,501857,2500,NULL);
INSERT INTO "journal" VALUES(78,2,NULL,514000,0,205820000,220625,0,NULL,78,0,502000,2500,NULL);
INSERT INTO "journal" VALUES(79,2,NULL,515000,0,205879000,220625,0,NULL,79,0,502143,2500,NULL);
INSERT INTO "journal" VALUES(80,2,NULL,516000,0,205937000,220625,0,NULL,80,0,502286,2500,NULL);
INSERT INTO "journal" VALUES(81,2,NULL,517000,0,205996000,220625,0,NULL,81,0,502429,2500,NULL);
INSERT INTO "journal" VALUES(82,2,NULL,5.18333333333333371242e+02,1.78000041833333325384e+09,206054000,220625,0,NULL,82,0,502571,2500,NULL);
INSERT INTO "journal" VALUES(83,2,NULL,519000,0,206113000,220625,0,NULL,83,0,502714,2500,NULL);
INSERT INTO "journal" VALUES(84,2,NULL,520000,0,206171000,220625,0,NULL,84,0,502857,2500,NULL);
INSERT INTO "journal" VALUES(85,2,NULL,521000,0,206230000,220625,0,NULL,85,0,503000,2500,NULL);
INSERT INTO "journal" VALUES(86,2,NULL,522000,0,206289000,220625,0,NULL,86,0,503143,2500,NULL);
INSERT INTO "journal" VALUES(87,2,NULL,523000,0,206347000,220625,0,NULL,87,0,503286,2500,NULL);
INSERT INTO "journal" VALUES(88,2,NULL,524000,0,206406000,220625,0,NULL,88,0,503429,2500,NULL);
INSERT INTO "journal" VALUES(89,2,NULL,525000,0,206464000,220625,0,NULL,89,0,503571,2500,NULL);
INSERT INTO "journal" VALUES(90,2,NULL,526000,0,206523000,220625,0,NULL,90,0,503714,2500,NULL);
INSERT INTO "journal" VALUES(91,2,NULL,5.27333333333333371213e+02,1.78000042733333325387e+09,206581000,220625,0,NULL,91,0,503857,2500,NULL);
INSERT INTO "journal" VALUES(92,2,NULL,528000,0,206640000,220625,0,NULL,92,0,504000,2500,NULL);
INSERT INTO "journal" VALUES(93,2,NULL,529000,0,206699000,220625,0,NULL,93,0,504143,2500,NULL);
INSERT INTO "journal" VALUES(94,2,NULL,530000,0,NULL,220625,10,NULL,94,0,NULL,NULL,NULL);
INSERT INTO "journal" VALUES(95,2,NULL,531000,0,206816000,220625,0,NULL,95,0,504429,2500,NULL);
INSERT INTO "journal" VALUES(96,2,NULL,532000,0,206874000,220625,0,NULL,96,0,504571,2500,NULL);
INSERT INTO "journal" VALUES(97,2,NULL,533000,0,206933000,220625,0,NULL,97,0,504714,2500,NULL);
INSERT INTO "journal" VALUES(98,2,NULL,534000,0,206991000,220625,0,NULL,98,0,504857,2500,NULL);
INSERT INTO "journal" VALUES(99,2,NULL,535000,0,207050000,220625,0,NULL,99,0,505000,2500,NULL);
INSERT INTO "journal" VALUES(100,2,NULL,5.36333333333333371227e+02,1.78000043633333325391e+09,207109000,220625,0,NULL,100,0,505143,2500,NULL);
INSERT INTO "journal" VALUES(101,2,NULL,537000,0,207167000,220625,0,NULL,101,0,505286,2500,NULL);
INSERT INTO "journal" VALUES(102,2,NULL,538000,0,207226000,220625,0,NULL,102,0,505429,2500,NULL);
INSERT INTO "journal" VALUES(103,2,NULL,539000,0,207284000,220625,0,NULL,103,0,505571,2500,NULL);
INSERT INTO "journal" VALUES(104,2,NULL,540000,0,207343000,220625,0,NULL,104,0,505714,2500,0.4);
INSERT INTO "journal" VALUES(105,2,NULL,541000,0,207401000,220625,0,NULL,105,0,505857,2500,NULL);
INSERT INTO "journal" VALUES(106,2,NULL,542000,0,207460000,220625,0,NULL,106,0,506000,2500,NULL);
INSERT INTO "journal" VALUES(107,2,NULL,543000,0,207519000,220625,0,NULL,107,0,506143,2500,NULL);
INSERT INTO "journal" VALUES(108,2,NULL,544000,0,207577000,220625,0,NULL,108,0,506286,2500,NULL);
INSERT INTO "journal" VALUES(109,2,NULL,5.45333333333333371241e+02,1.78000044533333325385e+09,207636000,220625,0,NULL,109,0,506429,2500,NULL);
INSERT INTO "journal" VALUES(110,2,NULL,546000,0,207694000,220625,0,NULL,110,0,506571,2500,NULL);
INSERT INTO "journal" VALUES(111,2,NULL,547000,0,207753000,220625,0,NULL,111,0,506714,2500,NULL);
INSERT INTO "journal" VALUES(112,2,NULL,548000,0,207811000,220625,0,NULL,112,0,506857,2500,NULL);
INSERT INTO "journal" VALUES(113,2,NULL,549000,0,207870000,220625,0,NULL,113,0,507000,2500,NULL);
INSERT INTO "journal" VALUES(114,2,NULL,550000,0,207929000,220625,0,NULL,114,0,507143,2500,NULL);
INSERT INTO "journal" VALUES(115,2,NULL,551000,0,207987000,220625,0,NULL,115,0,507286,2500,NULL);
INSERT INTO "journal" VALUES(116,2,NULL,552000,0,208046000,220625,0,NULL,116,0,507429,2500,NULL);
INSERT INTO "journal" VALUES(117,2,NULL,553000,0,208104000,220625,0,NULL,117,0,507571,2500,NULL);
INSERT INTO "journal" VALUES(118,2,NULL,5.54333333333333371211e+02,1.78000045433333325389e+09,208163000,220625,0,NULL,118,0,507714,2500,NULL);
INSERT INTO "journal" VALUES(119,2,NULL,555000,0,208221000,220625,0,NULL,119,0,507857,2500,NULL);
INSERT INTO "journal" VALUES(120,2,NULL,556000,0,208280000,220625,0,NULL,120,0,508000,2500,NULL);
INSERT INTO "journal" VALUES(121,2,NULL,557000,0,208339000,220625,0,NULL,121,0,508143,2500,NULL);
INSERT INTO "journal" VALUES(122,2,NULL,558000,0,208397000,220625,0,NULL,122,0,508286,2500,NULL);
INSERT INTO "journal" VALUES(123,2,NULL,559000,0,208456000,220625,0,NULL,123,0,508429,2500,NULL);
INSERT INTO "journal" VALUES(124,1,NULL,561000,0,NULL,NULL,63,NULL,NULL,NULL,NULL,NULL,'{"type":"command_in","command":{"type":"note","text":"dip"},"seq":124,"mono_s":561.0,"utc_s":1780000461.0}');
INSERT INTO "journal" VALUES(125,1,NULL,562000,0,NULL,NULL,63,NULL,NULL,NULL,NULL,NULL,'{"type":"command_in","command":{"type":"note","text":"poured"},"seq":125,"mono_s":562.0,"utc_s":1780000462.0}');
INSERT INTO "journal" VALUES(126,1,NULL,563000,0,NULL,NULL,63,NULL,NULL,NULL,NULL,NULL,'{"type":"command_in","command":{"type":"end_melt","ending":"poured"},"seq":126,"mono_s":563.0,"utc_s":1780000463.0}');
INSERT INTO "journal" VALUES(127,3,NULL,700000,0,NULL,NULL,63,NULL,NULL,NULL,NULL,NULL,'{"type":"command_in","command":{"type":"start_melt","plan":{"melt":"2026-003","alloy":{"key":"za27","name":"ZA-27","family":"zinc","solidus_c":376.0,"liquidus_c":484.0,"eutectic_c":null,"arrests_c":[],"pour_min_c":515.0,"pour_max_c":590.0,"alloy_max_c":620.0,"liquid_margin_c":15.0,"latent_kj_per_kg":128.0,"cp_solid_j_per_kg_k":534.0,"cp_liquid_j_per_kg_k":600.0,"density_liquid_kg_per_m3":4600.0,"zinc_bearing":false,"sheet_hash":""},"charge_kg":1.5,"moulds":[{"name":"Cleat A","setup":"cleat_v1","mass_kg":0.4,"thinnest_mm":null,"material":"green_sand","lip_min_c":520.0,"lip_max_c":560.0,"loss_c":25.0,"loss_u_c":5.0,"loss_s":20.0,"window_same_probe":false,"why":{"name":""},"window_basis":null,"way":null}],"limits":[{"limit_c":620.0,"whose":"alloy","why":"sheet"}],"fume":null,"later_kg":0.0}},"seq":1,"mono_s":700.0,"utc_s":1780050600.0}');
INSERT INTO "journal" VALUES(128,4,NULL,701000,0,205059000,220625,0,NULL,2,0,500143,2500,NULL);
INSERT INTO "journal" VALUES(129,4,NULL,702000,0,205117000,220625,0,NULL,3,0,500286,2500,NULL);
INSERT INTO "journal" VALUES(130,4,NULL,703000,0,205176000,220625,0,NULL,4,0,500429,2500,NULL);
INSERT INTO "journal" VALUES(131,4,NULL,704000,0,205234000,220625,0,NULL,5,0,500571,2500,NULL);
INSERT INTO "journal" VALUES(132,4,NULL,705000,0,205293000,220625,0,NULL,6,0,500714,2500,NULL);
INSERT INTO "journal" VALUES(133,4,NULL,706000,0,205351000,220625,0,NULL,7,0,500857,2500,NULL);
INSERT INTO "journal" VALUES(134,4,NULL,707000,0,205410000,220625,0,NULL,8,0,501000,2500,NULL);
INSERT INTO "journal" VALUES(135,4,NULL,708000,0,205469000,220625,0,NULL,9,0,501143,2500,NULL);
INSERT INTO "journal" VALUES(136,4,NULL,7.09333333333333371228e+02,1.78005060933333325383e+09,205527000,220625,0,NULL,10,0,501286,2500,NULL);
INSERT INTO "journal" VALUES(137,4,NULL,710000,0,205586000,220625,0,NULL,11,0,501429,2500,NULL);
INSERT INTO "journal" VALUES(138,4,NULL,711000,0,205644000,220625,0,NULL,12,0,501571,2500,NULL);
INSERT INTO "journal" VALUES(139,4,NULL,712000,0,205703000,220625,0,NULL,13,0,501714,2500,NULL);
INSERT INTO "journal" VALUES(140,4,NULL,713000,0,205761000,220625,0,NULL,14,0,501857,2500,NULL);
INSERT INTO "journal" VALUES(141,4,NULL,714000,0,205820000,220625,0,NULL,15,0,502000,2500,NULL);
INSERT INTO "journal" VALUES(142,4,NULL,715000,0,205879000,220625,0,NULL,16,0,502143,2500,NULL);
INSERT INTO "journal" VALUES(143,4,NULL,716000,0,205937000,220625,0,NULL,17,0,502286,2500,NULL);
INSERT INTO "journal" VALUES(144,4,NULL,717000,0,205996000,220625,0,NULL,18,0,502429,2500,NULL);
INSERT INTO "journal" VALUES(145,4,NULL,7.18333333333333371242e+02,1.78005061833333325387e+09,206054000,220625,0,NULL,19,0,502571,2500,NULL);
INSERT INTO "journal" VALUES(146,4,NULL,719000,0,206113000,220625,0,NULL,20,0,502714,2500,NULL);
INSERT INTO "journal" VALUES(147,4,NULL,720000,0,206171000,220625,0,NULL,21,0,502857,2500,NULL);
INSERT INTO "journal" VALUES(148,4,NULL,721000,0,206230000,220625,0,NULL,22,0,503000,2500,NULL);
INSERT INTO "journal" VALUES(149,4,NULL,722000,0,206289000,220625,0,NULL,23,0,503143,2500,NULL);
INSERT INTO "journal" VALUES(150,4,NULL,723000,0,206347000,220625,0,NULL,24,0,503286,2500,NULL);
INSERT INTO "journal" VALUES(151,4,NULL,724000,0,206406000,220625,0,NULL,25,0,503429,2500,NULL);
INSERT INTO "journal" VALUES(152,4,NULL,725000,0,206464000,220625,0,NULL,26,0,503571,2500,NULL);
INSERT INTO "journal" VALUES(153,4,NULL,726000,0,206523000,220625,0,NULL,27,0,503714,2500,NULL);
INSERT INTO "journal" VALUES(154,4,NULL,7.27333333333333371213e+02,1.7800506273333332539e+09,206581000,220625,0,NULL,28,0,503857,2500,NULL);
INSERT INTO "journal" VALUES(155,4,NULL,728000,0,206640000,220625,0,NULL,29,0,504000,2500,NULL);
INSERT INTO "journal" VALUES(156,4,NULL,729000,0,206699000,220625,0,NULL,30,0,504143,2500,NULL);
INSERT INTO "journal" VALUES(157,4,NULL,730000,0,NULL,220625,10,NULL,31,0,NULL,NULL,NULL);
INSERT INTO "journal" VALUES(158,4,NULL,731000,0,206816000,220625,0,NULL,32,0,504429,2500,NULL);
INSERT INTO "journal" VALUES(159,4,NULL,732000,0,206874000,220625,0,NULL,33,0,504571,2500,NULL);
INSERT INTO "journal" VALUES(160,4,NULL,733000,0,206933000,220625,0,NULL,34,0,504714,2500,NULL);
INSERT INTO "journal" VALUES(161,4,NULL,734000,0,206991000,220625,0,NULL,35,0,504857,2500,NULL);
INSERT INTO "journal" VALUES(162,4,NULL,735000,0,207050000,220625,0,NULL,36,0,505000,2500,NULL);
INSERT INTO "journal" VALUES(163,4,NULL,7.36333333333333371227e+02,1.7800506363333332538e+09,207109000,220625,0,NULL,37,0,505143,2500,NULL);
INSERT INTO "journal" VALUES(164,4,NULL,737000,0,207167000,220625,0,NULL,38,0,505286,2500,NULL);
INSERT INTO "journal" VALUES(165,4,NULL,738000,0,207226000,220625,0,NULL,39,0,505429,2500,NULL);
INSERT INTO "journal" VALUES(166,4,NULL,739000,0,207284000,220625,0,NULL,40,0,505571,2500,NULL);
INSERT INTO "journal" VALUES(167,4,NULL,740000,0,207343000,220625,0,NULL,41,0,505714,2500,0.4);
INSERT INTO "journal" VALUES(168,4,NULL,741000,0,207401000,220625,0,NULL,42,0,505857,2500,NULL);
INSERT INTO "journal" VALUES(169,4,NULL,742000,0,207460000,220625,0,NULL,43,0,506000,2500,NULL);
INSERT INTO "journal" VALUES(170,4,NULL,743000,0,207519000,220625,0,NULL,44,0,506143,2500,NULL);
INSERT INTO "journal" VALUES(171,4,NULL,744000,0,207577000,220625,0,NULL,45,0,506286,2500,NULL);
INSERT INTO "journal" VALUES(172,4,NULL,7.45333333333333371241e+02,1.78005064533333325384e+09,207636000,220625,0,NULL,46,0,506429,2500,NULL);
INSERT INTO "journal" VALUES(173,4,NULL,746000,0,207694000,220625,0,NULL,47,0,506571,2500,NULL);
INSERT INTO "journal" VALUES(174,4,NULL,747000,0,207753000,220625,0,NULL,48,0,506714,2500,NULL);
INSERT INTO "journal" VALUES(175,4,NULL,748000,0,207811000,220625,0,NULL,49,0,506857,2500,NULL);
INSERT INTO "journal" VALUES(176,4,NULL,749000,0,207870000,220625,0,NULL,50,0,507000,2500,NULL);
INSERT INTO "journal" VALUES(177,4,NULL,750000,0,207929000,220625,0,NULL,51,0,507143,2500,NULL);
INSERT INTO "journal" VALUES(178,4,NULL,751000,0,207987000,220625,0,NULL,52,0,507286,2500,NULL);
INSERT INTO "journal" VALUES(179,4,NULL,752000,0,208046000,220625,0,NULL,53,0,507429,2500,NULL);
INSERT INTO "journal" VALUES(180,4,NULL,753000,0,208104000,220625,0,NULL,54,0,507571,2500,NULL);
INSERT INTO "journal" VALUES(181,4,NULL,7.54333333333333371211e+02,1.78005065433333325387e+09,208163000,220625,0,NULL,55,0,507714,2500,NULL);
INSERT INTO "journal" VALUES(182,4,NULL,755000,0,208221000,220625,0,NULL,56,0,507857,2500,NULL);
INSERT INTO "journal" VALUES(183,4,NULL,756000,0,208280000,220625,0,NULL,57,0,508000,2500,NULL);
INSERT INTO "journal" VALUES(184,4,NULL,757000,0,208339000,220625,0,NULL,58,0,508143,2500,NULL);
INSERT INTO "journal" VALUES(185,4,NULL,758000,0,208397000,220625,0,NULL,59,0,508286,2500,NULL);
INSERT INTO "journal" VALUES(186,4,NULL,759000,0,208456000,220625,0,NULL,60,0,508429,2500,NULL);
INSERT INTO "journal" VALUES(187,3,NULL,761000,0,NULL,NULL,63,NULL,NULL,NULL,NULL,NULL,'{"type":"command_in","command":{"type":"note","text":"dip"},"seq":61,"mono_s":761.0,"utc_s":1780050661.0}');
INSERT INTO "journal" VALUES(188,3,NULL,762000,0,NULL,NULL,63,NULL,NULL,NULL,NULL,NULL,'{"type":"command_in","command":{"type":"note","text":"poured"},"seq":62,"mono_s":762.0,"utc_s":1780050662.0}');
CREATE TABLE learned (                  -- learned parameters: furnace model, losses, windows; frozen text by hash
    id INTEGER PRIMARY KEY,
    furnace_id INTEGER REFERENCES furnaces(id),
    at_utc_s REAL NOT NULL,
    what TEXT NOT NULL,
    text_hash TEXT NOT NULL REFERENCES texts(hash)
) STRICT;
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
CREATE TABLE melt_endings (
    id INTEGER PRIMARY KEY,
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    journal_id INTEGER NOT NULL,
    mono_s REAL NOT NULL,
    utc_s REAL NOT NULL,
    ending TEXT NOT NULL,
    corrects INTEGER REFERENCES melt_endings(id)
, who TEXT NOT NULL DEFAULT '', detail TEXT NOT NULL DEFAULT '') STRICT;
INSERT INTO "melt_endings" VALUES(1,1,63,363.0,1780000263.0,'poured',NULL,'shop','');
INSERT INTO "melt_endings" VALUES(2,2,126,563.0,1780000463.0,'poured',NULL,'shop','');
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
INSERT INTO "melt_plans" VALUES(1,1,1,1780000200.0,'za27',1.5,'{"melt":"2026-001","alloy":{"key":"za27","name":"ZA-27","family":"zinc","solidus_c":376.0,"liquidus_c":484.0,"eutectic_c":null,"arrests_c":[],"pour_min_c":515.0,"pour_max_c":590.0,"alloy_max_c":620.0,"liquid_margin_c":15.0,"latent_kj_per_kg":128.0,"cp_solid_j_per_kg_k":534.0,"cp_liquid_j_per_kg_k":600.0,"density_liquid_kg_per_m3":4600.0,"zinc_bearing":false,"sheet_hash":""},"charge_kg":1.5,"moulds":[{"name":"Cleat A","setup":"cleat_v1","mass_kg":0.4,"thinnest_mm":null,"material":"green_sand","lip_min_c":520.0,"lip_max_c":560.0,"loss_c":25.0,"loss_u_c":5.0,"loss_s":20.0,"window_same_probe":false,"why":{"name":""},"window_basis":null,"way":null}],"limits":[{"limit_c":620.0,"whose":"alloy","why":"sheet"}],"fume":null,"later_kg":0.0}','');
INSERT INTO "melt_plans" VALUES(2,2,1,1780000400.0,'za27',1.5,'{"melt":"2026-002","alloy":{"key":"za27","name":"ZA-27","family":"zinc","solidus_c":376.0,"liquidus_c":484.0,"eutectic_c":null,"arrests_c":[],"pour_min_c":515.0,"pour_max_c":590.0,"alloy_max_c":620.0,"liquid_margin_c":15.0,"latent_kj_per_kg":128.0,"cp_solid_j_per_kg_k":534.0,"cp_liquid_j_per_kg_k":600.0,"density_liquid_kg_per_m3":4600.0,"zinc_bearing":false,"sheet_hash":""},"charge_kg":1.5,"moulds":[{"name":"Cleat A","setup":"cleat_v1","mass_kg":0.4,"thinnest_mm":null,"material":"green_sand","lip_min_c":520.0,"lip_max_c":560.0,"loss_c":25.0,"loss_u_c":5.0,"loss_s":20.0,"window_same_probe":false,"why":{"name":""},"window_basis":null,"way":null}],"limits":[{"limit_c":620.0,"whose":"alloy","why":"sheet"}],"fume":null,"later_kg":0.0}','');
INSERT INTO "melt_plans" VALUES(3,3,1,1780050600.0,'za27',1.5,'{"melt":"2026-003","alloy":{"key":"za27","name":"ZA-27","family":"zinc","solidus_c":376.0,"liquidus_c":484.0,"eutectic_c":null,"arrests_c":[],"pour_min_c":515.0,"pour_max_c":590.0,"alloy_max_c":620.0,"liquid_margin_c":15.0,"latent_kj_per_kg":128.0,"cp_solid_j_per_kg_k":534.0,"cp_liquid_j_per_kg_k":600.0,"density_liquid_kg_per_m3":4600.0,"zinc_bearing":false,"sheet_hash":""},"charge_kg":1.5,"moulds":[{"name":"Cleat A","setup":"cleat_v1","mass_kg":0.4,"thinnest_mm":null,"material":"green_sand","lip_min_c":520.0,"lip_max_c":560.0,"loss_c":25.0,"loss_u_c":5.0,"loss_s":20.0,"window_same_probe":false,"why":{"name":""},"window_basis":null,"way":null}],"limits":[{"limit_c":620.0,"whose":"alloy","why":"sheet"}],"fume":null,"later_kg":0.0}','');
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
INSERT INTO "melts" VALUES(1,'2026-001',1,1,1,300.0,1780000200.0,'za27','ZA-27',1.5,0);
INSERT INTO "melts" VALUES(2,'2026-002',1,1,64,500.0,1780000400.0,'za27','ZA-27',1.5,0);
INSERT INTO "melts" VALUES(3,'2026-003',1,2,127,700.0,1780050600.0,'za27','ZA-27',1.5,0);
CREATE TABLE merged_melts (             -- under which number a melt was known where it was made
    melt_id INTEGER PRIMARY KEY REFERENCES melts(id),
    merge_id INTEGER NOT NULL REFERENCES merges(id),
    theirs TEXT NOT NULL
) STRICT;
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
, batch TEXT NOT NULL DEFAULT '', preheat_c REAL, who TEXT NOT NULL DEFAULT '', why TEXT NOT NULL DEFAULT '') STRICT;
INSERT INTO "mould_setups" VALUES(1,'cleat_v1',1780000000.0,'','','foot','',6.0,0.4,'',NULL,'',NULL,'shop','');
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
INSERT INTO "notes" VALUES(1,NULL,1,1,1,1780090000.0,'note','=1+1; ''quoted''',NULL,'Ann',NULL);
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
CREATE TABLE panel_pairs (              -- the panel was read while the metal was known and both stood still
    id INTEGER PRIMARY KEY,
    event_id INTEGER REFERENCES events(id),
    furnace_id INTEGER NOT NULL REFERENCES furnaces(id),
    melt_id INTEGER REFERENCES melts(id),
    at_utc_s REAL NOT NULL,
    metal_c REAL NOT NULL,
    panel_c REAL NOT NULL
) STRICT;
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
INSERT INTO "photos" VALUES(1,'abababababababababababababababababababababababababababababababab','.jpg',4711,1780000000.0,'Ann',1,1,'tip');
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
    loss_c REAL NOT NULL, window_basis TEXT, loss_basis TEXT, open_s REAL, walk_c REAL, ladle_c REAL, stream_c REAL,
    PRIMARY KEY (plan_id, position)
) STRICT, WITHOUT ROWID;
INSERT INTO "planned_moulds" VALUES(1,0,'Cleat A','cleat_v1','green_sand',0.4,NULL,520.0,560.0,25.0,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "planned_moulds" VALUES(2,0,'Cleat A','cleat_v1','green_sand',0.4,NULL,520.0,560.0,25.0,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "planned_moulds" VALUES(3,0,'Cleat A','cleat_v1','green_sand',0.4,NULL,520.0,560.0,25.0,NULL,NULL,NULL,NULL,NULL,NULL);
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
, batch TEXT NOT NULL DEFAULT '', not_poured INTEGER NOT NULL DEFAULT 0, figure TEXT, at_lift INTEGER, age_s REAL, stale_s REAL, lag_c REAL, dip INTEGER, instrument TEXT) STRICT;
INSERT INTO "pours" VALUES(1,3,1,1,'Cleat A','cleat_v1',1,62,362.0,1780000262.0,342.0,'live',566.0,3.0,541.0,6.0,520.0,560.0,'probe in the metal less 25 degC on the way',NULL,'','','',0,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "pours" VALUES(2,7,2,1,'Cleat A','cleat_v1',1,125,562.0,1780000462.0,542.0,'live',566.0,3.0,541.0,6.0,520.0,560.0,'probe in the metal less 25 degC on the way',NULL,'','','',0,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "pours" VALUES(3,11,3,1,'Cleat A','cleat_v1',2,188,762.0,1780050662.0,742.0,'live',566.0,3.0,541.0,6.0,520.0,560.0,'probe in the metal less 25 degC on the way',NULL,'','','',0,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "pours" VALUES(4,NULL,1,1,'Cleat B','cleat_v1',1,62,362.0,1780000262.0,342.0,'live',566.0,3.0,541.0,6.0,520.0,560.0,'probe in the metal less 25 degC on the way',1,'Ann','mixed up','',0,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE probes (
    id INTEGER PRIMARY KEY,
    furnace_id INTEGER NOT NULL REFERENCES furnaces(id),
    name TEXT NOT NULL,
    UNIQUE (furnace_id, name)
) STRICT;
INSERT INTO "probes" VALUES(1,1,'melt_probe');
CREATE TABLE profile_runs (             -- a profile as it was when its run began
    id INTEGER PRIMARY KEY,
    furnace_id INTEGER NOT NULL REFERENCES furnaces(id),
    melt_id INTEGER REFERENCES melts(id),
    began_utc_s REAL NOT NULL,
    name TEXT NOT NULL,
    text_hash TEXT NOT NULL REFERENCES texts(hash),
    who TEXT NOT NULL
) STRICT;
CREATE TABLE reasons (                  -- journal.marks & 63
    code INTEGER PRIMARY KEY,
    reason TEXT NOT NULL UNIQUE,
    status TEXT NOT NULL
) STRICT;
INSERT INTO "reasons" VALUES(0,'ok','good');
INSERT INTO "reasons" VALUES(1,'override','good');
INSERT INTO "reasons" VALUES(2,'last_known','uncertain');
INSERT INTO "reasons" VALUES(3,'late','uncertain');
INSERT INTO "reasons" VALUES(4,'off_spec','uncertain');
INSERT INTO "reasons" VALUES(5,'spike','bad');
INSERT INTO "reasons" VALUES(6,'cold_junction','uncertain');
INSERT INTO "reasons" VALUES(7,'disagree','uncertain');
INSERT INTO "reasons" VALUES(8,'waiting','bad');
INSERT INTO "reasons" VALUES(9,'over_range','bad');
INSERT INTO "reasons" VALUES(10,'sensor_open','bad');
INSERT INTO "reasons" VALUES(11,'sensor_short','bad');
INSERT INTO "reasons" VALUES(12,'intermittent','bad');
INSERT INTO "reasons" VALUES(13,'unchanging','bad');
INSERT INTO "reasons" VALUES(14,'implausible','bad');
INSERT INTO "reasons" VALUES(15,'dead_bus','bad');
INSERT INTO "reasons" VALUES(16,'link_lost','bad');
INSERT INTO "reasons" VALUES(17,'config','bad');
INSERT INTO "reasons" VALUES(18,'out_of_service','bad');
INSERT INTO "reasons" VALUES(19,'moving','uncertain');
INSERT INTO "reasons" VALUES(20,'out_of_metal','uncertain');
INSERT INTO "reasons" VALUES(21,'no_value','bad');
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
INSERT INTO "results" VALUES(1,1,1,1780090000.0,'Ann','misrun',2,'tip naïve',NULL);
INSERT INTO "results" VALUES(2,1,1,1780091000.0,'Ann','misrun',1,'',1);
INSERT INTO "results" VALUES(3,2,1,1780090000.0,'Ben','sound',0,'',NULL);
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
INSERT INTO "rollup" VALUES(1,5,60,1,4,0,500143,500571,2001429,2,5);
INSERT INTO "rollup" VALUES(1,5,61,1,5,0,500714,501286,2505000,6,10);
INSERT INTO "rollup" VALUES(1,5,62,1,5,0,501429,502000,2508571,11,15);
INSERT INTO "rollup" VALUES(1,5,63,1,5,0,502143,502714,2512143,16,20);
INSERT INTO "rollup" VALUES(1,5,64,1,5,0,502857,503429,2515715,21,25);
INSERT INTO "rollup" VALUES(1,5,65,1,5,0,503571,504143,2519285,26,30);
INSERT INTO "rollup" VALUES(1,5,66,1,4,1,504429,504857,2018571,31,35);
INSERT INTO "rollup" VALUES(1,5,67,1,6,0,505000,505714,3032143,36,41);
INSERT INTO "rollup" VALUES(1,5,68,1,4,0,505857,506286,2024286,42,45);
INSERT INTO "rollup" VALUES(1,5,69,1,5,0,506429,507000,2533571,46,50);
INSERT INTO "rollup" VALUES(1,5,70,1,5,0,507143,507714,2537143,51,55);
INSERT INTO "rollup" VALUES(1,5,71,1,5,0,507857,508429,2540715,56,60);
INSERT INTO "rollup" VALUES(1,5,100,1,4,0,500143,500571,2001429,65,68);
INSERT INTO "rollup" VALUES(1,5,101,1,5,0,500714,501286,2505000,69,73);
INSERT INTO "rollup" VALUES(1,5,102,1,5,0,501429,502000,2508571,74,78);
INSERT INTO "rollup" VALUES(1,5,103,1,5,0,502143,502714,2512143,79,83);
INSERT INTO "rollup" VALUES(1,5,104,1,5,0,502857,503429,2515715,84,88);
INSERT INTO "rollup" VALUES(1,5,105,1,5,0,503571,504143,2519285,89,93);
INSERT INTO "rollup" VALUES(1,5,106,1,4,1,504429,504857,2018571,94,98);
INSERT INTO "rollup" VALUES(1,5,107,1,6,0,505000,505714,3032143,99,104);
INSERT INTO "rollup" VALUES(1,5,108,1,4,0,505857,506286,2024286,105,108);
INSERT INTO "rollup" VALUES(1,5,109,1,5,0,506429,507000,2533571,109,113);
INSERT INTO "rollup" VALUES(1,5,110,1,5,0,507143,507714,2537143,114,118);
INSERT INTO "rollup" VALUES(1,5,111,1,5,0,507857,508429,2540715,119,123);
INSERT INTO "rollup" VALUES(1,60,5,1,58,1,500143,508429,29248572,2,60);
INSERT INTO "rollup" VALUES(1,60,8,1,39,1,500143,505714,19612857,65,104);
INSERT INTO "rollup" VALUES(1,60,9,1,19,0,505857,508429,9635715,105,123);
INSERT INTO "rollup" VALUES(2,5,140,1,4,0,500143,500571,2001429,128,131);
INSERT INTO "rollup" VALUES(2,5,141,1,5,0,500714,501286,2505000,132,136);
INSERT INTO "rollup" VALUES(2,5,142,1,5,0,501429,502000,2508571,137,141);
INSERT INTO "rollup" VALUES(2,5,143,1,5,0,502143,502714,2512143,142,146);
INSERT INTO "rollup" VALUES(2,5,144,1,5,0,502857,503429,2515715,147,151);
INSERT INTO "rollup" VALUES(2,5,145,1,5,0,503571,504143,2519285,152,156);
INSERT INTO "rollup" VALUES(2,5,146,1,4,1,504429,504857,2018571,157,161);
INSERT INTO "rollup" VALUES(2,5,147,1,6,0,505000,505714,3032143,162,167);
INSERT INTO "rollup" VALUES(2,5,148,1,4,0,505857,506286,2024286,168,171);
INSERT INTO "rollup" VALUES(2,5,149,1,5,0,506429,507000,2533571,172,176);
INSERT INTO "rollup" VALUES(2,5,150,1,5,0,507143,507714,2537143,177,181);
INSERT INTO "rollup" VALUES(2,5,151,1,5,0,507857,508429,2540715,182,186);
INSERT INTO "rollup" VALUES(2,60,11,1,19,0,500143,502714,9527143,128,146);
INSERT INTO "rollup" VALUES(2,60,12,1,39,1,502857,508429,19721429,147,186);
CREATE TABLE session_ends (             -- missing for a session that was cut off
    session_id INTEGER PRIMARY KEY REFERENCES sessions(id),
    mono_s REAL NOT NULL,
    utc_s REAL NOT NULL
) STRICT;
INSERT INTO "session_ends" VALUES(1,563.0,1780000463.0);
INSERT INTO "session_ends" VALUES(2,762.0,1780050662.0);
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
INSERT INTO "sessions" VALUES(1,1,100.0,1780000000.0,1779999900000,'4184e00730253644e9f4c4b093573ed5c5b44b79d6ecc56bad1e07e37f143caa','2af366f4529091a57a93acfcd7265247e9ab3b4a7cceb4c259bc590d850e4b0b',1,'0.1.0');
INSERT INTO "sessions" VALUES(2,1,100.0,1780050000.0,1780049900000,'4184e00730253644e9f4c4b093573ed5c5b44b79d6ecc56bad1e07e37f143caa','2af366f4529091a57a93acfcd7265247e9ab3b4a7cceb4c259bc590d850e4b0b',127,'0.1.0');
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
INSERT INTO "sources" VALUES(1,1,'','','',NULL,0,0);
INSERT INTO "sources" VALUES(2,1,'bench','0','emf_uv',1,0,0);
INSERT INTO "sources" VALUES(3,2,'','','',NULL,0,126);
INSERT INTO "sources" VALUES(4,2,'bench','0','emf_uv',1,0,126);
CREATE TABLE state (                    -- how far the roll-up has come
    only_row INTEGER PRIMARY KEY CHECK (only_row = 1),
    rolled_id INTEGER NOT NULL
) STRICT;
INSERT INTO "state" VALUES(1,188);
CREATE TABLE tags (
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    pour_number INTEGER NOT NULL DEFAULT 0,     -- 0: the melt as a whole
    tag TEXT NOT NULL,
    at_utc_s REAL NOT NULL,
    PRIMARY KEY (melt_id, pour_number, tag)
) STRICT, WITHOUT ROWID;
INSERT INTO "tags" VALUES(1,1,'series A',1780000000.0);
CREATE TABLE texts (                    -- settings, engine configurations, sheets, profiles: each text once, by its hash
    hash TEXT PRIMARY KEY,              -- SHA-256, hex
    kind TEXT NOT NULL,                 -- settings, config, sheet, profile
    body TEXT NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO "texts" VALUES('2af366f4529091a57a93acfcd7265247e9ab3b4a7cceb4c259bc590d850e4b0b','config','{"furnace":"crucible"}');
INSERT INTO "texts" VALUES('4184e00730253644e9f4c4b093573ed5c5b44b79d6ecc56bad1e07e37f143caa','settings','[shop]
');
CREATE TABLE thinnings (                -- readings that were given up on request; rows in this range may be deleted
    id INTEGER PRIMARY KEY,
    at_utc_s REAL NOT NULL,
    who TEXT NOT NULL,
    why TEXT NOT NULL,
    first_id INTEGER NOT NULL,
    last_id INTEGER NOT NULL,
    keep_every_s REAL NOT NULL,
    rows_before INTEGER NOT NULL
, from_utc_s REAL NOT NULL DEFAULT 0, until_utc_s REAL NOT NULL DEFAULT 0, rows_given_up INTEGER NOT NULL DEFAULT 0) STRICT;
CREATE TABLE trial_pours (
    series_id INTEGER NOT NULL REFERENCES trial_series(id),
    melt_id INTEGER NOT NULL REFERENCES melts(id),
    pour_number INTEGER NOT NULL,
    PRIMARY KEY (series_id, melt_id, pour_number)
) STRICT, WITHOUT ROWID;
CREATE TABLE trial_series (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    setup TEXT NOT NULL,
    began_utc_s REAL NOT NULL,
    detail TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX other_readings_by_journal ON other_readings(journal_id);
CREATE INDEX events_by_journal ON events(journal_id);
CREATE INDEX melts_by_furnace ON melts(furnace_id, id);
CREATE INDEX melt_endings_by_melt ON melt_endings(melt_id);
CREATE INDEX charges_by_melt ON charges(melt_id);
CREATE INDEX alarms_by_melt ON alarms(melt_id);
CREATE INDEX dips_by_melt ON dips(melt_id);
CREATE INDEX mould_setups_by_name ON mould_setups(name);
CREATE INDEX pours_by_melt ON pours(melt_id, number);
CREATE INDEX pours_by_setup ON pours(setup);
CREATE INDEX pours_by_corrected ON pours(corrects) WHERE corrects IS NOT NULL;
CREATE INDEX results_by_pour ON results(melt_id, pour_number);
CREATE INDEX notes_by_melt ON notes(melt_id);
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
CREATE TRIGGER dips_keep_rows BEFORE DELETE ON dips
    BEGIN SELECT RAISE(ABORT, 'dips is append-only; a correction is a new row'); END;
CREATE TRIGGER mould_setups_stay_as_written BEFORE UPDATE ON mould_setups
    BEGIN SELECT RAISE(ABORT, 'mould_setups is append-only; a correction is a new row'); END;
CREATE TRIGGER mould_setups_keep_rows BEFORE DELETE ON mould_setups
    BEGIN SELECT RAISE(ABORT, 'mould_setups is append-only; a correction is a new row'); END;
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
CREATE INDEX thinnings_by_end ON thinnings(last_id);
CREATE TRIGGER merges_stay_as_written BEFORE UPDATE ON merges
    BEGIN SELECT RAISE(ABORT, 'merges is append-only; a correction is a new row'); END;
CREATE TRIGGER merges_keep_rows BEFORE DELETE ON merges
    BEGIN SELECT RAISE(ABORT, 'merges is append-only; a correction is a new row'); END;
CREATE TRIGGER merged_melts_stay_as_written BEFORE UPDATE ON merged_melts
    BEGIN SELECT RAISE(ABORT, 'merged_melts is append-only; a correction is a new row'); END;
CREATE TRIGGER merged_melts_keep_rows BEFORE DELETE ON merged_melts
    BEGIN SELECT RAISE(ABORT, 'merged_melts is append-only; a correction is a new row'); END;
CREATE INDEX charges_by_source ON charges(from_melt_id) WHERE from_melt_id IS NOT NULL;
CREATE INDEX leavings_by_melt ON leavings(melt_id);
CREATE INDEX mould_setups_by_time ON mould_setups(name, at_utc_s);
CREATE VIEW pours_now AS                -- pours as they stand after their corrections; without those that were none
    SELECT p.* FROM pours p WHERE p.not_poured = 0 AND NOT EXISTS (SELECT 1 FROM pours c WHERE c.corrects = p.id);
CREATE VIEW leavings_now AS             -- what was left, after its corrections
    SELECT l.* FROM leavings l WHERE l.taken_back = 0
    AND NOT EXISTS (SELECT 1 FROM leavings c WHERE c.melt_id = l.melt_id AND c.corrects = l.id);
CREATE TRIGGER leavings_stay_as_written BEFORE UPDATE ON leavings
    BEGIN SELECT RAISE(ABORT, 'leavings is append-only; a correction is a new row'); END;
CREATE TRIGGER leavings_keep_rows BEFORE DELETE ON leavings
    BEGIN SELECT RAISE(ABORT, 'leavings is append-only; a correction is a new row'); END;
CREATE INDEX panel_pairs_by_furnace ON panel_pairs(furnace_id);
CREATE TRIGGER panel_pairs_stay_as_written BEFORE UPDATE ON panel_pairs
    BEGIN SELECT RAISE(ABORT, 'panel_pairs is append-only; a correction is a new row'); END;
CREATE TRIGGER panel_pairs_keep_rows BEFORE DELETE ON panel_pairs
    BEGIN SELECT RAISE(ABORT, 'panel_pairs is append-only; a correction is a new row'); END;
CREATE TRIGGER pours_stay_as_written BEFORE UPDATE ON pours
    BEGIN SELECT RAISE(ABORT, 'pours is append-only; a correction is a new row'); END;
CREATE TRIGGER dips_stay_as_written BEFORE UPDATE ON dips
    BEGIN SELECT RAISE(ABORT, 'dips is append-only; a correction is a new row'); END;
CREATE TRIGGER planned_moulds_stay_as_written BEFORE UPDATE ON planned_moulds
    BEGIN SELECT RAISE(ABORT, 'planned_moulds is append-only; a correction is a new row'); END;
COMMIT;
