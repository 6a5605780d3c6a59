"""Opening the record file. Damage is set aside and never deleted, a torn log is said aloud, nothing is guessed.

In: a path. Out: a connection ready to write, and findings a person must hear of (each becomes an alarm).
Not here: writing (recorder.py), reading (store.py), versions (migrate.py).
"""

import contextlib
import os
import sqlite3
from collections.abc import Sequence
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path

import msgspec

from pourcall.contract.errors import StoreError
from pourcall.contract.message import Told, tell
from pourcall.records.upkeep.migrate import PAGE_BYTES, Step, migrate, refuse_foreign, shipped_steps
from pourcall.records.upkeep.walfile import read_wal
from pourcall.records.write.sqlite_errors import Connection, damage_of, is_damage

FULL_CHECK_BYTES = 256 * 2**20  # about five million rows: read in under 5 s from a slow card
BUSY_MS = 250
_BIG_TABLES = ("journal", "rollup", "events")


class FindingKind(StrEnum):
    """What may be found at opening."""

    DAMAGED = "store_damaged"
    RECOVERED = "store_recovered"  # the last commit was cut short
    UNCLEAN_STOP = "unclean_stop"  # the last session did not end in order


class Finding(msgspec.Struct, frozen=True):
    """What was found at opening."""

    kind: FindingKind
    detail: Told


def connect(path: Path, *, read_only: bool = False, thread_bound: bool = True) -> sqlite3.Connection:
    """A connection in autocommit mode with our settings; the file is not checked and not migrated."""
    conn = sqlite3.connect(
        path, isolation_level=None, timeout=BUSY_MS / 1000.0, check_same_thread=thread_bound, factory=Connection
    )
    try:
        conn.execute("PRAGMA foreign_keys = ON")
        if read_only:
            conn.execute("PRAGMA query_only = ON")
        else:
            conn.execute(f"PRAGMA page_size = {PAGE_BYTES}")  # no effect on a file that exists
            conn.execute("PRAGMA journal_mode = WAL")
            conn.execute("PRAGMA synchronous = FULL")
            conn.execute("PRAGMA wal_autocheckpoint = 8000")
            conn.execute("PRAGMA journal_size_limit = 16777216")
        conn.execute("PRAGMA cache_size = -4000")
    except BaseException:
        conn.close()
        raise
    return conn


def open_database(
    path: Path, *, utc_s: float, steps: Sequence[Step] | None = None, check: bool = True
) -> tuple[sqlite3.Connection, tuple[Finding, ...]]:
    """Open, check and migrate. A damaged file is renamed with its log and a new one begun.

    Raises StoreError for a newer or foreign file (untouched), for a folder that cannot be written, for a failed
    migration, and for a file another program holds.
    """
    steps = shipped_steps() if steps is None else steps
    findings: list[Finding] = []
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        header = refuse_foreign(path, steps[-1].version)
    except OSError as err:
        raise _not_usable(path, str(err)) from err
    if header is not None and not header.is_sqlite:
        findings.append(_set_aside(path, utc_s, tell("record.found.no_database")))
        header = None
    log = read_wal(path.with_name(path.name + "-wal"))
    if header is not None and check:
        damage = _damage(path, thorough=log.commits > 0 or log.torn)
        if damage:
            findings.append(_set_aside(path, utc_s, damage))
            header = None
    if header is not None and log.torn:
        findings.append(Finding(FindingKind.RECOVERED, tell("record.found.torn")))
    try:
        conn = connect(path, thread_bound=False)  # one thread uses it; its limits can be tightened from outside
    except sqlite3.Error as err:
        raise _not_usable(path, str(err)) from err
    try:
        version = int(conn.execute("PRAGMA user_version").fetchone()[0])
        if version > steps[-1].version:
            raise StoreError(
                tell("record.newer", found=version, newest=steps[-1].version),
                where=str(path),
                remedy=tell("record.newer.remedy"),
            )
        migrate(conn, path, steps)
        cut_off = conn.execute(
            "SELECT count(*) FROM sessions s WHERE s.began_utc_s = (SELECT max(began_utc_s) FROM sessions)"
            " AND NOT EXISTS (SELECT 1 FROM session_ends e WHERE e.session_id = s.id)"
        ).fetchone()[0]
    except sqlite3.Error as err:
        conn.close()
        raise _not_usable(path, str(err)) from err
    except BaseException:
        conn.close()
        raise
    if cut_off:
        findings.append(Finding(FindingKind.UNCLEAN_STOP, tell("record.found.cut_off")))
    return conn, tuple(findings)


def _damage(path: Path, *, thorough: bool) -> str:
    """What `quick_check` names, or ''. A large file that was closed in order has only its small tables walked."""
    conn = None
    try:
        conn = connect(path)
        small = path.stat().st_size <= FULL_CHECK_BYTES
        if small or (thorough and path.stat().st_size <= 4 * FULL_CHECK_BYTES):
            found = conn.execute("PRAGMA quick_check(3)").fetchall()
        else:
            names = [row[0] for row in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            found = []
            for name in names:
                if name not in _BIG_TABLES:
                    found += conn.execute(f"PRAGMA quick_check('{name}')").fetchall()
            if "journal" in names:
                conn.execute("SELECT * FROM journal ORDER BY id DESC LIMIT 1000").fetchall()
        complaints = [str(row[0]) for row in found if row[0] != "ok"]
        return "; ".join(complaints)[:300]
    except UnicodeDecodeError as err:
        return str(damage_of(err))
    except sqlite3.DatabaseError as err:
        if is_damage(err):
            return str(err)
        raise _not_usable(path, str(err)) from err
    finally:
        if conn is not None:
            conn.close()


def _set_aside(path: Path, utc_s: float, why: Told) -> Finding:
    """Rename the file with its log. Never deletes and never overwrites."""
    stamp = datetime.fromtimestamp(utc_s, UTC).strftime("%Y%m%dT%H%M%SZ")
    target = path.with_name(f"{path.name}.damaged-{stamp}")
    number = 1
    while target.exists():
        number += 1
        target = path.with_name(f"{path.name}.damaged-{stamp}-{number}")
    path.rename(target)
    for tail in ("-wal", "-shm"):
        with contextlib.suppress(FileNotFoundError):
            path.with_name(path.name + tail).rename(target.with_name(target.name + tail))
    return Finding(FindingKind.DAMAGED, tell("record.found.damaged", why=why, file=target.name))


def set_aside(path: Path, utc_s: float, why: Told) -> Finding:
    """For the writer, when a file turns out damaged or another one while it is open."""
    return _set_aside(path, utc_s, why)


def _not_usable(path: Path, why: str) -> StoreError:
    return StoreError(tell("record.not_usable", error=why), where=str(path), remedy=tell("record.not_usable.remedy"))


def file_identity(path: Path) -> tuple[int, int] | None:
    """Device and inode of the file behind a path, None where there is none: tells when it was moved or replaced."""
    try:
        stat = os.stat(path)
    except OSError:
        return None
    return stat.st_dev, stat.st_ino
