"""Traces for a screen. Short spans come from the rows, longer ones from the roll-up; a melt of a file with a
hundred million rows is drawn in under 50 ms. Connection in, `Trace` out.
"""

import sqlite3
from collections.abc import Iterator

import msgspec

from pourcall.contract.api import Trace, TracePoint
from pourcall.contract.errors import NotFound
from pourcall.contract.message import tell
from pourcall.records.read.lookup import no_melt
from pourcall.records.upkeep.thinning import Thinning, thinnings_of
from pourcall.records.write.rollup import bucketed
from pourcall.texts import written

RAW_ROWS = 20_000  # more than so many rows are never read for a screen
FINE_SLOTS = 12_000  # nor so many slots of 5 s
MANY_SLOTS = 20_000  # from here on SQLite merges the slots of a bucket, not we


class SessionStretch(msgspec.Struct, frozen=True):
    """A stretch of one session, in its own monotonic time; `shift_s` is added to times shown."""

    session_id: int
    since_s: float
    until_s: float | None
    shift_s: float = 0.0


def session_trace(conn: sqlite3.Connection, furnace: str, since_mono_s: float, points: int) -> Trace:
    """The latest session of a furnace from a time on."""
    row = conn.execute(
        "SELECT s.id FROM sessions s JOIN furnaces f ON f.id = s.furnace_id WHERE f.name = ?"
        " ORDER BY s.id DESC LIMIT 1",
        (furnace,),
    ).fetchone()
    if row is None:
        raise NotFound(tell("record.nothing_of", furnace=furnace), remedy=tell("record.nothing_of.remedy"))
    return draw(conn, furnace, since_mono_s, [SessionStretch(row[0], since_mono_s, None)], points)


def melt_trace(conn: sqlite3.Connection, melt: str, points: int, after_s: float) -> Trace:
    """A melt from its start to `after_s` past its end."""
    furnace, began_s, spans = melt_spans(conn, melt, after_s)
    trace = draw(conn, furnace, began_s, spans, points)
    return msgspec.structs.replace(trace, thinned=spans_thinned(conn, spans))


def melt_thinned(conn: sqlite3.Connection, melt: str) -> str:
    """What must be said of a melt whose readings were thinned; empty for a whole one. Raises NotFound."""
    return spans_thinned(conn, melt_spans(conn, melt, 0.0)[2])


def spans_thinned(conn: sqlite3.Connection, spans: list[SessionStretch]) -> str:
    """The same of some stretches."""
    return "; ".join(written(one.told) for one in spans_thinnings(conn, spans))


def spans_thinnings(conn: sqlite3.Connection, spans: list[SessionStretch]) -> tuple[Thinning, ...]:
    """What was given up of some stretches; empty for a whole trace."""
    if conn.execute("SELECT 1 FROM thinnings LIMIT 1").fetchone() is None:
        return ()
    extents = [found for span in spans if (found := extent(conn, span)) is not None]
    return thinnings_of(conn, [(found.first_id, found.last_id) for found in extents])


def melt_spans(conn: sqlite3.Connection, melt: str, after_s: float) -> tuple[str, float, list[SessionStretch]]:
    """Furnace, beginning (mono) and stretches of a melt; the end may lie in a later session than its beginning."""
    row = conn.execute(
        "SELECT m.id, f.name, m.furnace_id, m.session_id, m.began_mono_s, m.began_utc_s FROM melts m"
        " JOIN furnaces f ON f.id = m.furnace_id WHERE m.melt = ?",
        (melt,),
    ).fetchone()
    if row is None:
        raise no_melt(melt)
    melt_id, furnace, furnace_id, first, began_s, _ = row
    end = conn.execute(
        "SELECT j.source, e.mono_s FROM melt_endings e JOIN journal j ON j.id = e.journal_id WHERE e.melt_id = ?"
        " ORDER BY e.id DESC LIMIT 1",
        (melt_id,),
    ).fetchone()
    last, until_s = None, None
    if end is not None:
        (last,) = conn.execute("SELECT session_id FROM sources WHERE id = ?", (end[0],)).fetchone()
        until_s = end[1] + after_s
    else:  # it never ended: up to the next melt of the furnace, if there was one
        after = conn.execute(
            "SELECT session_id, began_mono_s FROM melts WHERE furnace_id = ? AND id > ? ORDER BY id LIMIT 1",
            (furnace_id, melt_id),
        ).fetchone()
        if after is not None:
            last, until_s = after
    spans: list[SessionStretch] = []
    base_s: float | None = None
    for session_id, mono_s, utc_s in conn.execute(
        "SELECT id, began_mono_s, began_utc_s FROM sessions WHERE furnace_id = ? AND id >= ? AND (? IS NULL OR id <= ?)"
        " ORDER BY id",
        (furnace_id, first, last, last),
    ):
        if base_s is None:
            base_s = utc_s - mono_s
        shift_s = (utc_s - mono_s) - base_s
        spans.append(
            SessionStretch(
                session_id,
                began_s if session_id == first else mono_s,
                until_s if session_id == last else None,
                shift_s,
            )
        )
    return furnace, began_s, spans


def draw(conn: sqlite3.Connection, furnace: str, began_s: float, spans: list[SessionStretch], points: int) -> Trace:
    """Spans decimated to about `points` buckets for each probe, all on one time axis."""
    points = max(points, 1)
    extents = [extent(conn, span) for span in spans]
    known = [(span, held) for span, held in zip(spans, extents, strict=True) if held is not None]
    probes: dict[str, tuple[TracePoint, ...]] = {}
    if known:
        end_s = max(held.until_s + span.shift_s for span, held in known)
        rows = sum(held.rows for _, held in known)
        total_s = max(end_s - began_s, 1e-3)
        names = dict(conn.execute("SELECT id, name FROM probes").fetchall())
        count = max(1, max(held.probes for _, held in known))
        level = 0 if rows <= RAW_ROWS else 5 if total_s / 5.0 * count <= FINE_SLOTS else 60
        width_s = max(total_s / points, float(level), 1e-6)
        series: dict[int, list[tuple[float, int | None, int | None]]] = {}
        for span, held in known:
            for probe, time_s, low, high in _readings(conn, span, held, level, (began_s, width_s)):
                series.setdefault(probe, []).append((time_s + span.shift_s, low, high))
        for probe, found in series.items():
            found.sort(key=_time)
            probes[names[probe]] = tuple(TracePoint(*point) for point in bucketed(found, began_s, width_s))
    return Trace(furnace=furnace, began_mono_s=began_s, probes=dict(sorted(probes.items())))


class Extent(msgspec.Struct, frozen=True):
    """What a span holds: journal ids, last time, probes, rows (about)."""

    first_id: int
    last_id: int
    rolled_id: int
    until_s: float
    probes: int
    rows: int


def extent(conn: sqlite3.Connection, span: SessionStretch) -> Extent | None:
    """Where the rows of a span lie; None: the session has no readings."""
    sources = conn.execute(
        "SELECT count(DISTINCT probe_id), min(id), max(id) FROM sources WHERE session_id = ?", (span.session_id,)
    ).fetchone()
    if not sources[0]:
        return None
    (rolled,) = conn.execute("SELECT rolled_id FROM state").fetchone()
    minute = int(span.since_s // 60.0)
    first = conn.execute(
        "SELECT min(first_id) FROM (SELECT first_id FROM rollup WHERE session_id = ? AND span_s = 60 AND slot >= ?"
        " ORDER BY slot LIMIT 64)",
        (span.session_id, minute),
    ).fetchone()[0]
    until_minute = 2**53 if span.until_s is None else int(span.until_s // 60.0)
    tail = conn.execute(
        "SELECT max(last_id), max(slot) FROM (SELECT last_id, slot FROM rollup WHERE session_id = ? AND span_s = 60"
        " AND slot <= ? ORDER BY slot DESC LIMIT 64)",
        (span.session_id, until_minute),
    ).fetchone()
    newest = conn.execute(
        "SELECT j.id, j.mono FROM journal j JOIN sources s ON s.id = j.source WHERE j.id > ? AND s.session_id = ?"
        " ORDER BY j.id DESC LIMIT 1",
        (rolled, span.session_id),
    ).fetchone()
    if first is None and newest is None:
        return None
    first_id = rolled + 1 if first is None else int(first)
    last_id = int(newest[0]) if newest is not None else int(tail[0])
    if newest is not None:
        newest_s = newest[1] / 1000.0 if type(newest[1]) is int else newest[1]
    else:
        newest_s = (tail[1] + 1) * 60.0
    if span.until_s is not None:
        newest_s = min(newest_s, span.until_s)
        if newest is not None and tail[0] is not None and (tail[1] + 1) * 60.0 > span.until_s:
            last_id = int(tail[0])
    return Extent(first_id, last_id, rolled, newest_s, int(sources[0]), max(last_id - first_id + 1, 0))


def _readings(
    conn: sqlite3.Connection, span: SessionStretch, held: Extent, level: int, buckets: tuple[float, float]
) -> Iterator[tuple[int, float, int | None, int | None]]:
    """(probe, time, min, max) of a span from rows (level 0) or from slots, with the rows that are not rolled up yet.

    buckets: where the drawing's first one begins and how wide they are. Slots of one bucket come as one: of a melt of
    days there are more slots than any screen has columns, and SQLite merges them in a third of the time.
    """
    until_s = held.until_s if span.until_s is None else span.until_s
    if level:
        args = (span.session_id, level, int(span.since_s // level), int(until_s // level))
        found = "FROM rollup WHERE session_id = ?1 AND span_s = ?2 AND slot BETWEEN ?3 AND ?4"
        if (args[3] - args[2]) * held.probes <= MANY_SLOTS:
            rows = conn.execute(f"SELECT probe_id, slot, min_mc, max_mc {found}", args)
        else:
            began_s, width_s = buckets
            rows = conn.execute(
                f"SELECT probe_id, min(slot), min(min_mc), max(max_mc) {found}"
                " GROUP BY probe_id, CAST((max(slot * ?2, ?5) + ?6 - ?7) / ?8 AS INTEGER)",
                (*args, span.since_s, span.shift_s, began_s, width_s),
            )
        for probe, slot, low, high in rows:
            yield probe, max(slot * float(level), span.since_s), low, high
    first_id = max(held.first_id, held.rolled_id + 1) if level else held.first_id
    if first_id > held.last_id:
        return
    probe_of = dict(
        conn.execute(
            "SELECT id, probe_id FROM sources WHERE session_id = ? AND probe_id IS NOT NULL", (span.session_id,)
        ).fetchall()
    )
    since_s = span.since_s
    for source, mono, temp_mc, extra in conn.execute(
        "SELECT source, mono, temp_mc, CASE typeof(extra) WHEN 'real' THEN extra END FROM journal"
        " WHERE id BETWEEN ? AND ?",
        (first_id, held.last_id),
    ):
        probe = probe_of.get(source)
        if probe is None:
            continue
        time_s = mono / 1000.0 if type(mono) is int else mono
        if extra is not None:
            time_s -= extra
        if since_s <= time_s <= until_s:
            yield probe, time_s, temp_mc, temp_mc
    for source, time_s, temp_mc in conn.execute(
        "SELECT source, at_mono_s, temp_mc FROM other_readings WHERE journal_id BETWEEN ? AND ?",
        (first_id, held.last_id),
    ):
        probe = probe_of.get(source)
        if probe is not None and since_s <= time_s <= until_s:
            yield probe, time_s, temp_mc, temp_mc


def _time(point: tuple[float, int | None, int | None]) -> float:
    return point[0]
