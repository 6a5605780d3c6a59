"""One chart: a typed description of what is to be seen.

Values are in the units of the record (degC, seconds); an axis knows at which of them which figure stands, so that a
reader's unit changes figures alone. Callers describe (pour_plot.py, melt_plot.py, advice_plot.py, drift_plot.py,
plan_plot.py); where on the paper a thing stands is decided in chart_svg.py. Colour tells nothing that a word, a dash
or a shape does not tell too.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Literal, NamedTuple

import msgspec

from pourcall.contract.units import Unit, format_temperature, from_c, to_c

INK, GREY, RED, GREEN, BLUE, BROWN = "#222222", "#777777", "#a11d1d", "#1b7837", "#2a6099", "#7a4f22"
INKS = ("#1f4e79", "#8c510a", "#5e3c99", "#4d4d4d", "#01665e", "#a02040", "#8a6d00", "#39767a")
DASHES = ("", "8 4", "2 3", "9 3 2 3", "14 4", "1 5")
Point = tuple[float, float, float, float]  # x; y; lower and upper end of what surrounds it
Shape = Literal["circle", "square", "up", "diamond", "down"]
SHAPES: tuple[Shape, ...] = ("circle", "square", "up", "diamond")


class Look(NamedTuple):
    """Of a line."""

    ink: str = INK
    wide: float = 1.0
    dash: str = ""


class Axis(NamedTuple):
    """From `low` to `high`; `marks`: where a figure stands, and the figure; `second`: another row of figures."""

    low: float
    high: float
    marks: tuple[tuple[float, str], ...]
    unit: str = ""
    second: tuple[str, ...] = ()
    second_unit: str = ""
    log: bool = False
    grid: bool = True


class Band(NamedTuple):
    """A filled stretch; None: from edge to edge."""

    fill: str
    x: tuple[float, float] | None = None
    y: tuple[float, float] | None = None
    label: str = ""
    ink: str = INK  # of the label
    under: bool = False  # the label stands at its lower right end, not at its upper left
    edge: str = ""


class Curve(NamedTuple):
    """A line that is broken between its pieces, with what surrounds it as a pale band."""

    pieces: Sequence[Sequence[Point]]
    look: Look = Look()
    band: float = 0.28


class Level(NamedTuple):
    """A line across."""

    y: float
    label: str
    look: Look


class Upright(NamedTuple):
    """A line through the field from top to foot."""

    x: float
    label: str = ""
    look: Look = Look()
    bold: bool = False
    top: bool = False  # its label stands at the top, not at the foot
    left: bool = True  # of the line, if it fits there


class Mark(NamedTuple):
    """One figure; `spread`: how sure it is; `title`: shown where the reader points at it."""

    x: float
    y: float
    shape: Shape = "circle"
    ink: str = INK
    filled: bool = True
    size: float = 5.0
    spread: tuple[float, float] | None = None
    label: str = ""
    title: str = ""
    edge: str = ""


class Stretch(NamedTuple):
    """A stretch of the strip below the field."""

    from_x: float
    until_x: float
    word: str
    fill: str


class Flag(NamedTuple):
    """A number above the field. Square and black: loud; dashed: something is missing there."""

    x: float
    number: int
    loud: bool = False
    missing: bool = False


class Entry(NamedTuple):
    """A line of the legend: the sign of what is meant, then words."""

    text: str
    look: Look | None = None
    mark: Mark | None = None
    fill: str = ""
    flag: Flag | None = None
    lead: str = ""  # in grey before the text, flush right
    bold: bool = False


class Head(NamedTuple):
    """A line above the field."""

    text: str
    size: float
    bold: bool = False
    ink: str = INK


class Chart(msgspec.Struct, frozen=True, kw_only=True):
    """All that is to be seen. `name` is the drawing's own, for whoever cannot see it."""

    name: str
    x: Axis
    y: Axis
    width: float = 540.0
    high: float = 232.0  # of the field
    left: float = 54.0
    right: float = 14.0
    font: float = 14.0
    paper: bool = True  # white behind it
    head: tuple[Head, ...] = ()
    bands: Sequence[Band] = ()
    curves: Sequence[Curve] = ()
    levels: Sequence[Level] = ()
    uprights: Sequence[Upright] = ()
    marks: Sequence[Mark] = ()
    stretches: Sequence[Stretch] = ()
    flags: Sequence[Flag] = ()
    flag_rows: int = 0
    legend: Sequence[Entry] = ()  # side by side as they fit
    listing: Sequence[Entry] = ()  # below the legend, in columns
    columns: int = 1
    foot: str = ""


def temperature_axis(temps_c: Iterable[float], unit: Unit, most: float = 6.0, *, whole: bool = False) -> Axis:
    """Around these temperatures, with round figures in the reader's unit; `whole`: each figure with its unit."""
    seen = list(temps_c)
    low, high = from_c(min(seen, default=0.0), unit), from_c(max(seen, default=100.0), unit)
    margin = max(4.0, 0.05 * (high - low))
    low, high = low - margin, high + margin
    marks = [(to_c(value, unit), value) for value in ticks(low, high, most)]
    return Axis(
        to_c(low, unit),
        to_c(high, unit),
        tuple((at_c, format_temperature(at_c, unit) if whole else f"{value:g}") for at_c, value in marks),
        unit="" if whole else unit_mark(unit),
    )


def minutes_axis(
    from_s: float,
    until_s: float,
    *,
    zero_s: float = 0.0,
    most: float = 9.0,
    clock: Callable[[float], str] | None = None,
) -> Axis:
    """Minutes before and after `zero_s`; with a clock, its time below each."""
    minutes = ticks((from_s - zero_s) / 60.0, (until_s - zero_s) / 60.0, most)
    marks = tuple((minute * 60.0 + zero_s, f"{minute:g}") for minute in minutes)
    return Axis(from_s, until_s, marks, second=() if clock is None else tuple(clock(at_s) for at_s, _ in marks))


def unit_mark(unit: Unit) -> str:
    """`°C`."""
    return format_temperature(None, unit).removeprefix("-- ")


def ticks(low: float, high: float, most: float = 8.0) -> list[float]:
    """Round values between the ends, at most about `most`: steps of 1, 2 or 5 times a power of ten; also 25, 250."""
    least = max(high - low, 1e-9) / most
    power = 10.0 ** math.floor(math.log10(least))
    factors = (1.0, 2.0, 2.5, 5.0, 10.0) if power >= 10.0 else (1.0, 2.0, 5.0, 10.0)
    step = next(power * factor for factor in factors if power * factor >= least * (1.0 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    return [number * step + 0.0 for number in range(first, math.floor(high / step + 1e-9) + 1)]
