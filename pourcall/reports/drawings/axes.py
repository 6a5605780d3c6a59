"""What line drawings share. Scales, level lines with their figures, ticks along the bottom, bands, uprights.

Figures and pixels in, SVG text out. Colours and what is drawn are the drawings' own; the page around them is page.py.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from pourcall.reports.pages.page import esc

Scale = Callable[[float], float]
INK, GRID = "#222222", "#dddddd"


class Frame(NamedTuple):
    """The field of a plot, in pixels: y grows downwards."""

    left: float
    right: float
    top: float
    base: float


def scale(low: float, high: float, at_low: float, at_high: float, *, beyond: float = 0.0) -> Scale:
    """Values low..high to pixels; what lies outside is held `beyond` (a share of the way) past the ends."""

    def pixel(value: float) -> float:
        share = (value - low) / max(high - low, 1e-9)
        return at_low + min(1.0 + beyond, max(-beyond, share)) * (at_high - at_low)

    return pixel


def levels(values: Iterable[float], y: Scale, frame: Frame, say: Callable[[float], str]) -> list[str]:
    """Lines across the field with their figures to the left."""
    drawn = []
    for value in values:
        at = y(value)
        drawn.append(f'<path d="M{frame.left:g} {at:.1f}H{frame.right:g}" stroke="{GRID}"/>')
        drawn.append(f'<text x="{frame.left - 6:g}" y="{at + 5:.1f}" text-anchor="end">{esc(say(value))}</text>')
    return drawn


def bottom_ticks(values: Iterable[float], x: Scale, floor: float) -> list[str]:
    """Short marks below the field with their figures."""
    drawn = []
    for value in values:
        at = x(value)
        drawn.append(f'<path d="M{at:.1f} {floor:g}v5" stroke="{INK}"/>')
        drawn.append(f'<text x="{at:.1f}" y="{floor + 20:g}" text-anchor="middle">{value:g}</text>')
    return drawn


def band(left: float, right: float, top: float, bottom: float, fill: str, frame: Frame) -> str:
    """A filled stretch, cut off at the field's upper and lower edge; empty where nothing of it is inside."""
    top, bottom = max(top, frame.top), min(bottom, frame.base)
    if bottom <= top or right <= left:
        return ""
    return f'<rect x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" height="{bottom - top:.1f}" fill="{fill}"/>'


def spread(points: Sequence[tuple[float, float, float]], fill: str, opacity: float = 1.0) -> str:
    """A band between two lines: (x, upper y, lower y) from left to right."""
    around = [f"{at:.1f},{up:.1f}" for at, up, _ in points] + [f"{at:.1f},{low:.1f}" for at, _, low in reversed(points)]
    seen = "" if opacity >= 1.0 else f' fill-opacity="{opacity:g}"'
    return f'<polygon points="{" ".join(around)}" fill="{fill}"{seen}/>'
