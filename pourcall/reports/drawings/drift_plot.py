"""The drift of a probe as SVG: each point's error over time with its k = 2 band. No library needed."""

from collections.abc import Sequence
from html import escape

from pourcall.calibration.history import DAY_S, PointRow, day, standing
from pourcall.contract.units import Unit, difference_from_c, format_temperature
from pourcall.thermometry.thermocouple import seebeck_uv_per_c
from pourcall.thermometry.uncertainty import COVERAGE, LEAST_SLOPE

WIDTH, HEIGHT = 720, 360
LEFT, RIGHT, TOP, BOTTOM = 64, 190, 44, 44
INKS = ("#1f5fa8", "#b3541e", "#2f7d4f", "#7a3f98", "#8a6d00", "#a02040", "#39767a", "#555555")
DASHES = ("", "6 3", "2 3", "8 3 2 3")  # told apart without colour too


def drift_svg(probe: str, rows: Sequence[PointRow], *, tc_type: str = "K", unit: Unit = Unit.C) -> str:
    """A chart of the error (how far the probe reads high, uncorrected) of every point over time.

    Bars are expanded uncertainties (k = 2). Without rows it says so.
    """
    kept = standing(rows)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" '
        f'font-size="12" role="img"><title>Drift of {escape(probe)}</title>'
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>'
        f'<text x="{LEFT}" y="22" font-size="15">Probe {escape(probe)}: error at known temperatures</text>'
    )
    if not kept:
        return head + f'<text x="{LEFT}" y="{HEIGHT / 2}">No calibration on record.</text></svg>\n'
    marks = [(row, *_error(row, tc_type, unit)) for row in kept]
    low = min(0.0, min(error - band for _, error, band in marks))
    high = max(0.0, max(error + band for _, error, band in marks))
    pad = 0.08 * (high - low) or 1.0
    low, high = low - pad, high + pad
    first_s, last_s = kept[0].at_utc_s, kept[-1].at_utc_s
    span_s = max(last_s - first_s, 10.0 * DAY_S)
    first_s -= 0.1 * span_s
    span_s *= 1.2

    def x(at_s: float) -> float:
        return LEFT + (at_s - first_s) / span_s * (WIDTH - LEFT - RIGHT)

    def y(error: float) -> float:
        return TOP + (high - error) / (high - low) * (HEIGHT - TOP - BOTTOM)

    sign = {Unit.C: "°C", Unit.F: "°F", Unit.K: "K"}[unit]
    parts = [head]
    for tick in _ticks(low, high):
        zero = abs(tick) < 1e-9
        ink = "#888" if zero else "#e2e2e2"
        parts.append(
            f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y(tick):.1f}" y2="{y(tick):.1f}" stroke="{ink}"/>'
            f'<text x="{LEFT - 6}" y="{y(tick) + 4:.1f}" text-anchor="end">{"0" if zero else f"{tick:+.3g}"}</text>'
        )
    parts.append(f'<text x="{LEFT - 6}" y="{TOP - 8}" text-anchor="end">{sign}</text>')
    stamps = {day(kept[0].at_utc_s): kept[0].at_utc_s, day(kept[-1].at_utc_s): kept[-1].at_utc_s}
    parts += [
        f'<text x="{x(at_s):.1f}" y="{HEIGHT - 24}" text-anchor="middle">{stamp}</text>'
        for stamp, at_s in stamps.items()
    ]
    keys = sorted({row.key for row in kept}, key=lambda key: next(r.reference_c for r in kept if r.key == key))
    for number, key in enumerate(keys):
        ink, dash = INKS[number % len(INKS)], DASHES[number % len(DASHES)]
        beside = 5.0 * (number - 0.5 * (len(keys) - 1))  # points of one day stand side by side
        own = [
            (x(row.at_utc_s) + beside, y(error), y(error - band), y(error + band))
            for row, error, band in marks
            if row.key == key
        ]
        line = " ".join(f"{px:.1f},{py:.1f}" for px, py, _, _ in own)
        parts.append(f'<polyline points="{line}" fill="none" stroke="{ink}" stroke-dasharray="{dash}"/>')
        parts += [
            f'<line x1="{px:.1f}" x2="{px:.1f}" y1="{bottom:.1f}" y2="{top:.1f}" stroke="{ink}"/>'
            f'<circle cx="{px:.1f}" cy="{py:.1f}" r="3.5" fill="{ink}"/>'
            for px, py, bottom, top in own
        ]
        reference = next(row.reference_c for row in reversed(kept) if row.key == key)
        level = TOP + 12 + 18 * number
        parts.append(
            f'<line x1="{WIDTH - RIGHT + 12}" x2="{WIDTH - RIGHT + 36}" y1="{level - 4}" y2="{level - 4}" '
            f'stroke="{ink}" stroke-dasharray="{dash}"/><text x="{WIDTH - RIGHT + 42}" y="{level}">'
            f"{escape(key)} {format_temperature(reference, unit)}</text>"
        )
    foot = "bars: expanded uncertainty (k = 2); above 0: reads high"
    parts.append(f'<text x="{LEFT}" y="{HEIGHT - 4}" fill="#555">{foot}</text>')
    return "\n".join(parts) + "</svg>\n"


def _error(row: PointRow, tc_type: str, unit: Unit) -> tuple[float, float]:
    """How far it reads high, and the k = 2 band, in the unit shown."""
    slope = max(seebeck_uv_per_c(row.detail.tc_type if row.detail else tc_type, row.reference_c), LEAST_SLOPE)
    band_c = COVERAGE * (row.spread_uv or 0.0) / slope
    return difference_from_c(-row.offset_uv / slope, unit), difference_from_c(band_c, unit)


def _ticks(low: float, high: float) -> list[float]:
    step = _nice((high - low) / 6.0)
    first = int(low / step) - 1
    return [n * step for n in range(first, int(high / step) + 2) if low <= n * step <= high]


def _nice(step: float) -> float:
    """The next of 1, 2, 5 times a power of ten."""
    power = 1.0
    while power > step:
        power /= 10.0
    while power * 10.0 <= step:
        power *= 10.0
    return next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= step)
