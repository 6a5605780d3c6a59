"""The picture of past and future, before anything draws it: axes, curves, the band to come, marks. Pure.

What was measured is a line; what is foreseen is a shaded area with no line in it, so that nobody takes one for the
other. Right of "now" there is forecast only.
"""

import math
from bisect import bisect_left

import msgspec

from pourcall.contract.snapshot import AheadView
from pourcall.contract.units import finite
from pourcall.tui.drawing.styled import Role
from pourcall.tui.drawing.trace import limits_c

COAST_MARK, ESTIMATE_MARK, BAND_MARK, DIP_MARK = "◇", "≈", "░", "●"
Run = list[tuple[float, float]]  # (minutes from now, degC)
AHEAD_LEAST_S, AHEAD_SHARE = 600.0, 0.5  # how far ahead is shown: half as far as back, ten minutes at least
FEW_ROWS, ENOUGH_ROWS = 8, 16
NEAR_C, AIR_C = 150.0, 15.0
NEARER, NEAR = (600.0, 40.0), (1200.0, 130.0)  # how far back in time, and how far below the metal, on few rows
ABOVE_C, BELOW_C = 60.0, 100.0  # a band that leaves window and curve so far behind is cut off there


class Picture(msgspec.Struct, frozen=True, kw_only=True):
    """Times in minutes from now, temperatures in degC."""

    past_min: float
    ahead_min: float = 0.0  # 0: nothing is foreseen
    low_c: float
    high_c: float
    curves: tuple[tuple[tuple[Run, ...], Role], ...] = ()
    window_c: tuple[float, float] | None = None
    band: tuple[tuple[float, float, float], ...] = ()  # (minutes, low, high)
    dips: tuple[tuple[float, float], ...] = ()  # what dips found, when
    coast: tuple[float, float] | None = None  # where the metal goes if the power is cut now


def picture_of(
    curves: list[tuple[list[Run], Role]],
    window_c: tuple[float, float] | None,
    span_s: float,
    ahead: AheadView | None = None,
    now_mono_s: float = 0.0,
    rows: int = ENOUGH_ROWS,
    *,
    metal_c: float | None = None,
    dips: tuple[tuple[float, float], ...] = (),
) -> Picture:
    """All that is drawn. `ahead` None: the link is lost, or nothing is foreseen; then "now" is the right edge.

    On few `rows` the picture comes near to the window when the metal does (`metal_c`: as far as it is known now), and
    shows the last minutes: a cold start and a hot chamber would leave no row to see it in. `dips`: (when, degC).
    """
    band = band_ahead(ahead, now_mono_s, max(AHEAD_LEAST_S, AHEAD_SHARE * span_s))
    runs = [run for segments, _ in curves for run in segments]
    if band:
        band = _cut_off(band, runs, window_c)
    ahead_min = band[-1][0] if band else 0.0
    coast = _coast(ahead, now_mono_s, ahead_min)
    edges = [list(edge) for edge in ([(t, low) for t, low, _ in band], [(t, high) for t, _, high in band]) if edge]
    marks = [*edges, *([[coast]] if coast else [])]
    points = [((mono_s - now_mono_s) / 60.0, temp_c) for mono_s, temp_c in dips if mono_s >= now_mono_s - span_s]
    low_c, high_c = limits_c([*runs, *marks, points], window_c)
    if rows < ENOUGH_ROWS and window_c is not None and finite(metal_c) and metal_c > window_c[0] - NEAR_C:
        back_s, reach_c = NEARER if rows < FEW_ROWS else NEAR
        span_s = min(span_s, back_s)
        low_c, high_c = _near(metal_c, curves[0][0] if curves else [], marks, window_c, span_s / -60.0, reach_c)
    return Picture(
        past_min=span_s / 60.0,
        ahead_min=ahead_min,
        low_c=low_c,
        high_c=high_c,
        curves=tuple((tuple(_inside(segments, low_c, high_c, -span_s / 60.0)), role) for segments, role in curves),
        window_c=window_c,
        band=band,
        coast=coast,
        dips=tuple(p for p in points if -span_s / 60.0 <= p[0] <= 0.0 and low_c <= p[1] <= high_c),
    )


def _near(
    metal_c: float, curve: list[Run], marks: list[Run], window_c: tuple[float, float], from_min: float, reach_c: float
) -> tuple[float, float]:
    late = [max(temp_c, metal_c - reach_c) for run in curve for minutes, temp_c in run if minutes >= from_min]
    values = [metal_c, *late, *window_c, *(temp_c for run in marks for _, temp_c in run)]
    return min(values) - AIR_C, max(values) + AIR_C


def _inside(segments: list[Run], low_c: float, high_c: float, from_min: float) -> list[Run]:
    """The parts of a curve that lie in the picture; where it leaves it, it ends: no line runs along the edge."""
    out: list[Run] = []
    for run in segments:
        part: Run = []
        for point in run:
            if low_c <= point[1] <= high_c and point[0] >= from_min:
                part.append(point)
            elif part:
                out.append(part)
                part = []
        if part:
            out.append(part)
    return out


def band_ahead(ahead: AheadView | None, now_mono_s: float, for_s: float) -> tuple[tuple[float, float, float], ...]:
    """The band as (minutes from now, low, high), from now to `for_s` or its own end; empty where there is none.

    Time has passed since it was worked out: what lies behind is left out. Points that are no numbers are left out too.
    """
    if ahead is None:
        return ()
    gone_s = max(0.0, now_mono_s - ahead.at_mono_s)
    points = [
        (seconds - gone_s, low_c, high_c)
        for seconds, low_c, high_c in ahead.band
        if all(map(math.isfinite, (seconds, low_c, high_c)))
    ]
    kept = [point for point in points if 0.0 < point[0] <= for_s + 60.0]
    if not kept:
        return ()
    first = kept[0]
    # From the first point back to now the band keeps its edges: there is nothing nearer to go by.
    kept.insert(0, (0.0, first[1], first[2]))
    return tuple((min(seconds, for_s) / 60.0, min(low, high), max(low, high)) for seconds, low, high in kept)


def _cut_off(
    band: tuple[tuple[float, float, float], ...], runs: list[Run], window_c: tuple[float, float] | None
) -> tuple[tuple[float, float, float], ...]:
    """Power left on for half an hour goes far beyond anything meant; that may not flatten what matters."""
    seen = [temp_c for run in runs for _, temp_c in run] or [low for _, low, _ in band]
    top_c = max(*seen, window_c[1] if window_c else -math.inf) + ABOVE_C
    last_c = runs[0][-1][1] if runs else seen[-1]
    floor_c = min(last_c, window_c[0] if window_c else last_c) - BELOW_C
    return tuple((t, min(max(low, floor_c), top_c), min(max(high, floor_c), top_c)) for t, low, high in band)


def _coast(ahead: AheadView | None, now_mono_s: float, ahead_min: float) -> tuple[float, float] | None:
    """The mark of the coast, if it falls on the picture."""
    if ahead is None or ahead.coast_c is None or not finite(ahead.coast_c.mid) or not finite(ahead.coast_in_s):
        return None
    minutes = (ahead.coast_in_s - max(0.0, now_mono_s - ahead.at_mono_s)) / 60.0
    return (minutes, ahead.coast_c.mid) if 0.0 <= minutes <= ahead_min else None


def band_cells(picture: Picture, columns: int, rows: int) -> tuple[list[float], list[float]]:
    """Centres (minutes, degC) of the cells that the band covers on a picture of so many cells."""
    if not picture.band or columns < 1 or rows < 1:
        return [], []
    wide_min = (picture.past_min + picture.ahead_min) / columns
    high_c, row_c = picture.high_c, (picture.high_c - picture.low_c) / rows
    times = [point[0] for point in picture.band]
    x: list[float] = []
    y: list[float] = []
    for column in range(columns):
        minutes = -picture.past_min + (column + 0.5) * wide_min
        if minutes <= 0.0 or minutes > times[-1]:
            continue
        low_c, top_c = _between(picture.band, times, minutes)
        first = max(0, math.floor((high_c - top_c) / row_c))
        last = min(rows - 1, math.ceil((high_c - low_c) / row_c) - 1)
        for row in range(first, max(first, last) + 1):
            if row < rows:
                x.append(minutes)
                y.append(high_c - (row + 0.5) * row_c)
    return x, y


def _between(band: tuple[tuple[float, float, float], ...], times: list[float], minutes: float) -> tuple[float, float]:
    n = min(max(bisect_left(times, minutes), 1), len(band) - 1) if len(band) > 1 else 0
    if n == 0:
        return band[0][1], band[0][2]
    (t0, low0, high0), (t1, low1, high1) = band[n - 1], band[n]
    share = (minutes - t0) / (t1 - t0) if t1 > t0 else 0.0
    return low0 + share * (low1 - low0), high0 + share * (high1 - high0)
