"""Sessions and the bulk of another record (journal, events, roll-up) into ours, in order, with every reference.

Ids of theirs become ours by adding one number for each table, so that order and gaps stay as they were. Works within
the caller's transaction; theirs is attached as `theirs`, at our schema, wholly rolled up.
"""

import sqlite3

import msgspec

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell

_ALL = -(2**62)  # below every sequence number


class Session(msgspec.Struct, frozen=True):
    """Where a session of theirs goes. last_seq: the last input of it that is here; known: all of them are."""

    ours: int
    furnace: int
    last_seq: int
    known: bool
    marked: bool = True  # False: it is of this very shop


class Journal:
    """Sessions first, then the bulk; then the maps serve the other tables."""

    def __init__(self, conn: sqlite3.Connection, mark: str) -> None:
        self.conn = conn
        self.mark = mark
        self.counts: dict[str, int] = {}
        self.session_of: dict[int, Session] = {}
        self.furnace_of: dict[int, int] = {}  # where what belongs to no session goes
        self.shared = False  # the archive is of this very shop, or of a copy of it
        self.offset = self.event_offset = 0
        self._probes: dict[tuple[int, int], int] = {}

    def sessions(self) -> None:
        """Decide for each session of theirs whether it is here, and enter those that are not."""
        conn = self.conn
        conn.execute("INSERT OR IGNORE INTO main.texts SELECT * FROM theirs.texts")
        (top,) = conn.execute("SELECT coalesce(max(id), 0) FROM main.journal").fetchone()
        (low,) = conn.execute("SELECT coalesce(min(id), 1) FROM theirs.journal").fetchone()
        self.offset = int(top) + 1 - int(low)
        names: dict[int, str] = dict(conn.execute("SELECT id, name FROM theirs.furnaces ORDER BY id").fetchall())
        lasts: dict[int, int] = dict(
            conn.execute(
                "SELECT s.session_id, max(coalesce(j.seq, j.id - s.seq_base)) FROM theirs.journal j"
                " JOIN theirs.sources s ON s.id = j.source GROUP BY 1"
            ).fetchall()
        )
        rows = conn.execute("SELECT * FROM theirs.sessions ORDER BY id").fetchall()
        columns = [row[1] for row in conn.execute("PRAGMA theirs.table_info(sessions)")]
        told = [dict(zip(columns, row, strict=True)) for row in rows]
        came: set[int] = set()  # furnaces of theirs that came in before, or are ours
        for one in told:
            furnace, last = one["furnace_id"], lasts.get(one["id"], _ALL)
            marked = self._find(f"{names[furnace]}@{self.mark}", one)
            plain = None if marked is not None else self._find(names[furnace], one)
            if marked is not None:
                here = self._last_seq(marked[0])
                self.session_of[one["id"]] = Session(marked[0], marked[1], here, known=here >= last)
                came.add(furnace)
            elif plain is not None:
                self.shared = True
                self.furnace_of.setdefault(furnace, plain[1])
                here = self._last_seq(plain[0])
                if here >= last:
                    self.session_of[one["id"]] = Session(plain[0], plain[1], here, known=True, marked=False)
        for furnace, name in names.items():
            if furnace not in came:
                self._refuse_taken(f"{name}@{self.mark}")
        for one in told:
            if one["id"] not in self.session_of:
                self._enter(one, f"{names[one['furnace_id']]}@{self.mark}")
        for furnace, name in names.items():
            if furnace not in self.furnace_of:
                self.furnace_of[furnace] = self._furnace(f"{name}@{self.mark}")
        for theirs, session in self.session_of.items():
            if session.marked:
                self._count(
                    "session_ends",
                    "INSERT OR IGNORE INTO main.session_ends SELECT ?, mono_s, utc_s FROM theirs.session_ends"
                    " WHERE session_id = ?",
                    (session.ours, theirs),
                )

    def probe(self, theirs: int, furnace: int) -> int:
        """Our id of a probe of theirs, as one of that furnace."""
        found = self._probes.get((theirs, furnace))
        if found is None:
            (name,) = self.conn.execute("SELECT name FROM theirs.probes WHERE id = ?", (theirs,)).fetchone()
            self.conn.execute("INSERT OR IGNORE INTO main.probes (furnace_id, name) VALUES (?, ?)", (furnace, name))
            (found,) = self.conn.execute(
                "SELECT id FROM main.probes WHERE furnace_id = ? AND name = ?", (furnace, name)
            ).fetchone()
            self._probes[theirs, furnace] = int(found)
        return int(found)

    def bulk(self) -> None:
        """Sources, journal, further readings, events, roll-up of all that is new."""
        conn = self.conn
        conn.execute("DROP TABLE IF EXISTS temp.came")
        conn.execute(
            "CREATE TEMP TABLE came (source INTEGER PRIMARY KEY, ours INTEGER, fresh INTEGER, base INTEGER,"
            " last_seq INTEGER, session INTEGER, our_session INTEGER)"
        )
        for row in conn.execute(
            "SELECT id, session_id, board, channel, raw_kind, probe_id, board_ms_base, seq_base FROM theirs.sources"
        ).fetchall():
            session = self.session_of[row[1]]
            if not session.known:
                ours, fresh = self._source(row, session)
                conn.execute(
                    "INSERT INTO temp.came VALUES (?,?,?,?,?,?,?)",
                    (row[0], ours, fresh, row[7], session.last_seq, row[1], session.ours),
                )
        new = "coalesce(j.seq, j.id - c.base) > c.last_seq"
        self._count(
            "journal",
            "INSERT INTO main.journal (id, source, seq, mono, utc, value, cold, marks, code, board_seq, board_ms,"
            " temp_mc, u_mc, extra) SELECT j.id + ?, c.ours, CASE WHEN c.fresh THEN j.seq ELSE"
            " coalesce(j.seq, j.id - c.base) END, j.mono, j.utc, j.value, j.cold, j.marks, j.code, j.board_seq,"
            f" j.board_ms, j.temp_mc, j.u_mc, j.extra FROM theirs.journal j JOIN temp.came c ON c.source = j.source"
            f" WHERE {new} ORDER BY j.id",
            (self.offset,),
        )
        self._count(
            "other_readings",
            "INSERT INTO main.other_readings (journal_id, source, at_mono_s, at_utc_s, temp_mc, u_mc, reason)"
            " SELECT o.journal_id + ?, d.ours, o.at_mono_s, o.at_utc_s, o.temp_mc, o.u_mc, o.reason"
            " FROM theirs.other_readings o JOIN theirs.journal j ON j.id = o.journal_id"
            " JOIN temp.came c ON c.source = j.source JOIN temp.came d ON d.source = o.source"
            f" WHERE {new} ORDER BY o.id",
            (self.offset,),
        )
        (top,) = conn.execute("SELECT coalesce(max(id), 0) FROM main.events").fetchone()
        (low,) = conn.execute("SELECT coalesce(min(id), 1) FROM theirs.events").fetchone()
        self.event_offset = int(top) + 1 - int(low)
        for theirs, session in self.session_of.items():
            if session.known:
                continue
            self._count(
                "events",
                "INSERT INTO main.events (id, journal_id, session_id, seq, mono_s, utc_s, type, body)"
                " SELECT id + ?, journal_id + ?, ?, seq, mono_s, utc_s, type, body FROM theirs.events"
                " WHERE session_id = ? AND seq > ? ORDER BY id",
                (self.event_offset, self.offset, session.ours, theirs, session.last_seq),
            )
            self._roll_up(theirs, session)
        conn.execute("UPDATE main.state SET rolled_id = (SELECT coalesce(max(id), 0) FROM main.journal)")

    def event(self, theirs: int) -> int | None:
        """Our id of an event of theirs that came in; None for one that did not."""
        ours = theirs + self.event_offset
        (session_id, seq) = self.conn.execute(
            "SELECT session_id, seq FROM theirs.events WHERE id = ?", (theirs,)
        ).fetchone()
        session = self.session_of[session_id]
        return None if session.known or seq <= session.last_seq else ours

    def _roll_up(self, theirs: int, session: Session) -> None:
        """Slots; one that was here in part is replaced by the whole one."""
        for (probe,) in self.conn.execute(
            "SELECT DISTINCT probe_id FROM theirs.sources WHERE session_id = ? AND probe_id IS NOT NULL", (theirs,)
        ).fetchall():
            self.conn.execute(
                "INSERT INTO main.rollup SELECT ?1, span_s, slot, ?2, n, n_bad, min_mc, max_mc, sum_mc, first_id + ?3,"
                " last_id + ?3 FROM theirs.rollup WHERE session_id = ?4 AND probe_id = ?5 ON CONFLICT DO UPDATE SET"
                " n = excluded.n, n_bad = excluded.n_bad, min_mc = excluded.min_mc, max_mc = excluded.max_mc,"
                " sum_mc = excluded.sum_mc, last_id = excluded.last_id"
                " WHERE excluded.n + excluded.n_bad > rollup.n + rollup.n_bad",
                (session.ours, self.probe(probe, session.furnace), self.offset, theirs, probe),
            )

    def _source(self, row: tuple[int, int, str, str, str, int | None, int, int], session: Session) -> tuple[int, bool]:
        """Our id of a source, and whether it is new: then its sequence numbers stay differences."""
        _, _, board, channel, raw_kind, probe, board_ms_base, seq_base = row
        probe_id = None if probe is None else self.probe(probe, session.furnace)
        key = (session.ours, board, channel, raw_kind, probe_id)
        found = self.conn.execute(
            "SELECT id FROM main.sources WHERE session_id = ? AND board = ? AND channel = ? AND raw_kind = ?"
            " AND probe_id IS ?",
            key,
        ).fetchone()
        if found is not None:
            return int(found[0]), False
        cursor = self.conn.execute(
            "INSERT INTO main.sources (session_id, board, channel, raw_kind, probe_id, board_ms_base, seq_base)"
            " VALUES (?,?,?,?,?,?,?)",
            (*key, board_ms_base, seq_base + self.offset),
        )
        return int(cursor.lastrowid or 0), True

    def _find(self, furnace: str, session: dict[str, object]) -> tuple[int, int] | None:
        """Session and furnace here with that name and start."""
        found: tuple[int, int] | None = self.conn.execute(
            "SELECT s.id, s.furnace_id FROM main.sessions s JOIN main.furnaces f ON f.id = s.furnace_id"
            " WHERE f.name = ? AND s.began_utc_s = ? AND s.began_mono_s = ?",
            (furnace, session["began_utc_s"], session["began_mono_s"]),
        ).fetchone()
        return found

    def _last_seq(self, session_id: int) -> int:
        """The last input of a session that is here, by the order of the journal."""
        furnace_id, first = self.conn.execute(
            "SELECT furnace_id, journal_id FROM main.sessions WHERE id = ?", (session_id,)
        ).fetchone()
        (upto,) = self.conn.execute(
            "SELECT coalesce(min(journal_id), 9e18) FROM main.sessions WHERE furnace_id = ? AND id > ?",
            (furnace_id, session_id),
        ).fetchone()
        found = self.conn.execute(
            "SELECT coalesce(j.seq, j.id - s.seq_base) FROM main.journal j CROSS JOIN main.sources s ON s.id = j.source"
            " WHERE j.id >= ? AND j.id < ? AND s.session_id = ? ORDER BY j.id DESC LIMIT 1",
            (first, int(upto), session_id),
        ).fetchone()
        return _ALL if found is None else int(found[0])

    def _refuse_taken(self, furnace: str) -> None:
        """A furnace of that name whose sessions the archive does not know is another shop's."""
        taken = self.conn.execute(
            "SELECT 1 FROM main.furnaces f WHERE f.name = ? AND EXISTS"
            " (SELECT 1 FROM main.sessions s WHERE s.furnace_id = f.id)",
            (furnace,),
        ).fetchone()
        if taken is not None:
            raise BadInput(tell("archive.mark_taken", mark=self.mark), remedy=tell("archive.mark_taken.remedy"))

    def _enter(self, session: dict[str, object], furnace: str) -> None:
        row = dict(session)
        theirs = row.pop("id")
        row["furnace_id"] = self._furnace(furnace)
        row["journal_id"] = int(str(row["journal_id"])) + self.offset
        names, marks = ", ".join(row), ", ".join("?" * len(row))
        cursor = self.conn.execute(f"INSERT INTO main.sessions ({names}) VALUES ({marks})", tuple(row.values()))
        self.counts["sessions"] = self.counts.get("sessions", 0) + 1
        self.session_of[int(str(theirs))] = Session(
            int(cursor.lastrowid or 0), int(str(row["furnace_id"])), _ALL, known=False
        )

    def _furnace(self, name: str) -> int:
        self.conn.execute("INSERT OR IGNORE INTO main.furnaces (name) VALUES (?)", (name,))
        return int(self.conn.execute("SELECT id FROM main.furnaces WHERE name = ?", (name,)).fetchone()[0])

    def _count(self, table: str, sql: str, args: tuple[object, ...]) -> None:
        self.counts[table] = self.counts.get(table, 0) + self.conn.execute(sql, args).rowcount
