"""Guided profiles on record, each frozen as it began. In: a connection. Out: the one that still runs.

A row of `profile_runs` is written for each beginning and each change (projections.py); how it went on stands in events.
"""

import sqlite3

import msgspec

from pourcall.contract.profile_plan import ProfilePlan

OVER = ("stopped", "over", "ended")


def running_profile(conn: sqlite3.Connection, melt: str) -> ProfilePlan | None:
    """The profile that guides a melt, by what was told last; None: none, or it is over, stopped, or not legible."""
    row = conn.execute(
        "SELECT e.body FROM events e JOIN sessions s ON s.id = e.session_id"
        " JOIN melts m ON m.furnace_id = s.furnace_id AND e.utc_s >= m.began_utc_s"
        " WHERE m.melt = ? AND e.type = 'profile_changed' ORDER BY e.id DESC LIMIT 1",
        (melt,),
    ).fetchone()
    if row is None or msgspec.json.decode(row[0]).get("how") in OVER:
        return None
    kept = conn.execute(
        "SELECT t.body FROM profile_runs r JOIN melts m ON m.id = r.melt_id JOIN texts t ON t.hash = r.text_hash"
        " WHERE m.melt = ? ORDER BY r.id DESC LIMIT 1",
        (melt,),
    ).fetchone()
    if kept is None:
        return None
    try:
        return msgspec.json.decode(kept[0], type=ProfilePlan)
    except msgspec.ValidationError:
        return None
