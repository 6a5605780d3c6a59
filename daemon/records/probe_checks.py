"""Room: sample-cup checks of probes on record. Rows are added, never altered; they lie among what is learned.

In: a connection. Out: `CupCheck`s, oldest first. Not here: how a cup is judged (daemon.calibrate.sample_cup).
"""

import sqlite3

import msgspec

from pourcall.daemon.calibrate.sample_cup import CupCheck
from pourcall.daemon.records.book import keep_text

WHAT = "probe_check"


def keep_check(conn: sqlite3.Connection, check: CupCheck) -> int:
    """A new row; its id. Inside a transaction of the caller's (`calibrations.write_aside`)."""
    conn.execute("INSERT OR IGNORE INTO furnaces (name) VALUES (?)", (check.furnace,))
    digest = keep_text(conn, WHAT, msgspec.json.encode(check).decode())
    row = conn.execute(
        "INSERT INTO learned (furnace_id, at_utc_s, what, text_hash) SELECT id, ?, ?, ? FROM furnaces WHERE name = ?",
        (check.at_utc_s, WHAT, digest, check.furnace),
    )
    return int(row.lastrowid or 0)


def probe_checks(conn: sqlite3.Connection, probe: str = "", furnace: str = "") -> list[CupCheck]:
    """Every check of a probe, or of all, oldest first. One of a newer form than ours is left out."""
    found = []
    rows = conn.execute(
        "SELECT t.body FROM learned l JOIN furnaces f ON f.id = l.furnace_id JOIN texts t ON t.hash = l.text_hash"
        " WHERE l.what = ? AND ? IN ('', f.name) ORDER BY l.at_utc_s, l.id",
        (WHAT, furnace),
    )
    for (body,) in rows:
        try:
            check = msgspec.json.decode(body, type=CupCheck)
        except (msgspec.ValidationError, msgspec.DecodeError):
            continue
        if probe in ("", check.probe):
            found.append(check)
    return found
