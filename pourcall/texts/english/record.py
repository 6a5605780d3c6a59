"""What the record says of itself, and of what it was told."""

TEXTS: dict[str, str] = {
    "record.panel_compared": "metal {metal_c} with the panel {panel_c}",
    "record.dip.how": "{dip_how}",
    "record.dip.widened": "{dip_how}, U by the spread of three dips",
    "record.dip.figure": "dip {number}: {temp_c}, {how}",
    "record.dip.none": "dip {number}: {why}",
    "record.well_again": "recording again; nothing was lost",
    "record.well_but": "recording again; {count} could not be recorded and lie beside the record: {path}",
    "record.file_gone": "the record file was deleted or replaced while it was open",
    "record.found.no_database": "the file is no database",
    "record.found.torn": "The last commit was cut short; all whole commits are there.",
    "record.found.cut_off": "The last session was cut off; what was confirmed is there.",
    "record.found.damaged": "{why}; the old file is kept as {file}, a new one was begun",
    "record.lifted": "pot lifted",
    "record.poured": "pour {number} into {mould}",
    "record.poured_at": "pour {number} into {mould}, {lip_c} at the lip",
    "record.power": "power {level}",
    "record.result": "{pour}: {said}; on record",
    "record.defect": "{defect} {severity}",
    "record.sound": "sound",
    "record.defect_taken_back": "{defect} taken back",
    "record.setup.described": "mould setup {setup} is described; use it with `pourcall melt start ALLOY --mould '{setup}'`",
    "record.setup.changed": "mould setup {setup}, version {version}: {fields}; pours so far keep the version they were "
    "poured with",
    "record.setup.field": "{setup_field}",
}
