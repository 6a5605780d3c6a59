"""The upright temperature scale. Limits, window and the present temperature as rows of text, hottest on top.

Position carries the meaning: a pointer left of the axis, the window as a thick stretch of it, limits
named at its right.
"""

import math
from collections.abc import Callable

import msgspec

from pourcall.contract.message import tell
from pourcall.contract.plan import MeltPlan
from pourcall.contract.snapshot import WindowView
from pourcall.contract.units import Unit, bare_highest, bare_lowest, bare_temperature
from pourcall.texts import say
from pourcall.tui.drawing.styled import Line, Role, StyledText, fit, line

METAL_TIP, WINDOW_BAR = "►", "█"
_AXIS, _TICK = "│", "┼"


class Mark(msgspec.Struct, frozen=True):
    """One named temperature of the scale; the lower `rank`, the sooner it keeps its label."""

    temp_c: float
    name: str
    rank: int
    role: Role = Role.PLAIN
    shown: Callable[[float, Unit], str] = bare_temperature


def marks_of(plan: MeltPlan, window: WindowView | None) -> tuple[Mark, ...]:
    """What the scale names: solidus, liquidus, window, and the pot limit that is met first."""
    marks = [
        Mark(plan.alloy.solidus_c, say(tell("screen.scale.solidus")), 4),
        Mark(plan.alloy.liquidus_c, say(tell("screen.scale.liquidus")), 3),
    ]
    if plan.limits:
        limit = plan.lowest_limit
        marks.append(
            Mark(limit.limit_c, say(tell("screen.scale.limit", whose=limit.whose)), 1, Role.DANGER, bare_highest)
        )
    if window is not None and window.no_aim is None:
        marks.append(Mark(window.tap_max_c, say(tell("screen.scale.window_high")), 2, Role.OK, bare_highest))
        marks.append(Mark(window.tap_min_c, say(tell("screen.scale.window_low")), 0, Role.OK, bare_lowest))
    return tuple(marks)


def extent_c(marks: tuple[Mark, ...]) -> tuple[float, float]:
    """Lowest and highest temperature of the scale, in degC: the marks with a little air around them."""
    low, high = min(m.temp_c for m in marks), max(m.temp_c for m in marks)
    air = max(0.07 * (high - low), 5.0)
    return low - air, high + air


def row_of(temp_c: float, low_c: float, high_c: float, rows: int) -> int:
    """Row of a temperature, 0 on top; what lies outside sticks to the end it is nearest to."""
    share = (high_c - temp_c) / (high_c - low_c)
    return min(rows - 1, max(0, math.floor(share * rows)))


class Pointer(msgspec.Struct, frozen=True):
    """A temperature that is pointed at, from the left of the axis. The first of several keeps its row."""

    temp_c: float
    tip: str
    role: Role = Role.PLAIN


def scale_rows(
    plan: MeltPlan | None, window: WindowView | None, pointed: tuple[Pointer, ...], unit: Unit, width: int, rows: int
) -> tuple[Line, ...]:
    """The scale as `rows` lines of at most `width` cells."""
    if plan is None or rows < 3:
        return tuple(
            line(StyledText(say(tell("screen.scale.none")), Role.DIM)) if row == 0 else ()
            for row in range(max(rows, 1))
        )
    marks = marks_of(plan, window)
    low_c, high_c = extent_c(marks)
    labels = _placed(marks, low_c, high_c, rows)
    band: range = range(0)
    if window is not None and window.no_aim is None:
        top = row_of(window.tap_max_c, low_c, high_c, rows)
        band = range(top, row_of(window.tap_min_c, low_c, high_c, rows) + 1)
    ticks = {row_of(mark.temp_c, low_c, high_c, rows) for mark in marks}
    tips = _tips(pointed, low_c, high_c, rows)
    out = []
    for row in range(rows):
        left = StyledText(" " * 6)
        if (one := tips.get(row)) is not None:
            off = "▲" if one.temp_c > high_c else "▼" if one.temp_c < low_c else ""
            tip = off if off and one.tip == METAL_TIP else one.tip
            left = StyledText(f"{bare_temperature(one.temp_c, unit):>4} {tip}", one.role)
        axis = (
            StyledText(WINDOW_BAR, Role.OK) if row in band else StyledText(_TICK if row in ticks else _AXIS, Role.DIM)
        )
        mark = labels.get(row)
        label = StyledText(f" {mark.shown(mark.temp_c, unit)} {mark.name}", mark.role) if mark else StyledText("")
        out.append(fit(line(left, axis, label), width))
    return tuple(out)


def _tips(pointed: tuple[Pointer, ...], low_c: float, high_c: float, rows: int) -> dict[int, Pointer]:
    """Rows of the pointers. One whose row is taken goes to the next row on its own side, or is left out."""
    out: dict[int, Pointer] = {}
    for one in pointed:
        row = row_of(one.temp_c, low_c, high_c, rows)
        if (taken := out.get(row)) is not None:
            row += -1 if one.temp_c > taken.temp_c else 1
        if 0 <= row < rows and row not in out:
            out[row] = one
    return out


def _placed(marks: tuple[Mark, ...], low_c: float, high_c: float, rows: int) -> dict[int, Mark]:
    """Label rows. Labels keep the order of their temperatures; where rows are short, the higher rank is left out.

    Each label takes its own row or the nearest free one that keeps the order, at most one row away: further off it
    would name a place on the axis that is not its own.
    """
    placed: dict[int, Mark] = {}
    for mark in sorted(marks, key=lambda m: m.rank):
        own = row_of(mark.temp_c, low_c, high_c, rows)
        hotter = [row for row, other in placed.items() if other.temp_c > mark.temp_c]
        colder = [row for row, other in placed.items() if other.temp_c < mark.temp_c]
        for row in (own, own + 1, own - 1):
            in_order = all(row > above for above in hotter) and all(row < below for below in colder)
            if 0 <= row < rows and row not in placed and in_order:
                placed[row] = mark
                break
    return placed
