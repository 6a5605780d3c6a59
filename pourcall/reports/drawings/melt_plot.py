"""A whole melt as one drawing for the folder or the wall. Every probe with its gaps and its uncertainty, states
as a strip, windows, calls, alarms, dips, additions, pours; what the numbers mean stands below.

Facts in, SVG text out, in the reader's unit, times since the start and by the clock. Colour tells nothing that a word,
a dash or a shape does not tell too: it can be printed in black. Not here: what is drawn (melt_facts.py), PNG and PDF
(pictures.py), the small drawings of the pour sheet (chart.py).
"""

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from textwrap import wrap

from pourcall.contract.api import TracePoint
from pourcall.contract.units import Unit, format_temperature, from_c, in_unit
from pourcall.records.read.facts import Mark
from pourcall.reports.drawings.axes import Frame, Scale, bottom_ticks, levels, scale, spread
from pourcall.reports.drawings.melt_facts import MeltFacts, PouredAt, spreads_at
from pourcall.reports.drawings.pour_plot import NUMBERED, STATE_FILL, TRACE_INK
from pourcall.reports.pages.page import esc, svg, ticks

WIDTH = 1120
_LEFT, _RIGHT, _TOP, _BASE = 66, 1100, 152, 590
_STRIP, _LIST_TOP, _LINE = 20, 676, 17
_FRAME = Frame(_LEFT, _RIGHT, _TOP, _BASE)
_ROWS = 5  # of numbered marks above the plot
_DASHES = ("", "8 4", "2 3", "9 3 2 3", "14 4", "1 5")
_INK, _RED, _BLUE, _BROWN, _GREY = "#222222", "#a11d1d", "#2a6099", "#7a4f22", "#777777"
_LISTED = (*NUMBERED, "gap")
_LETTER = 7.5  # about the width of a letter at the size of the drawing
_LETTERS = int(((_RIGHT - _LEFT) / 2.0 - 150.0) / _LETTER)

Clock = Callable[[float], str]  # UTC seconds -> `2026-11-25 02:46` where the reader is


def plot_svg(facts: MeltFacts, unit: Unit, clock: Clock) -> str:
    """The drawing; as high as its list of marks needs."""
    low, high = _range(facts, unit)

    x, up = scale(0.0, facts.end_s, _LEFT, _RIGHT), scale(low, high, _BASE, _TOP, beyond=99.0)

    def y(temp_c: float) -> float:
        return up(from_c(temp_c, unit))

    listed = [mark for mark in facts.marks if mark.kind in (*_LISTED, "lift", "pour")]
    number_of = {id(mark): at for at, mark in enumerate((m for m in listed if m.kind in _LISTED), 1)}
    told = list(_told(listed, unit))
    height = _LIST_TOP + _LINE * (-(-len(told) // 2)) + 8
    drawn = [f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>', *_head(facts, unit, clock)]
    drawn += _axes(facts, x, low, high, unit, clock)
    drawn += _windows(facts, x, y, unit)
    drawn += _states(facts, x)
    drawn += _levels(facts, y, unit)
    drawn.append(
        f'<clipPath id="plot"><rect x="{_LEFT}" y="{_TOP}" width="{_RIGHT - _LEFT}" '
        f'height="{_BASE - _TOP}"/></clipPath>'
    )
    for number, (name, series) in enumerate(facts.trace.items()):
        drawn.append(f'<g clip-path="url(#plot)">{"".join(_trace(facts, name, series, x, y, number))}</g>')
    drawn += _marks(listed, number_of, x, y)
    drawn += _pours(facts, listed, x, y, unit)
    drawn += _list(facts, told, number_of, clock)
    what = f"Pour {facts.melt}-{facts.number}" if facts.number else f"Melt {facts.melt}"
    return svg(WIDTH, height, drawn, what, "font-family:sans-serif;font-size:13px") + "\n"


def _range(facts: MeltFacts, unit: Unit) -> tuple[float, float]:
    """Ends of the temperature axis, in the reader's unit."""
    temps = [t for series in facts.trace.values() for p in series for t in (p.min_c, p.max_c) if t is not None]
    temps += [t for window in facts.windows for t in (window.min_c, window.max_c)]
    temps += [pour.row.lip_temp_c for pour in facts.pours if pour.row.lip_temp_c is not None]
    temps += [mark.temp_c for mark in facts.marks if mark.temp_c is not None]
    if facts.alloy is not None:
        temps += [facts.alloy.solidus_c, facts.alloy.liquidus_c]
    low, high = from_c(min(temps, default=0.0), unit), from_c(max(temps, default=100.0), unit)
    margin = max(4.0, 0.05 * (high - low))
    return low - margin, high + margin


def _head(facts: MeltFacts, unit: Unit, clock: Clock) -> Iterator[str]:
    what = f"Pour {facts.melt}-{facts.number} and its melt" if facts.number else f"Melt {facts.melt}"
    yield (
        f'<text x="{_LEFT}" y="28" font-size="20" font-weight="bold">{esc(what)}, {esc(facts.alloy_name)}</text>'
        f'<text x="{_LEFT}" y="46">{esc(clock(facts.began_utc_s))}, furnace {esc(facts.furnace)}'
        f"{esc('; ' + facts.ending if facts.ending else '')}. Band: expanded uncertainty, k = 2.</text>"
    )
    if facts.invented:
        yield (
            f'<text x="{_LEFT}" y="63" font-weight="bold" fill="{_RED}">INVENTED: a simulated furnace; nothing of it '
            "was poured</text>"
        )
    at = float(_RIGHT)
    for number, name in reversed(list(enumerate(facts.trace))):
        at -= _LETTER * len(name) + 10.0
        yield f'<text x="{at:.1f}" y="28">{esc(name)}</text>'
        at -= 48.0
        yield f'<path d="M{at:.1f} 23h42" fill="none" {_stroke(number)}/>'
    mark = format_temperature(None, unit).removeprefix("-- ")
    yield f'<text x="{_LEFT - 26}" y="{_TOP - 8}" text-anchor="end">{esc(mark)}</text>'


def _stroke(number: int) -> str:
    dash = _DASHES[number % len(_DASHES)]
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'stroke="{TRACE_INK[number % len(TRACE_INK)]}" stroke-width="{2.2 if number == 0 else 1.7}"{dashed}'


def _windows(facts: MeltFacts, x: Scale, y: Scale, unit: Unit) -> Iterator[str]:
    told = ""
    for window in facts.windows:
        left, right, top, bottom = x(window.from_s), x(window.until_s), y(window.max_c), y(window.min_c)
        yield (
            f'<rect x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" height="{bottom - top:.1f}" '
            f'fill="#dbe7f3"/><path d="M{left:.1f} {top:.1f}H{right:.1f}M{left:.1f} {bottom:.1f}H{right:.1f}" '
            f'fill="none" stroke="{_BLUE}" stroke-width=".7"/>'
        )
        low, high = (format_temperature(t, unit) for t in (window.min_c, window.max_c))
        label = f"in the pot for {window.mould[:28]}: {low} to {high}"
        if label != told and right - left > _LETTER * len(label) + 8.0:
            told = label
            yield f'<text x="{left + 6:.1f}" y="{top - 5:.1f}" fill="{_BLUE}">{esc(label)}</text>'


def _axes(facts: MeltFacts, x: Scale, low: float, high: float, unit: Unit, clock: Clock) -> Iterator[str]:
    yield from levels(ticks(low, high, 9.0), scale(low, high, _BASE, _TOP), _FRAME, lambda value: f"{value:g}")
    floor, minutes = _BASE + _STRIP, ticks(0.0, facts.end_s / 60.0, 13.0)
    yield from bottom_ticks(minutes, lambda minute: x(minute * 60.0), floor)
    for minute in minutes:
        hour = clock(facts.began_utc_s + minute * 60.0)[-5:]
        yield (
            f'<text x="{x(minute * 60.0):.1f}" y="{floor + 36}" text-anchor="middle" fill="{_GREY}">{esc(hour)}</text>'
        )
    yield (
        f'<text x="{_LEFT - 24}" y="{floor + 20}" text-anchor="end">min</text>'
        f'<text x="{_LEFT - 24}" y="{floor + 36}" text-anchor="end" fill="{_GREY}">clock</text>'
        f'<path d="M{_LEFT} {_TOP}V{floor}H{_RIGHT}" fill="none" stroke="{_INK}"/>'
    )


def _states(facts: MeltFacts, x: Scale) -> Iterator[str]:
    for span in facts.states:
        left, right = x(span.from_s), x(facts.end_s if span.until_s is None else span.until_s)
        if right - left < 0.5:
            continue
        word = span.state.value
        yield (
            f'<rect x="{left:.1f}" y="{_BASE}" width="{right - left:.1f}" height="{_STRIP}" '
            f'fill="{STATE_FILL[span.state]}" stroke="{_GREY}" stroke-width=".6"/>'
        )
        shown = word if right - left > _LETTER * len(word) + 4.0 else word[0] if right - left > 10.0 else ""
        if shown:
            yield f'<text x="{(left + right) / 2.0:.1f}" y="{_BASE + 14}" text-anchor="middle">{shown}</text>'


def _levels(facts: MeltFacts, y: Scale, unit: Unit) -> Iterator[str]:
    levels = [] if facts.alloy is None else [("liquidus", facts.alloy.liquidus_c), ("solidus", facts.alloy.solidus_c)]
    if facts.limit_c is not None:
        levels.append((f"limit of the {facts.limit_whose}", facts.limit_c))
    last = -99.0
    for name, temp_c in levels:
        at = y(temp_c)
        if not _TOP < at < _BASE:
            continue
        ink = _RED if name.startswith("limit") else _BROWN
        up = at + 14.0 if abs(at - last) < 18.0 or at - _TOP < 18.0 else at - 4.0
        last = at
        yield (
            f'<path d="M{_LEFT} {at:.1f}H{_RIGHT}" fill="none" stroke="{ink}" stroke-dasharray="7 4"/>'
            f'<text x="{_LEFT + 6}" y="{up:.1f}" fill="{ink}">{esc(name)} '
            f"{esc(format_temperature(temp_c, unit))}</text>"
        )


def _trace(facts: MeltFacts, name: str, series: Sequence[TracePoint], x: Scale, y: Scale, number: int) -> Iterator[str]:
    """Lowest to highest of each step with the uncertainty around it as a band, the middle as a line; gaps are gaps."""
    ink, samples = TRACE_INK[number % len(TRACE_INK)], facts.spread_c.get(name, ())
    zero_px, px_per_c = y(0.0), y(1.0) - y(0.0)  # thousands of points: a line, not a call for each
    for piece in pieces(series):
        around, middle = [], []
        for (at_s, low_c, high_c), u_c in zip(piece, spreads_at(samples, [p[0] for p in piece]), strict=True):
            at, beyond_c = x(at_s), u_c or 0.0
            up, low = zero_px + px_per_c * (high_c + beyond_c), zero_px + px_per_c * (low_c - beyond_c)
            around.append((at, up, low))
            middle.append(f"{at:.1f},{(up + low) / 2.0:.1f}")
        if any(low - up > 0.1 for _, up, low in around):
            yield spread(around, ink, 0.28)
        if len(middle) == 1:
            across, _, down = middle[0].partition(",")
            yield f'<circle cx="{across}" cy="{down}" r="1.6" fill="{ink}"/>'
        else:
            yield f'<polyline points="{" ".join(middle)}" fill="none" stroke-linejoin="round" {_stroke(number)}/>'


def pieces(series: Sequence[TracePoint]) -> Iterator[list[tuple[float, float, float]]]:
    """The stretches of a trace without a gap, as (time, lowest, highest).

    A step without a number ends one, so does a time four times as long as usual without any.
    """
    steps = sorted(b.mono_s - a.mono_s for a, b in pairwise(series))
    longest_s = max(4.0 * steps[len(steps) // 2], 2.0) if steps else 0.0
    piece: list[tuple[float, float, float]] = []
    for point in series:
        known = point.min_c is not None and point.max_c is not None
        if piece and (not known or point.mono_s - piece[-1][0] > longest_s):
            yield piece
            piece = []
        if point.min_c is not None and point.max_c is not None:
            piece.append((point.mono_s, point.min_c, point.max_c))
    if piece:
        yield piece


def _marks(listed: Sequence[Mark], number_of: dict[int, int], x: Scale, y: Scale) -> Iterator[str]:
    """Numbers in rows above the plot: round, an alarm square and black. A dip is a ring on its figure as well."""
    rows = [-99.0] * _ROWS
    badges = []
    for mark in listed:
        number = number_of.get(id(mark))
        if number is None:
            continue
        at = x(mark.at_s)
        place = next((n for n, taken in enumerate(rows) if at - taken >= 22.0), None)
        up = _TOP - 12.0 - 19.0 * (0 if place is None else place)
        yield f'<path d="M{at:.1f} {_TOP + 6}V{_TOP - 5 if place is None else up}" fill="none" stroke="{_INK}"/>'
        if place is not None:
            rows[place] = at
            badges.append(_badge(at, up, number, mark.kind))
        if mark.kind == "dip" and mark.temp_c is not None:
            yield (
                f'<circle cx="{at:.1f}" cy="{y(mark.temp_c):.1f}" r="5" fill="#ffffff" stroke="{_INK}" '
                'stroke-width="2"/>'
            )
    yield from badges


def _badge(at: float, up: float, number: int, kind: str, half: float = 9.0) -> str:
    if kind == "alarm":
        shape = (
            f'<rect x="{at - half:.1f}" y="{up - half:.1f}" width="{2 * half:g}" height="{2 * half:g}" fill="{_INK}"/>'
        )
    else:
        dash = ' stroke-dasharray="2 2"' if kind == "gap" else ""
        shape = f'<circle cx="{at:.1f}" cy="{up:.1f}" r="{half:g}" fill="#ffffff" stroke="{_INK}"{dash}/>'
    ink = "#ffffff" if kind == "alarm" else _INK
    return (
        f'{shape}<text x="{at:.1f}" y="{up + 4:.1f}" text-anchor="middle" font-size="11" fill="{ink}">{number}</text>'
    )


def _pours(facts: MeltFacts, listed: Sequence[Mark], x: Scale, y: Scale, unit: Unit) -> Iterator[str]:
    for mark in listed:
        if mark.kind == "lift":
            at = x(mark.at_s)
            yield f'<path d="M{at:.1f} {_TOP}V{_BASE}" fill="none" stroke="{_INK}" stroke-dasharray="3 3"/>'
    for number, pour in enumerate(facts.pours):
        at, row = x(pour.at_s), pour.row
        ours = facts.number in (0, row.number)
        ink = _RED if ours else _GREY
        yield f'<path d="M{at:.1f} {_TOP}V{_BASE}" fill="none" stroke="{ink}" stroke-width="{2 if ours else 1}"/>'
        if row.lip_temp_c is not None:
            u_c = row.lip_u_c or 0.0
            yield (
                f'<path d="M{at:.1f} {y(row.lip_temp_c + u_c):.1f}V{y(row.lip_temp_c - u_c):.1f}" fill="none" '
                f'stroke="{_INK}" stroke-width="2.4"/>'
                f'<circle cx="{at:.1f}" cy="{y(row.lip_temp_c):.1f}" r="4.5" fill="{ink}" stroke="{_INK}"/>'
            )
        yield _pour_label(pour, at, _BASE - 12.0 - 18.0 * (number % 8), ink, unit)


def _pour_label(pour: PouredAt, at: float, up: float, ink: str, unit: Unit) -> str:
    row = pour.row
    label = f"pour {row.number}, {row.mould[:28]}: {format_temperature(row.lip_temp_c, unit)}"
    wide = _LETTER * len(label) + 4.0
    left = at - _LEFT > wide + 10.0
    start = at - wide - 6.0 if left else at + 6.0
    anchor = f'x="{at - 8:.1f}" text-anchor="end"' if left else f'x="{at + 8:.1f}"'
    return (
        f'<rect x="{start:.1f}" y="{up - 13:.1f}" width="{wide:.1f}" height="17" fill="#ffffff" fill-opacity=".6"/>'
        f'<text {anchor} y="{up:.1f}" fill="{ink}" font-weight="bold">{esc(label)}</text>'
    )


def _told(listed: Sequence[Mark], unit: Unit) -> Iterator[tuple[Mark, str, bool]]:
    """Lines of the list: the mark, words, whether its first line."""
    for mark in listed:
        words = in_unit(mark.text, unit)
        lines = wrap(f"call: {words}" if mark.kind == "call" else words, _LETTERS, max_lines=2, placeholder=" …")
        for number, line in enumerate(lines or [""]):
            yield mark, line, number == 0


def _list(
    facts: MeltFacts, told: Sequence[tuple[Mark, str, bool]], number_of: dict[int, int], clock: Clock
) -> Iterator[str]:
    """What happened, in two columns: number, clock, minutes since the start, words."""
    rows = max(-(-len(told) // 2), 1)
    for at, (mark, words, first) in enumerate(told):
        left, down = _LEFT + (_RIGHT - _LEFT) // 2 * (at // rows), _LIST_TOP + _LINE * (at % rows)
        if first:
            number = number_of.get(id(mark))
            if number is not None:
                yield _badge(left + 9.0, down - 4.0, number, mark.kind, 8.0)
            hour = clock(facts.began_utc_s + mark.at_s)[-5:]
            yield (
                f'<text x="{left + 26}" y="{down}" fill="{_GREY}">{esc(hour)}</text>'
                f'<text x="{left + 134}" y="{down}" text-anchor="end" fill="{_GREY}">{mark.at_s / 60.0:.1f} min</text>'
            )
        strong = ' font-weight="bold"' if mark.kind == "pour" and facts.number in (0, mark.number) else ""
        yield f'<text x="{left + 144}" y="{down}"{strong}>{esc(words)}</text>'
