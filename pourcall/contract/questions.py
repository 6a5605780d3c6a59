"""What a person is asked before a command counts. A function of the command and the snapshot: one question, every door.

In: what is to be sent, and the furnace as it stands. Out: what is doubtful about it, typed, and the question; None:
nothing is. A command that carries `sure` was asked about already, by whoever sends it. What the engine refuses outright
is not asked here.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from pourcall.contract import inputs as inp
from pourcall.contract.events import CallKind, MeltState
from pourcall.contract.masses import more_than_went_in
from pourcall.contract.message import Message, tell
from pourcall.contract.reading import TYPED_U_C
from pourcall.contract.snapshot import FurnaceSnapshot, LastRead

COLDEST_SHOP_C = 0.0  # no meter in metal or furnace shows less (common practice, no source)
_LIQUID = (MeltState.LIQUID, MeltState.READY, MeltState.ABOVE)
CALLED_LASTS_S = 30.0  # a call is lifted on for so long after it ended: the probe leaves first, then the pot
LIFT_LASTS_S = 900.0  # so long a pot stands lifted unless somebody says otherwise
TWO_CLOCKS_S = 0.5  # a pour that proposed its lift: both of one moment, by two clocks


# Metal heated at full power rises by up to about 1 degC/s (engine/sensing/probe_state.py); an open pot of it cools by
# 2.6 at the most (silicon bronze, engine/situation.py). What is beyond both was misread, mistyped, or of another pot.
RISES_C_PER_S, FALLS_C_PER_S = 1.3, 2.7
MISREADS = 2.0  # times the uncertainty of both: two meters are so far apart on a bad day (judgement, no source)


class Doubt(StrEnum):
    """Why a command is asked about."""

    NOT_CALLED = "not_called"  # no pour was called, the pot is not out, the metal is not in its window
    FROZEN = "frozen"  # by estimate the metal in the hand is solid, or part of it
    LONG_OUT = "long_out"  # the pot was lifted so long ago that nothing is known of its metal
    TOO_HOT = "too_hot"  # above what alloy and pot may be at, or above what the furnace can reach
    OUT_OF_REACH = "out_of_reach"  # no furnace can have brought the metal there since it was last read
    TOO_COLD = "too_cold"  # below any shop, or solid by its sheet in a melt that counts as liquid
    POURED_TWICE = "poured_twice"  # that mould has its metal already
    MORE_THAN_IN = "more_than_in"  # more metal came out than went in


@dataclass(frozen=True, slots=True)
class Question:
    """What is doubtful, and how it is asked."""

    doubt: Doubt
    text: Message


def question(command: inp.Command, shot: FurnaceSnapshot) -> Question | None:
    """What is to be asked before this command counts; None: nothing, or it was asked already."""
    match command:
        case inp.MarkPour() | inp.MarkLift():
            return None if command.sure or not shot.melt else _of_mark(command, shot)
        case inp.EnterTemperature():
            return None if command.sure else _of_figure(command, shot)
        case inp.EndMelt():
            return None if command.sure else _of_masses(command, shot)
        case _:
            return None


def _of_mark(command: inp.MarkPour | inp.MarkLift, shot: FurnaceSnapshot) -> Question | None:
    poured = isinstance(command, inp.MarkPour)
    if isinstance(command, inp.MarkPour) and _has_metal(command.mould, shot):
        return Question(Doubt.POURED_TWICE, tell("question.poured_twice", mould=command.mould))
    out_s = None if shot.lift_mono_s is None else shot.mono_s - command.ago_s - shot.lift_mono_s
    if out_s is None or out_s >= LIFT_LASTS_S:
        called = any(call.kind in (CallKind.POUR, CallKind.WINDOW_CLOSING) for call in shot.calls)
        if called or shot.melt_state in (MeltState.READY, MeltState.ABOVE):
            return None
        if poured and out_s is not None:
            return Question(Doubt.LONG_OUT, tell("question.long_out", out_min=out_s / 60.0))
        ended, at_s = shot.pour_call_ended, shot.mono_s - command.ago_s
        if ended is not None and ended.raised_mono_s <= at_s <= ended.ended_mono_s + CALLED_LASTS_S:
            return None  # it was called, and by now the probe is out
        if ended is not None and at_s > ended.ended_mono_s:
            text = tell(
                "question.pour_call_ended" if poured else "question.lift_call_ended",
                mould=ended.mould,
                ago_s=at_s - ended.ended_mono_s,
                why=ended.why,
            )
            return Question(Doubt.NOT_CALLED, text)
        state = shot.melt_state.value
        text = tell("question.pour_not_called" if poured else "question.lift_not_called", melt_state=state)
        return Question(Doubt.NOT_CALLED, text)
    if not poured:
        return None
    lip_c = None if shot.window is None else shot.window.lip_now_c
    closed_by_then = shot.countdown_s is not None and shot.countdown_s + command.ago_s <= 0.0
    alloy = None if shot.plan is None else shot.plan.alloy
    if not closed_by_then or lip_c is None or alloy is None or lip_c >= alloy.liquidus_c:
        return None
    if lip_c < alloy.solidus_c:
        return Question(Doubt.FROZEN, tell("question.frozen", lip_c=lip_c, solidus_c=alloy.solidus_c))
    return Question(Doubt.FROZEN, tell("question.part_frozen", lip_c=lip_c, liquidus_c=alloy.liquidus_c))


def _has_metal(mould: str, shot: FurnaceSnapshot) -> bool:
    """The mould of that name has got its metal; not where no mould has that name."""
    known = shot.plan is not None and any(one.name == mould for one in shot.plan.moulds)
    is_next = shot.window is not None and shot.window.mould == mould
    return known and not is_next and mould not in shot.moulds_left


def _of_figure(command: inp.EnterTemperature, shot: FurnaceSnapshot) -> Question | None:
    """A handheld meter in the metal against what limits the pot; a panel, and a meter without a melt, the furnace."""
    if command.temp_c < COLDEST_SHOP_C:
        return Question(Doubt.TOO_COLD, tell("question.below_any_shop", temp_c=command.temp_c))
    of_metal = shot.plan is not None and command.instrument is not inp.Instrument.PANEL
    limit = shot.plan.lowest_limit if shot.plan is not None and of_metal else None
    if limit is not None and command.temp_c > limit.limit_c:
        text = tell("question.above_limit", temp_c=command.temp_c, whose=limit.whose, limit_c=limit.limit_c)
        return Question(Doubt.TOO_HOT, _off_first(text, shot))
    if limit is None and shot.rating_c is not None and command.temp_c > shot.rating_c:
        text = tell("question.above_rating", temp_c=command.temp_c, limit_c=shot.rating_c)
        return Question(Doubt.TOO_HOT, _off_first(text, shot))
    if shot.plan is not None and of_metal and shot.melt_state in _LIQUID:
        solidus_c = shot.plan.alloy.solidus_c
        if command.temp_c < solidus_c:
            text = tell("question.below_solidus", temp_c=command.temp_c, solidus_c=solidus_c)
            return Question(Doubt.TOO_COLD, text)
    last, at_s = shot.last_read, shot.mono_s - command.ago_s
    if of_metal and last is not None and out_of_reach(last, command.temp_c, at_s):
        text = tell(
            "question.out_of_reach", temp_c=command.temp_c, before_c=last.temp_c, before_s=abs(at_s - last.at_mono_s)
        )
        higher = command.temp_c > last.temp_c
        return Question(Doubt.OUT_OF_REACH, _off_first(text, shot) if higher else text)
    return None


def out_of_reach(last: LastRead, temp_c: float, at_s: float) -> bool:
    """No furnace can have brought the metal from its last figure to this one, each allowed its uncertainty."""
    apart_s, u_c = abs(at_s - last.at_mono_s), MISREADS * math.hypot(last.u_c, TYPED_U_C)
    later = at_s >= last.at_mono_s
    rise_c = (temp_c - last.temp_c) if later else (last.temp_c - temp_c)
    if rise_c >= 0.0:
        return rise_c > u_c + RISES_C_PER_S * apart_s
    return not last.cooled and -rise_c > u_c + FALLS_C_PER_S * apart_s


def _off_first(asked: Message, shot: FurnaceSnapshot) -> Message:
    """If it is so hot, the heat comes off before anything is answered; not where the pot is out or the power is off."""
    off = shot.power is inp.PowerLevel.OFF and not shot.applied_permille
    if shot.lift_mono_s is not None or off:
        return asked
    return tell("question.off_first", heat_off="burner" if shot.kind == "fuel" else "power", asked=asked)


def _of_masses(command: inp.EndMelt, shot: FurnaceSnapshot) -> Question | None:
    """Moulds that have metal, each as it was to be filled, ingots and heel against what went in and was weighed."""
    left_kg = sum(command.ingots_kg) + command.heel_kg
    if shot.plan is None or not shot.in_kg or left_kg <= 0.0:
        return None
    poured_kg = sum(one.mass_kg for one in shot.plan.moulds if one.name not in shot.moulds_left)
    if not more_than_went_in(shot.in_kg, left_kg + poured_kg, unweighed=shot.unweighed):
        return None
    out_kg = left_kg + poured_kg
    if shot.unweighed:
        return Question(Doubt.MORE_THAN_IN, tell("question.more_than_weighed", out_kg=out_kg, in_kg=shot.in_kg))
    return Question(Doubt.MORE_THAN_IN, tell("question.more_than_in", out_kg=out_kg, in_kg=shot.in_kg))
