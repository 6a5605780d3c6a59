"""How the temperature at the lip was made up, part by part: last reading or dip, what it lost on the way, order.

From what is on record of the pour and its mould's plan; the parts add up to the figure, and where they do not (a plan
that was changed by hand, another version's arithmetic) the rest stands as a part of its own. Pure.
"""

import math
from typing import NamedTuple

from pourcall.contract.events import FigureSource, PourSource
from pourcall.contract.message import Message, Told, tell
from pourcall.contract.plan import LossBasis, MouldPlan, loss_rate_c_per_s, waited_s, waiting_loss_c, way_left
from pourcall.contract.reading import GROWTH_C_PER_MIN, LAG_SAID_C
from pourcall.records.read.views import LipPart, LipStep, PourRow

SAME_C = 0.06  # figures in sentences are rounded
STALE_S = 5.0  # a figure that old is said to be


class Times(NamedTuple):
    """Of the pour, by the clock that never steps; and which pour of its lift it was, from 1."""

    at_s: float
    lift_s: float | None
    order: int


def lip_parts(row: PourRow, mould: MouldPlan | None, times: Times) -> tuple[LipPart, ...]:
    """The parts in their order, the last is the temperature at the lip; none where that is not known."""
    if row.pot_temp_c is None or row.lip_temp_c is None:
        return ()
    parts = _pot(row)
    way = None if mould is None else _reckoned(row, mould, times)
    way_c = waited_c = 0.0
    own_u_c: list[float] = [row.pot_u_c or 0.0]
    if mould is not None and way is not None:
        way_c, waited_c = way.left_c, way.waited_c
        parts += _way(mould, times) if way.whole else _rest_of_way(mould, way)
        if way.extra_s > 0.0:
            text = tell("lip.waited", extra_s=way.extra_s, planned_s=way.left_s, order=times.order)
            parts.append(LipPart(what=LipStep.WAITING, text=text, change_c=-waited_c, u_c=0.5 * waited_c))
        own_u_c += [mould.loss_u_c, 0.5 * (mould.loss_c - way_c), 0.5 * waited_c]
    if times.lift_s is not None and parts[-1].what is not LipStep.WAITING:
        text = tell("lip.no_longer", order=times.order)
        parts.append(LipPart(what=LipStep.WAITING, text=text, change_c=0.0))
    rest_c = row.lip_temp_c - (row.pot_temp_c - way_c - waited_c)
    if abs(rest_c) > SAME_C:
        parts.append(LipPart(what=LipStep.REST, text=tell("lip.rest"), change_c=rest_c))
    u_c = math.hypot(*own_u_c)
    agrees = row.lip_u_c is None or abs(u_c - row.lip_u_c) <= SAME_C
    text = tell("lip.together" if agrees else "lip.as_decided")
    parts.append(LipPart(what=LipStep.LIP, text=text, temp_c=row.lip_temp_c, u_c=row.lip_u_c))
    return tuple(parts)


def figure_told(source: PourSource) -> Message:
    """What a temperature of the pot rests on, in words."""
    match source.figure:
        case FigureSource.DIP:
            told = tell("figure.dip_new", number=source.dip or 0)
        case FigureSource.TYPED:
            told = tell("figure.typed_new", instrument=source.instrument)
        case live:
            told = tell(f"figure.{live.value}")
    if abs(source.lag_c) >= LAG_SAID_C:
        return tell("figure.lag", how=told, lag_difference_c=abs(source.lag_c))
    return told


class _Way(NamedTuple):
    """What lay ahead of the figure: of the planned way, and of waiting beyond it."""

    left_s: float
    left_c: float
    extra_s: float
    waited_c: float
    whole: bool  # of the planned way nothing was behind it


def _reckoned(row: PourRow, mould: MouldPlan, times: Times) -> _Way:
    """The way as the record has it: a figure read in the hand has part of it behind it. Older versions reckoned the
    whole way for such a figure, too, and waiting in proportion to the time."""
    pot_c, lip_c = row.pot_temp_c or 0.0, row.lip_temp_c or 0.0
    ways = []
    for read_s in dict.fromkeys((_read_in_hand_s(row, times), None)):
        left_s, left_c = way_left(mould, times.lift_s, read_s)
        whole = read_s is None
        extra_s = waited_s(mould, times.lift_s, times.at_s) if read_s is None else times.at_s - read_s - left_s
        extra_s = max(0.0, extra_s)
        for waited_c in (waiting_loss_c(mould, pot_c - left_c, extra_s), loss_rate_c_per_s(mould) * extra_s):
            ways.append(_Way(left_s, left_c, extra_s, waited_c, whole))
    return min(ways, key=lambda way: round(abs(pot_c - way.left_c - way.waited_c - lip_c), 6))


def _read_in_hand_s(row: PourRow, times: Times) -> float | None:
    """When the figure was read, where the pot was out of the furnace by then; None: it was not."""
    if row.source is None or row.source.at_lift or times.lift_s is None:
        return None
    return max(times.lift_s, times.at_s - row.source.stale_s)


def _rest_of_way(mould: MouldPlan, way: _Way) -> list[LipPart]:
    """What remained of the way, and how little is known of what was behind it."""
    text = tell("lip.way.left", left_s=way.left_s, planned_s=mould.loss_s)
    behind = tell("lip.way.behind")
    return [
        LipPart(what=LipStep.WAY, text=text, change_c=-way.left_c, u_c=mould.loss_u_c),
        LipPart(what=LipStep.WAY, text=behind, change_c=0.0, u_c=0.5 * (mould.loss_c - way.left_c)),
    ]


def _pot(row: PourRow) -> list[LipPart]:
    """The figure it rests on, and what became of that until then."""
    source = row.source
    if source is None:
        return [LipPart(what=LipStep.POT, text=row.basis, temp_c=row.pot_temp_c, u_c=row.pot_u_c)]
    figure = figure_told(source)
    grown_c = GROWTH_C_PER_MIN * source.age_s / 60.0
    own_u_c = None if row.pot_u_c is None else math.sqrt(max(0.0, row.pot_u_c**2 - grown_c**2))
    text: Told = tell("lip.at_lift" if source.at_lift else "lip.at_pour", figure=figure)
    parts = [LipPart(what=LipStep.POT, text=text, temp_c=row.pot_temp_c, u_c=own_u_c)]
    if source.age_s > 0.0:
        text = tell("lip.aged", figure=figure, age_s=source.age_s)
        parts.append(LipPart(what=LipStep.SINCE, text=text, change_c=0.0, u_c=grown_c))
    elif source.stale_s > STALE_S:
        parts.append(LipPart(what=LipStep.SINCE, text=tell("lip.stale", stale_s=source.stale_s), change_c=0.0))
    return parts


def _way(mould: MouldPlan, times: Times) -> list[LipPart]:
    """Lift and walk, ladle, stream, where the plan told them apart; else the whole. All of it is the plan's: a pour
    marked sooner after its lift is still reckoned with the time that is planned, and it is said."""
    way = mould.way
    if way is None or way.basis is LossBasis.STATED:
        text = tell("lip.way.whole" if way is None else "lip.way.stated")
        return [LipPart(what=LipStep.WAY, text=text, change_c=-mould.loss_c, u_c=mould.loss_u_c)]
    open_s, taken_s = way.open_s, None if times.lift_s is None else times.at_s - times.lift_s
    text = tell("lip.way.open", open_s=open_s)
    if taken_s is not None and taken_s < open_s - STALE_S:
        text = tell("lip.way.open_sooner", open_s=open_s, taken_s=taken_s)
    parts = [LipPart(what=LipStep.WALK, text=text, change_c=-way.walk_c)]
    if way.ladle_c is not None:
        parts.append(LipPart(what=LipStep.LADLE, text=tell("lip.way.ladle"), change_c=-way.ladle_c))
    parts.append(LipPart(what=LipStep.STREAM, text=tell("lip.way.stream"), change_c=-way.stream_c))
    text = tell("lip.way.u", loss_basis=way.basis.value)
    return [*parts, LipPart(what=LipStep.WAY, text=text, u_c=mould.loss_u_c)]
