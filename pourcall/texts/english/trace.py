"""A file of a time and temperatures, or captured bytes: why it cannot be read."""

TEXTS: dict[str, str] = {
    "trace.few_lines": "only {count} {count:line|lines} of data",
    "trace.few_lines.remedy": "A trace needs a time and a temperature in each row",
    "trace.few_rows": "only {count} {count:row|rows} of numbers",
    "trace.few_rows.remedy": "Check the separator and the header",
    "trace.no_numbers": "no column holds numbers",
    "trace.no_numbers.remedy": "Check the separator and the decimal mark",
    "trace.no_time": "no column rises steadily as a time does",
    "trace.not_rising": "column {column} does not rise as a time should",
    "trace.no_time.remedy": "Name the time column with --time",
    "trace.no_column": "no column '{column}'",
    "trace.there_are": "There are: {columns}",
    "trace.no_sidecar": "the file of times beside the bytes is not a {kind} of version {version}: {error}",
    "trace.no_sidecar.remedy": "Remove it to read the bytes without their times",
}
