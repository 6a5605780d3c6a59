"""Sample-cup checks of probes on record. Rows are added, never altered; they lie among what is learned.

In: a connection. Out: `CupCheck`s, oldest first. Not here: how a cup is judged (daemon.calibrate.sample_cup).
"""

import sqlite3

import msgspec

from pourcall.calibration.sample_cup import CupCheck
from pourcall.records.entries.learned_texts import keep_learned, learned

WHAT = "probe_check"


def keep_check(conn: sqlite3.Connection, check: CupCheck) -> int:
    """A new row; its id. Inside a transaction of the caller's (`calibrations.write_aside`)."""
    return keep_learned(conn, WHAT, check.furnace, check.at_utc_s, msgspec.json.encode(check).decode())


def probe_checks(conn: sqlite3.Connection, probe: str = "", furnace: str = "") -> list[CupCheck]:
    """Every check of a probe, or of all, oldest first. One of a newer form than ours is left out."""
    found = []
    for _, body in sorted(learned(conn, WHAT, furnace), key=lambda row: row[0]):
        try:
            check = msgspec.json.decode(body, type=CupCheck)
        except (msgspec.ValidationError, msgspec.DecodeError):
            continue
        if probe in ("", check.probe):
            found.append(check)
    return found
