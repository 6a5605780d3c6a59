"""What people say, in the engine. Every command takes effect or is refused in words, with what to do instead.

In: a command at its place in the order. Out: marks, pours, lifts, a melt begun, changed, ended; alarms set aside. The
engine (core.py) keeps the state; nothing here lasts longer than a command.
"""

from typing import TYPE_CHECKING

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.message import Told
from pourcall.contract.reading import TYPED_U_C, Place, ProbeState
from pourcall.contract.units import HIGHEST_MEANT_C, say_c
from pourcall.engine.bath.dips import DEEPEST_MM, is_panel
from pourcall.engine.bath.metal import MetalHistory
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.engine.sensing.measurement import ProbeChannel

if TYPE_CHECKING:
    from pourcall.engine.core import Engine


class Orders:
    """Commands of one furnace."""

    def __init__(self, engine: "Engine") -> None:
        self._engine = engine

    def obey(self, command: inp.Command) -> None:
        """Every command either takes effect or is refused in words."""
        engine = self._engine
        if isinstance(command, inp.StartMelt):
            self._start(command)
        elif isinstance(command, inp.Note):
            engine.mark("note", command.text)
        elif isinstance(command, inp.AckAlarm):
            self._ack(command)
        elif isinstance(command, inp.SilenceAlarms):
            engine.alarms.silence(engine.mono_s)
        elif isinstance(command, inp.ShelveAlarm | inp.UnshelveAlarm | inp.ResetAlarm):
            self._set_aside(command)
        elif isinstance(command, inp.TestAlarm):
            engine.alarms.set_condition("test", "path", True, engine.mono_s, engine.utc_s, at_once=True)
            engine.alarms.set_condition("test", "path", False, engine.mono_s, engine.utc_s)
        elif isinstance(command, inp.SetPlace | inp.SetProbeState | inp.StartDip):
            self._probe_command(command)
        elif isinstance(command, inp.MarkPower):
            self._set_power(command.level, self._back(command.ago_s))
        elif isinstance(command, inp.EnterTemperature):
            self._typed_in(command)
        elif engine.run is None:
            self._refuse(command, "no melt runs on this furnace", "Start a melt first")
        else:
            self._melt_command(command, engine.run)

    def _set_power(self, level: inp.PowerLevel, at_s: float) -> None:
        engine = self._engine
        if level is not engine.power.level:
            engine.arrests.disturbed(engine.mono_s)
        engine.power.mark(level, at_s)
        engine.say(ev.PowerMarked, level=level, at_mono_s=at_s)
        engine.guiding.marked_power()

    def _melt_command(self, command: inp.Command, run: MeltRun) -> None:
        engine = self._engine
        if self._back(getattr(command, "ago_s", 0.0)) < run.began_s:
            self._refuse(command, "that is before the melt began", "Give a shorter time ago")
        elif isinstance(command, inp.ChangeMelt):
            old, run.plan = run.plan, command.plan
            engine.guiding.change(old, command.plan, engine.power, engine.mono_s)
            engine.arrests.change(old, command.plan)
            engine.calls.clear("the plan changed")
            engine.say(ev.MeltChanged, old=old, new=command.plan, why=command.why)
        elif isinstance(command, inp.EndMelt):
            self._end(command, run)
        elif isinstance(command, inp.MarkPour):
            self._pour(command, run)
        elif isinstance(command, inp.CorrectPour):
            if not run.correct(command.number, command.mould):
                self._refuse(command, f"this melt has no pour {command.number}", "See `pourcall pour list`")
                return
            words = f"pour {command.number} " + (f"went into {command.mould}" if command.mould else "was no pour")
            engine.mark("correction", words)
        elif isinstance(command, inp.MarkLift):
            self.lift(run, self._back(command.ago_s), proposed=False)
        elif isinstance(command, inp.MarkAddition):
            run.added_s = self._back(command.ago_s)
            engine.guiding.added(command.mass_kg, engine.mono_s)
            engine.arrests.disturbed(engine.mono_s)
            what = "metal added" if command.mass_kg is None else f"{command.mass_kg:g} kg added"
            text = f"{what} ({command.source})" if command.source else what
            engine.say(ev.Marked, what="addition", text=text, at_mono_s=run.added_s, value=command.mass_kg)
        elif isinstance(command, inp.MarkSkim):
            run.skimmed_s = self._back(command.ago_s)
            engine.guiding.disturbed(engine.mono_s)
            engine.arrests.disturbed(engine.mono_s)
            engine.say(ev.Marked, what="skim", text="skimmed", at_mono_s=run.skimmed_s)
        elif isinstance(command, inp.AnswerCall):
            kind = next((k for k in ev.CallKind if k == command.call), None)
            if kind is None or not engine.calls.answer(kind, command.answer, run, engine.mono_s):
                self._refuse(command, f"no call {command.call!r} is up", "Nothing needs an answer")
                return
            level = engine.guiding.answered(kind, command.answer, engine.metal.temp_c, engine.mono_s)
            if level is not None and level is not engine.power.level:
                self._set_power(level, engine.mono_s)
        elif isinstance(command, inp.RunProfile | inp.StopProfile | inp.NextSegment):
            refused, instead = engine.guiding.command(command, run, engine.metal.temp_c, engine.mono_s)
            if refused:
                self._refuse(command, refused, instead)
        else:
            self._refuse(command, "this command is not known", "Use a newer daemon")

    def _start(self, command: inp.StartMelt) -> None:
        engine = self._engine
        if engine.run is not None:
            self._refuse(command, f"melt {engine.run.plan.melt} is running", "End it first, or change it")
            return
        engine.run = run = MeltRun(command.plan, engine.mono_s, command.poured)
        engine.history = MetalHistory()
        engine.dips.clear()
        engine.typed = None
        engine.calls.clear("a new melt began")
        for channel in engine.channels:
            channel.tracker.new_melt(engine.mono_s)
        engine.say(ev.MeltStarted, plan=command.plan)
        engine.set_state(ev.MeltState.UNKNOWN, "a melt began")
        engine.arrests.start(command)
        engine.guiding.start(command, run, engine.channels, engine.power, engine.mono_s)

    def _end(self, command: inp.EndMelt, run: MeltRun) -> None:
        engine = self._engine
        engine.calls.clear("the melt ended")
        engine.guiding.end(engine.mono_s, engine.utc_s)
        engine.arrests.end(engine.mono_s, engine.utc_s)
        engine.run = None
        engine.say(ev.MeltEnded, melt=run.plan.melt, ending=command.ending)
        for kind in ("overshoot", "above_window", "alloy_limit", "pot_limit", "fume"):
            engine.alarms.withdraw(kind, engine.config.furnace, engine.mono_s, engine.utc_s)

    def lift(self, run: MeltRun, lift_s: float, *, proposed: bool) -> None:
        """The pot left the furnace; proposed: by the trace, to be corrected."""
        engine = self._engine
        run.lift_s, run.lift_proposed = lift_s, proposed
        engine.say(ev.LiftMarked, lift_mono_s=lift_s, proposed=proposed)
        for kind in ("overshoot", "above_window"):
            engine.alarms.withdraw(kind, engine.config.furnace, engine.mono_s, engine.utc_s)

    def _pour(self, command: inp.MarkPour, run: MeltRun) -> None:
        engine = self._engine
        if command.mould:
            mould = next((m for m in run.plan.moulds if m.name == command.mould), None)
            if mould is None:
                names = ", ".join(m.name for m in run.plan.moulds) or "none"
                self._refuse(command, f"no mould {command.mould!r} in this melt", f"Its moulds are: {names}")
                return
        else:
            mould = run.next_mould
        if mould is None:
            self._refuse(command, "every mould of this melt is poured", "Add a mould to the melt, or end the melt")
            return
        at_s = self._back(command.ago_s)
        at_utc_s = engine.utc_s - (engine.mono_s - at_s)
        pour = run.pour(mould, engine.history, at_s, at_utc_s, command.ago_s, run.next_number)
        run.add(pour)
        if run.lift_s is None:
            # The pot must have left for metal to be in a mould; nothing more precise is known.
            run.lift_s, run.lift_proposed = at_s, True
        engine.say(ev.PourMarked, melt=run.plan.melt, pour=pour)

    def _ack(self, command: inp.AckAlarm) -> None:
        engine = self._engine
        try:
            engine.alarms.ack(command.alarm, engine.mono_s, engine.utc_s, command.who)
        except KeyError:
            self._refuse(command, f"no alarm {command.alarm!r} is up", "It may have cleared meanwhile")
        for channel in engine.channels:
            name = channel.config.name
            if engine.alarms.is_acked("intermittent", name) and engine.alarms.is_acked("implausible", name):
                channel.mended(engine.mono_s)

    def _set_aside(self, command: inp.ShelveAlarm | inp.UnshelveAlarm | inp.ResetAlarm) -> None:
        engine = self._engine
        try:
            if isinstance(command, inp.ShelveAlarm):
                why_not = engine.alarms.shelve(command.alarm, command.minutes, engine.mono_s, command.who)
                if why_not:
                    self._refuse(command, why_not, "Acknowledge it instead")
            elif isinstance(command, inp.UnshelveAlarm):
                engine.alarms.unshelve(command.alarm, command.who)
            elif not engine.alarms.reset(command.alarm, engine.mono_s, engine.utc_s, command.who):
                self._refuse(command, "its cause is still there, or it was not acknowledged", "Acknowledge it first")
        except KeyError:
            self._refuse(command, f"no alarm {command.alarm!r} is up", "It may have cleared meanwhile")

    def _probe_command(self, command: inp.SetPlace | inp.SetProbeState | inp.StartDip) -> None:
        engine = self._engine
        channel = engine.by_name.get(command.probe)
        if channel is None:
            names = ", ".join(engine.by_name) or "none"
            self._refuse(command, f"no probe {command.probe!r} on this furnace", f"Its probes are: {names}")
        elif isinstance(command, inp.SetPlace):
            old = channel.tracker.place
            channel.tracker.set_place(command.place)
            engine.watches[command.probe].forget()
            engine.say(ev.PlaceChanged, probe=command.probe, old=old, new=command.place)
        elif isinstance(command, inp.SetProbeState):
            before = channel.tracker.state
            channel.tracker.force(command.state, engine.mono_s)
            engine.say(
                ev.ProbeStateChanged, probe=command.probe, old=before, new=command.state, why=f"said {command.who}"
            )
        else:
            self._start_dip(command, channel)

    def _start_dip(self, command: inp.StartDip, channel: ProbeChannel) -> None:
        """Depth and stirring are said once and hold for this probe till something else is said."""
        engine = self._engine
        tracker = channel.tracker
        if command.depth_mm is not None and not 0.0 < command.depth_mm <= DEEPEST_MM:
            self._refuse(command, f"a depth of {command.depth_mm:g} mm", "Give it in millimetres, such as 60")
            return
        stays = tracker.place is Place.MELT and tracker.state in (ProbeState.SETTLING, ProbeState.IN_METAL)
        if stays:
            what = f"probe {command.probe} is in the metal already and read as it stands"
            self._refuse(command, what, "Take it out first to dip with it")
            return
        engine.watches[command.probe].announce(command.depth_mm, command.stirred)
        if tracker.place is not Place.DIP:
            old = tracker.place
            tracker.set_place(Place.DIP)
            engine.say(ev.PlaceChanged, probe=command.probe, old=old, new=Place.DIP)

    def _typed_in(self, command: inp.EnterTemperature) -> None:
        engine = self._engine
        if not -273.15 <= command.temp_c <= HIGHEST_MEANT_C:
            self._refuse(command, f"{command.temp_c:g} degC cannot be meant", "Check the figure and the unit")
            return
        at_s = self._back(command.ago_s)
        text, panel = f"{say_c(command.temp_c)} read off {command.source}", is_panel(command.source)
        what = "panel_temperature" if panel else "typed_temperature"  # a panel's is the furnace's, never the metal's
        engine.say(ev.Marked, what=what, text=text, at_mono_s=at_s, value=command.temp_c)
        if panel:
            engine.guiding.panel_read(
                at_s, command.temp_c, engine.melt_dips(), engine.metal, engine.rate_c_per_min, engine.mono_s
            )
            return
        engine.typed = (at_s, command.temp_c, command.source)
        if engine.run is not None:
            engine.guiding.settled(command.temp_c, TYPED_U_C, engine.mono_s)

    def _back(self, ago_s: float) -> float:
        return self._engine.mono_s - max(ago_s, 0.0)

    def _refuse(self, command: inp.Command, what: Told, remedy: Told) -> None:
        name = type(command).__struct_config__.tag
        self._engine.say(ev.CommandRefused, command=str(name), what=what, remedy=remedy)
