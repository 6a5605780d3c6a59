"""A pour as two drawings: the whole melt, and the minutes around it; and several pours over each other.

Facts in, SVG text out, small enough to stand in a page; temperatures in the reader's unit. Not here: what is drawn
(facts.py), how (chart.py), words of the page (pour_sheet.py).
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from pourcall.contract.api import TracePoint
from pourcall.contract.message import Message, tell
from pourcall.contract.units import Unit, format_temperature
from pourcall.records.read.facts import DETAIL_AFTER_S, DETAIL_BEFORE_S, PourFacts
from pourcall.reports.drawings import chart, melt_parts
from pourcall.reports.drawings.chart_svg import chart_svg, charts_svg
from pourcall.texts import say

_NEAR_C = 120.0  # of the aim: what is farther off is not drawn around the pour


def melt_svg(facts: PourFacts, unit: Unit = Unit.C) -> str:
    """The melt from its start to past the last pour."""
    return chart_svg(_melt(facts, unit))


def pour_svg(facts: PourFacts, unit: Unit = Unit.C) -> str:
    """The minutes around the pour, with the lip temperature and its window."""
    return chart_svg(_around(facts, unit))


def both_svg(facts: PourFacts, unit: Unit = Unit.C) -> str:
    """Both drawings side by side in one file."""
    row = facts.row
    title = say(tell("plot.both_title", pour=row.pour, mould=row.mould, alloy=facts.alloy_name))
    return charts_svg([_melt(facts, unit), _around(facts, unit)], f"Pour {row.pour}", title) + "\n"


def _melt(facts: PourFacts, unit: Unit) -> chart.Chart:
    end_s = max([60.0, facts.pour_s + 1.0, *(p.mono_s for series in facts.trace.values() for p in series)])
    levels = [facts.row.lip_min_c, facts.row.lip_max_c]
    if facts.mould is not None:
        levels.append(facts.mould.tap_max_c)
    if facts.alloy is not None:
        levels += [facts.alloy.solidus_c, facts.alloy.liquidus_c]
    return _chart(
        facts,
        facts.trace,
        chart.minutes_axis(0.0, end_s),
        chart.temperature_axis([*_temps(facts.trace), *levels], unit),
        unit,
        name=say(tell("plot.melt_of_pour", pour=facts.row.pour)),
        title=tell("plot.whole_melt"),
    )


def _around(facts: PourFacts, unit: Unit) -> chart.Chart:
    from_s, end_s = max(0.0, facts.pour_s - DETAIL_BEFORE_S), facts.pour_s + DETAIL_AFTER_S
    row = facts.row
    aims = [t for t in (row.lip_min_c, row.lip_max_c, row.lip_temp_c, row.pot_temp_c) if t is not None]
    if facts.mould is not None:
        aims += [facts.mould.tap_min_c, facts.mould.tap_max_c]
    until_s, middle_c = facts.lift_s or facts.pour_s, sum(aims) / len(aims)
    steps = (p for p in facts.detail.get(facts.main_probe, ()) if from_s <= p.mono_s <= until_s)
    held = [(p.min_c + p.max_c) / 2.0 for p in steps if p.min_c is not None and p.max_c is not None]
    near = [temp_c for temp_c in held if abs(temp_c - middle_c) < _NEAR_C]
    lip = []
    if row.lip_temp_c is not None:
        u_c = row.lip_u_c or 0.0
        spread = (row.lip_temp_c - u_c, row.lip_temp_c + u_c)
        lip.append(
            chart.Mark(facts.pour_s, row.lip_temp_c, spread=spread, label=format_temperature(row.lip_temp_c, unit))
        )
    return _chart(
        facts,
        facts.detail,
        chart.minutes_axis(from_s, end_s, zero_s=facts.pour_s),
        chart.temperature_axis([*aims, *near, min(aims) - 25.0, max(aims) + 15.0], unit),
        unit,
        name=say(tell("plot.around_of_pour", pour=row.pour)),
        title=tell("plot.around_pour"),
        marks=lip,
    )


def _chart(
    facts: PourFacts,
    traces: Mapping[str, Sequence[TracePoint]],
    x: chart.Axis,
    y: chart.Axis,
    unit: Unit,
    *,
    name: str,
    title: Message,
    marks: Iterable[chart.Mark] = (),
) -> chart.Chart:
    main = facts.main_probe
    ordered = {main: traces[main], **traces} if main in traces else dict(traces)
    probes = [chart.Entry(probe, look=melt_parts.look(number)) for number, probe in enumerate(ordered)]
    return chart.Chart(
        name=name,
        x=x,
        y=y,
        paper=False,
        head=(chart.Head(say(title), 14.0, bold=True),),
        bands=list(_windows(facts, x)),
        curves=list(melt_parts.curves(ordered)),
        levels=melt_parts.melting_levels(facts.alloy, unit),
        uprights=list(_uprights(facts, x)),
        marks=[*marks, *melt_parts.dip_dots(facts.marks, unit)],
        stretches=melt_parts.stretches(facts.states, x.high),
        flags=[
            melt_parts.flag(number, mark)
            for number, mark in melt_parts.numbered(facts.marks)
            if x.low <= mark.at_s <= x.high
        ],
        flag_rows=3,
        legend=probes if len(probes) > 1 else (),
    )


def _windows(facts: PourFacts, x: chart.Axis) -> Iterator[chart.Band]:
    """Up to the lift the window in the pot, from then on the window at the lip."""
    turn_s, row, mould = facts.pour_s if facts.lift_s is None else facts.lift_s, facts.row, facts.mould
    if mould is not None:
        pot = (mould.tap_min_c, mould.tap_max_c)
        yield chart.Band("#dbe7f3", (x.low, turn_s), pot, say(tell("plot.pot_window")), chart.BLUE)
    lip = (row.lip_min_c, row.lip_max_c)
    yield chart.Band("#d5ebd1", (turn_s, x.high), lip, say(tell("plot.lip_window")), chart.GREEN, under=True)


def _uprights(facts: PourFacts, x: chart.Axis) -> Iterator[chart.Upright]:
    """Lift and pours; of those far away in the whole melt only this one is named."""
    near = x.low > 0.0
    for mark in facts.marks:
        if mark.kind not in ("lift", "pour") or not x.low <= mark.at_s <= x.high:
            continue
        lift, ours = mark.kind == "lift", mark.kind == "pour" and mark.number == facts.row.number
        label = tell("plot.lift") if lift else tell("plot.pour_number", number=mark.number)
        look = chart.Look(chart.INK, 1.0, "3 3") if lift else chart.Look(chart.RED, 2.2 if ours else 1.0)
        yield chart.Upright(mark.at_s, say(label) if near or ours else "", look, left=lift or not near)


def overlay_svg(
    several: Sequence[PourFacts],
    shifts_s: Sequence[float],
    *,
    from_s: float,
    until_s: float,
    zero: Message,
    unit: Unit = Unit.C,
) -> str:
    """Several pours over each other; `shifts_s` is the elapsed time of each that stands at zero, named by `zero`."""
    pairs = list(zip(several, shifts_s, strict=True))
    shown = [_finest(facts, shift_s, from_s, until_s) for facts, shift_s in pairs]
    aims = [t for f in several for t in (f.row.lip_temp_c, f.row.lip_min_c, f.row.lip_max_c) if t is not None]
    floor_c = min([*aims, *(f.alloy.liquidus_c for f in several if f.alloy is not None)]) - 60.0
    above = [t for pieces in shown for piece in pieces for p in piece for t in p[2:] if t > floor_c]
    windows, bands = {(facts.row.lip_min_c, facts.row.lip_max_c) for facts in several}, []
    if len(windows) == 1:
        bands.append(chart.Band("#e3f1e1", y=next(iter(windows)), label=say(tell("plot.lip_window")), ink=chart.GREEN))
    looks = [
        chart.Look(chart.INKS[at % len(chart.INKS)], 2.0, (*chart.DASHES[:4], chart.DASHES[5])[at % 5])
        for at in range(len(several))
    ]
    marks, listing = [], []
    for number, ((facts, shift_s), look) in enumerate(zip(pairs, looks, strict=True)):
        mark = _lip_mark(facts.row, facts.pour_s - shift_s, number, look.ink)
        if facts.row.lip_temp_c is not None and from_s <= mark.x <= until_s:
            marks.append(mark)
        listing.append(chart.Entry(say(_pour_entry(facts.row), unit), look=look, mark=mark))
    return (
        chart_svg(
            chart.Chart(
                name=say(tell("plot.overlay_name")),
                x=chart.minutes_axis(from_s, until_s),
                y=chart.temperature_axis([floor_c, *aims, *above], unit),
                head=(chart.Head(say(tell("plot.overlay", zero=zero)), 14.0, bold=True),),
                bands=bands,
                curves=[chart.Curve(pieces, look) for pieces, look in zip(shown, looks, strict=True)],
                uprights=[chart.Upright(0.0, look=chart.Look("#888888", 1.0, "2 3"))],
                marks=marks,
                listing=listing,
                width=760.0,
                high=300.0,
                font=13.0,
            )
        )
        + "\n"
    )


def _pour_entry(row: Any) -> Message:
    result = row.result.replace("_", " ") if row.result else tell("sheet.not_inspected")
    if row.lip_temp_c is None:
        return tell("plot.overlay_unknown", pour=row.pour, mould=row.mould, result=result)
    return tell("plot.overlay_pour", pour=row.pour, mould=row.mould, lip_c=row.lip_temp_c, result=result)


def _lip_mark(row: Any, at_s: float, number: int, ink: str) -> chart.Mark:
    """One of eight marks that are told apart without colour."""
    lip_c, u_c = row.lip_temp_c or 0.0, row.lip_u_c or 0.0
    shape = chart.SHAPES[number % 4]
    return chart.Mark(at_s, lip_c, shape, ink, filled=number % 8 < 4, spread=(lip_c - u_c, lip_c + u_c))


def _finest(facts: PourFacts, shift_s: float, from_s: float, until_s: float) -> list[list[Any]]:
    """The whole melt with the stretch around the pour in its finer steps, in pieces, on the shifted axis."""
    coarse, fine = facts.trace.get(facts.main_probe, ()), facts.detail.get(facts.main_probe, ())
    if fine:
        before = [p for p in coarse if p.mono_s < fine[0].mono_s]
        series = [*before, *fine, *(p for p in coarse if p.mono_s > fine[-1].mono_s)]
    else:
        series = list(coarse)
    moved = [TracePoint(p.mono_s - shift_s, p.min_c, p.max_c) for p in series]
    seen = [p for p in moved if from_s <= p.mono_s <= until_s]
    return [
        [(at_s, (low + high) / 2.0, low, high) for at_s, low, high in piece]
        for piece in melt_parts.pieces(seen, melt_parts.usual_step_s(coarse))
    ]


def _temps(traces: Mapping[str, Sequence[TracePoint]]) -> list[float]:
    return [t for series in traces.values() for p in series for t in (p.min_c, p.max_c) if t is not None]
