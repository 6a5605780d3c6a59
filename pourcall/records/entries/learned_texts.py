"""What is learned of a furnace, kept as dated texts: its models, checks of its probes. Added to, never altered.

In: a connection, what it is, JSON. Out: the JSON, oldest first. Not here: what the texts mean.
"""

import sqlite3
from collections.abc import Iterator

from pourcall.records.write.ids import keep_text


def keep_learned(conn: sqlite3.Connection, what: str, furnace: str, utc_s: float, body: str) -> int:
    """A new row; its id. Inside a transaction of the caller's (`calibrations.write_aside`, `Recorder.call`)."""
    conn.execute("INSERT OR IGNORE INTO furnaces (name) VALUES (?)", (furnace,))
    row = conn.execute(
        "INSERT INTO learned (furnace_id, at_utc_s, what, text_hash) SELECT id, ?, ?, ? FROM furnaces WHERE name = ?",
        (utc_s, what, keep_text(conn, what, body), furnace),
    )
    return int(row.lastrowid or 0)


def learned(conn: sqlite3.Connection, what: str, furnace: str = "") -> Iterator[tuple[float, str]]:
    """Moment and JSON of each, of one furnace or of all, as they were written."""
    yield from conn.execute(
        "SELECT l.at_utc_s, t.body FROM learned l JOIN furnaces f ON f.id = l.furnace_id"
        " JOIN texts t ON t.hash = l.text_hash WHERE l.what = ? AND ? IN ('', f.name) ORDER BY l.id",
        (what, furnace),
    )
