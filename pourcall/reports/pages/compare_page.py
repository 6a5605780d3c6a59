"""A comparison of pours as text, as one drawing, as one self-contained page. Not here: what differs."""

from collections.abc import Callable, Sequence
from typing import Literal

from pourcall.contract.errors import BadInput
from pourcall.contract.units import Unit, format_difference, format_temperature, in_unit
from pourcall.records.read.facts import PourFacts
from pourcall.reports.drawings.pour_plot import overlay_svg
from pourcall.reports.pages.page import esc, page, section
from pourcall.trials.compare import Comparison, Kind, Line, Value

Align = Literal["pour", "liquidus"]
Clock = Callable[[float], str]
BEFORE_POUR_S, AFTER_POUR_S = 420.0, 120.0
BEFORE_LIQUIDUS_S = 120.0

_STYLE = """
body{font:15px/1.4 system-ui,sans-serif;color:#1b1b1b;max-width:60em;margin:0 auto;padding:.8em;background:#fff}
h1{font-size:1.5em;margin:0 0 .3em;border-bottom:3px solid #1b1b1b}h2{font-size:1.05em;margin:1em 0 .3em}
.wide{overflow-x:auto}table{border-collapse:collapse;min-width:100%}
th,td{text-align:left;vertical-align:top;padding:.2em .8em .2em 0;border-bottom:1px solid #ddd;min-width:7.5em;
overflow-wrap:break-word}
th:first-child{font-weight:400;color:#444;white-space:nowrap}.cause td{background:#fdf0e4}
.temperature td,.result td{font-weight:700}
.mind{border:2px solid #a11d1d;padding:.3em .7em;margin:.6em 0}.mind li{margin:.2em 0}svg{width:100%;max-width:48em}
@page{size:A4;margin:11mm}@media print{body{font-size:10pt;padding:0}*{print-color-adjust:exact}
svg{max-height:105mm}h2{break-after:avoid}svg,tr,.mind{break-inside:avoid}}
"""


def value_text(value: Value, kind: Kind, unit: Unit) -> str:
    """One figure or word as a person reads it."""
    if value is None:
        return "not known"
    if isinstance(value, str):
        return value.replace("_", " ") if kind == "text" else value
    if kind == "temp":
        return format_temperature(value, unit)
    if kind == "apart":
        return format_difference(value, unit)
    if kind == "s":
        return f"{value:.0f} s" if value < 120.0 else f"{value / 60.0:.1f} min"
    return f"{value:g} {kind}" if kind in ("kg", "mm") else f"{value:g}"


def comparison_text(found: Comparison, several: Sequence[PourFacts], unit: Unit, clock: Clock) -> list[str]:
    """Lines for a terminal: warnings, differences, then what is the same."""
    lines = [f"MIND: {in_unit(warning, unit)}." for warning in found.warnings]
    head = ["", *found.pours]
    rows = [["poured", *(clock(facts.row.at_utc_s) for facts in several)]]
    rows += [[_marked(line), *(value_text(value, line.kind, unit) for value in line.values)] for line in found.differ]
    widths = [max(len(row[at]) for row in [head, *rows]) for at in range(len(head))]
    if lines:
        lines.append("")
    for row in [head, *rows]:
        lines.append("  ".join(cell.ljust(wide) for cell, wide in zip(row, widths, strict=True)).rstrip())
    if found.same:
        alike = "; ".join(_alike(line, unit) for line in found.same)
        lines += ["", f"The same: {alike}"]
    return lines


def overlay(several: Sequence[PourFacts], align: Align, unit: Unit) -> str:
    """The drawing. Raises BadInput where a pour has no known moment to be aligned on."""
    if align == "pour":
        shifts = [facts.pour_s for facts in several]
        return overlay_svg(several, shifts, from_s=-BEFORE_POUR_S, until_s=AFTER_POUR_S, zero="the pour", unit=unit)
    known: list[float] = []
    for facts in several:
        if facts.liquidus_s is None:
            raise BadInput(
                f"it is not known when {facts.row.pour} passed its liquidus", remedy="Align on the pour: --align pour"
            )
        known.append(facts.liquidus_s)
    longest_s = max(facts.pour_s - shift_s for facts, shift_s in zip(several, known, strict=True))
    return overlay_svg(
        several, known, from_s=-BEFORE_LIQUIDUS_S, until_s=longest_s + 60.0, zero="the liquidus was passed", unit=unit
    )


def comparison_html(found: Comparison, several: Sequence[PourFacts], *, align: Align, unit: Unit, clock: Clock) -> str:
    """One page: warnings, what differs, the drawing, what is the same."""
    title = f"Pours {', '.join(found.pours)}"
    head = "".join(f"<th>{esc(pour)}</th>" for pour in found.pours)
    poured = "".join(f"<td>{esc(clock(facts.row.at_utc_s))}</td>" for facts in several)
    differ = f"<tr><th></th>{head}</tr><tr><th>poured</th>{poured}</tr>"
    differ += "".join(_row(line, line.weight, unit) for line in found.differ)
    parts = [f"<h1>{esc(title)}</h1>"]
    if found.warnings:
        told = "".join(f"<li>{esc(in_unit(warning, unit))}</li>" for warning in found.warnings)
        parts.append(f'<div class="mind"><b>Mind</b><ul>{told}</ul></div>')
    parts.append(section("What differs", f'<div class="wide"><table>{differ}</table></div>'))
    parts.append(section("Over each other", overlay(several, align, unit)))
    if found.same:
        alike = "; ".join(_alike(line, unit) for line in found.same)
        parts.append(section("The same", f"<p>{esc(alike)}</p>"))
    return page(title, _STYLE, parts)


def _row(line: Line, kind: str, unit: Unit) -> str:
    cells = "".join(f"<td>{esc(value_text(value, line.kind, unit))}</td>" for value in line.values)
    return f'<tr class="{kind}"><th>{esc(line.name)}</th>{cells}</tr>'


def _alike(line: Line, unit: Unit) -> str:
    """Name and value; figures alike within their tolerance as a range."""
    told = dict.fromkeys(value_text(value, line.kind, unit) for value in line.values)
    return f"{line.name} {next(iter(told)) if len(told) == 1 else ' / '.join(told)}"


def _marked(line: Line) -> str:
    """An asterisk where another thing than the temperature changed."""
    return f"* {line.name}" if line.weight == "cause" else f"  {line.name}"
