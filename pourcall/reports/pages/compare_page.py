"""A comparison of pours as text, as one drawing, as one page. Not here: what differs (compare.py)."""

from collections.abc import Callable, Sequence
from typing import Literal

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.units import Unit, format_difference, format_highest, format_lowest, format_temperature
from pourcall.records.read.facts import DETAIL_AFTER_S, DETAIL_BEFORE_S, PourFacts
from pourcall.reports.drawings.pour_plot import overlay_svg
from pourcall.reports.pages import document as doc
from pourcall.texts import say, word
from pourcall.trials.compare import Comparison, Kind, Line, Value

Align = Literal["pour", "liquidus"]
Clock = Callable[[float], str]
BEFORE_LIQUIDUS_S = 120.0
_LOOK: dict[str, Literal["", "strong", "shaded"]] = {"cause": "shaded", "temperature": "strong", "result": "strong"}


def value_text(value: Value, kind: Kind, unit: Unit, what: str = "") -> str:
    """One figure or word as a person reads it."""
    if value is None:
        return say(tell("comparison.not_known"))
    if isinstance(value, str):
        return word(what, value).replace("_", " ")
    if kind == "temp":
        return format_temperature(value, unit)
    if kind in ("lowest", "highest"):
        return (format_lowest if kind == "lowest" else format_highest)(value, unit)
    if kind == "apart":
        return format_difference(value, unit)
    if kind == "s":
        return f"{value:.0f} s" if value < 120.0 else f"{value / 60.0:.1f} min"
    return f"{value:g} {kind}" if kind in ("kg", "mm") else f"{value:g}"


def comparison_text(found: Comparison, several: Sequence[PourFacts], unit: Unit, clock: Clock) -> list[str]:
    """Lines for a terminal: warnings, differences, then what is the same. An asterisk: another cause."""
    lines = [say(tell("comparison.note", warning=warning), unit) for warning in found.warnings]
    rows = [[f"{'*' if line.weight == 'cause' else ' '} {cells[0]}", *cells[1:]] for line, cells in _rows(found, unit)]
    rows = [["", *found.pours], [say(tell("comparison.poured")), *_times(several, clock)], *rows]
    widths = [max(len(row[at]) for row in rows) for at in range(len(found.pours) + 1)]
    if lines:
        lines.append("")
    for row in rows:
        lines.append("  ".join(cell.ljust(wide) for cell, wide in zip(row, widths, strict=True)).rstrip())
    if found.same:
        lines += ["", say(tell("comparison.same", alike=_alike(found, unit)))]
    return lines


def overlay(several: Sequence[PourFacts], align: Align, unit: Unit) -> str:
    """The drawing. Raises BadInput where a pour has no known moment to be aligned on."""
    if align == "pour":
        shifts, zero = [facts.pour_s for facts in several], tell("plot.zero_pour")
        return overlay_svg(several, shifts, from_s=-DETAIL_BEFORE_S, until_s=DETAIL_AFTER_S, zero=zero, unit=unit)
    known: list[float] = []
    for facts in several:
        if facts.liquidus_s is None:
            raise BadInput(
                tell("comparison.no_liquidus", pour=facts.row.pour), remedy=tell("comparison.no_liquidus.remedy")
            )
        known.append(facts.liquidus_s)
    until_s = max(facts.pour_s - shift_s for facts, shift_s in zip(several, known, strict=True)) + 60.0
    zero = tell("plot.zero_liquidus")
    return overlay_svg(several, known, from_s=-BEFORE_LIQUIDUS_S, until_s=until_s, zero=zero, unit=unit)


def compare_page(
    found: Comparison, several: Sequence[PourFacts], *, align: Align, unit: Unit, clock: Clock
) -> doc.Document:
    """One page: warnings, what differs, the drawing, what is the same."""
    title = say(tell("comparison.title", pours=", ".join(found.pours)))
    body: list[doc.Block] = [doc.Banner(title, rule=True)]
    if found.warnings:
        body.append(doc.Box(say(tell("comparison.box")), [say(warning, unit) for warning in found.warnings]))
    rows = [doc.Row((say(tell("comparison.poured")), *_times(several, clock)))]
    rows += [doc.Row(tuple(cells), _LOOK.get(line.weight, "")) for line, cells in _rows(found, unit)]
    body.append(doc.Section(say(tell("comparison.differs")), (doc.Table(("", *found.pours), rows),)))
    body.append(doc.Section(say(tell("comparison.over")), (doc.Drawing(overlay(several, align, unit), broad=True),)))
    if found.same:
        body.append(doc.Section(say(tell("comparison.alike_title")), (doc.Paragraph(_alike(found, unit)),)))
    return doc.Document(title, body)


def _times(several: Sequence[PourFacts], clock: Clock) -> list[str]:
    return [clock(facts.row.at_utc_s) for facts in several]


def _rows(found: Comparison, unit: Unit) -> list[tuple[Line, list[str]]]:
    """What differs: the line of the comparison, its name and its values."""
    return [
        (line, [word("aspect", line.name), *(value_text(value, line.kind, unit, line.name) for value in line.values)])
        for line in found.differ
    ]


def _alike(found: Comparison, unit: Unit) -> str:
    """Names and values; figures alike within their tolerance as a range."""
    told = []
    for line in found.same:
        values = dict.fromkeys(value_text(value, line.kind, unit, line.name) for value in line.values)
        told.append(f"{word('aspect', line.name)} {' / '.join(values)}")
    return "; ".join(told)
