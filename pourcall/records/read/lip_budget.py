"""How the temperature at the lip was made up, part by part: last reading or dip, what it lost on the way, order.

From what is on record of the pour and its mould's plan; the parts add up to the figure, and where they do not (a plan
that was changed by hand, another version's arithmetic) the rest stands as a part of its own. Pure.
"""

import math
import re
from typing import NamedTuple

from pourcall.contract.plan import MouldPlan, waited_s
from pourcall.contract.reading import GROWTH_C_PER_MIN
from pourcall.records.read.views import LipPart, PourRow
from pourcall.texts import written

SAME_C = 0.06  # figures in sentences are rounded
_POT = re.compile(r"in the pot (at the lift|at the pour) \((.*?)\), less ")
_STALE = re.compile(r"that figure was (\d+) s old")
_AGED = re.compile(r"(.*?), (?:typed )?(\d+) s ago")
_WAY = re.compile(
    r"(\d+) s in the open <([\d.]+) degC apart>(?:, ladle <([\d.]+) degC apart>)?, stream <([\d.]+) degC apart> "
    r"\(([^)]*)\)"
)


class Times(NamedTuple):
    """Of the pour, by the clock that never steps; and which pour of its lift it was, from 1."""

    at_s: float
    lift_s: float | None
    order: int


def lip_parts(row: PourRow, mould: MouldPlan | None, times: Times) -> tuple[LipPart, ...]:
    """The parts in their order, the last is the temperature at the lip; none where that is not known."""
    if row.pot_temp_c is None or row.lip_temp_c is None:
        return ()
    parts = [*_pot(row)]
    loss_c = loss_u_c = 0.0
    if mould is not None:
        loss_c, loss_u_c = mould.loss_c, mould.loss_u_c
        parts += _way(mould)
    extra_s = 0.0 if mould is None else waited_s(mould, times.lift_s, times.at_s)
    waited_c = 0.0 if mould is None else loss_c / mould.loss_s * extra_s
    order = f"pour {times.order} of this lift"
    if extra_s > 0.0 and mould is not None:
        text = f"{extra_s:.0f} s beyond the {mould.loss_s:.0f} s it was planned for; {order}"
        parts.append(LipPart(what="waiting", text=text, change_c=-waited_c, u_c=0.5 * waited_c))
    elif times.lift_s is not None:
        parts.append(LipPart(what="waiting", text=f"no longer than planned; {order}", change_c=0.0))
    rest_c = row.lip_temp_c - (row.pot_temp_c - loss_c - waited_c)
    if abs(rest_c) > SAME_C:
        parts.append(LipPart(what="the rest", text="what plan and times do not account for", change_c=rest_c))
    u_c = math.hypot(row.pot_u_c or 0.0, loss_u_c, 0.5 * waited_c)
    agrees = row.lip_u_c is None or abs(u_c - row.lip_u_c) <= SAME_C
    text = "pot, way and waiting together" if agrees else "as decided at the time"
    parts.append(LipPart(what="at the lip", text=text, temp_c=row.lip_temp_c, u_c=row.lip_u_c))
    return tuple(parts)


def _pot(row: PourRow) -> list[LipPart]:
    """The figure it rests on, and what became of that until then."""
    found = _POT.search(row.basis)
    when, how = (found[1], found[2]) if found else ("", "how is not said")
    aged, stale = _AGED.match(how), _STALE.search(row.basis)
    grown_c = GROWTH_C_PER_MIN * float(aged[2]) / 60.0 if aged is not None else 0.0
    own_u_c = None if row.pot_u_c is None else math.sqrt(max(0.0, row.pot_u_c**2 - grown_c**2))
    where = f"{how}, {when}" if when else how
    parts = [LipPart(what="in the pot", text=where, temp_c=row.pot_temp_c, u_c=own_u_c)]
    if aged is not None:
        text = f"{aged[1]} was {aged[2]} s old: nothing is taken off, its uncertainty has grown"
        parts.append(LipPart(what="cooling since", text=text, change_c=0.0, u_c=grown_c))
    elif stale is not None:
        parts.append(
            LipPart(what="cooling since", text=f"that figure was {stale[1]} s old: nothing is taken off", change_c=0.0)
        )
    return parts


def _way(mould: MouldPlan) -> list[LipPart]:
    """Lift and walk, ladle, stream, where the plan told them apart; else the whole."""
    found = _WAY.search(written(mould.why))
    if found is not None:
        seconds, walk, ladle, stream, how = found.groups()
        parts = [LipPart(what="lift and walk", text=f"{seconds} s in the open", change_c=-float(walk))]
        if ladle is not None:
            parts.append(LipPart(what="ladle", text="what it takes up", change_c=-float(ladle)))
        parts.append(LipPart(what="stream", text="from the pot's lip into the mould", change_c=-float(stream)))
        rest_c = -mould.loss_c - sum(part.change_c or 0.0 for part in parts)
        if abs(rest_c) <= 2.0 * SAME_C:
            return [*parts, LipPart(what="the way", text=f"uncertainty of all of it: {how}", u_c=mould.loss_u_c)]
    stated = "as stated" in written(mould.why)
    text = "lift, walk, ladle and stream" + (", as stated" if stated else "")
    return [LipPart(what="the way", text=text, change_c=-mould.loss_c, u_c=mould.loss_u_c)]
