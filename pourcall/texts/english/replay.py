"""`pourcall replay`: a trace from a file, and what the engine would have said of it."""

TEXTS: dict[str, str] = {
    "replay.thinned": "{file} was thinned to one reading in {keep_every_s}: this replay cannot say again all that was said then",
    "replay.no_thermocouple": "no thermocouple, it seems",
    "replay.no_unit": "(no unit)",
    "replay.no_alloy": "no alloy is named",
    "replay.no_alloy.remedy": "Say with --alloy what is in the pot: `pourcall alloy list`",
    "replay.rows": "{count} rows: {good} good, {uncertain} uncertain, {bad} without a number",
    "replay.written": "all rows are in {file}",
    "replay.column_taken": "column '{column}' is taken; others are {others}",
    "replay.no_column": "no column looks like a thermocouple's",
    "replay.no_column.remedy": "Name one with --column: {columns}",
    "replay.unit_taken": "the file does not say the unit of '{column}': degC is taken",
    "replay.trace": "{file}: {column} against {time_column}, {count} rows, {lasts_s:0}",
    "replay.window": "{alloy}: {mould} needs {lip_low_c} to {lip_high_c} at the lip, {pot_low_c} to {pot_high_c} in the pot",
    "replay.dropped": "{count} rows are left out: their time cannot be read or does not move on",
    "replay.texts": "{count} cells hold text where a number should stand: no number there",
    "replay.melt_state": "melt {melt_state}: {why}",
    "replay.probe_state": "probe {probe_state}: {why}",
    "replay.call": "call {how}: {text}",
    "replay.alarm": "{priority}: {what}",
    "replay.cleared": "cleared: {what}",
}
