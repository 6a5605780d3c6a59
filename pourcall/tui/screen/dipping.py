"""The dip assistant. While a dip goes on: how long to hold still, where the figure is heading, how well it fits.

Afterwards: what the dip was worth, and what the last three say of each other. Pure.
"""

import math

from pourcall.contract.events import Dip, FigureSource
from pourcall.contract.message import tell
from pourcall.contract.snapshot import DipHint, DipView, FurnaceSnapshot
from pourcall.contract.units import DASH, Unit, finite
from pourcall.texts import say, word
from pourcall.tui.drawing.digits import big
from pourcall.tui.drawing.letters import letters, writable
from pourcall.tui.drawing.styled import Line, Role, StyledText, line
from pourcall.tui.screen.scene import Sizes
from pourcall.tui.screen.words import label, lasted, of_metal, with_uncertainty, within_words


def keeps_on(dip: DipView) -> bool:
    """Nothing else is to be done than what the person does already."""
    return dip.hint in (DipHint.HOLD, DipHint.HOLD_ON)


def countdown(dip: DipView, sizes: Sizes) -> tuple[Line, ...]:
    """In the place of the large figure: the seconds to hold still yet; `OUT` when it is time; a dash before that."""
    rows: tuple[str, ...]
    unit = ""
    if dip.hint is DipHint.OUT and writable(out := say(tell("screen.dip.out"))):
        rows = _centred(letters(out, 5), sizes.digit_rows)
    elif dip.hold_s is None or not math.isfinite(dip.hold_s):
        rows = big(f"{DASH:>4}", sizes.digit_rows)
    else:
        rows, unit = big(f"{math.ceil(min(dip.hold_s, 999.0)):>4d}", sizes.digit_rows), " s"
    lines = [line("  ", StyledText(row, Role.STRONG)) for row in rows]
    lines[-1] = line(*lines[-1], StyledText(unit, Role.STRONG))
    return tuple(lines)


def _centred(rows: tuple[str, ...], height: int) -> tuple[str, ...]:
    top = max(0, height - len(rows)) // 2
    blank = (" " * len(rows[0]),)
    return (*blank * top, *rows, *blank * (height - top - len(rows)))


def dip_facts(snapshot: FurnaceSnapshot, dip: DipView, unit: Unit, power: Line) -> tuple[Line, ...]:
    """Beside the countdown."""
    hint = word("headline", f"dip_{dip.hint.value}").lower()
    return (
        line(StyledText(f"{say(tell('screen.band.dip'))}  {hint}", Role.STRONG)),
        line(_heading(dip, unit)),
        line(_fit(dip, unit)),
        line(label("in"), lasted(snapshot.mono_s - dip.began_mono_s)),
        line(label("power"), *power),
    )


def _fit(dip: DipView, unit: Unit) -> str:
    if not finite(dip.fit_error_c):
        return say(tell("screen.dip.good" if dip.good else "screen.dip.no_fit"))
    fit = say(tell("screen.dip.fit", error_difference_c=dip.fit_error_c), unit)
    return f"{fit}, {say(tell('screen.dip.good'))}" if dip.good else fit


def _heading(dip: DipView, unit: Unit) -> StyledText:
    if not of_metal(dip.temp_c):
        return StyledText(say(tell("screen.dip.too_early")), Role.DIM)
    return StyledText(say(tell("screen.dip.heading", to_c=dip.temp_c), unit), Role.STRONG if dip.good else Role.PLAIN)


def heading_words(dip: DipView, unit: Unit) -> str:
    """Where the figure is heading, and how well the curve fits, in a sentence."""
    if not of_metal(dip.temp_c):
        return say(tell("screen.dip.too_early"))
    told = [tell("screen.dip.heading", to_c=dip.temp_c)]
    if finite(dip.fit_error_c):
        told.append(tell("screen.dip.fit", error_difference_c=dip.fit_error_c))
    if not dip.good:
        told.append(tell("screen.dip.not_good"))
    return ", ".join(say(one, unit) for one in told)


def last_dip(snapshot: FurnaceSnapshot, unit: Unit) -> Line:
    """The last dip with its age; three good ones in a row with their spread."""
    dip = snapshot.last_dip
    if dip is None:
        return ()
    how = word("dip_how", dip.how)
    if dip.temp_c is None:
        why = f": {say(dip.why, unit)}" if dip.why else ""
        return line(label("dip"), f"{dip.number}: ", StyledText(f"? {how}{why}", Role.CHECK))
    age_s = max(0.0, snapshot.mono_s - dip.ended_mono_s)
    old = age_s > dip.valid_s
    age = say(tell("screen.dip.too_old" if old else "screen.dip.age", age_s=age_s))
    return line(
        label("dip"),
        f"{dip.number}: {with_uncertainty(dip.temp_c, unit, _u_c(snapshot, dip))} {how}, ",
        StyledText(age, Role.CHECK if old else Role.PLAIN),
        StyledText(spread_words(snapshot, unit)),
    )


def _u_c(snapshot: FurnaceSnapshot, dip: Dip) -> float | None:
    """As the large figure has it, where that figure is this dip's: it has grown since."""
    metal = snapshot.metal
    return metal.u_c if metal.source is FigureSource.DIP and metal.temp_c == dip.temp_c else dip.u_c


def spread_words(snapshot: FurnaceSnapshot, unit: Unit) -> str:
    """`, three within 2 °C`: how far three good dips in a row lie apart; empty where there are not three."""
    if not finite(snapshot.dip_spread_c):
        return ""
    return f", {say(tell('screen.dip.spread', within=within_words(snapshot.dip_spread_c, unit)))}"


def how_taken(dip: Dip) -> str:
    """`40 mm deep, stirred`, as far as it was said."""
    said = []
    if dip.depth_mm is not None:
        said.append(tell("screen.dip.depth", depth_mm=dip.depth_mm))
    if dip.stirred is not None:
        said.append(tell("screen.dip.stirred" if dip.stirred else "screen.dip.not_stirred"))
    return ", ".join(say(one) for one in said)
