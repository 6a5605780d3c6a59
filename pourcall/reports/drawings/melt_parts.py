"""Parts that every drawing of a melt has: traces with their gaps, states, numbered marks, solidus and liquidus."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise

from pourcall.contract.api import TracePoint
from pourcall.contract.events import MeltState
from pourcall.contract.message import tell
from pourcall.contract.plan import AlloyFacts
from pourcall.contract.units import Unit
from pourcall.records.read.facts import Mark, StateStretch
from pourcall.reports.drawings.chart import BROWN, DASHES, INKS, Curve, Flag, Level, Look, Point, Stretch
from pourcall.reports.drawings.chart import Mark as Dot
from pourcall.reports.drawings.melt_facts import spreads_at
from pourcall.texts import say, word

NUMBERED = ("call", "alarm", "power", "dip", "skim", "addition", "temperature", "gap")
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


def look(number: int) -> Look:
    """Of the trace that is `number`, told apart by its dash too."""
    return Look(INKS[number % len(INKS)], 2.2 if number == 0 else 1.7, DASHES[number % len(DASHES)])


def curves(
    traces: Mapping[str, Sequence[TracePoint]], spread_c: Mapping[str, Sequence[tuple[float, float]]] | None = None
) -> Iterator[Curve]:
    """One for each probe, in order; around it lowest to highest of each step and, where told, the uncertainty."""
    for number, (name, series) in enumerate(traces.items()):
        samples = tuple((spread_c or {}).get(name, ()))
        yield Curve([list(_points(piece, samples)) for piece in pieces(series)], look(number))


def _points(piece: Sequence[tuple[float, float, float]], samples: Sequence[tuple[float, float]]) -> Iterator[Point]:
    for (at_s, low_c, high_c), u_c in zip(piece, spreads_at(samples, [p[0] for p in piece]), strict=True):
        beyond_c = u_c or 0.0
        yield at_s, 0.5 * (low_c + high_c), low_c - beyond_c, high_c + beyond_c


def usual_step_s(series: Sequence[TracePoint]) -> float:
    """The middle one of the steps between readings."""
    steps = sorted(b.mono_s - a.mono_s for a, b in pairwise(series))
    return steps[len(steps) // 2] if steps else 0.0


def pieces(series: Sequence[TracePoint], step_s: float = 0.0) -> Iterator[list[tuple[float, float, float]]]:
    """The stretches of a trace without a gap, as (time, lowest, highest).

    A step without a number ends one, so does a time four times as long as usual (or as `step_s`) without any.
    """
    longest_s = max(4.0 * max(step_s, usual_step_s(series)), 2.0)
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


def stretches(states: Iterable[StateStretch], end_s: float) -> list[Stretch]:
    """The states of the melt, up to an end."""
    return [
        Stretch(
            span.from_s,
            end_s if span.until_s is None else span.until_s,
            word("stretch", span.state.value),
            STATE_FILL[span.state],
        )
        for span in states
    ]


def numbered(marks: Iterable[Mark]) -> tuple[tuple[int, Mark], ...]:
    """The marks that carry a number on a drawing, from 1."""
    return tuple(enumerate((mark for mark in marks if mark.kind in NUMBERED), 1))


def flag(number: int, mark: Mark) -> Flag:
    """The number of a mark: an alarm's is square and black, a gap's dashed."""
    return Flag(mark.at_s, number, loud=mark.kind == "alarm", missing=mark.kind == "gap")


def dip_dots(marks: Iterable[Mark], unit: Unit) -> list[Dot]:
    """A dip is a ring on its figure."""
    return [
        Dot(mark.at_s, mark.temp_c, filled=False, title=say(mark.text, unit))
        for mark in marks
        if mark.kind == "dip" and mark.temp_c is not None
    ]


def melting_levels(alloy: AlloyFacts | None, unit: Unit) -> list[Level]:
    """Liquidus and solidus, each with its figure."""
    if alloy is None:
        return []
    return [
        Level(alloy.liquidus_c, say(tell("plot.liquidus", liquidus_c=alloy.liquidus_c), unit), Look(BROWN, 1.0, "7 4")),
        Level(alloy.solidus_c, say(tell("plot.solidus", solidus_c=alloy.solidus_c), unit), Look(BROWN, 1.0, "7 4")),
    ]
