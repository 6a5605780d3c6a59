"""An advice as a drawing. The curve with its band, the pours, the usable window, the limit, what to pour next."""

from collections.abc import Iterator

from pourcall.contract.message import tell
from pourcall.contract.units import Unit, from_c, to_c
from pourcall.reports.drawings import chart
from pourcall.reports.drawings.chart_svg import chart_svg
from pourcall.texts import say
from pourcall.trials.advice import Advice, InspectedPour

_LINE, _USABLE, _COLD, _HOT = chart.Look("#1f4e79", 2.5), "#e3f1e1", "#2166ac", "#b2182b"
_AT_COLD, _AT_SOUND, _AT_HOT = 0.04, 0.075, 0.11  # of the height of the field: beside each other where both are


def advice_svg(advice: Advice, unit: Unit = Unit.C) -> str:
    """The drawing as text. Cold faults point down, hot ones up, sound castings are round; bigger is graver."""
    curve = advice.curve
    low_c, high_c = curve[0].temp_c, curve[-1].temp_c
    figures = tuple(
        (to_c(value, unit), f"{value:g}") for value in chart.ticks(from_c(low_c, unit), from_c(high_c, unit), 9.0)
    )
    title = say(tell("plot.advice", setup=advice.setup, alloy=advice.alloy, pours=advice.pours))
    about = tell("plot.advice_about_invented") if advice.invented else tell("plot.advice_about")
    bands = []
    if advice.usable_min_c is not None and advice.usable_max_c is not None:
        bands.append(chart.Band(_USABLE, x=(advice.usable_min_c, advice.usable_max_c)))
    uprights = []
    if advice.allowed_max_c < high_c - 1.0:
        label = say(tell("plot.advice_limit"))
        uprights.append(chart.Upright(advice.allowed_max_c, label, chart.Look(_HOT, 1.0, "5 4"), top=True, left=False))
    if advice.next_c is not None:
        label = say(tell("plot.advice_next", next_c=advice.next_c), unit)
        uprights.append(chart.Upright(advice.next_c, label, chart.Look(chart.INK, 1.0, "5 4"), top=True, left=False))
    if advice.customer_c is not None and advice.next_c is not None and abs(advice.customer_c - advice.next_c) >= 2.0:
        label = say(tell("plot.advice_customer", customer_c=advice.customer_c), unit)
        uprights.append(
            chart.Upright(advice.customer_c, label, chart.Look(chart.GREEN, 1.0, "5 4"), top=False, left=False)
        )
    shares = tuple((share, f"{share:.0%}") for share in (0.0, 0.25, 0.5, 0.75, 1.0))
    return (
        chart_svg(
            chart.Chart(
                name=title,
                x=chart.Axis(low_c, high_c, figures, unit=say(tell("plot.at_the_lip", mark=chart.unit_mark(unit)))),
                y=chart.Axis(0.0, 1.0, shares),
                width=760.0,
                high=282.0,
                left=66.0,
                right=24.0,
                font=13.0,
                head=(chart.Head(title, 16.0, bold=True), chart.Head(say(about), 13.0, ink=chart.GREY)),
                bands=bands,
                curves=[chart.Curve([[(p.temp_c, p.sound, p.low, p.high) for p in curve]], _LINE, 0.2)],
                uprights=uprights,
                marks=[mark for pour in advice.findings for mark in _marks(pour, low_c, high_c)],
                legend=(
                    chart.Entry(say(tell("plot.advice_sound")), mark=chart.Mark(0.0, 0.0, ink=chart.GREEN)),
                    chart.Entry(say(tell("plot.advice_cold")), mark=chart.Mark(0.0, 0.0, "down", _COLD)),
                    chart.Entry(say(tell("plot.advice_hot")), mark=chart.Mark(0.0, 0.0, "up", _HOT)),
                    chart.Entry(say(tell("plot.advice_usable")), fill=_USABLE),
                ),
            )
        )
        + "\n"
    )


def _marks(pour: InspectedPour, low_c: float, high_c: float) -> Iterator[chart.Mark]:
    """One mark, or two where both kinds of faults were found; a pour beyond the curve stands at its end."""
    at_c, found = min(max(pour.lip_c, low_c), high_c), pour.found
    if found.cold:
        yield chart.Mark(at_c, _AT_COLD, "down", _COLD, size=3.0 + 2.0 * found.cold, title=pour.pour, edge="#ffffff")
    if found.hot:
        title = "" if found.cold else pour.pour
        yield chart.Mark(at_c, _AT_HOT, "up", _HOT, size=3.0 + 2.0 * found.hot, title=title, edge="#ffffff")
    if not found.cold and not found.hot:
        yield chart.Mark(at_c, _AT_SOUND, ink=chart.GREEN, title=pour.pour, edge="#ffffff")
