"""A melt as a drawing. Trace with its melt states, windows, numbered marks, lift and pours; overlay of several.

Facts in, SVG text out, small enough to stand in a page; temperatures in the reader's unit. Not here: what is drawn
(facts.py), words of the page (sheet.py).
"""

from collections.abc import Iterable, Sequence

from pourcall.contract.api import TracePoint
from pourcall.contract.events import MeltState
from pourcall.contract.units import Unit, format_temperature, from_c
from pourcall.records.read.facts import DETAIL_AFTER_S, DETAIL_BEFORE_S, Mark, PourFacts
from pourcall.reports.drawings.axes import Frame, Scale, band, bottom_ticks, levels, scale, spread
from pourcall.reports.pages.page import esc, svg, ticks

WIDTH, HEIGHT = 540, 356
_LEFT, _RIGHT, _TOP, _BASE = 54, 12, 80, 312
_FRAME = Frame(_LEFT, WIDTH - _RIGHT, _TOP, _BASE)
_STRIP = 16
_UP = 46  # an overlay has no numbered marks above its field
FONT = "font-family:sans-serif;font-size:14px"
NUMBERED = ("call", "alarm", "power", "dip", "skim", "addition", "temperature")
STATE_FILL: dict[MeltState, str] = {
    MeltState.EMPTY: "#ffffff",
    MeltState.SOLID: "#c9ccd1",
    MeltState.MELTING: "#e8c89a",
    MeltState.LIQUID: "#f3e3a8",
    MeltState.READY: "#a9d3a4",
    MeltState.ABOVE: "#e8a090",
    MeltState.FREEZING: "#a9c6e3",
    MeltState.UNKNOWN: "#f0f0f0",
}
TRACE_INK = ("#1f4e79", "#8c510a", "#5e3c99", "#4d4d4d", "#01665e")
_RED, _GREEN, _BLUE, _INK = "#a11d1d", "#1b7837", "#2a6099", "#222222"
_STEP_SHARE = 0.02  # a line is broken where readings are further apart than this share of the width


def numbered(facts: PourFacts) -> tuple[tuple[int, Mark], ...]:
    """The marks that carry a number on the drawing, from 1."""
    return tuple(enumerate((mark for mark in facts.marks if mark.kind in NUMBERED), 1))


def melt_svg(facts: PourFacts, unit: Unit = Unit.C) -> str:
    """The melt from its start to past the last pour."""
    return svg(WIDTH, HEIGHT, melt_drawing(facts, unit), f"Melt of pour {facts.row.pour}", FONT)


def pour_svg(facts: PourFacts, unit: Unit = Unit.C) -> str:
    """The minutes around the pour, with the lip temperature and its window."""
    return svg(WIDTH, HEIGHT, pour_drawing(facts, unit), f"Around pour {facts.row.pour}", FONT)


def both_svg(facts: PourFacts, unit: Unit = Unit.C) -> str:
    """Both drawings side by side in one file, on white."""
    head = (
        f'<rect width="{2 * WIDTH}" height="{HEIGHT + 30}" fill="#ffffff"/><text x="{_LEFT}" y="22" '
        f'font-size="16" font-weight="bold">Pour {esc(facts.row.pour)}, {esc(facts.row.mould)}, '
        f"{esc(facts.alloy_name)}</text>"
    )
    sides = [
        f'<g transform="translate({at} 30)">{"".join(drawn)}</g>'
        for at, drawn in ((0, melt_drawing(facts, unit)), (WIDTH, pour_drawing(facts, unit)))
    ]
    return svg(2 * WIDTH, HEIGHT + 30, [head, *sides], f"Pour {facts.row.pour}", FONT) + "\n"


def melt_drawing(facts: PourFacts, unit: Unit) -> list[str]:
    """Pieces of the whole melt."""
    end_s = max([p.mono_s for series in facts.trace.values() for p in series] + [facts.pour_s + 1.0])
    levels = _levels(facts)
    temps = [*_temps(facts.trace), *levels]
    low, high = _range(temps, unit)
    x, y = _scales(0.0, max(end_s, 60.0), low, high, unit)
    drawn = ['<text x="4" y="14" font-weight="bold">Whole melt, minutes since it began</text>']
    drawn += _axes(x, low, high, 0.0, end_s, 0.0, unit)
    drawn += _windows(facts, x, y, 0.0, end_s)
    drawn += _states(facts, x, end_s)
    drawn += _level_lines(facts, y)
    drawn += _traces(facts.trace, facts.main_probe, x, y)
    drawn += _events(facts, x, 0.0, end_s)
    return [*drawn, *_dip_dots(facts, x, y, 0.0, end_s)]


def pour_drawing(facts: PourFacts, unit: Unit) -> list[str]:
    """Pieces of the minutes around the pour."""
    from_s, end_s = max(0.0, facts.pour_s - DETAIL_BEFORE_S), facts.pour_s + DETAIL_AFTER_S
    row = facts.row
    aims = [row.lip_min_c, row.lip_max_c, *(t for t in (row.lip_temp_c, row.pot_temp_c) if t is not None)]
    if facts.mould is not None:
        aims += [facts.mould.tap_min_c, facts.mould.tap_max_c]
    hold = [
        (p.min_c + p.max_c) / 2.0
        for p in facts.detail.get(facts.main_probe, ())
        if p.min_c is not None and p.max_c is not None and from_s <= p.mono_s <= (facts.lift_s or facts.pour_s)
    ]
    middle = sum(aims) / len(aims)
    near = [temp_c for temp_c in hold if abs(temp_c - middle) < 120.0]
    low, high = _range([*aims, *near, min(aims) - 25.0, max(aims) + 15.0], unit)
    x, y = _scales(from_s, end_s, low, high, unit)
    drawn = ['<text x="4" y="14" font-weight="bold">Around the pour, minutes before and after</text>']
    drawn += _axes(x, low, high, from_s, end_s, facts.pour_s, unit)
    drawn += _windows(facts, x, y, from_s, end_s)
    drawn += _states(facts, x, end_s, from_s)
    drawn += _level_lines(facts, y)
    clip = f"c{''.join(ch for ch in row.pour if ch.isalnum())}"
    drawn.append(
        f'<clipPath id="{clip}"><rect x="{_LEFT}" y="{_TOP}" width="{WIDTH - _LEFT - _RIGHT}" '
        f'height="{_BASE - _TOP}"/></clipPath><g clip-path="url(#{clip})">'
    )
    drawn += [*_traces(facts.detail, facts.main_probe, x, y), "</g>"]
    drawn += _events(facts, x, from_s, end_s)
    drawn += _dip_dots(facts, x, y, from_s, end_s)
    if row.lip_temp_c is not None:
        at, to, u_c = x(facts.pour_s), y(row.lip_temp_c), row.lip_u_c or 0.0
        drawn.append(
            f'<path d="M{at:.1f} {y(row.lip_temp_c - u_c):.1f}V{y(row.lip_temp_c + u_c):.1f}" stroke="{_INK}" '
            f'stroke-width="2"/><circle cx="{at:.1f}" cy="{to:.1f}" r="5" fill="{_INK}"/>'
            f'<text x="{at + 9:.1f}" y="{to + 5:.1f}" font-weight="bold">'
            f"{esc(format_temperature(row.lip_temp_c, unit))}</text>"
        )
    return drawn


def overlay_svg(
    several: Sequence[PourFacts],
    shifts_s: Sequence[float],
    *,
    from_s: float,
    until_s: float,
    zero: str,
    unit: Unit = Unit.C,
) -> str:
    """Several pours over each other; `shifts_s` is the elapsed time of each that stands at zero, named by `zero`."""
    pairs = list(zip(several, shifts_s, strict=True))
    shown = [
        tuple(
            TracePoint(p.mono_s - shift_s, p.min_c, p.max_c)
            for p in _finest(facts)
            if from_s <= p.mono_s - shift_s <= until_s
        )
        for facts, shift_s in pairs
    ]
    aims = [t for f in several for t in (f.row.lip_temp_c, f.row.lip_min_c, f.row.lip_max_c) if t is not None]
    floor_c = min([*aims, *(f.alloy.liquidus_c for f in several if f.alloy is not None)]) - 60.0
    temps = [floor_c, *aims, *(t for t in _temps(dict(enumerate(shown))) if t > floor_c)]
    low, high = _range(temps, unit)
    x, y = _scales(from_s, until_s, low, high, unit)
    high_px = HEIGHT - _UP + 30 + 22 * len(pairs)
    head = (
        f'<rect width="{WIDTH}" height="{high_px}" fill="#ffffff"/>'
        f'<text x="{_LEFT}" y="20" font-weight="bold">Minutes before and after {esc(zero)}</text>'
    )
    drawn = [f'<g transform="translate(0 -{_UP})">']
    windows = {(facts.row.lip_min_c, facts.row.lip_max_c) for facts in several}
    if len(windows) == 1:
        ((low_c, high_c),) = windows
        drawn.append(_band(x(from_s), x(until_s), y(high_c), y(low_c), "#e3f1e1"))
        drawn.append(f'<text x="{_LEFT + 4}" y="{y(high_c) + 14:.1f}" fill="{_GREEN}">window at the lip</text>')
    drawn += _axes(x, low, high, from_s, until_s, 0.0, unit)
    drawn.append(f'<path d="M{x(0.0):.1f} {_TOP}V{_BASE}" stroke="#888888" stroke-dasharray="2 3"/>')
    drawn.append(
        f'<clipPath id="over"><rect x="{_LEFT}" y="{_TOP}" width="{WIDTH - _LEFT - _RIGHT}" '
        f'height="{_BASE - _TOP}"/></clipPath>'
    )
    for number, ((facts, shift_s), series) in enumerate(zip(pairs, shown, strict=True)):
        ink, dash = TRACE_INK[number % len(TRACE_INK)], ("", "7 3", "2 3", "9 3 2 3", "1 4")[number % 5]
        drawn.append(f'<g clip-path="url(#over)">{_line(series, x, y, ink, 2.0, dash, until_s - from_s)}</g>')
        row, at_s = facts.row, facts.pour_s - shift_s
        if row.lip_temp_c is not None and from_s <= at_s <= until_s:
            u_c = row.lip_u_c or 0.0
            drawn.append(
                f'<path d="M{x(at_s):.1f} {y(row.lip_temp_c - u_c):.1f}V{y(row.lip_temp_c + u_c):.1f}" '
                f'stroke="{ink}" stroke-width="2"/>'
                f"{_shape(number, x(at_s), y(row.lip_temp_c), ink)}"
            )
        below = HEIGHT + 20 + 22 * number
        came = row.result.replace("_", " ") or "not inspected yet"
        lip = f"{format_temperature(row.lip_temp_c, unit)} at the lip; {came}"
        drawn.append(
            f'<path d="M{_LEFT} {below - 5}h34" stroke="{ink}" stroke-width="3" stroke-dasharray="{dash or "none"}"/>'
            f"{_shape(number, _LEFT + 17.0, below - 5.0, ink)}"
            f'<text x="{_LEFT + 42}" y="{below}">{esc(row.pour)} {esc(row.mould[:24])}: {esc(lip[:48])}</text>'
        )
    return svg(WIDTH, high_px, [head, *drawn, "</g>"], "Pours over each other", FONT) + "\n"


def _shape(number: int, at: float, to: float, ink: str) -> str:
    """One of eight marks that are told apart without colour: four shapes, filled and open."""
    kind, half = number % 4, 5.5
    look = f'fill="{ink if number % 8 < 4 else "#ffffff"}" stroke="{ink}" stroke-width="1.6"'
    if kind == 0:
        return f'<circle cx="{at:.1f}" cy="{to:.1f}" r="5" {look}/>'
    corners = (
        ((-1, -1), (1, -1), (1, 1), (-1, 1)),
        ((0, -1.2), (1.1, 0.9), (-1.1, 0.9)),
        ((0, -1.3), (1.3, 0), (0, 1.3), (-1.3, 0)),
    )[kind - 1]
    points = " ".join(f"{at + half * across:.1f},{to + half * down:.1f}" for across, down in corners)
    return f'<polygon points="{points}" {look}/>'


def _finest(facts: PourFacts) -> tuple[TracePoint, ...]:
    """The whole melt with the stretch around the pour in its finer steps."""
    coarse, fine = facts.trace.get(facts.main_probe, ()), facts.detail.get(facts.main_probe, ())
    if not fine:
        return coarse
    first, last = fine[0].mono_s, fine[-1].mono_s
    before = tuple(p for p in coarse if p.mono_s < first)
    return (*before, *fine, *(p for p in coarse if p.mono_s > last))


def _temps(trace: "dict[str, tuple[TracePoint, ...]] | dict[int, tuple[TracePoint, ...]]") -> list[float]:
    return [t for series in trace.values() for p in series for t in (p.min_c, p.max_c) if t is not None]


def _levels(facts: PourFacts) -> list[float]:
    aims = [facts.row.lip_min_c, facts.row.lip_max_c]
    if facts.mould is not None:
        aims.append(facts.mould.tap_max_c)
    return aims + ([] if facts.alloy is None else [facts.alloy.solidus_c, facts.alloy.liquidus_c])


def _range(temps_c: Sequence[float], unit: Unit) -> tuple[float, float]:
    """Ends of the temperature axis in the reader's unit."""
    low, high = from_c(min(temps_c), unit), from_c(max(temps_c), unit)
    margin = max(3.0, 0.04 * (high - low))
    return low - margin, high + 2.0 * margin


def _scales(from_s: float, end_s: float, low: float, high: float, unit: Unit) -> tuple[Scale, Scale]:
    up = scale(low, high, _BASE, _TOP, beyond=0.2)
    return scale(from_s, end_s, _LEFT, WIDTH - _RIGHT), lambda temp_c: up(from_c(temp_c, unit))


def _axes(x: Scale, low: float, high: float, from_s: float, end_s: float, zero_s: float, unit: Unit) -> list[str]:
    mark = format_temperature(None, unit).removeprefix("-- ")
    drawn = [f'<text x="{_LEFT - 6}" y="{_TOP - 8}" text-anchor="end">{mark}</text>']
    drawn += levels(ticks(low, high, 6.0), scale(low, high, _BASE, _TOP), _FRAME, lambda value: f"{value:g}")
    floor = _BASE + _STRIP
    minutes = ticks((from_s - zero_s) / 60.0, (end_s - zero_s) / 60.0, 9.0)
    drawn += bottom_ticks(minutes, lambda minute: x(minute * 60.0 + zero_s), floor)
    drawn.append(f'<path d="M{_LEFT} {_TOP}V{floor}H{WIDTH - _RIGHT}" fill="none" stroke="{_INK}"/>')
    return drawn


def _band(left: float, right: float, top: float, bottom: float, fill: str) -> str:
    return band(left, right, top, bottom, fill, _FRAME)


def _windows(facts: PourFacts, x: Scale, y: Scale, from_s: float, end_s: float) -> list[str]:
    """Up to the lift the window in the pot, from then on the window at the lip."""
    turn_s = facts.pour_s if facts.lift_s is None else facts.lift_s
    row = facts.row
    drawn = []
    if facts.mould is not None:
        drawn.append(_band(x(from_s), x(turn_s), y(facts.mould.tap_max_c), y(facts.mould.tap_min_c), "#dbe7f3"))
        if x(turn_s) - x(from_s) > 150.0:
            at = y(facts.mould.tap_max_c) - 4.0
            drawn.append(f'<text x="{x(from_s) + 4:.1f}" y="{at:.1f}" fill="{_BLUE}">pot window</text>')
    drawn.append(_band(x(turn_s), x(end_s), y(row.lip_max_c), y(row.lip_min_c), "#d5ebd1"))
    if x(end_s) - x(turn_s) > 60.0:
        drawn.append(
            f'<text x="{x(end_s) - 3:.1f}" y="{y(row.lip_min_c) + 15:.1f}" text-anchor="end" fill="{_GREEN}">'
            "lip window</text>"
        )
    return drawn


def _states(facts: PourFacts, x: Scale, end_s: float, from_s: float = 0.0) -> list[str]:
    drawn = []
    for span in facts.states:
        left_s, right_s = max(span.from_s, from_s), min(end_s if span.until_s is None else span.until_s, end_s)
        wide = x(right_s) - x(left_s)
        if right_s <= left_s or wide < 0.5:
            continue
        word = span.state.value
        drawn.append(
            f'<rect x="{x(left_s):.1f}" y="{_BASE}" width="{wide:.1f}" height="{_STRIP}" '
            f'fill="{STATE_FILL[span.state]}" stroke="#888888" stroke-width=".5"><title>{word}</title></rect>'
        )
        if wide > 7.2 * len(word):
            middle = x(left_s) + wide / 2.0
            drawn.append(
                f'<text x="{middle:.1f}" y="{_BASE + 12}" text-anchor="middle" style="font-size:12px">{word}</text>'
            )
    return drawn


def _level_lines(facts: PourFacts, y: Scale) -> list[str]:
    if facts.alloy is None:
        return []
    drawn = []
    for name, temp_c in (("liquidus", facts.alloy.liquidus_c), ("solidus", facts.alloy.solidus_c)):
        at = y(temp_c)
        if _TOP < at < _BASE:
            drawn.append(f'<path d="M{_LEFT} {at:.1f}H{WIDTH - _RIGHT}" stroke="#996633" stroke-dasharray="6 3"/>')
            drawn.append(f'<text x="{_LEFT + 4}" y="{at - 3:.1f}" fill="#7a4f22">{name}</text>')
    return drawn


def _traces(trace: dict[str, tuple[TracePoint, ...]], main: str, x: Scale, y: Scale) -> list[str]:
    drawn = []
    names = [main, *(name for name in trace if name != main)] if main in trace else list(trace)
    for number, name in enumerate(names):
        ink = TRACE_INK[number % len(TRACE_INK)]
        series = trace[name]
        total_s = series[-1].mono_s - series[0].mono_s if series else 0.0
        drawn.append(_line(series, x, y, ink, 2.0 if number == 0 else 1.2, "" if number == 0 else "5 3", total_s))
        if len(names) > 1:
            drawn.append(
                f'<text x="{WIDTH - _RIGHT - 4}" y="{_TOP + 14 + 16 * number}" text-anchor="end" '
                f'fill="{ink}">{esc(name)}</text>'
            )
    return drawn


def _line(series: Iterable[TracePoint], x: Scale, y: Scale, ink: str, wide: float, dash: str, total_s: float) -> str:
    """Middle of each bucket as a line that is broken where readings are missing; the spread as a pale band."""
    pieces: list[list[TracePoint]] = [[]]
    for point in series:
        far = pieces[-1] and point.mono_s - pieces[-1][-1].mono_s > max(_STEP_SHARE * total_s, 10.0)
        if (point.min_c is None or point.max_c is None or far) and pieces[-1]:
            pieces.append([])
        if point.min_c is not None and point.max_c is not None:
            pieces[-1].append(point)
    drawn = []
    for piece in pieces:
        if not piece:
            continue
        tops = [(x(p.mono_s), y(p.max_c or 0.0)) for p in piece]
        lows = [(x(p.mono_s), y(p.min_c or 0.0)) for p in piece]
        if any(low - top > 1.5 for (_, top), (_, low) in zip(tops, lows, strict=True)):
            drawn.append(spread([(at, up, low) for (at, up), (_, low) in zip(tops, lows, strict=True)], ink, 0.3))
        middle = " ".join(f"{a:.1f},{(b + c) / 2.0:.1f}" for (a, b), (_, c) in zip(tops, lows, strict=True))
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        drawn.append(
            f'<polyline points="{middle}" fill="none" stroke="{ink}" stroke-width="{wide}" '
            f'stroke-linejoin="round"{dashed}/>'
        )
    return "".join(drawn)


def _events(facts: PourFacts, x: Scale, from_s: float, end_s: float) -> list[str]:
    """Numbered marks in rows above the plot, lift and pours through it."""
    drawn, badges = [], []
    rows = [-99.0, -99.0, -99.0]
    for number, mark in numbered(facts):
        if not from_s <= mark.at_s <= end_s:
            continue
        at = x(mark.at_s)
        place = next((n for n, taken in enumerate(rows) if at - taken >= 19.0), None)
        if place is None:
            drawn.append(f'<path d="M{at:.1f} {_TOP}v-4" stroke="{_INK}"/>')
            continue
        rows[place] = at
        up = _TOP - 10 - 18 * place
        ink = _RED if mark.kind == "alarm" else _INK
        drawn.append(f'<path d="M{at:.1f} {_TOP + 5}V{up + 4}" stroke="{ink}" stroke-width=".8"/>')
        badges.append(
            f'<circle cx="{at:.1f}" cy="{up - 4}" r="8.5" fill="#ffffff" stroke="{ink}"/>'
            f'<text x="{at:.1f}" y="{up}" text-anchor="middle" style="font-size:11px" fill="{ink}">{number}</text>'
        )
    drawn += badges
    for mark in facts.marks:
        if mark.kind not in ("lift", "pour") or not from_s <= mark.at_s <= end_s:
            continue
        at = x(mark.at_s)
        ours = mark.kind == "pour" and mark.number == facts.row.number
        dash = ' stroke-dasharray="3 3"' if mark.kind == "lift" else ""
        drawn.append(
            f'<path d="M{at:.1f} {_TOP}V{_BASE}" stroke="{_RED if mark.kind == "pour" else _INK}" '
            f'stroke-width="{2.2 if ours else 1.0}"{dash}/>'
        )
        if from_s > 0.0 or ours:
            label = "lift" if mark.kind == "lift" else f"pour {mark.number}"
            left = mark.kind == "lift" or from_s <= 0.0
            drawn.append(
                f'<text x="{at - 4 if left else at + 4:.1f}" y="{_BASE - (8 if ours or left else 24)}" '
                f'text-anchor="{"end" if left else "start"}" fill="{_RED if mark.kind == "pour" else _INK}">'
                f"{label}</text>"
            )
    return drawn


def _dip_dots(facts: PourFacts, x: Scale, y: Scale, from_s: float, end_s: float) -> list[str]:
    return [
        f'<circle cx="{x(mark.at_s):.1f}" cy="{y(mark.temp_c):.1f}" r="4.5" fill="#ffffff" stroke="{_INK}" '
        f'stroke-width="2"><title>{esc(mark.text)}</title></circle>'
        for mark in facts.marks
        if mark.kind == "dip" and mark.temp_c is not None and from_s <= mark.at_s <= end_s
    ]
