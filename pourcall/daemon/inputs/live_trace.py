"""The trace of the melt that runs, held in memory for screens. Flat in memory, whatever a melt's length.

Each probe has buckets of equal width with lowest and highest value. While a melt runs and the buckets are full, two
neighbours become one and the width doubles; while no melt runs, the oldest half is dropped instead. So a dashboard
that connects gets its curve without a question to the disk. The record proper lies in daemon/records.
"""

import math
from array import array

from pourcall.contract.api import Trace, TracePoint
from pourcall.contract.reading import Reading

BUCKETS = 4096  # 68 minutes of seconds before the first doubling; 98 kB a probe
_NONE = math.nan


class _Curve:
    """Buckets of one probe: bucket number from the trace's beginning, lowest, highest."""

    def __init__(self) -> None:
        self.number = array("q")
        self.low = array("d")
        self.high = array("d")

    def add(self, number: int, temp_c: float | None) -> None:
        value = _NONE if temp_c is None else temp_c
        if not self.number or number > self.number[-1]:
            self.number.append(number)
            self.low.append(value)
            self.high.append(value)
        elif temp_c is not None:
            self.low[-1] = temp_c if math.isnan(self.low[-1]) else min(self.low[-1], temp_c)
            self.high[-1] = temp_c if math.isnan(self.high[-1]) else max(self.high[-1], temp_c)

    def halve(self) -> "_Curve":
        """Every two neighbouring buckets as one."""
        half = _Curve()
        for number, low, high in zip(self.number, self.low, self.high, strict=True):
            half.add(number // 2, None if math.isnan(low) else low)
            half.add(number // 2, None if math.isnan(high) else high)
        return half

    def drop_oldest(self, count: int) -> None:
        del self.number[:count], self.low[:count], self.high[:count]


class LiveTrace:
    """All probes of one furnace."""

    def __init__(self, furnace: str, began_mono_s: float, *, buckets: int = BUCKETS) -> None:
        self.furnace, self._buckets = furnace, buckets
        self.restart(began_mono_s, melting=False)

    def restart(self, began_mono_s: float, *, melting: bool) -> None:
        """A melt began (or the daemon): what was before is no part of the trace."""
        self.began_mono_s, self.melting, self.width_s = began_mono_s, melting, 1.0
        self._curves: dict[str, _Curve] = {}

    def melt_ended(self) -> None:
        """From now on the oldest goes where there is no more room, instead of the trace becoming coarser."""
        self.melting = False

    def add(self, reading: Reading) -> None:
        """One reading; one without a number leaves a gap."""
        curve = self._curves.setdefault(reading.probe, _Curve())
        curve.add(int(max(0.0, reading.at_mono_s - self.began_mono_s) / self.width_s), reading.temp_c)
        if len(curve.number) > self._buckets:
            if self.melting:
                self.width_s *= 2.0
                self._curves = {probe: each.halve() for probe, each in self._curves.items()}
            else:
                curve.drop_oldest(self._buckets // 2)

    def trace(self, *, since_mono_s: float = 0.0, points: int = 1000) -> Trace:
        """At most `points` buckets for each probe, from a moment of the daemon's monotonic time on."""
        since_s = since_mono_s - self.began_mono_s
        probes: dict[str, tuple[TracePoint, ...]] = {}
        for probe, curve in self._curves.items():
            rows = [
                (number, low, high)
                for number, low, high in zip(curve.number, curve.low, curve.high, strict=True)
                if (number + 1) * self.width_s > since_s
            ]
            step = self._step(rows, points)
            merged = _Curve()
            for number, low, high in rows:
                merged.add(number // step, None if math.isnan(low) else low)
                merged.add(number // step, None if math.isnan(high) else high)
            wide_s = self.width_s * step
            probes[probe] = tuple(
                TracePoint(self.began_mono_s + number * wide_s, _number(low), _number(high))
                for number, low, high in zip(merged.number, merged.low, merged.high, strict=True)
            )
        return Trace(furnace=self.furnace, began_mono_s=self.began_mono_s, probes=probes)

    @staticmethod
    def _step(rows: list[tuple[int, float, float]], points: int) -> int:
        if len(rows) <= points:
            return 1
        # One more for a span that begins or ends inside a merged bucket.
        return -(-(rows[-1][0] - rows[0][0] + 1) // max(1, points - 1))


def _number(value: float) -> float | None:
    return None if math.isnan(value) else value
