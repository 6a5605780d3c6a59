"""Thinning. Old readings given up on request, under dated rows that say what, when, how many, by whom.

What is kept: the first reading of each probe in every `keep_every_s`, each change of its status, everything around a
pour or a dip, every row an event, melt or pour names, every input that is no sample, the whole roll-up. A piece of the
journal and the row that tells of it are one transaction: a crash leaves whole pieces, and the rest for another time.
Not here: who may ask, and whether there is a backup (pourcall/cli/shop/thin_command.py). No daemon may write meanwhile.
"""

import shutil
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import msgspec

from pourcall.contract.errors import BadInput, StoreError
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.records.read.views import AFTER_POUR_S
from pourcall.records.upkeep.migrate import refuse_foreign, shipped_steps
from pourcall.records.upkeep.opening import FindingKind, open_database
from pourcall.records.write.rollup import roll_up

DAY_S = 86_400.0
LEAST_AGE_S = 30 * DAY_S  # younger melts are still learned from, calibrated with and looked at closely
LEAST_EVERY_S, MOST_EVERY_S = 1.0, 60.0
POUR_BEFORE_S = 900.0  # of the minutes around a pour; after it what an export of it shows
DIP_AROUND_S = 60.0
CLOCK_WAS_SET_S = 1_577_836_800.0  # 2020: what says it is older was written by a clock nobody had set (fault C4)
PIECE_ROWS = 400_000
_NAMED = ("events", "melts", "melt_endings", "pours", "other_readings")  # tables that name rows of the journal


class Thinning(msgspec.Struct, frozen=True, kw_only=True):
    """One request that was carried out, as the record tells it."""

    at_utc_s: float
    who: str
    why: str
    keep_every_s: float
    from_utc_s: float
    until_utc_s: float
    rows_before: int
    rows_given_up: int

    @property
    def told(self) -> Message:
        """For a trace: what became of it."""
        at = datetime.fromtimestamp(self.at_utc_s, UTC)
        return tell("export.thinned", day=f"{at:%Y-%m-%d}", every=self.keep_every_s)


class Thinned(msgspec.Struct, frozen=True, kw_only=True):
    """What a request did, or would do. unshrunk: why the file kept its size, nothing where it shrank."""

    until_utc_s: float
    keep_every_s: float
    rows_before: int = 0
    rows_given_up: int = 0
    from_utc_s: float | None = None
    to_utc_s: float | None = None
    bytes_before: int = 0
    bytes_after: int = 0
    unshrunk: Message = NOTHING


class JournalRow(NamedTuple):
    """What deciding needs of a row. state: what must not be lost when it changes."""

    id: int
    source: int
    at_s: float
    state: object


class Piece(NamedTuple):
    """A piece of the journal that was looked at."""

    first_id: int
    last_id: int
    rows: int
    runs: list[tuple[int, int]]  # ids to be given up, in runs without a gap
    given_up: int
    from_utc_s: float
    until_utc_s: float


def given_up(rows: Iterable[JournalRow], keep_every_s: float) -> Iterator[int]:
    """Ids of rows that may go: neither the first of their source in a slot, nor a change, nor the last of all."""
    slots: dict[int, float] = {}
    states: dict[int, object] = {}
    waiting: dict[int, int] = {}  # the newest row of each source that may go: kept if nothing follows it
    for row_id, source, at_s, state in rows:
        slot = at_s // keep_every_s
        last = waiting.pop(source, None)
        if last is not None:
            yield last
        if slots.get(source) == slot and states[source] == state:
            waiting[source] = row_id
        slots[source], states[source] = slot, state


def in_runs(ids: Iterable[int]) -> list[tuple[int, int]]:
    """Sorted ids as (first, last) of runs without a gap."""
    runs: list[tuple[int, int]] = []
    for one in sorted(ids):
        if runs and one == runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], one)
        else:
            runs.append((one, one))
    return runs


def thin(
    path: Path,
    *,
    older_than_s: float,
    keep_every_s: float,
    who: str,
    why: str,
    utc_s: float,
    dry_run: bool = False,
    free: Callable[[Path], int] | None = None,
    piece_rows: int = PIECE_ROWS,
) -> Thinned:
    """Give up readings older than `older_than_s`, and shrink the file. Nothing is written with `dry_run`.

    Raises BadInput for figures that make no sense, StoreError where the file cannot be used or written.
    """
    if not older_than_s >= LEAST_AGE_S:
        raise BadInput(
            tell("record.thin.young", days=round(LEAST_AGE_S / DAY_S)), remedy=tell("record.thin.young.remedy")
        )
    if not LEAST_EVERY_S <= keep_every_s <= MOST_EVERY_S:
        raise BadInput(
            tell("record.thin.every", keep_every_s=keep_every_s),
            remedy=tell("record.thin.every.remedy", least_s=LEAST_EVERY_S, most_s=MOST_EVERY_S),
        )
    until_utc_s = utc_s - older_than_s
    header = refuse_foreign(path, shipped_steps()[-1].version)
    if header is None or not header.is_sqlite:
        raise StoreError(tell("record.thin.none"), where=str(path), remedy=tell("record.thin.none.remedy"))
    size = _size(path)
    done = Thinned(until_utc_s=until_utc_s, keep_every_s=keep_every_s, bytes_before=size, bytes_after=size)
    try:
        conn, findings = open_database(path, utc_s=utc_s)
        with closing(conn):
            if any(finding.kind is FindingKind.DAMAGED for finding in findings):
                raise StoreError(tell("record.set_aside"), where=str(path), remedy=tell("record.set_aside.remedy"))
            for piece in _pieces(conn, until_utc_s, keep_every_s, piece_rows):
                if not dry_run:
                    _give_up(conn, piece, keep_every_s, who, why, utc_s)
                done = _added(done, piece)
            if not dry_run:
                spare = _spare(conn)
                unshrunk = _shrink(conn, path, free) if spare else NOTHING
                done = msgspec.structs.replace(done, unshrunk=unshrunk)
    except sqlite3.Error as err:
        raise StoreError(
            tell("record.thin.stopped", error=str(err)), where=str(path), remedy=tell("record.thin.stopped.remedy")
        ) from err
    return done if dry_run else msgspec.structs.replace(done, bytes_after=_size(path))


def thinnings(conn: sqlite3.Connection, first_id: int = 0, last_id: int = 2**62) -> tuple[Thinning, ...]:
    """What was given up between two ids of the journal, oldest request first; pieces of one request are one."""
    rows = conn.execute(
        "SELECT at_utc_s, who, why, keep_every_s, min(from_utc_s), max(until_utc_s), sum(rows_before),"
        " sum(rows_given_up) FROM thinnings WHERE last_id >= ? AND first_id <= ? GROUP BY 1, 2, 3, 4 ORDER BY 1",
        (first_id, last_id),
    )
    return tuple(
        Thinning(
            at_utc_s=r[0],
            who=r[1],
            why=r[2],
            keep_every_s=r[3],
            from_utc_s=r[4],
            until_utc_s=r[5],
            rows_before=r[6],
            rows_given_up=r[7],
        )
        for r in rows
    )


def thinnings_of(conn: sqlite3.Connection, extents: Iterable[tuple[int, int]]) -> tuple[Thinning, ...]:
    """What was given up of a trace over these stretches (first and last id), in the order of time."""
    found = {one.at_utc_s: one for first_id, last_id in extents for one in thinnings(conn, first_id, last_id)}
    return tuple(found[at] for at in sorted(found))


def _pieces(conn: sqlite3.Connection, until_utc_s: float, keep_every_s: float, piece_rows: int) -> Iterator[Piece]:
    """Pieces of the journal that hold something to give up, oldest first."""
    (first,) = conn.execute("SELECT coalesce(min(id), 0) FROM journal").fetchone()
    # A session that began later ends what is old, whatever a clock said that was not set or stepped since.
    (upto,) = conn.execute(
        "SELECT coalesce((SELECT min(journal_id) FROM sessions WHERE began_utc_s >= ?),"
        " (SELECT max(id) FROM journal), 0)",
        (until_utc_s,),
    ).fetchone()
    windows = _windows(conn)
    while first < upto:
        last = min(first + piece_rows, upto) - 1
        piece = _look(conn, first, last, until_utc_s, keep_every_s, windows)
        if piece is not None and piece.given_up:
            yield piece
        first = last + 1


def _look(
    conn: sqlite3.Connection,
    first: int,
    last: int,
    until_utc_s: float,
    keep_every_s: float,
    windows: dict[int, list[tuple[float, float]]],
) -> Piece | None:
    sources = {
        row[0]: (row[1], row[2], row[3])
        for row in conn.execute(
            "SELECT s.id, s.session_id, n.offset_ms, s.raw_kind FROM sources s JOIN sessions n ON n.id = s.session_id"
        )
    }
    named = {
        row[0]
        for table in _NAMED
        for row in conn.execute(f"SELECT journal_id FROM {table} WHERE journal_id BETWEEN ? AND ?", (first, last))
    }
    utc_of: dict[str, float] = {}

    def rows() -> Iterator[JournalRow]:
        for row_id, source, mono, utc, marks, value, code, other in conn.execute(
            "SELECT id, source, mono, utc, marks, value, code, extra IS NOT NULL FROM journal WHERE id BETWEEN ? AND ?"
            " ORDER BY id",
            (first, last),
        ):
            session_id, offset_ms, kind = sources[source]
            at_s = mono / 1000.0 if type(mono) is int else float(mono)
            utc_s = (mono + offset_ms + utc) / 1000.0 if type(utc) is int else float(utc)
            if other or row_id in named or not CLOCK_WAS_SET_S <= utc_s < until_utc_s:
                continue
            if any(low_s <= at_s <= high_s for low_s, high_s in windows.get(session_id, ())):
                continue
            utc_of.setdefault("first", utc_s)
            utc_of["last"] = utc_s
            yield JournalRow(row_id, source, at_s, (marks, value, code) if kind == "board_status" else marks)

    ids = list(given_up(rows(), keep_every_s))
    if not ids:
        return None
    runs = in_runs(ids)
    from_id, to_id = runs[0][0], runs[-1][1]
    (count,) = conn.execute("SELECT count(*) FROM journal WHERE id BETWEEN ? AND ?", (from_id, to_id)).fetchone()
    return Piece(from_id, to_id, count, runs, len(ids), utc_of["first"], utc_of["last"])


def _windows(conn: sqlite3.Connection) -> dict[int, list[tuple[float, float]]]:
    """session -> times that are kept whole."""
    found: dict[int, list[tuple[float, float]]] = {}
    for session_id, at_s, lift_s in conn.execute("SELECT session_id, at_mono_s, lift_mono_s FROM pours"):
        began_s = at_s if lift_s is None else min(at_s, lift_s)
        found.setdefault(session_id, []).append((began_s - POUR_BEFORE_S, at_s + AFTER_POUR_S))
    for session_id, began_s, ended_s in conn.execute(
        "SELECT e.session_id, d.began_mono_s, d.ended_mono_s FROM dips d JOIN events e ON e.id = d.event_id"
    ):
        found.setdefault(session_id, []).append((began_s - DIP_AROUND_S, ended_s + DIP_AROUND_S))
    return {session_id: _joined(windows) for session_id, windows in found.items()}


def _joined(windows: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Windows that overlap as one: pours of one melt follow each other closely."""
    out: list[tuple[float, float]] = []
    for low_s, high_s in sorted(windows):
        if out and low_s <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], high_s))
        else:
            out.append((low_s, high_s))
    return out


def _give_up(conn: sqlite3.Connection, piece: Piece, keep_every_s: float, who: str, why: str, utc_s: float) -> None:
    """One piece and the row that tells of it. All of what goes is in the roll-up first."""
    conn.execute("BEGIN IMMEDIATE")
    try:
        roll_up(conn, int(conn.execute("SELECT coalesce(max(id), 0) FROM journal").fetchone()[0]))
        conn.execute(
            "INSERT INTO thinnings (at_utc_s, who, why, first_id, last_id, keep_every_s, rows_before, from_utc_s,"
            " until_utc_s, rows_given_up) VALUES (?,?,?,?,?,?,?,?,?,?)",
            (
                utc_s,
                who,
                why,
                piece.first_id,
                piece.last_id,
                keep_every_s,
                piece.rows,
                piece.from_utc_s,
                piece.until_utc_s,
                piece.given_up,
            ),
        )
        conn.executemany("DELETE FROM journal WHERE id BETWEEN ? AND ?", piece.runs)
        conn.execute("COMMIT")
    finally:
        if conn.in_transaction:
            conn.execute("ROLLBACK")


def _added(done: Thinned, piece: Piece) -> Thinned:
    return msgspec.structs.replace(
        done,
        rows_before=done.rows_before + piece.rows,
        rows_given_up=done.rows_given_up + piece.given_up,
        from_utc_s=piece.from_utc_s if done.from_utc_s is None else done.from_utc_s,
        to_utc_s=piece.until_utc_s,
    )


def _spare(conn: sqlite3.Connection) -> int:
    """Pages that hold nothing."""
    return int(conn.execute("PRAGMA freelist_count").fetchone()[0])


def _shrink(conn: sqlite3.Connection, path: Path, free: Callable[[Path], int] | None) -> Message:
    """Give the pages back to the disk; why not, or nothing. All is written twice on the way: a copy, and the log."""
    page, pages = (int(conn.execute(f"PRAGMA {name}").fetchone()[0]) for name in ("page_size", "page_count"))
    need = 2 * page * (pages - _spare(conn)) + 2**20
    have = shutil.disk_usage(path.parent).free if free is None else free(path.parent)
    if have < need:
        return tell("record.thin.no_space", need_mb=round(need / 1e6), free_mb=round(have / 1e6))
    try:
        conn.execute(f"PRAGMA temp_store_directory = '{str(path.parent).replace(chr(39), chr(39) * 2)}'")
        conn.execute("VACUUM")
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    except sqlite3.Error as err:
        return tell("record.thin.unshrunk", error=str(err))
    finally:
        conn.execute("PRAGMA temp_store_directory = ''")
    return NOTHING


def _size(path: Path) -> int:
    return sum(one.stat().st_size for one in (path, path.with_name(path.name + "-wal")) if one.exists())
