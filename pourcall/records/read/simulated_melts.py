"""Which melts on record are invented. Melts of a simulated furnace, so that no list, page or advice shows them as real.

A melt is invented where its session ran on a simulated furnace or where it has the tag. Not here: who invents
(pourcall/sim/scenarios/invented.py), what advice makes of them (daemon/trials).
"""

import sqlite3
from collections.abc import Iterable

from pourcall.contract.message import NOTHING, Message, tell

TAG = "invented"
_SQL = (  # few texts, many sessions, many melts: in this order
    "WITH never AS (SELECT hash FROM texts WHERE kind = 'config' AND json_valid(body)"
    "  AND json_extract(body, '$.simulated'))"
    " SELECT m.melt FROM melts m JOIN sessions s ON s.id = m.session_id WHERE s.config_hash IN never"
    " UNION SELECT m.melt FROM melts m JOIN tags g ON g.melt_id = m.id WHERE g.tag = ? AND g.pour_number = 0"
)


def invented_melts(conn: sqlite3.Connection) -> frozenset[str]:
    """Melts that were simulated."""
    return frozenset(melt for (melt,) in conn.execute(_SQL, (TAG,)))


def invented_told(melts: Iterable[str], invented: frozenset[str]) -> Message:
    """What to say under a list of melts (or of their pours); nothing where all are real."""
    shown = frozenset(melts)
    found = shown & invented
    if not found:
        return NOTHING
    if found == shown:
        return tell("melt_list.invented")
    return tell("melt_list.invented_some", melts=", ".join(sorted(found)))
