"""Reading the records. Listings, details, traces; never a write, and safe to call from any thread.

The connection is read-only: it can neither change a row nor, at its closing, the writer's log. Not here: writing
(recorder.py), SQL of the listings (queries.py), export (export.py).
"""

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Unpack
from urllib.parse import quote

from pourcall.contract.api import Trace
from pourcall.contract.errors import NotFound, StoreError
from pourcall.contract.message import tell
from pourcall.records.read import queries, tracing
from pourcall.records.read.search import Hit, find
from pourcall.records.read.views import MeltDetail, MeltFilter, MeltRow, PourDetail, PourFilter, PourRow, SessionRow
from pourcall.records.upkeep.migrate import refuse_foreign, shipped_steps
from pourcall.records.upkeep.opening import Finding, file_identity, open_database
from pourcall.records.write.numbering import melt_number, next_melt
from pourcall.records.write.sqlite_errors import Connection


class Store:
    """A reader of one record file."""

    def __init__(self, path: Path, findings: tuple[Finding, ...] = ()) -> None:
        """Use `Store.open` (the daemon) or `Store.read` (everyone else)."""
        self.path = path
        self.findings = findings
        self._lock = threading.RLock()
        self._conn, self._inode = _connect(path)

    @classmethod
    def open(cls, path: Path, *, utc_s: float) -> "Store":
        """Check, migrate and open, beginning a new file where there is none or where it is damaged (see `findings`).

        For the daemon, before the recorder starts. Raises StoreError for a newer or foreign file, left untouched.
        """
        conn, findings = open_database(path, utc_s=utc_s)
        conn.close()
        return cls(path, findings)

    @classmethod
    def read(cls, path: Path) -> "Store":
        """Open a file as it is, also while a daemon writes to it. Raises StoreError, NotFound where there is none."""
        newest = shipped_steps()[-1].version
        header = refuse_foreign(path, newest)
        if header is None:
            raise NotFound(tell("record.none"), where=str(path), remedy=tell("record.none.remedy"))
        if not header.is_sqlite:
            raise StoreError(tell("record.damaged"), where=str(path), remedy=tell("record.damaged.remedy"))
        store = cls(path)
        version = store._conn.execute("PRAGMA user_version").fetchone()[0]
        if version != newest:
            store.close()
            raise StoreError(
                tell("record.other_schema", found=version, newest=newest),
                where=str(path),
                remedy=tell("record.other_schema.remedy"),
            )
        return store

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._conn.close()

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """One consistent view of the file for several queries. Follows a file that was replaced."""
        with self._lock:
            if file_identity(self.path) not in (None, self._inode):
                self._conn.close()
                self._conn, self._inode = _connect(self.path)
            self._conn.execute("BEGIN")
            try:
                yield self._conn
            finally:
                self._conn.execute("ROLLBACK")

    def next_melt_id(self, utc_s: float) -> str:
        """The number of the next melt by what is on disk; `Recorder.next_melt_id` counts what waits as well."""
        last: dict[int, int] = {}
        with self.reading() as conn:
            for (melt,) in conn.execute("SELECT melt FROM melts"):
                year, number = melt_number(melt)
                last[year] = max(number, last.get(year, 0))
        return next_melt(utc_s, last)

    def melts(self, *, limit: int = 50, **only: Unpack[MeltFilter]) -> tuple[MeltRow, ...]:
        """`melt list`, newest first."""
        with self.reading() as conn:
            return queries.melts(conn, only, limit)

    def melt(self, melt: str) -> MeltDetail:
        """`melt show`. Raises NotFound."""
        with self.reading() as conn:
            return queries.melt(conn, melt)

    def pours(self, *, limit: int = 50, **only: Unpack[PourFilter]) -> tuple[PourRow, ...]:
        """`pour list`, newest first."""
        with self.reading() as conn:
            return queries.pours(conn, only, limit)

    def find(self, words: Sequence[str], *, limit: int = 20) -> tuple[Hit, ...]:
        """`melt find`: texts of the newest `limit` melts that have all the words. Raises BadInput for no word."""
        with self.reading() as conn:
            return find(conn, words, limit=limit)

    def pour(self, pour: str) -> PourDetail:
        """`pour show 2026-014-1`. Raises NotFound."""
        with self.reading() as conn:
            return queries.pour(conn, pour)

    def sessions(self, furnace: str | None = None) -> tuple[SessionRow, ...]:
        """Starts of the daemon, oldest first."""
        with self.reading() as conn:
            return queries.sessions(conn, furnace)

    def trace(self, furnace: str, since_mono_s: float, points: int) -> Trace:
        """The running session of a furnace, decimated to about `points` buckets for each probe.

        Holds what is on disk: up to a second old in a melt, half a minute when idle. Raises NotFound.
        """
        with self.reading() as conn:
            return tracing.session_trace(conn, furnace, since_mono_s, points)

    def melt_trace(self, melt: str, points: int, *, after_s: float = 0.0) -> Trace:
        """A whole melt, whichever sessions it ran through; times continue those of its first session."""
        with self.reading() as conn:
            return tracing.melt_trace(conn, melt, points, after_s)


def _connect(path: Path) -> tuple[sqlite3.Connection, tuple[int, int] | None]:
    try:
        conn = sqlite3.connect(
            f"file:{quote(str(path.resolve()))}?mode=ro",
            uri=True,
            isolation_level=None,
            timeout=5.0,
            check_same_thread=False,
            factory=Connection,
        )
        conn.execute("PRAGMA query_only = ON")
        conn.execute("PRAGMA cache_size = -4000")
        conn.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.Error as err:
        raise StoreError(
            tell("record.unreadable", error=str(err)), where=str(path), remedy=tell("record.unreadable.remedy")
        ) from err
    return conn, file_identity(path)
