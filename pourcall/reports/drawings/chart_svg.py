"""The one way of drawing a chart (chart.py) as SVG: where on the paper a thing stands, which label gives way.

Not here: PDF and PNG (pictures.py).
"""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from textwrap import wrap
from typing import NamedTuple

from pourcall.reports.drawings.chart import (
    GREY,
    INK,
    RED,
    Axis,
    Band,
    Chart,
    Curve,
    Entry,
    Flag,
    Level,
    Look,
    Mark,
    Stretch,
    Upright,
)
from pourcall.reports.drawings.markup import esc, svg

_GRID, _LETTER = "#dddddd", 0.577  # of the height of a letter: about its width
Scale = Callable[[float], float]


def chart_svg(chart: Chart) -> str:
    """The drawing as a file that stands alone or in a page."""
    height, drawn = _drawn(chart)
    return _whole(chart.width, height, drawn, chart.name, chart)


def charts_svg(charts: Sequence[Chart], name: str, title: str) -> str:
    """Several side by side under one title."""
    each = [_drawn(chart) for chart in charts]
    top, at, drawn = 30.0, 0.0, [_text(charts[0].left, 22.0, title, size=16.0, bold=True)]
    for chart, (_, body) in zip(charts, each, strict=True):
        drawn.append(f'<g transform="translate({at:g} {top:g})">{"".join(body)}</g>')
        at += chart.width
    return _whole(at, top + max(height for height, _ in each), drawn, name, charts[0])


class _Field(NamedTuple):
    """Where the field lies on the paper, in pixels, y downwards; values to pixels; the size of letters."""

    left: float
    right: float
    top: float
    base: float
    x: Scale
    y: Scale
    font: float

    def wide(self, text: str) -> float:
        return _LETTER * self.font * len(text)


def _drawn(chart: Chart) -> tuple[float, list[str]]:
    """The height of a chart and its pieces."""
    down, drawn = 6.0, []
    for line in chart.head:
        down += 1.18 * line.size
        drawn.append(_text(chart.left, down, line.text, line.ink, size=line.size, bold=line.bold))
    top = down + 19.0 * chart.flag_rows + 1.3 * chart.font
    base, left, right = top + chart.high, chart.left, chart.width - chart.right
    at = _Field(left, right, top, base, _scale(chart.x, left, right), _scale(chart.y, base, top), chart.font)
    floor = base + (1.3 * chart.font if chart.stretches else 0.0)
    for band in chart.bands:
        drawn += _band(band, at)
    drawn += _axes(chart, at, floor)
    drawn += [part for band in chart.bands for part in _band_label(band, at)]
    curves = "".join(part for curve in chart.curves for part in _curve(curve, at))
    clip = "c" + "".join(char for char in chart.name if char.isascii() and char.isalnum())
    drawn.append(
        f'<clipPath id="{clip}"><rect x="{left:g}" y="{top:.1f}" width="{right - left:.1f}" height="{chart.high:g}"/>'
        f'</clipPath><g clip-path="url(#{clip})">{curves}</g>'
    )
    for stretch in chart.stretches:
        drawn += _stretch(stretch, at, floor)
    drawn += _levels(chart.levels, at)
    drawn += [_line(at.x(one.x), at.top, one.look, f"V{at.base:.1f}") for one in chart.uprights]
    drawn += _flags(chart.flags, chart.flag_rows, at)
    drawn += [part for mark in chart.marks if _inside(mark, chart) for part in _mark(mark, at)]
    drawn += _labels(chart.uprights, at)
    down = floor + 5.0 + 1.1 * chart.font * (1 + bool(chart.x.second)) + 0.5 * chart.font
    if chart.x.unit and not chart.x.second:
        down += 1.1 * chart.font
        drawn.append(_text(right, down - 0.3 * chart.font, chart.x.unit, GREY, "end"))
    for below in (_legend, _listing):
        down, parts = below(chart, down)
        drawn += parts
    if chart.foot:
        down += 1.3 * chart.font
        drawn.append(_text(left, down, chart.foot, "#555555"))
    return math.ceil(down + 0.5 * chart.font), drawn


def _whole(width: float, height: float, drawn: Iterable[str], name: str, chart: Chart) -> str:
    paper = f'<rect width="{width:g}" height="{height:g}" fill="#ffffff"/>' if chart.paper else ""
    return svg(width, height, [paper, *drawn], name, f"font-family:sans-serif;font-size:{chart.font:g}px")


def _scale(axis: Axis, at_low: float, at_high: float) -> Scale:
    if axis.log:
        low, high = math.log10(axis.low), math.log10(axis.high)
        return lambda value: at_low + (math.log10(max(value, 1e-30)) - low) / (high - low) * (at_high - at_low)
    by = (at_high - at_low) / max(axis.high - axis.low, 1e-9)
    return lambda value: at_low + (value - axis.low) * by


def _text(
    x: float, y: float, words: str, ink: str = "", anchor: str = "", *, size: float = 0.0, bold: bool = False
) -> str:
    look = f' fill="{ink}"' if ink and ink != INK else ""
    look += f' text-anchor="{anchor}"' if anchor else ""
    look += f' font-size="{size:g}"' if size else ""
    look += ' font-weight="bold"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{look}>{esc(words)}</text>'


def _line(x: float, y: float, look: Look, path: str) -> str:
    """From a point along a path of SVG."""
    return f'<path d="M{x:.1f} {y:.1f}{path}" fill="none" {_stroke(look)}/>'


def _stroke(look: Look) -> str:
    dashed = f' stroke-dasharray="{look.dash}"' if look.dash else ""
    return f'stroke="{look.ink}" stroke-width="{look.wide:g}"{dashed}'


def _axes(chart: Chart, at: _Field, floor: float) -> Iterator[str]:
    font = chart.font
    for value, figure in chart.y.marks:
        y = at.y(value)
        if chart.y.grid:
            yield _line(at.left, y, Look(_GRID), f"H{at.right:.1f}")
        yield _text(at.left - 6.0, y + 0.35 * font, figure, anchor="end")
    if chart.y.unit:
        yield _text(at.left - 14.0, at.top - 0.5 * font, chart.y.unit, anchor="end")
    for number, (value, figure) in enumerate(chart.x.marks):
        x = at.x(value)
        yield _line(x, floor, Look(), "v5")
        yield _text(x, floor + 5.0 + 1.1 * font, figure, anchor="middle")
        if chart.x.second:
            yield _text(x, floor + 5.0 + 2.3 * font, chart.x.second[number], GREY, "middle")
    if chart.x.second:
        yield _text(at.left - 24.0, floor + 5.0 + 1.1 * font, chart.x.unit, anchor="end")
        yield _text(at.left - 24.0, floor + 5.0 + 2.3 * font, chart.x.second_unit, GREY, "end")
    yield _line(at.left, at.top, Look(), f"V{floor:.1f}H{at.right:.1f}")


def _label(
    x: float, y: float, words: str, ink: str, at: _Field, *, end: bool = False, bold: bool = False
) -> Iterator[str]:
    """Words in the field, on paper, so that no line strikes them out."""
    wide = at.wide(words)
    yield (
        f'<rect x="{x - wide if end else x:.1f}" y="{y - 0.95 * at.font:.1f}" width="{wide:.1f}" '
        f'height="{1.15 * at.font:.1f}" fill="#ffffff" fill-opacity=".6"/>'
    )
    yield _text(x, y, words, ink, "end" if end else "", bold=bold)


def _band(band: Band, at: _Field) -> Iterator[str]:
    left, right = (at.left, at.right) if band.x is None else (at.x(band.x[0]), at.x(band.x[1]))
    top, bottom = (at.top, at.base) if band.y is None else (at.y(band.y[1]), at.y(band.y[0]))
    left, right, top, bottom = max(left, at.left), min(right, at.right), max(top, at.top), min(bottom, at.base)
    if right < left or bottom <= top:
        return
    wide = max(right - left, 1.0)
    yield f'<rect x="{left:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{bottom - top:.1f}" fill="{band.fill}"/>'
    if band.edge:
        yield _line(left, top, Look(band.edge, 0.7), f"H{right:.1f}M{left:.1f} {bottom:.1f}H{right:.1f}")


def _band_label(band: Band, at: _Field) -> Iterator[str]:
    """In it where it is high enough, else above it, or below it at its other end."""
    if not band.label or band.y is None:
        return
    left, right = (at.left, at.right) if band.x is None else (at.x(band.x[0]), min(at.x(band.x[1]), at.right))
    top, bottom = at.y(band.y[1]), at.y(band.y[0])
    if right - left < at.wide(band.label) + 8.0:
        return
    if bottom - top > 1.5 * at.font:
        y = bottom - 0.4 * at.font if band.under else top + 1.1 * at.font
        yield _text(right - 4.0 if band.under else left + 5.0, y, band.label, band.ink, "end" if band.under else "")
    else:
        y = bottom + 1.1 * at.font if band.under else top - 5.0
        yield from _label(right - 4.0 if band.under else left + 5.0, y, band.label, band.ink, at, end=band.under)


def _curve(curve: Curve, at: _Field) -> Iterator[str]:
    for piece in curve.pieces:
        points = [(at.x(x), at.y(y), at.y(high), at.y(low)) for x, y, low, high in piece]
        if any(low - up > 0.6 for _, _, up, low in points):
            around = [f"{x:.1f},{up:.1f}" for x, _, up, _ in points]
            around += [f"{x:.1f},{low:.1f}" for x, _, _, low in reversed(points)]
            yield f'<polygon points="{" ".join(around)}" fill="{curve.look.ink}" fill-opacity="{curve.band:g}"/>'
        line = " ".join(f"{x:.1f},{y:.1f}" for x, y, _, _ in points)
        if len(points) > 1:
            yield f'<polyline points="{line}" fill="none" stroke-linejoin="round" {_stroke(curve.look)}/>'
        elif points:
            yield f'<circle cx="{points[0][0]:.1f}" cy="{points[0][1]:.1f}" r="1.6" fill="{curve.look.ink}"/>'


def _stretch(stretch: Stretch, at: _Field, floor: float) -> Iterator[str]:
    left, right = max(at.x(stretch.from_x), at.left), min(at.x(stretch.until_x), at.right)
    wide, word = right - left, stretch.word
    if wide < 0.5:
        return
    yield (
        f'<rect x="{left:.1f}" y="{at.base:.1f}" width="{wide:.1f}" height="{floor - at.base:.1f}" '
        f'fill="{stretch.fill}" stroke="#888888" stroke-width=".5"><title>{esc(word)}</title></rect>'
    )
    shown = word if wide > at.wide(word) + 4.0 else word[:1] if wide > at.font else ""
    if shown:
        yield _text((left + right) / 2.0, floor - 0.35 * at.font, shown, anchor="middle")


def _levels(levels: Iterable[Level], at: _Field) -> Iterator[str]:
    last = -99.0
    for level in levels:
        y = at.y(level.y)
        if not at.top < y < at.base:
            continue
        yield _line(at.left, y, level.look, f"H{at.right:.1f}")
        crowded = abs(y - last) < 1.3 * at.font or y - at.top < 1.3 * at.font
        last = y
        if level.label:
            y = y + 1.05 * at.font if crowded else y - 4.0
            yield from _label(at.left + 5.0, y, level.label, level.look.ink, at)


def _labels(uprights: Iterable[Upright], at: _Field) -> Iterator[str]:
    """In rows from the foot (or the top), each in the first row that is free; on paper, so that a line is no bar."""
    taken: list[tuple[bool, int, float, float]] = []
    for one in uprights:
        if not one.label:
            continue
        x, wide = at.x(one.x), at.wide(one.label) + 6.0
        left = x - at.left > wide if one.left else x + wide > at.right
        start = x - wide - 2.0 if left else x + 2.0
        row = next(
            n
            for n in range(99)
            if not any(t == one.top and r == n and start < b and a < start + wide for t, r, a, b in taken)
        )
        taken.append((one.top, row, start, start + wide))
        y = at.top + 1.1 * at.font + 1.3 * at.font * row if one.top else at.base - 8.0 - 1.3 * at.font * (row % 8)
        yield from _label(x - 5.0 if left else x + 5.0, y, one.label, one.look.ink, at, end=left, bold=one.bold)


def _flags(flags: Iterable[Flag], rows: int, at: _Field) -> Iterator[str]:
    """In rows above the field; where all are taken, a short line without a number."""
    taken, badges = [-99.0] * rows, []
    for flag in flags:
        x = at.x(flag.x)
        row = next((n for n, last in enumerate(taken) if x - last >= 20.0), None)
        up = at.top - 12.0 - 19.0 * (row or 0)
        yield _line(x, at.top + 6.0, Look(RED if flag.loud else INK), f"V{at.top - 5.0 if row is None else up:.1f}")
        if row is not None:
            taken[row] = x
            badges.append(_badge(x, up, flag))
    yield from badges


def _badge(x: float, y: float, flag: Flag, half: float = 9.0) -> str:
    if flag.loud:
        side = 2.0 * half
        shape = f'<rect x="{x - half:.1f}" y="{y - half:.1f}" width="{side:g}" height="{side:g}" fill="{INK}"/>'
    else:
        dash = ' stroke-dasharray="2 2"' if flag.missing else ""
        shape = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{half:g}" fill="#ffffff" stroke="{INK}"{dash}/>'
    return shape + _text(x, y + 4.0, str(flag.number), "#ffffff" if flag.loud else INK, "middle", size=11.0)


def _inside(mark: Mark, chart: Chart) -> bool:
    return chart.x.low <= mark.x <= chart.x.high and chart.y.low <= mark.y <= chart.y.high


def _mark(mark: Mark, at: _Field) -> Iterator[str]:
    x, y = at.x(mark.x), at.y(mark.y)
    if mark.spread is not None:
        yield _line(
            x, at.y(mark.spread[0]), Look(mark.edge or mark.ink, 0.45 * mark.size), f"V{at.y(mark.spread[1]):.1f}"
        )
    yield _shape(mark, x, y)
    if mark.label:
        yield _text(x + mark.size + 4.0, y + 0.35 * at.font, mark.label, bold=True)


def _shape(mark: Mark, x: float, y: float, size: float = 0.0) -> str:
    """Told apart without colour: by shape, filled or open."""
    look = f'fill="{mark.ink if mark.filled else "#ffffff"}" stroke="{mark.edge or mark.ink}" stroke-width="1.6"'
    title, half = f"<title>{esc(mark.title)}</title>" if mark.title else "", size or mark.size
    if mark.shape == "circle":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{half:g}" {look}>{title}</circle>'
    corners = {
        "square": ((-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)),
        "up": ((0.0, -1.2), (1.1, 0.9), (-1.1, 0.9)),
        "diamond": ((0.0, -1.3), (1.3, 0.0), (0.0, 1.3), (-1.3, 0.0)),
        "down": ((0.0, 1.2), (1.1, -0.9), (-1.1, -0.9)),
    }[mark.shape]
    points = " ".join(f"{x + half * across:.1f},{y + half * down:.1f}" for across, down in corners)
    return f'<polygon points="{points}" {look}>{title}</polygon>'


def _legend(chart: Chart, down: float) -> tuple[float, list[str]]:
    """Below the field, side by side as they fit. Gives the height it ends at."""
    font, x, y, drawn = chart.font, chart.left, down + 1.4 * chart.font, list[str]()
    for entry in chart.legend:
        sign, wide = 44.0 if entry.look else 24.0, _LETTER * font * len(entry.text)
        if x > chart.left and x + sign + wide > chart.width - chart.right:
            x, y = chart.left, y + 1.4 * font
        drawn += [*_sign(entry, x, y - 0.35 * font), _text(x + sign, y, entry.text)]
        x += sign + wide + 22.0
    return (y if chart.legend else down), drawn


def _listing(chart: Chart, down: float) -> tuple[float, list[str]]:
    """Below the legend, in columns; a long text takes two lines."""
    font, high = chart.font, 1.35 * chart.font
    column = (chart.width - chart.left - chart.right) / chart.columns
    signs = 46.0 if any(entry.look for entry in chart.listing) else 22.0
    leads = max((_LETTER * font * len(entry.lead) + 12.0 for entry in chart.listing if entry.lead), default=0.0)
    letters = int((column - signs - leads - 4.0) / (_LETTER * font))
    rows = [
        (entry, line, number == 0)
        for entry in chart.listing
        for number, line in enumerate(wrap(entry.text, letters, max_lines=2, placeholder=" …") or [""])
    ]
    deep, drawn = -(-len(rows) // chart.columns), list[str]()
    for number, (entry, words, first) in enumerate(rows):
        x, y = chart.left + column * (number // deep), down + high * (1 + number % deep)
        if first:
            drawn += _sign(entry, x, y - 0.35 * font)
            drawn.append(_text(x + signs + leads - 12.0, y, entry.lead, GREY, "end") if entry.lead else "")
        drawn.append(_text(x + signs + leads, y, words, bold=entry.bold))
    return down + high * deep, drawn


def _sign(entry: Entry, x: float, y: float) -> Iterator[str]:
    if entry.fill:
        yield f'<rect x="{x:.1f}" y="{y - 7.0:.1f}" width="14" height="14" fill="{entry.fill}" stroke="#aaaaaa"/>'
    if entry.look is not None:
        yield _line(x, y, entry.look, "h36")
    if entry.mark is not None:
        yield _shape(entry.mark, x + (18.0 if entry.look else 8.0), y, min(entry.mark.size, 6.0))
    if entry.flag is not None:
        yield _badge(x + 9.0, y, entry.flag, 8.0)
