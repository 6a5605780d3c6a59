"""Melts and pours by their names, as the later entries need them. Connection in, ids out."""

import sqlite3

from pourcall.contract.errors import NotFound
from pourcall.contract.message import tell


def no_melt(melt: str) -> NotFound:
    """There is no melt of that name."""
    return NotFound(tell("record.no_melt", melt=melt[:60]), remedy=tell("record.no_melt.remedy"))


def no_pour(pour: str) -> NotFound:
    """There is no pour of that name."""
    return NotFound(tell("record.no_pour", pour=pour[:60]), remedy=tell("record.no_pour.remedy"))


def find_melt(conn: sqlite3.Connection, melt: str) -> tuple[int, int, float]:
    """Id, furnace and beginning (UTC) of a melt. Raises NotFound."""
    row = conn.execute("SELECT id, furnace_id, began_utc_s FROM melts WHERE melt = ?", (melt,)).fetchone()
    if row is None:
        raise no_melt(melt)
    return int(row[0]), int(row[1]), float(row[2])


def split_pour(name: str) -> tuple[str, int]:
    """Melt and number of a pour id, `2026-014-1`. Raises NotFound."""
    melt_name, _, number = name.rpartition("-")
    if not melt_name or not (number.isascii() and number.isdecimal() and len(number) < 10):
        raise NotFound(tell("record.not_a_pour", typed=name[:60]), remedy=tell("record.not_a_pour.remedy"))
    return melt_name, int(number)


def find_pour(conn: sqlite3.Connection, pour: str) -> tuple[int, int]:
    """Melt id and number of a pour, also of one that turned out to be none. Raises NotFound."""
    melt, number = split_pour(pour)
    melt_id, _, _ = find_melt(conn, melt)
    if conn.execute("SELECT 1 FROM pours WHERE melt_id = ? AND number = ?", (melt_id, number)).fetchone() is None:
        raise no_pour(pour)
    return melt_id, number


def standing_row(conn: sqlite3.Connection, pour: str) -> int:
    """The row of a pour that stands. Raises NotFound."""
    (row_id,) = conn.execute(
        "SELECT max(id) FROM pours WHERE melt_id = ? AND number = ?", find_pour(conn, pour)
    ).fetchone()
    return int(row_id)
