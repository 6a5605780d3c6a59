"""A plan as drawings: its temperatures on one scale; for an alloy with zinc its pressure and what is breathed."""

import math
from collections.abc import Sequence

from pourcall.contract.message import Message, tell
from pourcall.contract.plan import lip_window_c, no_aim, tap_window_c
from pourcall.contract.units import Unit
from pourcall.metal.vapour import exposure_limits as limits
from pourcall.planning.planner import PourPlan
from pourcall.reports.drawings import chart
from pourcall.reports.drawings.chart_svg import chart_svg
from pourcall.texts import say

_POT, _LIP, _FUME = "#3a6ea5", "#4a8f5a", "#c0662a"
_ATMOSPHERE_PA = 101325.0
_WANTED = "#d8d8d8"
_ROW = 0.36  # half the height of a bar, in rows


def scale_svg(plan: PourPlan, unit: Unit = Unit.C) -> str:
    """One scale: melting range, window at the lip and in the pot for each mould, the lowest limit."""
    alloy, limit = plan.melt.alloy, plan.melt.lowest_limit
    sure_c = alloy.liquidus_c + alloy.liquid_margin_c
    rows: list[tuple[Message, float, float, str]] = [
        (tell("plot.plan_melting"), alloy.solidus_c, alloy.liquidus_c, "#d9b382"),
        (tell("plot.plan_not_sure"), alloy.liquidus_c, sure_c, "#e8d9c0"),
    ]
    for mould in plan.melt.moulds:
        found = no_aim(mould, plan.melt)
        if found is None:
            rows.append((tell("plot.plan_lip", mould=_short(mould.name)), *lip_window_c(mould, plan.melt), _LIP))
            rows.append((tell("plot.plan_pot", mould=_short(mould.name)), *tap_window_c(mould, plan.melt), _POT))
        elif found.lip_min_c < found.lip_max_c:  # what it wants; and no bar of the pot, for none serves it
            rows.append((tell("plot.plan_wants", mould=_short(mould.name)), found.lip_min_c, found.lip_max_c, _WANTED))
    ends = [end_c for _, low_c, high_c, _ in rows for end_c in (low_c, high_c)] + [limit.limit_c]
    names = tuple((float(-number), say(name)) for number, (name, *_) in enumerate(rows))
    return chart_svg(
        chart.Chart(
            name=say(tell("plot.plan_scale")),
            x=chart.temperature_axis([min(ends) - 15.0, max(ends) + 15.0], unit, whole=True),
            y=chart.Axis(0.5 - len(rows), 0.5, names, grid=False),
            width=720.0,
            high=24.0 * len(rows),
            left=190.0,
            right=20.0,
            font=12.0,
            paper=False,
            bands=[
                chart.Band(fill, x=(low_c, high_c), y=(-number - _ROW, -number + _ROW))
                for number, (_, low_c, high_c, fill) in enumerate(rows)
            ],
            uprights=[
                chart.Upright(
                    limit.limit_c, say(tell("plot.plan_limit", whose=limit.whose)), chart.Look(chart.RED, 2.0), top=True
                )
            ],
        )
    )


def _short(name: str) -> str:
    """A label that fits beside a bar: the middle of a long mould's name goes."""
    return name if len(name) <= 18 else f"{name[:9]}…{name[-8:]}"


def fume_svgs(plan: PourPlan, unit: Unit = Unit.C) -> list[str]:
    """Two charts on logarithmic scales against temperature: zinc pressure, and concentration at the pot with limits."""
    if len(plan.curve) < 2:
        return []
    pressure = [(point.temp_c, point.zinc_pa) for point in plan.curve]
    still = [(point.temp_c, point.still_mg_per_m3) for point in plan.curve]
    bare = [(point.temp_c, point.disturbed_mg_per_m3) for point in plan.curve]
    air = [(tell("plot.fume_no_skin"), chart.Look(_FUME, 2.0), bare)]
    if any(low < 0.99 * high for (_, low), (_, high) in zip(still, bare, strict=True)):
        air = [
            (tell("plot.fume_disturbed"), chart.Look(_FUME, 2.0), bare),
            (tell("plot.fume_still"), chart.Look(_LIP, 2.0, "8 4"), still),
        ]
    zinc = [(tell("plot.fume_pressure"), chart.Look(_POT, 2.0), pressure)]
    short = limits.governing("zinc oxide fume", "15 min", plan.air_limits).mg_per_m3
    return [
        _log_chart(plan, unit, tell("plot.fume_pressure_title"), zinc, _ATMOSPHERE_PA, tell("plot.fume_boiling")),
        _log_chart(plan, unit, tell("plot.fume_air_title"), air, short, tell("plot.fume_limit")),
    ]


def _log_chart(
    plan: PourPlan,
    unit: Unit,
    title: Message,
    series: Sequence[tuple[Message, chart.Look, Sequence[tuple[float, float]]]],
    level: float,
    level_name: Message,
) -> str:
    temps = [temp_c for _, _, points in series for temp_c, _ in points]
    values = [value for _, _, points in series for _, value in points if value > 0.0]
    near = [level] if min(values) / 1000.0 < level < 1000.0 * max(values) else []
    bottom = math.floor(math.log10(min(values + near)) - 1e-9)
    summit = max(math.ceil(math.log10(max(values + near)) + 1e-9), bottom + 1)
    figures = tuple((10.0**power, _power(power)) for power in range(bottom, summit + 1))
    windows = [tap_window_c(mould, plan.melt) for mould in plan.melt.moulds if no_aim(mould, plan.melt) is None]
    low_c, high_c = min((low for low, _ in windows), default=0.0), max((high for _, high in windows), default=0.0)
    x = chart.temperature_axis(temps, unit, 8.0, whole=True)
    return chart_svg(
        chart.Chart(
            name=say(title),
            x=x._replace(
                low=min(temps), high=max(temps), marks=tuple(m for m in x.marks if min(temps) <= m[0] <= max(temps))
            ),
            y=chart.Axis(10.0**bottom, 10.0**summit, figures, log=True),
            width=720.0,
            high=184.0,
            left=70.0,
            right=20.0,
            font=12.0,
            paper=False,
            head=(chart.Head(say(title), 12.0),),
            bands=[chart.Band("#e3edf6", x=(low_c, high_c))] if high_c > low_c else (),
            curves=[
                chart.Curve([[(at_c, v, v, v) for at_c, v in points if v > 0.0]], look) for _, look, points in series
            ],
            levels=[chart.Level(level, say(level_name), chart.Look(chart.RED, 1.0, "5 3"))] if near else (),
            legend=[
                *(chart.Entry(say(name), look=look) for name, look, _ in series),
                *([chart.Entry(say(tell("plot.fume_window")), fill="#e3edf6")] if windows else []),
            ],
        )
    )


def _power(power: int) -> str:
    return f"{10.0**power:g}" if -4 < power < 6 else f"1e{power}"
