"""A trace in equal steps: smoothed, its noise known, its longest standstill found. Arithmetic for plateau.py.

In: times and degrees as they came. Out: `Trace`, `Stretch`. Not here: what a plateau is worth (plateau.py).
"""

from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from math import isfinite, sqrt
from statistics import fmean, median
from typing import NamedTuple

from pourcall.contract.errors import Refused
from pourcall.contract.message import Message, tell

LEAST_ROWS = 20
MOST_STEP_S = 15.0
SMOOTH = 5  # bins


class PoorPlateau(Refused):
    """No plateau to calibrate on. `code` is one word for programs, `told` and `to_do` are for people."""

    def __init__(self, code: str, told: Message, to_do: Message) -> None:
        super().__init__(tell("calibration.none", why=told), remedy=to_do)
        self.code, self.told, self.to_do = code, told, to_do


class Stretch(NamedTuple):
    first: int  # bin
    last: int
    low_c: float
    high_c: float


class Trace(NamedTuple):
    """Equal steps. raw: mean of the readings in a bin, None where there is none; smooth: over SMOOTH bins."""

    start_s: float
    step_s: float
    raw: list[float | None]
    smooth: list[float | None]
    noise_c: float  # of one bin
    scatter_c: float  # of one reading

    def at(self, index: int) -> float:
        return self.start_s + (index + 0.5) * self.step_s


def binned(times_s: Sequence[float], temps_c: Sequence[float | None]) -> Trace:
    """Equal bins of a second or the file's own step. Raises PoorPlateau too_few."""
    known = [
        (at_s, temp_c) for at_s, temp_c in zip(times_s, temps_c, strict=True) if temp_c is not None and isfinite(temp_c)
    ]
    steps = [b - a for (a, _), (b, _) in pairwise(known)]
    step_s = max(1.0, median(steps)) if steps else 1.0
    if len(known) < LEAST_ROWS or step_s > MOST_STEP_S:
        few = tell("calibration.few", readings=len(known))
        if len(known) >= LEAST_ROWS:
            few = tell("calibration.seldom", every_s=step_s)
        raise PoorPlateau("too_few", few, tell("calibration.do.record"))
    start_s = known[0][0]
    bins: list[list[float]] = [[] for _ in range(int((known[-1][0] - start_s) / step_s) + 1)]
    for at_s, temp_c in known:
        bins[int((at_s - start_s) / step_s)].append(temp_c)
    raw = [median(held) if len(held) > 2 else fmean(held) if held else None for held in bins]
    return Trace(start_s, step_s, raw, smoothed(raw), noise_of(raw), noise_of([temp_c for _, temp_c in known]))


def smoothed(raw: Sequence[float | None]) -> list[float | None]:
    """Mean of SMOOTH bins about each; of those that are there, where half of them are."""
    half = SMOOTH // 2
    out: list[float | None] = []
    for index in range(len(raw)):
        held = [value for value in raw[max(0, index - half) : index + half + 1] if value is not None]
        out.append(fmean(held) if len(held) > half else None)
    return out


def noise_of(values: Sequence[float | None]) -> float:
    """Standard deviation of one value about its neighbours: second differences of white noise have 6 times its
    variance; their median absolute value is 0.6745 sigma, which steps and curves hardly move."""
    second = [
        abs(a - 2.0 * b + c)
        for a, b, c in zip(values, values[1:], values[2:], strict=False)
        if a is not None and b is not None and c is not None
    ]
    return median(second) / 0.6745 / sqrt(6.0) if second else 0.0


def longest(smooth: Sequence[float | None], band_c: float, low_c: float, high_c: float) -> Stretch | None:
    """The longest stretch within a band of width band_c whose values all lie in low_c..high_c; None where none does."""
    lows: deque[int] = deque()
    highs: deque[int] = deque()
    best: Stretch | None = None
    first = 0

    def value_at(index: int) -> float:
        value = smooth[index]
        assert value is not None
        return value

    for index, value in enumerate(smooth):
        if value is None:
            continue
        if not low_c <= value <= high_c:
            lows.clear()
            highs.clear()
            first = index + 1
            continue
        while lows and value_at(lows[-1]) >= value:
            lows.pop()
        while highs and value_at(highs[-1]) <= value:
            highs.pop()
        lows.append(index)
        highs.append(index)
        while value_at(highs[0]) - value_at(lows[0]) > band_c:
            if highs[0] < lows[0]:
                first = highs.popleft() + 1
            else:
                first = lows.popleft() + 1
        while smooth[first] is None:
            first += 1
        if best is None or index - first > best.last - best.first:
            best = Stretch(first, index, value_at(lows[0]), value_at(highs[0]))
    return best


def line(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Mean and slope of a straight line by least squares."""
    mean_x, mean_y = fmean(x for x, _ in points), fmean(y for _, y in points)
    spread = sum((x - mean_x) ** 2 for x, _ in points)
    slope = sum((x - mean_x) * (y - mean_y) for x, y in points) / spread if spread > 0.0 else 0.0
    return mean_y, slope


def longest_true(flags: Sequence[bool]) -> int:
    best = run = 0
    for flag in flags:
        run = run + 1 if flag else 0
        best = max(best, run)
    return best
