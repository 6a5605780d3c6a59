"""A whole melt as one drawing for the folder or the wall. Every probe with its gaps and its uncertainty, states
as a strip, windows, calls, alarms, dips, additions, pours; what the numbers mean stands below.

Facts in, SVG text out, in the reader's unit, times since the start and by the clock. It can be printed in black. Not
here: what is drawn (melt_facts.py), how (chart.py), PNG and PDF (pictures.py), drawings of one pour (pour_plot.py).
"""

from collections.abc import Callable, Iterator

from pourcall.contract.message import tell
from pourcall.contract.units import Unit
from pourcall.records.read.facts import Mark
from pourcall.reports.drawings import chart, melt_parts
from pourcall.reports.drawings.chart_svg import chart_svg
from pourcall.reports.drawings.melt_facts import MeltFacts
from pourcall.texts import say, word

Clock = Callable[[float], str]  # UTC seconds -> `2026-11-25 02:46` where the reader is


def plot_svg(facts: MeltFacts, unit: Unit, clock: Clock) -> str:
    """The drawing; as high as its list of marks needs."""
    numbers = {id(mark): number for number, mark in melt_parts.numbered(facts.marks)}
    what = tell("plot.melt", melt=facts.melt)
    if facts.number:
        what = tell("plot.pour_and_melt", melt=facts.melt, number=facts.number)
    title = say(tell("plot.melt_title", what=what, alloy=facts.alloy_name))
    about = tell("plot.melt_about", began=clock(facts.began_utc_s), furnace=facts.furnace, ending=_ending(facts))
    head = [chart.Head(title, 20.0, bold=True), chart.Head(say(about), 13.0)]
    if facts.invented:
        head.append(chart.Head(say(tell("plot.invented")), 13.0, bold=True, ink=chart.RED))

    def hour(at_s: float) -> str:
        return clock(facts.began_utc_s + at_s)[-5:]

    x = chart.minutes_axis(0.0, facts.end_s, most=13.0, clock=hour)
    probes = [chart.Entry(name, look=melt_parts.look(number)) for number, name in enumerate(facts.trace)]
    listed = [mark for mark in facts.marks if mark.kind in (*melt_parts.NUMBERED, "lift", "pour")]
    return (
        chart_svg(
            chart.Chart(
                name=say(what),
                x=x._replace(unit=say(tell("plot.minutes")), second_unit=say(tell("plot.clock"))),
                y=chart.temperature_axis(_temperatures(facts), unit, 9.0),
                width=1120.0,
                high=438.0,
                left=66.0,
                right=20.0,
                font=13.0,
                head=tuple(head),
                bands=list(_windows(facts, unit)),
                curves=list(melt_parts.curves(facts.trace, facts.spread_c)),
                levels=[*melt_parts.melting_levels(facts.alloy, unit), *_limit(facts, unit)],
                uprights=list(_uprights(facts, unit)),
                marks=[*_lips(facts), *melt_parts.dip_dots(facts.marks, unit)],
                stretches=melt_parts.stretches(facts.states, facts.end_s),
                flags=[melt_parts.flag(numbers[id(mark)], mark) for mark in listed if id(mark) in numbers],
                flag_rows=5,
                legend=probes,
                listing=[_entry(facts, mark, numbers.get(id(mark), 0), hour, unit) for mark in listed],
                columns=2,
            )
        )
        + "\n"
    )


def _ending(facts: MeltFacts) -> str:
    return f"; {word('ending', facts.ending)}" if facts.ending else ""


def _temperatures(facts: MeltFacts) -> Iterator[float]:
    yield from (t for series in facts.trace.values() for p in series for t in (p.min_c, p.max_c) if t is not None)
    yield from (t for window in facts.windows for t in (window.min_c, window.max_c))
    yield from (pour.row.lip_temp_c for pour in facts.pours if pour.row.lip_temp_c is not None)
    yield from (mark.temp_c for mark in facts.marks if mark.temp_c is not None)
    if facts.alloy is not None:
        yield from (facts.alloy.solidus_c, facts.alloy.liquidus_c)


def _windows(facts: MeltFacts, unit: Unit) -> Iterator[chart.Band]:
    told = ""
    for window in facts.windows:
        name = window.mould[:28]
        label = say(tell("plot.window_in_pot", mould=name, low_c=window.min_c, high_c=window.max_c), unit)
        yield chart.Band(
            "#dbe7f3",
            x=(window.from_s, window.until_s),
            y=(window.min_c, window.max_c),
            label="" if label == told else label,
            ink=chart.BLUE,
            edge=chart.BLUE,
        )
        told = label


def _limit(facts: MeltFacts, unit: Unit) -> Iterator[chart.Level]:
    if facts.limit_c is not None:
        label = tell("plot.limit", whose=facts.limit_whose, limit_c=facts.limit_c)
        yield chart.Level(facts.limit_c, say(label, unit), chart.Look(chart.RED, 1.0, "7 4"))


def _uprights(facts: MeltFacts, unit: Unit) -> Iterator[chart.Upright]:
    for mark in facts.marks:
        if mark.kind == "lift":
            yield chart.Upright(mark.at_s, look=chart.Look(chart.INK, 1.0, "3 3"))
    for pour in facts.pours:
        row, ours = pour.row, facts.number in (0, pour.row.number)
        label = tell("plot.pour_unknown", number=row.number, mould=row.mould[:28])
        if row.lip_temp_c is not None:
            label = tell("plot.pour", number=row.number, mould=row.mould[:28], lip_c=row.lip_temp_c)
        yield chart.Upright(
            pour.at_s, say(label, unit), chart.Look(chart.RED if ours else chart.GREY, 2.0 if ours else 1.0), bold=True
        )


def _lips(facts: MeltFacts) -> Iterator[chart.Mark]:
    for pour in facts.pours:
        row, ours = pour.row, facts.number in (0, pour.row.number)
        if row.lip_temp_c is not None:
            u_c = row.lip_u_c or 0.0
            spread = (row.lip_temp_c - u_c, row.lip_temp_c + u_c)
            yield chart.Mark(
                pour.at_s, row.lip_temp_c, ink=chart.RED if ours else chart.GREY, spread=spread, edge=chart.INK
            )


def _entry(facts: MeltFacts, mark: Mark, number: int, hour: Clock, unit: Unit) -> chart.Entry:
    """A line of the list: number, clock, minutes since the start, words."""
    words = tell("plot.call", text=mark.text) if mark.kind == "call" else mark.text
    return chart.Entry(
        say(words, unit),
        flag=melt_parts.flag(number, mark) if number else None,
        lead=say(tell("plot.when", hour=hour(mark.at_s), minutes=mark.at_s / 60.0)),
        bold=mark.kind == "pour" and facts.number in (0, mark.number),
    )
