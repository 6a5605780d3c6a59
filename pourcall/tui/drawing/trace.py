"""The past minutes as a curve. Keeps points, joins what the daemon has with what came since, thins for a screen.

A gap is a gap: no line is drawn over time without a number.
"""

from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise

from pourcall.contract.api import TracePoint

SPAN_MAX_S = 3600.0
STEP_S = 0.5
GAP_S = 6.0  # live points come once a second; longer without one is a gap


class TraceBuffer:
    """One probe's points in order of time, for at most an hour."""

    def __init__(self) -> None:
        self.points: list[TracePoint] = []

    def replace(self, points: Sequence[TracePoint]) -> None:
        """Take the daemon's trace; live points later than its last one stay."""
        fetched = sorted(points, key=lambda point: point.mono_s)
        last_s = fetched[-1].mono_s if fetched else float("-inf")
        self.points = fetched + [point for point in self.points if point.mono_s > last_s]

    def add(self, mono_s: float, temp_c: float | None) -> None:
        """A live value, or None where there was no number. A time that does not move on is left out."""
        if self.points and mono_s <= self.points[-1].mono_s:
            if mono_s < self.points[-1].mono_s - 1.0:
                self.points.clear()  # the daemon's clock began anew: another run
            else:
                return
        if self.points and mono_s - self.points[-1].mono_s < STEP_S and temp_c is not None:
            return  # finer than any screen shows
        self.points.append(TracePoint(mono_s, temp_c, temp_c))
        if len(self.points) > 64 and self.points[32].mono_s < mono_s - SPAN_MAX_S:
            del self.points[:32]

    def _usual_step_s(self) -> float:
        """Time from point to point of late: a simulation at speed, or a daemon's buckets, come in longer steps."""
        steps = sorted(b.mono_s - a.mono_s for a, b in pairwise(self.points[-33:]))
        return steps[len(steps) // 2] if steps else 0.0

    def segments(self, now_s: float, span_s: float, buckets: int) -> list[list[tuple[float, float]]]:
        """Curves without gaps as (minutes before now, degC), at most about 2 x `buckets` points in all.

        Each bucket of time keeps its lowest and highest value, in the order of time, so that no peak is lost.
        """
        begin_s = now_s - span_s
        first = bisect_left(self.points, begin_s, key=lambda point: point.mono_s)
        width_s = span_s / max(buckets, 1)
        gap_s = max(GAP_S, 4.0 * self._usual_step_s(), 2.0 * width_s)
        out: list[list[tuple[float, float]]] = []
        run: list[tuple[float, float]] = []
        bucket: list[tuple[float, float]] = []
        bucket_no, last_s = -1, float("-inf")

        def flush() -> None:
            if bucket:
                low, high = min(bucket, key=lambda p: p[1]), max(bucket, key=lambda p: p[1])
                run.extend(sorted({low, high}))
                bucket.clear()

        def end_run() -> None:
            flush()
            if run:
                out.append(list(run))
                run.clear()

        for point in self.points[first:]:
            if point.mono_s > now_s:
                break
            if point.min_c is None or point.max_c is None:
                end_run()
                last_s = float("-inf")
                continue
            if point.mono_s - last_s > gap_s:
                end_run()
            number = int((point.mono_s - begin_s) / width_s)
            if number != bucket_no:
                flush()
                bucket_no = number
            minutes = (point.mono_s - now_s) / 60.0
            bucket += (
                [(minutes, point.min_c)]
                if point.min_c == point.max_c
                else [
                    (minutes, point.min_c),
                    (minutes, point.max_c),
                ]
            )
            last_s = point.mono_s
        end_run()
        return out


def span_for(points: Sequence[TracePoint], now_s: float) -> float:
    """How far back to show: ten minutes at least, an hour at most, in steps a person can read."""
    age_s = now_s - points[0].mono_s if points else 0.0
    return next((span for span in (600.0, 1200.0, 1800.0, 2400.0) if age_s <= span), SPAN_MAX_S)


def limits_c(
    segments: Sequence[Sequence[tuple[float, float]]], band_c: tuple[float, float] | None
) -> tuple[float, float]:
    """Lowest and highest temperature of the picture: the curve, and the window where it is near."""
    values = [temp_c for run in segments for _, temp_c in run]
    if not values:
        return band_c if band_c is not None else (0.0, 100.0)
    low_c, high_c = min(values), max(values)
    if band_c is not None and high_c > band_c[0] - 150.0:
        low_c, high_c = min(low_c, band_c[0]), max(high_c, band_c[1])
    air = max(5.0, 0.05 * (high_c - low_c))
    return low_c - air, high_c + air
