"""The drift of a probe as a drawing: each point's error over time with its k = 2 band."""

from collections.abc import Sequence

from pourcall.calibration.history import DAY_S, PointRow, day, standing
from pourcall.contract.message import tell
from pourcall.contract.units import Unit, difference_from_c
from pourcall.reports.drawings import chart
from pourcall.reports.drawings.chart_svg import chart_svg
from pourcall.texts import say
from pourcall.thermometry.thermocouple import seebeck_uv_per_c
from pourcall.thermometry.uncertainty import COVERAGE, LEAST_SLOPE

_BESIDE = 0.011  # of the width: points of one day stand side by side


def drift_svg(probe: str, rows: Sequence[PointRow], *, tc_type: str = "K", unit: Unit = Unit.C) -> str:
    """A chart of the error (how far the probe reads high, uncorrected) of every point over time.

    Bars are expanded uncertainties (k = 2). Without rows it says so.
    """
    kept = standing(rows)
    errors = {row.id: _error(row, tc_type, unit) for row in kept}
    low = min([0.0, *(error - band for error, band in errors.values())])
    high = max([0.0, *(error + band for error, band in errors.values())])
    pad = 0.08 * (high - low) or 1.0
    first_s, last_s = (kept[0].at_utc_s, kept[-1].at_utc_s) if kept else (0.0, 0.0)
    span_s = 1.2 * max(last_s - first_s, 10.0 * DAY_S)
    days = {day(at_s): at_s for at_s in (first_s, last_s)} if kept else {}
    keys = sorted({row.key for row in kept}, key=lambda key: next(r.reference_c for r in kept if r.key == key))
    curves, marks, legend = [], [], []
    for number, key in enumerate(keys):
        look = chart.Look(chart.INKS[number % len(chart.INKS)], 1.2, chart.DASHES[number % len(chart.DASHES)])
        beside_s = _BESIDE * span_s * (number - 0.5 * (len(keys) - 1))
        own = [(row.at_utc_s + beside_s, *errors[row.id]) for row in kept if row.key == key]
        if len(own) > 1:
            curves.append(chart.Curve([[(at_s, error, error, error) for at_s, error, _ in own]], look))
        marks += [
            chart.Mark(at_s, error, ink=look.ink, size=3.5, spread=(error - band, error + band))
            for at_s, error, band in own
        ]
        reference_c = next(row.reference_c for row in reversed(kept) if row.key == key)
        legend.append(chart.Entry(say(tell("drift.point", point=key, at_c=reference_c), unit), look=look))
    title = say(tell("drift.title", probe=probe))
    return (
        chart_svg(
            chart.Chart(
                name=say(tell("drift.name", probe=probe)),
                x=chart.Axis(
                    first_s - span_s / 12.0,
                    first_s + span_s * 11.0 / 12.0,
                    tuple((s, stamp) for stamp, s in days.items()),
                ),
                y=chart.Axis(
                    low - pad,
                    high + pad,
                    tuple((tick, f"{tick:+.3g}" if tick else "0") for tick in chart.ticks(low - pad, high + pad, 6.0)),
                    unit=chart.unit_mark(unit),
                ),
                width=720.0,
                high=272.0,
                left=64.0,
                right=24.0,
                font=12.0,
                head=(chart.Head(title, 15.0), *(() if kept else (chart.Head(say(tell("drift.none")), 12.0),))),
                curves=curves,
                levels=(chart.Level(0.0, "", chart.Look("#888888")),),
                marks=marks,
                legend=legend,
                foot=say(tell("drift.foot")),
            )
        )
        + "\n"
    )


def _error(row: PointRow, tc_type: str, unit: Unit) -> tuple[float, float]:
    """How far it reads high, and the k = 2 band, in the unit shown."""
    slope = max(seebeck_uv_per_c(row.detail.tc_type if row.detail else tc_type, row.reference_c), LEAST_SLOPE)
    band_c = COVERAGE * (row.spread_uv or 0.0) / slope
    return difference_from_c(-row.offset_uv / slope, unit), difference_from_c(band_c, unit)
