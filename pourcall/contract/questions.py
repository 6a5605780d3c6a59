"""What a person is asked before a command counts. A function of the command and the snapshot: one question, every door.

In: what is to be sent, and the furnace as it stands. Out: what is doubtful about it, typed, and the question; None:
nothing is. A command that carries `sure` was asked about already, by whoever sends it. What the engine refuses outright
is not asked here.
"""

from dataclasses import dataclass
from enum import StrEnum

from pourcall.contract import inputs as inp
from pourcall.contract.events import CallKind, MeltState
from pourcall.contract.message import Message, tell
from pourcall.contract.snapshot import FurnaceSnapshot

LIFT_LASTS_S = 900.0  # so long a pot stands lifted unless somebody says otherwise


class Doubt(StrEnum):
    """Why a command is asked about."""

    NOT_CALLED = "not_called"  # no pour was called, the pot is not out, the metal is not in its window
    FROZEN = "frozen"  # by estimate the metal in the hand is solid
    LONG_OUT = "long_out"  # the pot was lifted so long ago that nothing is known of its metal
    TOO_HOT = "too_hot"  # above what alloy and pot may be at, or above what the furnace can reach


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
        case _:
            return None


def _of_mark(command: inp.MarkPour | inp.MarkLift, shot: FurnaceSnapshot) -> Question | None:
    poured = isinstance(command, inp.MarkPour)
    out_s = None if shot.lift_mono_s is None else shot.mono_s - command.ago_s - shot.lift_mono_s
    if out_s is None or out_s >= LIFT_LASTS_S:
        called = any(call.kind in (CallKind.POUR, CallKind.WINDOW_CLOSING) for call in shot.calls)
        if called or shot.melt_state in (MeltState.READY, MeltState.ABOVE):
            return None
        if poured and out_s is not None:
            return Question(Doubt.LONG_OUT, tell("question.long_out", out_min=out_s / 60.0))
        state = shot.melt_state.value
        text = tell("question.pour_not_called" if poured else "question.lift_not_called", melt_state=state)
        return Question(Doubt.NOT_CALLED, text)
    if not poured:
        return None
    lip_c = None if shot.window is None else shot.window.lip_now_c
    closed_by_then = shot.countdown_s is not None and shot.countdown_s + command.ago_s <= 0.0
    solidus_c = None if shot.plan is None else shot.plan.alloy.solidus_c
    if closed_by_then and lip_c is not None and solidus_c is not None and lip_c < solidus_c:
        return Question(Doubt.FROZEN, tell("question.frozen", lip_c=lip_c, solidus_c=solidus_c))
    return None


def _of_figure(command: inp.EnterTemperature, shot: FurnaceSnapshot) -> Question | None:
    """A handheld meter in the metal against what limits the pot; a panel, and a meter without a melt, the furnace."""
    limit = None if shot.plan is None or command.instrument is inp.Instrument.PANEL else shot.plan.lowest_limit
    if limit is not None and command.temp_c > limit.limit_c:
        text = tell("question.above_limit", temp_c=command.temp_c, whose=limit.whose, limit_c=limit.limit_c)
        return Question(Doubt.TOO_HOT, text)
    if limit is None and shot.rating_c is not None and command.temp_c > shot.rating_c:
        return Question(Doubt.TOO_HOT, tell("question.above_rating", temp_c=command.temp_c, limit_c=shot.rating_c))
    return None
