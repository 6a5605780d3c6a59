"""Room: the roll-up. Every reading falls into a slot of 5 s and one of 60 s; long traces are drawn from these.

In: readings as integers (thousandths of a degree). Out: rows to merge into the table `rollup`. No clock, no file.
Late readings and slots written twice merge; the order of merging does not matter.
"""

from collections.abc import Iterable

SPANS_S = (5, 60)
MERGE = (
    "INSERT INTO rollup (session_id, span_s, slot, probe_id, n, n_bad, min_mc, max_mc, sum_mc, first_id, last_id)"
    " VALUES (?,?,?,?,?,?,?,?,?,?,?) ON CONFLICT (session_id, span_s, slot, probe_id) DO UPDATE SET"
    " n = n + excluded.n, n_bad = n_bad + excluded.n_bad, sum_mc = sum_mc + excluded.sum_mc,"
    " min_mc = min(coalesce(min_mc, excluded.min_mc), coalesce(excluded.min_mc, min_mc)),"
    " max_mc = max(coalesce(max_mc, excluded.max_mc), coalesce(excluded.max_mc, max_mc)),"
    " first_id = min(first_id, excluded.first_id), last_id = max(last_id, excluded.last_id)"
)

Key = tuple[int, int, int]  # session, slot of 5 s, probe
RollupRow = tuple[int, int, int, int, int, int, int | None, int | None, int, int, int]


class Accumulator:
    """Slots not yet written. `add` is called once for each committed reading."""

    def __init__(self) -> None:
        # [n, n_bad, min, max, sum, first_id, last_id]
        self._slots: dict[Key, list[int]] = {}

    def __len__(self) -> int:
        return len(self._slots)

    def add(self, session_id: int, probe_id: int, at_mono_s: float, temp_mc: int | None, row_id: int) -> None:
        """One reading; None: there was no number."""
        key = (session_id, int(at_mono_s // 5.0), probe_id)
        slot = self._slots.get(key)
        if slot is None:
            if temp_mc is None:
                self._slots[key] = [0, 1, 0, 0, 0, row_id, row_id]
            else:
                self._slots[key] = [1, 0, temp_mc, temp_mc, temp_mc, row_id, row_id]
            return
        slot[6] = row_id
        if temp_mc is None:
            slot[1] += 1
            return
        if slot[0] == 0:
            slot[2] = slot[3] = temp_mc
        elif temp_mc < slot[2]:
            slot[2] = temp_mc
        elif temp_mc > slot[3]:
            slot[3] = temp_mc
        slot[0] += 1
        slot[4] += temp_mc

    def rows(self) -> list[RollupRow]:
        """Rows of both spans, in key order."""
        minutes: dict[Key, list[int]] = {}
        out: list[RollupRow] = []
        for (session, slot, probe), fine in sorted(self._slots.items()):
            out.append(_row(session, 5, slot, probe, fine))
            key = (session, slot // 12, probe)
            coarse = minutes.get(key)
            minutes[key] = list(fine) if coarse is None else _merged(coarse, fine)
        out += [_row(session, 60, slot, probe, coarse) for (session, slot, probe), coarse in sorted(minutes.items())]
        return out

    def clear(self) -> None:
        """After the rows were committed."""
        self._slots.clear()


def _row(session: int, span_s: int, slot: int, probe: int, have: list[int]) -> RollupRow:
    n, bad, low, high, total, first, last = have
    return session, span_s, slot, probe, n, bad, low if n else None, high if n else None, total, first, last


def _merged(one: list[int], two: list[int]) -> list[int]:
    if one[0] == 0 or two[0] == 0:
        low, high = (two[2], two[3]) if one[0] == 0 else (one[2], one[3])
    else:
        low, high = min(one[2], two[2]), max(one[3], two[3])
    return [
        one[0] + two[0], one[1] + two[1], low, high, one[4] + two[4], min(one[5], two[5]), max(one[6], two[6]),
    ]  # fmt: skip


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
