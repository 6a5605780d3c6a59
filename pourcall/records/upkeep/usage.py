"""What the record costs in disk: how much of what, how fast it grows, what thinning could give back.

Estimates from the ends of stretches, never a count over all rows: a file of a hundred million answers at once.
In: a connection and the paths. Out: `Usage`. Not here: words (pourcall/cli/shop/doctor_command.py), thinning itself
(thinning.py).
"""

import sqlite3
from pathlib import Path

import msgspec

from pourcall.contract.paths import Paths


class Usage(msgspec.Struct, frozen=True, kw_only=True):
    """Bytes by kind. bytes_per_melt_hour: what an hour of a melt adds; None before the first whole melt."""

    record: int
    copies: int  # beside it: copies from before a schema change, files set aside as damaged or replaced
    photos: int
    aside: int
    log: int
    bytes_per_melt_hour: float | None
    old_rows: int  # readings older than asked for and not thinned yet, about
    old_bytes: int


def usage(conn: sqlite3.Connection, paths: Paths, *, older_than_utc_s: float) -> Usage:
    """Measure and estimate."""
    database = paths.database
    record = sum(_size(database.with_name(database.name + tail)) for tail in ("", "-wal"))
    beside = sum(
        one.stat().st_size
        for one in database.parent.glob(f"{database.name}.*")
        if one.is_file() and not one.name.endswith(".part")
    )
    first, last = conn.execute("SELECT coalesce(min(id), 1), coalesce(max(id), 0) FROM journal").fetchone()
    (gone,) = conn.execute("SELECT coalesce(sum(rows_given_up), 0) FROM thinnings").fetchone()
    rows = max(last - first + 1 - gone, 1)
    each = record / rows if last else 0.0
    hours, melt_rows = _melts(conn)
    old_rows = _old_rows(conn, first, last, older_than_utc_s)
    return Usage(
        record=record,
        copies=beside,
        photos=_folder(paths.photos),
        aside=_folder(paths.data / "aside"),
        log=sum(one.stat().st_size for one in paths.log.parent.glob(f"{paths.log.name}*")),
        bytes_per_melt_hour=each * melt_rows / hours if hours > 0.0 and gone == 0 else None,
        old_rows=old_rows,
        old_bytes=round(old_rows * each),
    )


def _melts(conn: sqlite3.Connection) -> tuple[float, int]:
    """Hours and rows of the newest fifty melts that ended. Melts of two furnaces at once count each other's rows."""
    hours, rows = 0.0, 0
    for began_s, ended_s, first_id, last_id in conn.execute(
        "SELECT m.began_utc_s, e.utc_s, m.journal_id, e.journal_id FROM melts m JOIN melt_endings e ON e.melt_id = m.id"
        " AND e.corrects IS NULL ORDER BY m.id DESC LIMIT 50"
    ):
        if ended_s > began_s and last_id > first_id:
            hours, rows = hours + (ended_s - began_s) / 3600.0, rows + last_id - first_id
    return hours, rows


def _old_rows(conn: sqlite3.Connection, first: int, last: int, older_than_utc_s: float) -> int:
    """Rows before the first session that is young enough, behind what was thinned already."""
    (upto,) = conn.execute(
        "SELECT coalesce(min(journal_id), ?) FROM sessions WHERE began_utc_s >= ?", (last, older_than_utc_s)
    ).fetchone()
    if conn.execute("SELECT 1 FROM sessions WHERE began_utc_s < ? LIMIT 1", (older_than_utc_s,)).fetchone() is None:
        return 0
    (thinned,) = conn.execute("SELECT coalesce(max(last_id), 0) FROM thinnings").fetchone()
    return max(0, int(upto) - max(first, int(thinned) + 1))


def _folder(folder: Path) -> int:
    return sum(one.stat().st_size for one in folder.rglob("*") if one.is_file()) if folder.is_dir() else 0


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0
