"""The roll-up. Every reading falls into a slot of 5 s and one of 60 s; long traces are drawn from these.

Made by SQL from the rows that are not yet rolled up, in the transaction of a batch: nothing is kept in memory that a
crash could lose. Late readings and slots written twice merge; the order of merging does not matter.
"""

import sqlite3
from collections.abc import Iterable

SPANS_S = (5, 60)
_FINE_S, _COARSE_S = SPANS_S
_NEW = """
SELECT session_id, CAST(at / 5 AS INTEGER) - (at < 0.0), probe_id, count(temp_mc), count(*) - count(temp_mc),
       min(temp_mc), max(temp_mc), coalesce(sum(temp_mc), 0), min(id), max(id)
FROM (SELECT j.id, s.session_id, s.probe_id, j.temp_mc,
             CASE typeof(j.mono) WHEN 'integer' THEN j.mono / 1000.0 ELSE j.mono END
             - CASE typeof(j.extra) WHEN 'real' THEN j.extra ELSE 0.0 END AS at
      FROM journal j JOIN sources s ON s.id = j.source
      WHERE j.id > :after AND j.id <= :upto AND s.probe_id IS NOT NULL
      UNION ALL
      SELECT o.journal_id, s.session_id, s.probe_id, o.temp_mc, o.at_mono_s
      FROM other_readings o JOIN sources s ON s.id = o.source
      WHERE o.journal_id > :after AND o.journal_id <= :upto AND s.probe_id IS NOT NULL)
WHERE true GROUP BY 1, 2, 3
"""
_MERGE = """
INSERT INTO rollup (session_id, slot, probe_id, n, n_bad, min_mc, max_mc, sum_mc, first_id, last_id, span_s)
VALUES (?,?,?,?,?,?,?,?,?,?,?)
ON CONFLICT (session_id, span_s, slot, probe_id) DO UPDATE SET
    n = n + excluded.n, n_bad = n_bad + excluded.n_bad, sum_mc = sum_mc + excluded.sum_mc,
    min_mc = min(coalesce(min_mc, excluded.min_mc), coalesce(excluded.min_mc, min_mc)),
    max_mc = max(coalesce(max_mc, excluded.max_mc), coalesce(excluded.max_mc, max_mc)),
    first_id = min(first_id, excluded.first_id), last_id = max(last_id, excluded.last_id)
"""
_Slot = tuple[int, int, int, int, int, int | None, int | None, int, int, int]


def roll_up(conn: sqlite3.Connection, upto: int) -> None:
    """Take all rows up to a journal id into the roll-up, within the caller's transaction."""
    (after,) = conn.execute("SELECT rolled_id FROM state").fetchone()
    if upto > after:
        fine: list[_Slot] = conn.execute(_NEW, {"after": after, "upto": upto}).fetchall()
        for span_s, slots in ((_FINE_S, fine), (_COARSE_S, coarser(fine, _COARSE_S // _FINE_S))):
            conn.executemany(_MERGE, [(*slot, span_s) for slot in slots])
        conn.execute("UPDATE state SET rolled_id = ?", (upto,))


def coarser(slots: Iterable[_Slot], times: int) -> list[_Slot]:
    """Slots that are `times` as long, from short ones."""
    out: dict[tuple[int, int, int], _Slot] = {}
    for session_id, slot, probe_id, n, n_bad, low, high, total, first_id, last_id in slots:
        key = (session_id, slot // times, probe_id)
        old = out.get(key)
        if old is not None:
            n, n_bad, total = n + old[3], n_bad + old[4], total + old[7]
            low = old[5] if low is None or (old[5] is not None and old[5] < low) else low
            high = old[6] if high is None or (old[6] is not None and old[6] > high) else high
            first_id, last_id = min(first_id, old[8]), max(last_id, old[9])
        out[key] = (*key, n, n_bad, low, high, total, first_id, last_id)
    return sorted(out.values())


Point = tuple[float, float | None, float | None]  # time in s, lowest and highest degC in the bucket


def bucketed(
    points: Iterable[tuple[float, int | None, int | None]], begin_s: float, width_s: float
) -> tuple[Point, ...]:
    """Merge (time, min, max), in time order, into buckets of equal width. A bucket without a number says None.

    Buckets without any reading are left out: a gap in the record is a gap in the line.
    """
    out: list[Point] = []
    at, low, high = None, None, None
    for time_s, one, two in points:
        bucket = int((time_s - begin_s) // width_s)
        if bucket != at:
            if at is not None:
                out.append(_point(begin_s, width_s, at, low, high))
            at, low, high = bucket, one, two
            continue
        if one is not None and (low is None or one < low):
            low = one
        if two is not None and (high is None or two > high):
            high = two
    if at is not None:
        out.append(_point(begin_s, width_s, at, low, high))
    return tuple(out)


def _point(begin_s: float, width_s: float, bucket: int, low: int | None, high: int | None) -> Point:
    return (
        begin_s + bucket * width_s,
        None if low is None else low / 1000.0,
        None if high is None else high / 1000.0,
    )
