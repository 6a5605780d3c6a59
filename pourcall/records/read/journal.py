"""The journal read back. Inputs of a session in their order, bit for bit, for replay; events beside them."""

import sqlite3
from collections.abc import Iterator

import msgspec

from pourcall.contract.errors import NotFound
from pourcall.contract.events import Event
from pourcall.contract.inputs import Input
from pourcall.contract.message import tell
from pourcall.records.read.store import Store
from pourcall.records.write.codec import SELECT_ROW, Source, decode_row

_from_json: msgspec.json.Decoder[Event] = msgspec.json.Decoder(Event)
_PAGE = 5000


def read_inputs(store: Store, session_id: int, *, first_id: int = 0) -> Iterator[Input]:
    """Every input of one session (see `Store.sessions`) that is on disk now, in order. Raises NotFound.

    first_id: from this row of the journal on.
    """
    with store.reading() as conn:
        if conn.execute("SELECT 1 FROM sessions WHERE id = ?", (session_id,)).fetchone() is None:
            raise NotFound(tell("record.no_session", session=session_id))
        sources = _sources(conn, session_id)
        after, until = _bounds(conn, session_id)
    after = max(after, first_id - 1)
    while after < until:
        upto = min(after + _PAGE, until)
        with store.reading() as conn:
            rows = conn.execute(f"{SELECT_ROW} WHERE j.id > ? AND j.id <= ? ORDER BY j.id", (after, upto)).fetchall()
        after = upto
        for row in rows:
            source = sources.get(row[12])
            if source is not None:
                yield decode_row(row, source)


def read_events(store: Store, session_id: int) -> Iterator[Event]:
    """Every event of one session, in order, as it was published."""
    after = 0
    while True:
        with store.reading() as conn:
            rows = conn.execute(
                "SELECT id, body FROM events WHERE id > ? AND session_id = ? ORDER BY id LIMIT ?",
                (after, session_id, _PAGE),
            ).fetchall()
        yield from (_from_json.decode(body) for _, body in rows)
        if len(rows) < _PAGE:
            return
        after = rows[-1][0]


def _sources(conn: sqlite3.Connection, session_id: int) -> dict[int, Source]:
    rows = conn.execute(
        "SELECT s.id, s.session_id, n.offset_ms, s.board, s.channel, s.raw_kind, s.board_ms_base, s.seq_base"
        " FROM sources s JOIN sessions n ON n.id = s.session_id WHERE s.session_id = ?",
        (session_id,),
    )
    return {row[0]: Source(*row) for row in rows}


def _bounds(conn: sqlite3.Connection, session_id: int) -> tuple[int, int]:
    """Journal ids (after, up to) between which a session lies: up to the next session of the same furnace."""
    furnace_id, first = conn.execute(
        "SELECT furnace_id, journal_id FROM sessions WHERE id = ?", (session_id,)
    ).fetchone()
    (following,) = conn.execute(
        "SELECT min(journal_id) FROM sessions WHERE furnace_id = ? AND id > ?", (furnace_id, session_id)
    ).fetchone()
    (newest,) = conn.execute("SELECT coalesce(max(id), 0) FROM journal").fetchone()
    return int(first) - 1, int(newest if following is None else following - 1)
