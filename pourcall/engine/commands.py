"""Commands of people and scripts. Each takes effect, by one method of the fact it tells, or is refused with a remedy.

Here it is decided whether a command may be obeyed; what it leads to stands with the fact (facts.py). An answer to a
call tells the same fact as the key for it: *done* on the skim call is a skim.
"""

from collections.abc import Mapping
from typing import assert_never

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.inputs import Answer
from pourcall.contract.message import Told, own, tell
from pourcall.contract.plan import MouldPlan
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.units import HIGHEST_MEANT_C
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.bath.dips import DEEPEST_MM, DipWatch
from pourcall.engine.bath.metal import MetalNow
from pourcall.engine.calls import DIP_AGAIN_BAD_S, CallManager, put_off
from pourcall.engine.facts import ShopFacts
from pourcall.engine.guidance.guidance import ProfileGuidance
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.engine.outputs import Outputs
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.engine.sensing.trust import Cause

MeltCommand = (
    inp.ChangeMelt
    | inp.EndMelt
    | inp.MarkPour
    | inp.CorrectPour
    | inp.MarkLift
    | inp.MarkReturn
    | inp.MarkAddition
    | inp.MarkSkim
    | inp.AnswerCall
    | inp.RunProfile
    | inp.StopProfile
    | inp.NextSegment
)
AlarmCommand = inp.AckAlarm | inp.SilenceAlarms | inp.ShelveAlarm | inp.UnshelveAlarm | inp.TestAlarm
ProbeCommand = inp.SetPlace | inp.SetProbeState | inp.StartDip

CONFIRMS_S = 30.0  # so long after a lift that was proposed, a person's mark confirms it


class CommandHandler:
    """Commands of one furnace."""

    def __init__(
        self,
        facts: ShopFacts,
        calls: CallManager,
        alarms: AlarmManager,
        guiding: ProfileGuidance,
        channels: Mapping[str, ProbeChannel],
        watches: Mapping[str, DipWatch],
        outputs: Outputs,
    ) -> None:
        self._facts, self._calls, self._alarms, self._guiding = facts, calls, alarms, guiding
        self._channels, self._watches, self._outputs = channels, watches, outputs

    def apply(self, command: inp.Command, metal: MetalNow, rate_c_per_min: float | None) -> None:
        """Every command takes effect or is refused. metal, rate: what is known of the metal at this moment."""
        facts = self._facts
        if isinstance(command, AlarmCommand):
            self._alarm(command)
            return
        if isinstance(command, ProbeCommand):
            self._probe(command)
            return
        if isinstance(command, MeltCommand):
            if facts.run is None:
                self._refuse(command, tell("command.no_melt"), tell("command.do.start"))
            else:
                self._melt(command, facts.run, metal)
            return
        match command:
            case inp.StartMelt():
                if facts.run is None:
                    facts.start(command)
                else:
                    self._refuse(
                        command, tell("command.melt_runs", melt=facts.run.plan.melt), tell("command.do.end_first")
                    )
            case inp.Note():
                self._outputs.mark(ev.MarkKind.NOTE, own(command.text))
            case inp.MarkPower():
                facts.set_power(command.level, self._back(command.ago_s))
            case inp.EnterTemperature():
                self._read_off(command, metal, rate_c_per_min)
            case _:
                assert_never(command)

    def _read_off(self, command: inp.EnterTemperature, metal: MetalNow, rate_c_per_min: float | None) -> None:
        if not -273.15 <= command.temp_c <= HIGHEST_MEANT_C:
            what = tell("command.not_meant", temp_c=command.temp_c)
            self._refuse(command, what, tell("command.do.check_figure"))
            return
        at_s = self._back(command.ago_s)
        match command.instrument:
            case inp.Instrument.PANEL:
                self._facts.panel_read(command.temp_c, command.source, at_s, metal, rate_c_per_min)
            case inp.Instrument.METER:
                self._facts.meter_read(command.temp_c, command.source, at_s, sure=command.sure)
            case None:  # the furnace or the metal: taken for the wrong one, it would have metal poured
                self._refuse(
                    command, tell("command.no_instrument", temp_c=command.temp_c), tell("command.do.name_instrument")
                )
            case _:
                assert_never(command.instrument)

    # -- the running melt ---------------------------------------------------------------------------------------------

    def _melt(self, command: MeltCommand, run: MeltRun, metal: MetalNow) -> None:
        facts = self._facts
        match command:
            case inp.MarkPour() | inp.MarkLift() | inp.MarkReturn() | inp.MarkAddition() | inp.MarkSkim():
                self._happened(command, run)
            case inp.ChangeMelt():
                facts.change(run, command)
            case inp.EndMelt():
                if command.melt not in ("", run.plan.melt):  # asked of one that was over before the answer came
                    what = tell("command.other_melt", melt=command.melt, running=run.plan.melt)
                    self._refuse(command, what, tell("command.do.end_this"))
                    return
                facts.end(run, command.ending)
            case inp.CorrectPour():
                if command.mould and not self._known_mould(command, command.mould, run):
                    return
                if not facts.correct_pour(run, command):
                    self._refuse(command, tell("command.no_pour", number=command.number), tell("command.do.list_pours"))
            case inp.AnswerCall():
                self._answer(command, run, metal)
            case inp.RunProfile() | inp.StopProfile() | inp.NextSegment():
                what, remedy = self._guiding.command(command, run, metal.temp_c, self._outputs.mono_s)
                if what:
                    self._refuse(command, what, remedy)
            case _:
                assert_never(command)

    def _happened(
        self,
        command: inp.MarkPour | inp.MarkLift | inp.MarkReturn | inp.MarkAddition | inp.MarkSkim,
        run: MeltRun,
    ) -> None:
        """What may be told a while after it happened, within the melt."""
        at_s = self._back(command.ago_s)
        if at_s < run.began_s:
            self._refuse(command, tell("command.before_the_melt"), tell("command.do.shorter_ago"))
            return
        match command:
            case inp.MarkPour():
                self._pour(command, run, at_s)
            case inp.MarkLift():
                self._lift(command, run, at_s)
            case inp.MarkReturn():
                self._return(command, run, at_s)
            case inp.MarkAddition():
                self._facts.add_metal(run, at_s, command.mass_kg, command.source)
            case inp.MarkSkim():
                self._facts.skim(run, at_s)
            case _:
                assert_never(command)

    def _lift(self, command: inp.MarkLift, run: MeltRun, at_s: float) -> None:
        """A pot that is out is not lifted again, unless its metal was read since; earlier, it may have been lifted."""
        first_s = run.lift_s
        again = first_s is not None and run.lifted(self._outputs.mono_s) and at_s > first_s
        if not again or first_s is None or run.read_since_lift(self._facts.history, at_s):
            self._facts.lift(run, at_s, proposed=False)
        elif run.lift_proposed and at_s - first_s <= CONFIRMS_S:
            self._facts.lift(run, first_s, proposed=False)  # the same lift: it cools since the first moment of it
        else:
            what = tell("command.lifted_already", out_s=self._outputs.mono_s - first_s)
            self._refuse(command, what, tell("command.do.back_first"))

    def _return(self, command: inp.MarkReturn, run: MeltRun, at_s: float) -> None:
        """Only a pot that was lifted comes back, and not before it was."""
        if run.lift_s is None:
            self._refuse(command, tell("command.not_lifted"), tell("command.do.lift_before"))
        elif at_s < run.lift_s:
            what = tell("command.before_the_lift", out_s=self._outputs.mono_s - run.lift_s)
            self._refuse(command, what, tell("command.do.shorter_ago"))
        else:
            self._facts.returned(run, at_s, seen=False)

    def _pour(self, command: inp.MarkPour, run: MeltRun, at_s: float) -> None:
        if command.mould:
            mould = self._known_mould(command, command.mould, run)
            if mould is None:
                return
        else:
            mould = run.next_mould
        if mould is None:
            self._refuse(command, tell("command.all_poured"), tell("command.do.add_mould"))
            return
        self._facts.pour(run, mould, at_s, command.ago_s)

    def _known_mould(self, command: inp.MarkPour | inp.CorrectPour, name: str, run: MeltRun) -> MouldPlan | None:
        """The mould of that name; None, and the command refused: there is none in this melt."""
        mould = next((mould for mould in run.plan.moulds if mould.name == name), None)
        if mould is None:
            names = ", ".join(mould.name for mould in run.plan.moulds)
            remedy = tell("command.do.moulds_are", names=names) if names else tell("command.do.add_mould")
            self._refuse(command, tell("command.no_mould", mould=name), remedy)
        return mould

    def _answer(self, command: inp.AnswerCall, run: MeltRun, metal: MetalNow) -> None:
        """An answer ends the call; *done* tells the fact as well that the call asked for."""
        now_s, done = self._outputs.mono_s, command.answer is Answer.DONE
        kind = next((k for k in ev.CallKind if k == command.call), None)
        call = None if kind is None else self._calls.up(kind)
        if kind is None or call is None:
            self._refuse(command, tell("command.no_call", call=command.call), tell("command.do.nothing"))
            return
        if not done:
            put_off(kind, run, now_s)
        self._calls.answered(kind, now_s, done=done)
        self._calls.end(kind, tell("call.ended.answered" if done else "call.ended.not_now"))
        level = self._guiding.answered(kind, command.answer, metal.temp_c, now_s)
        if level is not None and level is not self._facts.power.level:
            self._facts.set_power(level, now_s)
        if not done:
            return
        match kind:
            case ev.CallKind.SKIM:
                self._facts.skim(run, now_s)
            case ev.CallKind.POUR | ev.CallKind.WINDOW_CLOSING:
                self._pour(inp.MarkPour(mould=call.mould, who=command.who), run, now_s)
            case ev.CallKind.DIP:
                run.put_off(kind, now_s + DIP_AGAIN_BAD_S)  # it is seen in the trace, if it was one
            case ev.CallKind.CHECK_POWER:
                self._facts.looked_at_power()
            case ev.CallKind.CUT_POWER | ev.CallKind.STEP:
                pass  # the power is set above
            case _:
                assert_never(kind)

    # -- alarms -------------------------------------------------------------------------------------------------------

    def _alarm(self, command: AlarmCommand) -> None:
        alarms, now_s, utc_s = self._alarms, self._outputs.mono_s, self._outputs.utc_s
        try:
            match command:
                case inp.AckAlarm():
                    self._ack(command)
                case inp.SilenceAlarms():
                    alarms.silence(now_s)
                case inp.ShelveAlarm():
                    why_not = alarms.shelve(command.alarm, command.minutes, now_s, command.who)
                    if why_not:
                        self._refuse(command, why_not, tell("command.do.acknowledge_instead"))
                case inp.UnshelveAlarm():
                    alarms.unshelve(command.alarm, command.who)
                case inp.TestAlarm():
                    alarms.set_condition("test", "path", True, now_s, utc_s, at_once=True)
                    alarms.set_condition("test", "path", False, now_s, utc_s)
                case _:
                    assert_never(command)
        except KeyError:
            named = "" if isinstance(command, inp.SilenceAlarms | inp.TestAlarm) else command.alarm
            self._refuse(command, tell("command.no_alarm", alarm=named), tell("command.do.cleared_meanwhile"))

    def _ack(self, command: inp.AckAlarm) -> None:
        alarms, now_s = self._alarms, self._outputs.mono_s
        alarms.ack(command.alarm, now_s, self._outputs.utc_s, command.who)
        for name, channel in self._channels.items():
            if all(alarms.is_acked(cause, name) for cause in Cause if cause):
                channel.mended(now_s)

    # -- probes -------------------------------------------------------------------------------------------------------

    def _probe(self, command: ProbeCommand) -> None:
        channel = self._channels.get(command.probe)
        if channel is None:
            remedy = tell("command.do.probes_are", names=", ".join(self._channels) or "-")
            self._refuse(command, tell("command.no_probe", probe=command.probe), remedy)
            return
        match command:
            case inp.SetPlace():
                self._place(channel, command.place)
                self._watches[command.probe].forget()
            case inp.SetProbeState():
                before = channel.tracker.state
                channel.tracker.force(command.state, self._outputs.mono_s)
                why = tell("command.probe_told", who=command.who)
                self._outputs.say(ev.ProbeStateChanged, probe=command.probe, old=before, new=command.state, why=why)
            case inp.StartDip():
                self._start_dip(command, channel)
            case _:
                assert_never(command)

    def _start_dip(self, command: inp.StartDip, channel: ProbeChannel) -> None:
        """Depth and stirring are said once and hold for this probe till something else is said."""
        tracker = channel.tracker
        if command.depth_mm is not None and not 0.0 < command.depth_mm <= DEEPEST_MM:
            self._refuse(command, tell("command.depth", depth_mm=command.depth_mm), tell("command.do.depth"))
            return
        if tracker.place is Place.MELT and tracker.state in (ProbeState.SETTLING, ProbeState.IN_METAL):
            self._refuse(command, tell("command.stays_in", probe=command.probe), tell("command.do.take_it_out"))
            return
        self._watches[command.probe].announce(command.depth_mm, command.stirred)
        if tracker.place is not Place.DIP:
            self._place(channel, Place.DIP)

    def _place(self, channel: ProbeChannel, place: Place) -> None:
        old = channel.tracker.place
        channel.tracker.set_place(place)
        self._outputs.say(ev.PlaceChanged, probe=channel.config.name, old=old, new=place)

    # -- words --------------------------------------------------------------------------------------------------------

    def _back(self, ago_s: float) -> float:
        return self._outputs.mono_s - max(ago_s, 0.0)

    def _refuse(self, command: inp.Command, what: Told, remedy: Told) -> None:
        name = str(type(command).__struct_config__.tag)
        self._outputs.say(ev.CommandRefused, command=name, what=what, remedy=remedy)
