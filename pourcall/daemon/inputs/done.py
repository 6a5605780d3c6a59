"""What a command did, as a message to the person who gave it. One for every command there is."""

from collections.abc import Sequence
from typing import TypeVar, assert_never

from pourcall.contract import inputs as inp
from pourcall.contract.events import (
    Marked,
    MarkKind,
    MeltEnded,
    MeltStarted,
    Output,
    PourMarked,
    ProfileChanged,
    ProfileHow,
)
from pourcall.contract.inputs import NOT_NOW_S
from pourcall.contract.message import Message, tell

T = TypeVar("T")


def done(command: inp.Command, outputs: Sequence[Output]) -> Message:
    """The command, and what came of it."""
    match command:
        case inp.StartMelt():
            began = _one(outputs, MeltStarted)
            plan = command.plan if began is None else began.plan
            return tell("daemon.done.start", melt=plan.melt, alloy=plan.alloy.name, charge_kg=plan.charge_kg)
        case inp.ChangeMelt():
            plan = command.plan
            return tell("daemon.done.change", melt=plan.melt, alloy=plan.alloy.name, charge_kg=plan.charge_kg)
        case inp.EndMelt():
            ended = _one(outputs, MeltEnded)
            return _minding(MarkKind.MOULDS_LEFT, _ended(ended, command), outputs)
        case inp.MarkPour():
            marked = _one(outputs, PourMarked)
            if marked is None:
                return tell("daemon.done.pour_unnumbered")
            told = tell("daemon.done.pour", number=marked.pour.number, mould=marked.pour.mould)
            return _minding(MarkKind.POUR_DOUBTFUL, told, outputs)
        case inp.CorrectPour():
            return tell("daemon.done.correct_pour", number=command.number)
        case inp.MarkAddition():
            source = command.source or "metal"
            if command.mass_kg is None:
                return tell("daemon.done.addition_unweighed", source=source)
            return tell("daemon.done.addition", mass_kg=command.mass_kg, source=source)
        case inp.MarkPower():
            return tell("daemon.done.power", level=command.level.value)
        case inp.SetPlace():
            return tell("daemon.done.place", probe=command.probe, place=command.place.value)
        case inp.SetProbeState():
            return tell("daemon.done.probe_state", probe=command.probe, probe_state=command.state.value)
        case inp.StartDip():
            return tell("daemon.done.dip", probe=command.probe)
        case inp.EnterTemperature():
            return tell("daemon.done.temperature", temp_c=command.temp_c, instrument=command.source)
        case inp.RunProfile() | inp.StopProfile() | inp.NextSegment():
            return _profile(_one(outputs, ProfileChanged))
        case inp.AnswerCall():
            if command.answer is inp.Answer.NOT_NOW:
                return tell("daemon.done.not_now", call=command.call, quiet_min=NOT_NOW_S / 60.0)
            return tell("daemon.done.answer", call=command.call, answer=command.answer.value)
        case inp.AckAlarm():
            return tell("daemon.done.ack", alarm=command.alarm) if command.alarm else tell("daemon.done.ack_all")
        case inp.ShelveAlarm():
            return tell("daemon.done.shelve", alarm=command.alarm, for_min=command.minutes)
        case inp.UnshelveAlarm():
            return tell("daemon.done.unshelve", alarm=command.alarm)
        case _:  # nothing but that it was done; tests/texts hold that each has its sentence
            return tell(f"daemon.done.{command.__struct_config__.tag}")


def _one(outputs: Sequence[Output], kind: type[T]) -> T | None:
    return next((out for out in outputs if isinstance(out, kind)), None)


def _minding(what: MarkKind, told: Message, outputs: Sequence[Output]) -> Message:
    """What was done, with what the engine marked as doubtful or left open about it."""
    marked = next((out for out in outputs if isinstance(out, Marked) and out.what is what), None)
    return told if marked is None else tell("daemon.done.minding", what=told, mind=marked.text)


def _ended(ended: MeltEnded | None, command: inp.EndMelt) -> Message:
    """How it ended, and what was left; ingots have the numbers that they get on record."""
    melt, ending = ("", command.ending) if ended is None else (ended.melt, ended.ending)
    parts = [tell("daemon.done.ending", ending=ending.value)]
    for number, mass_kg in enumerate(command.ingots_kg, start=1):
        parts.append(tell("daemon.done.ingot", ingot=f"{melt}-i{number}", mass_kg=mass_kg))
    if command.heel_kg:
        parts.append(tell("daemon.done.heel", mass_kg=command.heel_kg))
    return tell("daemon.done.end", melt=melt, parts=tuple(parts))


def _profile(changed: ProfileChanged | None) -> Message:
    if changed is None:
        return tell("daemon.done.profile_unchanged")
    match changed.how:
        case ProfileHow.STOPPED:
            return tell("daemon.done.profile_stopped", profile=changed.profile)
        case ProfileHow.OVER:
            return tell("daemon.done.profile_over", profile=changed.profile)
        case ProfileHow.BEGAN | ProfileHow.CHANGED | ProfileHow.MOVED | ProfileHow.ENDED:
            return tell("daemon.done.profile", profile=changed.profile, segment=changed.segment, of=changed.of)
        case _:
            assert_never(changed.how)
