"""From inspected pours to what to try next. Loaded by commands and workers only, never by the daemon."""
