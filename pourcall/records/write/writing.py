"""One batch, one transaction. Entries become journal rows, events, projections and roll-up, or none of them do.

Knows one open connection; after any error nothing of the batch is in the file and the same batch can be given again.
Not here: when to write and what to do about errors (recorder.py).
"""

import logging
import sqlite3
from collections.abc import Callable, Sequence
from itertools import groupby
from typing import Any, assert_never

import msgspec

from pourcall.contract.events import Event
from pourcall.contract.inputs import (
    BoardStatusIn,
    CommandIn,
    DaemonIn,
    IdentityIn,
    Input,
    LinkIn,
    SampleIn,
    StoreIn,
    TickIn,
)
from pourcall.contract.reading import Reading
from pourcall.records.upkeep.migrate import OTHER_REASON, REASON_CODES
from pourcall.records.write import rollup
from pourcall.records.write.backlog import Entry
from pourcall.records.write.codec import (
    INSERT_OF,
    INSERT_ROW,
    Row,
    Source,
    SourceKey,
    full_row,
    other_row,
    pack_milli,
    sample_row,
    status_row,
)
from pourcall.records.write.ids import NameIds, Session, SessionIds
from pourcall.records.write.projections import Projector
from pourcall.records.write.sqlite_errors import is_store_trouble

log = logging.getLogger(__name__)
_json = msgspec.json.Encoder()
CallResults = list[tuple[int, Any, BaseException | None]]  # ticket, value or error of a call


class _Work:
    """Rows of a batch that are not yet in the file."""

    __slots__ = ("events", "others", "rows")

    def __init__(self) -> None:
        self.rows: list[Row] = []
        self.events: list[tuple[int, SessionIds, Event, Input]] = []
        self.others: list[Row] = []


class BatchWriter:
    """Writes batches into one open file. `sessions` is the recorder's list, shared."""

    def __init__(self, conn: sqlite3.Connection, sessions: Sequence[Session]) -> None:
        self.conn = conn
        self._sessions = sessions
        self._ids = NameIds(conn)
        self._projector = Projector(conn)
        self._fast: dict[tuple[int, str, str, str], tuple[Source, object]] = {}
        self._next_id = 1 + int(conn.execute("SELECT coalesce(max(id), 0) FROM journal").fetchone()[0])

    def write(self, batch: Sequence[Entry], *, roll_up: bool = False) -> CallResults:
        """Commit a batch; results of its calls. With `roll_up` all rows so far go into it. Raises sqlite3.Error."""
        conn = self.conn
        told: CallResults = []
        try:
            conn.execute("BEGIN IMMEDIATE")
            next_id = self._rows(batch, told)
            if roll_up:
                rollup.roll_up(conn, next_id - 1)
            conn.execute("COMMIT")
        except BaseException:
            # A failed COMMIT has rolled back already, and a ROLLBACK then raises on its own.
            if conn.in_transaction:
                conn.execute("ROLLBACK")
            self._ids.forget()
            self._projector.forget()
            self._fast.clear()
            raise
        self._next_id = next_id
        return told

    def end_sessions(self, ends: Sequence[tuple[Session, float, float]]) -> None:
        """Mark sessions as ended in order: (session, mono_s, utc_s)."""
        self.conn.execute("BEGIN IMMEDIATE")
        try:
            for session, mono_s, utc_s in ends:
                ids = self._ids.session(session)
                self.conn.execute("INSERT OR IGNORE INTO session_ends VALUES (?, ?, ?)", (ids.id, mono_s, utc_s))
            self.conn.execute("COMMIT")
        finally:
            if self.conn.in_transaction:
                self.conn.execute("ROLLBACK")

    def _rows(self, batch: Sequence[Entry], told: CallResults) -> int:
        """Write a batch within the open transaction; the journal id after it."""
        work = _Work()
        row_id = self._next_id
        fast = self._fast
        append = work.rows.append
        for entry in batch:
            _, number, item, outputs, call = entry
            if item is None:
                if call is None:
                    self._ids.at_row(row_id)
                    self._ids.session(self._sessions[number])
                else:  # a call sees everything that was put before it
                    self._flush(work)
                    work = _Work()
                    append = work.rows.append
                    told.append(self._call(entry[0], call))
                continue
            reading: Reading | None = None
            if outputs:
                first = outputs[0]
                if type(first) is Reading:
                    reading = first
                if reading is None or len(outputs) > 1:
                    self._outputs(number, row_id, item, outputs, work)
            probe = "" if reading is None else reading.probe
            row: Row | None = None
            kind = type(item)
            if kind is SampleIn:
                sample = item.sample  # type: ignore[union-attr]
                key = (number, item.board, sample.channel, probe)  # type: ignore[union-attr]
                known = fast.get(key)
                if known is None or known[1] is not sample.raw_kind:
                    where = SourceKey(key[1], sample.channel, sample.raw_kind.value, probe)
                    known = fast[key] = (self._source(number, row_id, where, item), sample.raw_kind)
                row = sample_row(row_id, known[0], item, reading)  # type: ignore[arg-type]
            elif kind is BoardStatusIn and reading is None:
                where = SourceKey(item.board, "", "board_status", "")  # type: ignore[union-attr]
                row = status_row(row_id, self._source(number, row_id, where, item), item)  # type: ignore[arg-type]
            if row is None:
                source = self._source(number, row_id, SourceKey(probe=probe), item)
                row = other_row(row_id, source, item, reading)
            append(row)
            row_id += 1
        self._flush(work)
        return row_id

    def _flush(self, work: _Work) -> None:
        if work.rows:
            self._insert(work.rows)
        if work.others:
            self.conn.executemany(
                "INSERT INTO other_readings (journal_id, source, at_mono_s, at_utc_s, temp_mc, u_mc, reason)"
                " VALUES (?,?,?,?,?,?,?)",
                work.others,
            )
        for journal_id, ids, event, item in work.events:
            self._event(journal_id, ids, event, item)

    def _insert(self, rows: list[Row]) -> None:
        """In the order of their ids: SQLite appends to a page until it is full only then."""
        runs = [(width, list(run)) for width, run in groupby(rows, len)]
        if 8 * len(runs) > len(rows) + 16:  # kinds take turns: a statement each would cost more than it spares
            self.conn.executemany(INSERT_ROW, map(full_row, rows))
            return
        for width, run in runs:
            self.conn.executemany(INSERT_OF[width], run)

    def _event(self, journal_id: int, ids: SessionIds, event: Event, item: Input) -> None:
        conn = self.conn
        body = _json.encode(event).decode()
        kind = type(event).__struct_config__.tag
        event_id = conn.execute(
            "INSERT INTO events (journal_id, session_id, seq, mono_s, utc_s, type, body) VALUES (?,?,?,?,?,?,?)",
            (journal_id, ids.id, event.seq, event.mono_s, event.utc_s, kind, body),
        ).lastrowid
        conn.execute("SAVEPOINT projection")
        try:
            self._projector.event(ids, journal_id, event_id or 0, event, item)
        except (sqlite3.IntegrityError, sqlite3.InterfaceError, ArithmeticError, TypeError, ValueError):
            # The event itself is on record; a figure that cannot stand in a table must not stop the record.
            log.exception("event %s of input %d could not be put into its table", kind, event.seq)
            conn.execute("ROLLBACK TO projection")
            self._projector.forget()
        conn.execute("RELEASE projection")

    def _call(
        self, ticket: int, function: Callable[[sqlite3.Connection], Any]
    ) -> tuple[int, Any, BaseException | None]:
        self.conn.execute("SAVEPOINT call")
        try:
            value: Any = function(self.conn)
            error: BaseException | None = None
        except Exception as err:
            if isinstance(err, sqlite3.Error) and is_store_trouble(err):
                raise  # not the caller's fault: the whole batch is tried again
            self.conn.execute("ROLLBACK TO call")
            value, error = None, err
        self.conn.execute("RELEASE call")
        return ticket, value, error

    def _outputs(self, number: int, row_id: int, item: Input, outputs: Sequence[Any], work: _Work) -> None:
        """Everything but a first reading: events, and readings beyond the first."""
        self._ids.at_row(row_id)
        ids = self._ids.session(self._sessions[number])
        for place, output in enumerate(outputs):
            if type(output) is Reading:
                if place:
                    kind = SourceKey("", "", output.raw_kind.value, output.probe)
                    source = self._source(number, row_id, kind, item)
                    work.others.append(
                        (
                            row_id,
                            source.id,
                            output.at_mono_s,
                            output.at_utc_s,
                            pack_milli(output.temp_c),
                            pack_milli(output.u_c),
                            REASON_CODES.get(output.reason, OTHER_REASON),
                        )
                    )
            else:
                work.events.append((row_id, ids, output, item))

    def _source(self, number: int, row_id: int, key: SourceKey, item: Input) -> Source:
        self._ids.at_row(row_id)
        board_ms: int | None = None
        match item:
            case SampleIn():
                board_ms = item.sample.board_ms if key.board else None
            case BoardStatusIn():
                board_ms = item.status.board_ms
            case IdentityIn() | LinkIn() | StoreIn() | DaemonIn() | TickIn() | CommandIn():
                pass
            case _:
                assert_never(item)
        return self._ids.source(self._ids.session(self._sessions[number]), key, board_ms, item.mono_s, item.seq)
