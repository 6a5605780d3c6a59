"""Readings to rows of an export. What was read within a quarter of a second shares a row, no probe twice.

Journal in, (time, UTC, text of all cells) out. Nearly all scans look like the one before: the same sources in the same
order with the same status. Of such a pattern the text is made once, and only the figures are put in. Rows come packed
into three integers, a few hundred at a time: fewer objects, none of which the collector has to look at twice. What does
not pack (times beyond whole milliseconds, late readings) goes the plain way. Not here: lines, files (export.py).
"""

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from heapq import merge
from operator import itemgetter
from typing import Any

from pourcall.records.read.tracing import Extent
from pourcall.records.upkeep.migrate import NO_READING
from pourcall.records.write.codec import REASONS
from pourcall.reports.tables.row_writers import Form

Scan = tuple[float, int, str]  # ms of the session's monotonic clock, ms of UTC, text of all cells
Plain = tuple[int, float, int, int | None, int | None, int]  # column, ms, ms of UTC, temperature, uncertainty, marks
_Chunk = tuple[Sequence[Sequence[Any]], tuple[Any, ...]]  # whole rows, or else the three columns of packed ones
SCAN_MS = 250
_CHUNK_ROWS = 512  # held at a time: fewer than make the collector run
_BLOCK_IDS = 4096  # read by one query
_KEPT = 50_000  # figures and patterns
_COLUMNS = "source, mono, utc, temp_mc, u_mc, marks, extra"
_UTC_ZERO = 1 << 19  # UTC is packed as its distance from the monotonic clock, within some minutes
# Time, figure, and what a source said beside it. The first is NULL where one of them does not fit; a REAL `mono` is
# never whole seconds (those are kept as whole milliseconds), a REAL `utc` is some thousand million.
_PACKED = (
    "SELECT CASE WHEN mono = mono | 0 AND utc BETWEEN -524288 AND 524287 AND extra IS NULL AND marks < 1048576"
    " AND ifnull(u_mc, 0) < 134217728 AND source < 65536 THEN mono << 20 | utc + 524288 END,"
    " temp_mc, (ifnull(u_mc, -1) << 20 | marks) << 16 | source FROM journal WHERE id BETWEEN ? AND ?"
)


class Figures(dict[int | None, str]):
    """Thousandths of a degree as text, each worked out once."""

    def __init__(self, form: Form) -> None:
        super().__init__()
        self._form = form

    def __missing__(self, temp_mc: int | None) -> str:
        if len(self) > _KEPT:
            self.clear()
        text = self[temp_mc] = self._form.figure(temp_mc)
        return text


class _Pattern:
    """A scan without its figures: `text % figures` is that of its cells, in the order of the columns."""

    def __init__(self, keys: Sequence[int], place_of: Mapping[int, int], form: Form, blank: Sequence[str]) -> None:
        self.sources = frozenset(key & 0xFFFF for key in keys)
        places = [place_of[key & 0xFFFF] for key in keys]
        cells = list(blank)
        for place, key in zip(places, keys, strict=True):
            u_mc, marks = key >> 36, key >> 16 & 0xFFFFF
            cells[place] = "\0" + form.rest(None if u_mc < 0 else u_mc, REASONS.get(marks & NO_READING))
        self.text = form.body(cells).replace("%", "%%").replace("\0", "%s")
        self.order = None if places == sorted(places) else sorted(range(len(places)), key=places.__getitem__)
        self.whole = len(set(places)) == len(places)


class _Open:
    """The scan that is being filled, reading by reading."""

    def __init__(self, form: Form, blank: Sequence[str], figures: Figures) -> None:
        self._form, self._blank, self._figures = form, blank, figures
        self._cells: list[str] = []
        self._at_ms, self._utc_ms, self.filled = 0.0, 0, 0

    def fits(self, place: int, at_ms: float) -> bool:
        """Whether a reading belongs to it."""
        free = self.filled > 0 and self._cells[place] is self._form.empty
        return free and self._at_ms <= at_ms <= self._at_ms + SCAN_MS

    def put(self, reading: Plain) -> None:
        """The first reading gives the scan its time."""
        place, at_ms, utc_ms, temp_mc, u_mc, marks = reading
        if not self.filled:
            self._cells, self._at_ms, self._utc_ms = list(self._blank), at_ms, utc_ms
        self._cells[place] = self._figures[temp_mc] + self._form.rest(u_mc, REASONS.get(marks & NO_READING))
        self.filled += 1

    def close(self) -> Scan:
        """What it holds; it is empty then."""
        self.filled = 0
        return self._at_ms, self._utc_ms, self._form.body(self._cells)


def scans(
    conn: sqlite3.Connection,
    found: Extent,
    place_of: Mapping[int, int],
    form: Form,
    columns: int,
    *,
    since_ms: float,
    until_ms: float,
    offset_ms: int,
) -> Iterator[Scan]:
    """The scans of a stretch in the order of the journal. `place_of`: source -> column; within one transaction."""
    blank = [form.empty] * columns
    figures = Figures(form)
    being = _Open(form, blank, figures)
    patterns: dict[tuple[int, ...], _Pattern] = {}
    wide = 0  # of the latest scan
    span_packed = SCAN_MS << 20
    others = _others(conn, found)
    chunks: Iterable[_Chunk] = [(_merged(conn, found, others), ())] if others else _chunks(conn, found)
    for rows, taken in chunks:
        at = 0
        if taken:
            packed, temps_mc, keys = taken
            count, figured = len(keys), [*map(figures.__getitem__, temps_mc)]
            calm = packed == tuple(sorted(packed)) and since_ms <= packed[0] >> 20 and packed[-1] >> 20 <= until_ms
            while at < count:
                source, time = keys[at] & 0xFFFF, packed[at]
                place = place_of.get(source)
                at_ms = time >> 20
                if place is None or not (calm or since_ms <= at_ms <= until_ms):
                    at += 1
                    continue
                utc_ms = at_ms + offset_ms + (time & 0xFFFFF) - _UTC_ZERO
                if being.filled and not being.fits(place, at_ms):
                    wide = being.filled
                    yield being.close()
                end = at + wide
                if calm and not being.filled and end < count and packed[end - 1] <= time + span_packed:
                    alike = keys[at:end]
                    pattern = patterns.get(alike)
                    if pattern is None and wide and all(key & 0xFFFF in place_of for key in alike):
                        if len(patterns) > _KEPT // max(wide, 1):
                            patterns.clear()
                        pattern = patterns[alike] = _Pattern(alike, place_of, form, blank)
                    # a source for the second time: what came before is a whole scan
                    if pattern is not None and pattern.whole and keys[end] & 0xFFFF in pattern.sources:
                        said = figured[at:end]
                        if pattern.order is not None:
                            said = [said[n] for n in pattern.order]
                        yield at_ms, utc_ms, pattern.text % tuple(said)
                        at = end
                        continue
                key = keys[at]
                u_mc = key >> 36
                being.put((place, at_ms, utc_ms, temps_mc[at], None if u_mc < 0 else u_mc, key >> 16 & 0xFFFFF))
                at += 1
            continue
        for reading in _plain(rows, place_of, since_ms, until_ms, offset_ms):
            if being.filled and not being.fits(reading[0], reading[1]):
                wide = being.filled
                yield being.close()
            being.put(reading)
    if being.filled:
        yield being.close()


def _chunks(conn: sqlite3.Connection, found: Extent) -> Iterator[_Chunk]:
    """Some hundred rows at a time: as three columns where all of them pack, else whole."""
    for first_id in range(found.first_id, found.last_id + 1, _BLOCK_IDS):
        bounds = (first_id, min(first_id + _BLOCK_IDS - 1, found.last_id))
        cursor, taken = conn.execute(_PACKED, bounds), 0
        while rows := cursor.fetchmany(_CHUNK_ROWS):
            columns = tuple(zip(*rows, strict=True))
            if None in columns[0]:
                whole = conn.execute(
                    f"SELECT {_COLUMNS} FROM journal WHERE id BETWEEN ? AND ? ORDER BY id LIMIT ? OFFSET ?",
                    (*bounds, len(rows), taken),
                )
                yield whole.fetchall(), ()
            else:
                yield (), columns
            taken += len(rows)


def _plain(
    rows: Iterable[Sequence[Any]], place_of: Mapping[int, int], since_ms: float, until_ms: float, offset_ms: int
) -> Iterator[Plain]:
    """Readings of the stretch from whole rows, whatever their times are kept as."""
    for source, mono, utc, temp_mc, u_mc, marks, extra in rows:
        place = place_of.get(source)
        if place is None:
            continue
        late_ms = extra * 1000.0 if type(extra) is float else 0.0
        at_ms = (mono if type(mono) is int else mono * 1000.0) - late_ms
        if since_ms <= at_ms <= until_ms:
            utc_ms = mono + offset_ms + utc if type(utc) is int else round(utc * 1000.0)
            yield place, at_ms, utc_ms - round(late_ms), temp_mc, u_mc, marks


def _others(conn: sqlite3.Connection, found: Extent) -> list[tuple[Any, ...]]:
    """Readings that are not the one of their sample; hardly ever any."""
    return conn.execute(
        "SELECT source, at_mono_s, at_utc_s, temp_mc, u_mc, reason, NULL, journal_id FROM other_readings"
        " WHERE journal_id BETWEEN ? AND ? ORDER BY journal_id, id",
        (found.first_id, found.last_id),
    ).fetchall()


def _merged(conn: sqlite3.Connection, found: Extent, others: list[tuple[Any, ...]]) -> list[Sequence[Any]]:
    """The rows of the journal with the further readings at their place."""
    rows = conn.execute(f"SELECT {_COLUMNS}, id FROM journal WHERE id BETWEEN ? AND ?", (found.first_id, found.last_id))
    return [row[:7] for row in merge(rows, others, key=itemgetter(7))]
