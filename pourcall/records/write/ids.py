"""Small numbers for names. Furnaces, probes, sessions, sources and texts, looked up or written once.

Runs inside the writer's transaction. After a rollback `forget()` must be called: what was written is gone.
"""

import hashlib
import sqlite3

import msgspec

from pourcall.contract.version import VERSION
from pourcall.records.write.codec import Source, SourceKey, whole_ms
from pourcall.records.write.typed_columns import GapKind

_MEANT = 2**50  # milliseconds; beyond this no clock is meant, and no base is taken from it


class Session(msgspec.Struct, frozen=True):
    """One start of the daemon for one furnace, as the recorder was told."""

    furnace: str
    settings_toml: str
    config_json: bytes
    mono_s: float
    utc_s: float


class SessionIds(msgspec.Struct, frozen=True):
    """The same as the file knows it."""

    id: int
    furnace_id: int
    offset_ms: int


class NameIds:
    """Ids of one open file."""

    def __init__(self, conn: sqlite3.Connection) -> None:
        self._conn = conn
        self._row_id = 1  # of the journal row that is being made
        self._furnaces: dict[str, int] = {}
        self._probes: dict[tuple[int, str], int] = {}
        self._sessions: dict[Session, SessionIds] = {}
        self._sources: dict[tuple[int, SourceKey], Source] = {}

    def at_row(self, row_id: int) -> None:
        """The journal row that is being made: names that are new belong to it."""
        self._row_id = row_id

    def forget(self) -> None:
        """After a rollback."""
        self._furnaces.clear()
        self._probes.clear()
        self._sessions.clear()
        self._sources.clear()

    def furnace(self, name: str) -> int:
        """Id of a furnace."""
        found = self._furnaces.get(name)
        if found is None:
            self._conn.execute("INSERT OR IGNORE INTO furnaces (name) VALUES (?)", (name,))
            found = int(self._conn.execute("SELECT id FROM furnaces WHERE name = ?", (name,)).fetchone()[0])
            self._furnaces[name] = found
        return found

    def probe(self, furnace_id: int, name: str) -> int:
        """Id of a probe of a furnace."""
        found = self._probes.get((furnace_id, name))
        if found is None:
            args = (furnace_id, name)
            self._conn.execute("INSERT OR IGNORE INTO probes (furnace_id, name) VALUES (?, ?)", args)
            row = self._conn.execute("SELECT id FROM probes WHERE furnace_id = ? AND name = ?", args).fetchone()
            found = self._probes[args] = int(row[0])
        return found

    def text(self, kind: str, body: str) -> str:
        """Hash of a text, kept once."""
        return keep_text(self._conn, kind, body)

    def session(self, session: Session) -> SessionIds:
        """Ids of a session; its row is written when it is first seen in this file, with the gap before it."""
        found = self._sessions.get(session)
        if found is not None:
            return found
        furnace_id = self.furnace(session.furnace)
        offset_ms = round((session.utc_s - session.mono_s) * 1000.0)
        key = (furnace_id, session.utc_s, session.mono_s)
        where = "SELECT id FROM sessions WHERE furnace_id = ? AND began_utc_s = ? AND began_mono_s = ?"
        row = self._conn.execute(where, key).fetchone()
        if row is None:
            self._gap_before(furnace_id, session.utc_s)
            self._conn.execute(
                "INSERT INTO sessions (furnace_id, began_utc_s, began_mono_s, offset_ms, settings_hash, config_hash,"
                " journal_id, program) VALUES (?,?,?,?,?,?,?,?)",
                (
                    *key,
                    offset_ms,
                    self.text("settings", session.settings_toml),
                    self.text("config", session.config_json.decode("utf-8", "replace")),
                    self._row_id,
                    VERSION,
                ),
            )
            row = self._conn.execute(where, key).fetchone()
        found = SessionIds(id=int(row[0]), furnace_id=furnace_id, offset_ms=offset_ms)
        self._sessions[session] = found
        return found

    def _gap_before(self, furnace_id: int, utc_s: float) -> None:
        row = self._conn.execute(
            "SELECT s.id, s.began_utc_s, e.utc_s, (SELECT max(v.utc_s) FROM events v WHERE v.session_id = s.id),"
            " (SELECT max((r.slot + 1) * r.span_s + s.offset_ms / 1000.0) FROM rollup r"
            "   WHERE r.session_id = s.id AND r.span_s = 60), s.offset_ms"
            " FROM sessions s LEFT JOIN session_ends e ON e.session_id = s.id"
            " WHERE s.furnace_id = ? ORDER BY s.id DESC LIMIT 1",
            (furnace_id,),
        ).fetchone()
        if row is None:
            return
        session_id, began, ended, event, rolled, offset_ms = row
        newest = None if ended is not None else self._newest(session_id, offset_ms)
        last = ended if ended is not None else max(x for x in (began, event, rolled, newest) if x is not None)
        reason = GapKind.NOT_RUNNING if ended is not None else GapKind.CUT_OFF
        self._conn.execute(
            "INSERT INTO gaps (furnace_id, session_id, board, began_utc_s, ended_utc_s, reason) VALUES (?,?,?,?,?,?)",
            (furnace_id, session_id, "", min(last, utc_s), utc_s, reason),
        )

    def _newest(self, session_id: int, offset_ms: int) -> float | None:
        """UTC of the last row of a session that is not in the roll-up yet."""
        row = self._conn.execute(
            "SELECT j.mono FROM journal j CROSS JOIN sources s ON s.id = j.source WHERE j.id >"
            " (SELECT rolled_id FROM state) AND s.session_id = ? ORDER BY j.id DESC LIMIT 1",
            (session_id,),
        ).fetchone()
        if row is None:
            return None
        mono_s = row[0] / 1000.0 if type(row[0]) is int else float(row[0])
        return mono_s + offset_ms / 1000.0

    def source(self, ids: SessionIds, key: SourceKey, board_ms: int | None, mono_s: float, seq: int) -> Source:
        """The source of a row. board_ms and mono_s set the base of the board's clock when it is first seen."""
        found = self._sources.get((ids.id, key))
        if found is not None:
            return found
        probe_id = self.probe(ids.furnace_id, key.probe) if key.probe else None
        args = (ids.id, key.board, key.channel, key.raw_kind, probe_id)
        where = (
            "SELECT id, board_ms_base, seq_base FROM sources"
            " WHERE session_id = ? AND board = ? AND channel = ? AND raw_kind = ? AND probe_id IS ?"
        )
        row = self._conn.execute(where, args).fetchone()
        if row is None:
            base = 0
            if board_ms is not None and -_MEANT < board_ms < _MEANT and -_MEANT < mono_s * 1000.0 < _MEANT:
                base = board_ms - whole_ms(mono_s)
            self._conn.execute(
                "INSERT INTO sources (session_id, board, channel, raw_kind, probe_id, board_ms_base, seq_base)"
                " VALUES (?,?,?,?,?,?,?)",
                (*args, base, self._row_id - seq),
            )
            row = self._conn.execute(where, args).fetchone()
        found = Source(
            id=int(row[0]),
            session_id=ids.id,
            offset_ms=ids.offset_ms,
            board=key.board,
            channel=key.channel,
            raw_kind=key.raw_kind,
            board_ms_base=int(row[1]),
            seq_base=int(row[2]),
            probe_id=probe_id,
        )
        self._sources[(ids.id, key)] = found
        return found


def keep_text(conn: sqlite3.Connection, kind: str, body: str) -> str:
    """Keep a text once by its SHA-256; the hash."""
    digest = hashlib.sha256(body.encode()).hexdigest()
    conn.execute("INSERT OR IGNORE INTO texts (hash, kind, body) VALUES (?, ?, ?)", (digest, kind, body))
    return digest
