"""The dip assistant. While a dip goes on: how long to hold still, where the figure is heading, how well it fits.

Afterwards: what the dip was worth, and what the last three say of each other. Pure.
"""

import math

from pourcall.contract.events import Dip
from pourcall.contract.snapshot import DipHint, DipView, FurnaceSnapshot
from pourcall.contract.units import Unit
from pourcall.texts import say
from pourcall.tui.drawing.digits import big
from pourcall.tui.drawing.letters import letters
from pourcall.tui.drawing.spans import Line, Role, Span, line
from pourcall.tui.screen.headline import dip_words
from pourcall.tui.screen.scene import Sizes
from pourcall.tui.screen.words import DASH, UNIT_MARK, difference, duration, finite, plus_minus, with_unit


def countdown(dip: DipView, sizes: Sizes) -> tuple[Line, ...]:
    """In the place of the large figure: the seconds to hold still yet; `OUT` when it is time; a dash before that."""
    rows: tuple[str, ...]
    unit = ""
    if dip.hint is DipHint.OUT:
        rows = _centred(letters("OUT", 5), sizes.digit_rows)
    elif dip.hold_s is None or not math.isfinite(dip.hold_s):
        rows = big(f"{DASH:>4}", sizes.digit_rows)
    else:
        rows, unit = big(f"{math.ceil(min(dip.hold_s, 999.0)):>4d}", sizes.digit_rows), " s"
    lines = [line("  ", Span(row, Role.STRONG)) for row in rows]
    lines[-1] = line(*lines[-1], Span(unit, Role.STRONG))
    return tuple(lines)


def _centred(rows: tuple[str, ...], height: int) -> tuple[str, ...]:
    top = max(0, height - len(rows)) // 2
    blank = (" " * len(rows[0]),)
    return (*blank * top, *rows, *blank * (height - top - len(rows)))


def dip_facts(snapshot: FurnaceSnapshot, dip: DipView, unit: Unit, power: Line) -> tuple[Line, ...]:
    """Beside the countdown."""
    fit = (
        f"fit error {difference(dip.fit_error_c, unit, 1)} {UNIT_MARK[unit]}{', good' if dip.good else ''}"
        if finite(dip.fit_error_c)
        else ("good" if dip.good else "no fit yet")
    )
    return (
        line(Span(f"DIP  {dip_words(dip)}", Role.STRONG)),
        line(_heading(dip, unit)),
        line(fit),
        line(Span("in for ", Role.DIM), duration(snapshot.mono_s - dip.began_mono_s)),
        line(Span("power ", Role.DIM), *power),
    )


def _heading(dip: DipView, unit: Unit) -> Span:
    if not finite(dip.temp_c):
        return Span("too early for a figure", Role.DIM)
    return Span(f"heading to {with_unit(dip.temp_c, unit)}", Role.STRONG if dip.good else Role.PLAIN)


def heading_words(dip: DipView, unit: Unit) -> str:
    """Where the figure is heading, and how well the curve fits, in a sentence."""
    if not finite(dip.temp_c):
        return "too early for a figure"
    fit = f", fit error {difference(dip.fit_error_c, unit, 1)} {UNIT_MARK[unit]}" if finite(dip.fit_error_c) else ""
    worth = "" if dip.good else ", not good enough yet"
    return f"heading to {with_unit(dip.temp_c, unit)}{fit}{worth}"


def last_dip(snapshot: FurnaceSnapshot, unit: Unit) -> Line:
    """The last dip with its age; three good ones in a row with their spread."""
    dip = snapshot.last_dip
    if dip is None:
        return ()
    label = Span("dip   ", Role.DIM)
    if dip.temp_c is None:
        why = f": {say(dip.why, unit)}" if dip.why else ""
        return line(label, f"{dip.number}: ", Span(f"? {dip.how.value}{why}", Role.CHECK))
    age_s = snapshot.mono_s - dip.ended_mono_s
    old = age_s > dip.valid_s
    return line(
        label,
        f"{dip.number}: {with_unit(dip.temp_c, unit, dip.u_c)} {dip.how.value}, ",
        Span(f"{duration(age_s)} ago{', ? too old to pour by' if old else ''}", Role.CHECK if old else Role.PLAIN),
        Span(spread_words(snapshot, unit)),
    )


def spread_words(snapshot: FurnaceSnapshot, unit: Unit) -> str:
    """`, three within 2 °C`: how far three good dips in a row lie apart; empty where there are not three."""
    if not finite(snapshot.dip_spread_c):
        return ""
    return f", three {plus_minus(snapshot.dip_spread_c, unit).replace('±', 'within ')} {UNIT_MARK[unit]}"


def how_taken(dip: Dip) -> str:
    """`40 mm deep, stirred`, as far as it was said."""
    said = []
    if dip.depth_mm is not None:
        said.append(f"{dip.depth_mm:g} mm deep")
    if dip.stirred is not None:
        said.append("stirred" if dip.stirred else "not stirred")
    return ", ".join(said)
