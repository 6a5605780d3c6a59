"""The column map of a board that sends text: why it cannot be used."""

TEXTS: dict[str, str] = {
    "columns.refused": "the column map cannot be used: {faults:; }",
    "columns.remedy": "Columns are numbered from 1; give each channel one of its own",
    "columns.channels": "{count} {count:channel is|channels are} mapped; 1 to {most} can be",
    "columns.separator": "separator {found} is none of tab ; | , blank",
    "columns.ms": "ms_column {found} is not 0 to {most}",
    "columns.reach": "channel {channel}: column {column}, cold column {cold_column}; the last that is read is {most}",
    "columns.channel": "channel {channel} stands twice, or is not 1 to 16 letters, digits, dots, dashes",
    "columns.linear": "channel {channel}: only degrees can be linear, not {found}",
    "columns.cold_unit": "channel {channel}: a cold junction is in degrees, not {found}",
    "columns.comma": "a comma cannot separate columns and decimals at once",
    "columns.comma.remedy": "Use another separator",
    "columns.no_number": "columns: {typed} is no column number",
    "columns.twice": "columns: channel {channel} stands twice",
    "columns.stray": "columns: a cold junction of {channel}, which is no channel",
    "columns.stray.remedy": "Give that channel a column too",
    "columns.missing": "the text format needs `columns`",
    "columns.missing.remedy": "Say which column is which channel",
}
