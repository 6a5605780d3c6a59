"""Room: the engine of one furnace. Inputs in at one door, in order; readings and events out; time is data.

The same inputs give the same outputs, byte for byte, in any process: nothing here asks a clock, a file or chance.
What is judged where: samples in measure.py, what a probe does in probe_state.py, what the metal is at in metal.py,
where the melt stands in melt_state.py, pour_call.py and calls.py for instructions, alarms.py for alarms.
"""

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.frames import RawKind, SampleFlag
from pourcall.contract.reading import Place, ProbeState, Reading
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.status import Reason
from pourcall.contract.units import HIGHEST_MEANT_C, say_c
from pourcall.daemon.engine import view
from pourcall.daemon.engine.alarms import AlarmDesk
from pourcall.daemon.engine.calls import CallDesk
from pourcall.daemon.engine.config import EngineConfig
from pourcall.daemon.engine.fume_watch import DISTURBED_S, fume_level, judge_fume
from pourcall.daemon.engine.guiding import Guiding
from pourcall.daemon.engine.link_health import BoardLink
from pourcall.daemon.engine.measure import ProbeChannel
from pourcall.daemon.engine.melt_run import MeltRun, PowerKnob
from pourcall.daemon.engine.melt_state import band_of
from pourcall.daemon.engine.metal import DipWatch, MetalHistory, MetalNow, judge_dip, metal_now, metal_rate_c_per_min
from pourcall.daemon.engine.pour_call import Judgement, judge
from pourcall.daemon.engine.sensor_health import SensorJudge, expanded_u_c
from pourcall.daemon.engine.temp_alarms import judge_temperatures

EVALUATE_S = 0.45  # the melt is judged at most so often between ticks; a reading is judged at once
LIFT_AFTER_CALL_S = 30.0
RETURN_WITHIN_S = 60.0
_RESTARTED = int(SampleFlag.RESTARTED)


class Engine:
    """One furnace. `handle` each input in order; `snapshot` whenever somebody looks."""

    def __init__(self, config: EngineConfig) -> None:
        self.config = config
        self.channels = tuple(ProbeChannel(probe) for probe in config.probes)
        self._by_input = {(c.config.board, c.config.channel): c for c in self.channels}
        self._by_name = {c.config.name: c for c in self.channels}
        self.links = {board.name: BoardLink(board) for board in config.boards}
        self._chips = {board.name: board.chip for board in config.boards}
        self._watches = {c.config.name: DipWatch() for c in self.channels}
        self._sensors = {c.config.name: SensorJudge(c) for c in self.channels}
        self.alarms = AlarmDesk(self._alarm_said, self._explains)
        self.calls = CallDesk(self._call_said)
        self.guiding = Guiding(config, self.calls, self.alarms, self._say)
        self.power = PowerKnob()
        self.run: MeltRun | None = None
        self.state = ev.MeltState.EMPTY
        self.metal = MetalNow(None, 0.0, "no reading yet")
        self.rate_c_per_min: float | None = None
        self.judgement: Judgement | None = None
        self.history = MetalHistory()
        self.dips: list[ev.Dip] = []
        self._ready_s = -1e9  # last time the metal was in or above the window
        self._typed: tuple[float, float, str] | None = None
        self.flags: dict[str, int] = {}
        self.store_problem = ""
        self._unknown_inputs: set[tuple[str, str]] = set()
        self._evaluated_s = -1e9
        self.seq, self.mono_s, self.utc_s = 0, 0.0, 0.0
        self._out: list[ev.Output] = []

    # -- the door -----------------------------------------------------------------------------------------------------

    def handle(self, item: inp.Input) -> list[ev.Output]:
        """One input, in the order of its sequence number; everything it leads to."""
        self.seq, self.mono_s, self.utc_s = item.seq, item.mono_s, item.utc_s
        out = self._out = []
        if type(item) is inp.SampleIn:
            self._sample(item)
        elif type(item) is inp.TickIn:
            self._tick()
        elif type(item) is inp.CommandIn:
            self._command(item.command)
            self._evaluate()
        elif type(item) is inp.LinkIn:
            self._link(item)
        elif type(item) is inp.BoardStatusIn:
            if link := self.links.get(item.board):
                link.heard(item.mono_s)
            self.power.report(item.status.applied_permille, item.mono_s)
        elif type(item) is inp.IdentityIn:
            if link := self.links.get(item.board):
                link.heard(item.mono_s)
                link.identified(item.identity)
                self._judge_link(link)
        elif type(item) is inp.StoreIn:
            self._store(item)
        elif type(item) is inp.DaemonIn:
            self.alarms.judge(item.kind, "daemon", item.present, self.mono_s, self.utc_s, detail=item.detail)
        return out

    def snapshot(self) -> FurnaceSnapshot:
        """The furnace as it stands after the last input."""
        return view.snapshot(self)

    # -- samples ------------------------------------------------------------------------------------------------------

    def _sample(self, item: inp.SampleIn) -> None:
        board, sample = item.board, item.sample
        link = self.links.get(board)
        if link is not None:
            link.heard(item.mono_s)
            if sample.flags & _RESTARTED:
                self._restarted(board)
        channel = self._by_input.get((board, sample.channel))
        if channel is None:
            if (board, sample.channel) not in self._unknown_inputs:
                self._unknown_inputs.add((board, sample.channel))
                self._mark(
                    "unknown_channel", f"board {board} sends channel {sample.channel}: no probe is set up for it"
                )
            return
        if link is not None and link.mismatch:
            self._lost(channel, Reason.CONFIG)  # whose probe this is, nobody knows (fault S7)
            return
        alloy = None if self.run is None else self.run.plan.alloy
        before = channel.tracker.state
        reading, why = channel.take(sample, item.late_s, item.mono_s, item.utc_s, alloy)
        self._out.append(reading)
        if channel.tracker.state is not before:
            self._probe_moved(channel, before, why)
        if reading.temp_c is not None and reading.reason is not Reason.LATE:
            self._watch_dip(channel, reading.temp_c)
        self._judge_sensor(channel)
        if item.mono_s - self._evaluated_s >= EVALUATE_S:
            self._evaluate()

    def _watch_dip(self, channel: ProbeChannel, temp_c: float) -> None:
        if channel.tracker.place is not Place.DIP:
            return
        ended = self._watches[channel.config.name].update(channel, self.mono_s, temp_c)
        if ended is None:
            return
        number = 1 if self.run is None else self.run.dips + 1
        if self.run is not None:
            self.run.dips = number
        alloy = None if self.run is None else self.run.plan.alloy
        dip = judge_dip(ended, channel, number, self.mono_s, self.utc_s, alloy)
        self.dips.append(dip)
        del self.dips[:-50]
        self._say(ev.DipRecorded, dip=dip)
        if dip.temp_c is not None and dip.u_c is not None:
            self.history.add(self.mono_s, MetalNow(dip.temp_c, dip.u_c, f"dip {number}"))
            self.guiding.guide.settled(dip.temp_c, dip.u_c, self.mono_s)

    def _probe_moved(self, channel: ProbeChannel, before: ProbeState, why: str) -> None:
        now = channel.tracker.state
        self._say(ev.ProbeStateChanged, probe=channel.config.name, old=before, new=now, why=why)
        run = self.run
        if run is None or channel.tracker.place is not Place.MELT:
            return
        if now is ProbeState.LEAVING:
            left_s = self.mono_s - channel.tracker.rule.span_s
            self.history.drop_after(left_s - 1.0)
            pourable = self.state in (ev.MeltState.READY, ev.MeltState.ABOVE)
            recently = self.mono_s - max(self.calls.pour_ended_s, self._ready_s) <= LIFT_AFTER_CALL_S
            if run.lift_s is None and run.next_mould is not None and (pourable or recently):
                self._lift(run, left_s, proposed=True)
        elif (
            now in (ProbeState.ENTERING, ProbeState.SETTLING)
            and run.lift_s is not None
            and run.lift_proposed
            and not any(pour.at_mono_s >= run.lift_s for pour in run.pours)
            and self.mono_s - run.lift_s <= RETURN_WITHIN_S
        ):
            run.lift_s, run.lift_proposed = None, False
            self._mark("lift_withdrawn", "the probe is back in the metal: the pot was not lifted")

    def _judge_sensor(self, channel: ProbeChannel) -> None:
        lifted = self.run is not None and self.run.lifted(self.mono_s) and channel.tracker.place is not Place.CHAMBER
        self._sensors[channel.config.name].judge(self.alarms, self.mono_s, self.utc_s, lifted=lifted)

    # -- links, store -------------------------------------------------------------------------------------------------

    def _link(self, item: inp.LinkIn) -> None:
        link = self.links.get(item.board)
        if link is None:
            return
        before = link.words
        link.link(item)
        self._judge_link(link)
        if item.kind is not inp.LinkKind.BAD_FRAMES or link.words != before:
            self._say(ev.LinkChanged, board=item.board, up=link.is_up, detail=item.detail)

    def _judge_link(self, link: BoardLink) -> None:
        if link.judge(self.alarms, self.mono_s, self.utc_s):
            for channel in self.channels:
                if channel.config.board == link.config.name:
                    self._lost(channel)
        self._explain()

    def _lost(self, channel: ProbeChannel, reason: Reason = Reason.LINK_LOST) -> None:
        """A lost link, or another board than it was, is a reading with a reason, not silence."""
        reading = Reading(
            probe=channel.config.name,
            temp_c=None,
            reason=reason,
            at_mono_s=self.mono_s,
            at_utc_s=self.utc_s,
            raw_kind=RawKind.ITS90_C if channel.last is None else channel.last.raw_kind,
        )
        channel.last = reading
        self._out.append(reading)

    def _restarted(self, board: str) -> None:
        self._mark("board_restarted", f"board {board} says that it restarted")

    def _store(self, item: inp.StoreIn) -> None:
        if item.problem == self.store_problem:
            return
        old, self.store_problem = self.store_problem, item.problem
        if old:
            self.alarms.judge(old, "record", False, self.mono_s, self.utc_s, at_once=True)
        if item.problem:
            self.alarms.judge(item.problem, "record", True, self.mono_s, self.utc_s, detail=item.detail, at_once=True)
        self._say(ev.StoreChanged, problem=item.problem, detail=item.detail)

    def _explain(self) -> None:
        self.alarms.explain()

    def _explains(self, subject: str) -> str:
        """The board behind a probe: what befalls the board explains what befalls its probes."""
        channel = self._by_name.get(subject)
        return subject if channel is None else channel.config.board

    # -- time ---------------------------------------------------------------------------------------------------------

    def _tick(self) -> None:
        for link in self.links.values():
            self._judge_link(link)
        chips = self._chips
        for channel in self.channels:
            u_c = expanded_u_c(channel, chips.get(channel.config.board, ""))
            channel.u_c = channel.u_c if u_c is None else u_c  # a moment without a figure: the last budget holds
            self._judge_sensor(channel)
            sensor = self._sensors[channel.config.name]
            board = self.links.get(channel.config.board)
            heard_s = None if board is None else board.last_valid_s
            if sensor.fell_silent(self.mono_s, heard_s) and not (board is not None and board.lost):
                self._lost(channel)
        self._evaluate()
        if self.run is not None:
            self.guiding.tick(
                self.run, self.channels, self.metal, self.rate_c_per_min, self.power, self.mono_s, self.utc_s
            )
        self.alarms.tick(self.mono_s, self.utc_s)
        self._explain()

    def _evaluate(self) -> None:
        """What the metal is at, where the melt stands, what to call and to warn of."""
        mono_s, run = self.mono_s, self.run
        self._evaluated_s = mono_s
        dip = self.dips[-1] if self.dips and run is not None and self.dips[-1].ended_mono_s >= run.began_s else None
        alloy = None if run is None else run.plan.alloy
        self.metal = metal = metal_now(
            self.channels, self._watches, dip, self._typed, self.power.on_since_s, mono_s, alloy
        )
        self.rate_c_per_min = metal_rate_c_per_min(metal, self._by_name, mono_s)
        self.judgement = None
        if run is None:
            self._set_state(ev.MeltState.EMPTY, "no melt runs")
            self._set_flag(ev.Flag.NO_METAL_READING, 0)
            self._set_flag(ev.Flag.FUME, 0)
            judge_temperatures(self.alarms, self.config, None, None, None, self.channels, mono_s, self.utc_s)
            return
        if not run.lifted(mono_s):
            self.history.add(mono_s, metal)
        mould = run.next_mould
        lifted = run.lifted(mono_s)
        if mould is not None and metal.temp_c is not None and not lifted:
            self.judgement = judge(
                metal.temp_c, metal.u_c, mould, run.plan, number=(run.next_index or 0) + 1,
                calling=self.calls.up(ev.CallKind.POUR) is not None,
            )  # fmt: skip
        if not lifted:
            tap_c = run.tap_window_c
            band = band_of(metal.temp_c, self.rate_c_per_min, run.plan.alloy, tap_c, self.state)
            self._set_state(view.next_state(self.state, band), view.state_why(band, metal))
        if self.state in (ev.MeltState.READY, ev.MeltState.ABOVE):
            self._ready_s = mono_s
        guide = self.guiding.guide
        self.calls.judge(
            run, metal, self.rate_c_per_min, self.state, self.judgement, self.power, mono_s, guided=guide.guiding,
            cut_due=guide.cut_due(mono_s),
        )  # fmt: skip
        chamber = next((c for c in self.channels if c.tracker.place is Place.CHAMBER), None)
        chamber_c = None if chamber is None or chamber.last is None else chamber.last.temp_c
        can_dip = any(c.tracker.place is Place.DIP for c in self.channels)
        dips = tuple(d for d in self.dips if d.ended_mono_s >= run.began_s)
        self.calls.judge_dip(run, metal, chamber_c, can_dip, dips, mono_s)
        self._set_flag(ev.Flag.NO_METAL_READING, int(metal.temp_c is None and not lifted))
        self._judge_fume(run, metal.temp_c, lifted=lifted)
        judge_temperatures(
            self.alarms, self.config, None if lifted else run.plan, metal, self.rate_c_per_min, self.channels, mono_s,
            self.utc_s, tap_max_c=run.tap_window_c[1], poured=mould is None,
        )  # fmt: skip

    def _judge_fume(self, run: MeltRun, temp_c: float | None, *, lifted: bool) -> None:
        skimmed = run.skimmed_s is not None and self.mono_s - run.skimmed_s < DISTURBED_S
        level = self.flags.get(ev.Flag.FUME, 0)
        level = fume_level(run.plan, temp_c, disturbed=skimmed or lifted, level=level)
        self._set_flag(ev.Flag.FUME, level)
        if not lifted:
            judge_fume(self.alarms, run.plan, self.config.furnace, temp_c, level, self.mono_s, self.utc_s)

    def _set_state(self, new: ev.MeltState, why: str) -> None:
        if new is not self.state:
            old, self.state = self.state, new
            self._say(ev.MeltStateChanged, old=old, new=new, why=why)

    def _set_flag(self, flag: ev.Flag, level: int) -> None:
        if self.flags.get(flag, 0) != level:
            self.flags[flag] = level
            self._say(ev.FlagChanged, flag=flag, level=level)

    # -- what people say ----------------------------------------------------------------------------------------------

    def _command(self, command: inp.Command) -> None:
        """Every command either takes effect or is refused in words."""
        if isinstance(command, inp.StartMelt):
            self._start(command)
        elif isinstance(command, inp.Note):
            self._mark("note", command.text)
        elif isinstance(command, inp.AckAlarm):
            self._ack(command)
        elif isinstance(command, inp.SilenceAlarms):
            self.alarms.silence(self.mono_s)
        elif isinstance(command, inp.ShelveAlarm | inp.UnshelveAlarm | inp.ResetAlarm):
            self._set_aside(command)
        elif isinstance(command, inp.TestAlarm):
            self.alarms.judge("test", "path", True, self.mono_s, self.utc_s, at_once=True)
            self.alarms.judge("test", "path", False, self.mono_s, self.utc_s)
        elif isinstance(command, inp.SetPlace | inp.SetProbeState | inp.StartDip):
            self._probe_command(command)
        elif isinstance(command, inp.MarkPower):
            self._set_power(command.level, self._back(command.ago_s))
        elif isinstance(command, inp.EnterTemperature):
            self._typed_in(command)
        elif self.run is None:
            self._refuse(command, "no melt runs on this furnace", "Start a melt first")
        else:
            self._melt_command(command, self.run)

    def _set_power(self, level: inp.PowerLevel, at_s: float) -> None:
        self.power.mark(level, at_s)
        self._say(ev.PowerMarked, level=level, at_mono_s=at_s)
        self.guiding.marked_power()

    def _melt_command(self, command: inp.Command, run: MeltRun) -> None:
        if isinstance(command, inp.ChangeMelt):
            old, run.plan = run.plan, command.plan
            self.guiding.guide.change(old, command.plan, self.power, self.mono_s)
            self.calls.clear("the plan changed")
            self._say(ev.MeltChanged, old=old, new=command.plan, why=command.why)
        elif isinstance(command, inp.EndMelt):
            self._end(command, run)
        elif isinstance(command, inp.MarkPour):
            self._pour(command, run)
        elif isinstance(command, inp.MarkLift):
            self._lift(run, self._back(command.ago_s), proposed=False)
        elif isinstance(command, inp.MarkAddition):
            run.added_s = self._back(command.ago_s)
            self.guiding.guide.added(command.mass_kg, self.mono_s)
            what = "metal added" if command.mass_kg is None else f"{command.mass_kg:g} kg added"
            text = f"{what} ({command.source})" if command.source else what
            self._say(ev.Marked, what="addition", text=text, at_mono_s=run.added_s, value=command.mass_kg)
        elif isinstance(command, inp.MarkSkim):
            run.skimmed_s = self._back(command.ago_s)
            self.guiding.guide.disturbed(self.mono_s)
            self._say(ev.Marked, what="skim", text="skimmed", at_mono_s=run.skimmed_s)
        elif isinstance(command, inp.AnswerCall):
            kind = next((k for k in ev.CallKind if k == command.call), None)
            if kind is None or not self.calls.answer(kind, command.answer, run, self.mono_s):
                self._refuse(command, f"no call {command.call!r} is up", "Nothing needs an answer")
                return
            level = self.guiding.answered(kind, command.answer, self.metal.temp_c, self.mono_s)
            if level is not None and level is not self.power.level:
                self._set_power(level, self.mono_s)
        elif isinstance(command, inp.RunProfile | inp.StopProfile | inp.NextSegment):
            what, remedy = self.guiding.command(command, run, self.metal.temp_c, self.mono_s)
            if what:
                self._refuse(command, what, remedy)
        else:
            self._refuse(command, "this command is not known", "Use a newer daemon")

    def _start(self, command: inp.StartMelt) -> None:
        if self.run is not None:
            self._refuse(command, f"melt {self.run.plan.melt} is running", "End it first, or change it")
            return
        self.run = run = MeltRun(command.plan, self.mono_s)
        self.history = MetalHistory()
        self.dips.clear()
        self._typed = None
        self.calls.clear("a new melt began")
        for channel in self.channels:
            channel.tracker.new_melt(self.mono_s)
        self._say(ev.MeltStarted, plan=command.plan)
        self._set_state(ev.MeltState.UNKNOWN, "a melt began")
        self.guiding.start(command, run, self.channels, self.power, self.mono_s)

    def _end(self, command: inp.EndMelt, run: MeltRun) -> None:
        self.calls.clear("the melt ended")
        self.guiding.end(self.mono_s, self.utc_s)
        self.run = None
        self._say(ev.MeltEnded, melt=run.plan.melt, ending=command.ending)
        for kind in ("overshoot", "above_window", "alloy_limit", "pot_limit", "fume"):
            self.alarms.withdraw(kind, self.config.furnace, self.mono_s, self.utc_s)

    def _lift(self, run: MeltRun, lift_s: float, *, proposed: bool) -> None:
        run.lift_s, run.lift_proposed = lift_s, proposed
        self._say(ev.LiftMarked, lift_mono_s=lift_s, proposed=proposed)
        for kind in ("overshoot", "above_window"):
            self.alarms.withdraw(kind, self.config.furnace, self.mono_s, self.utc_s)

    def _pour(self, command: inp.MarkPour, run: MeltRun) -> None:
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
        if at_s < run.began_s:
            self._refuse(command, "that is before the melt began", "Give a shorter time ago")
            return
        pour = run.pour(mould, self.history, at_s, self.utc_s - (self.mono_s - at_s), command.ago_s, len(run.pours) + 1)
        run.pours.append(pour)
        if run.lift_s is None:
            # The pot must have left for metal to be in a mould; nothing more precise is known.
            run.lift_s, run.lift_proposed = at_s, True
        self._say(ev.PourMarked, melt=run.plan.melt, pour=pour)

    def _ack(self, command: inp.AckAlarm) -> None:
        try:
            self.alarms.ack(command.alarm, self.mono_s, self.utc_s, command.who)
        except KeyError:
            self._refuse(command, f"no alarm {command.alarm!r} is up", "It may have cleared meanwhile")
        for channel in self.channels:
            name = channel.config.name
            if self.alarms.is_acked("intermittent", name) and self.alarms.is_acked("implausible", name):
                channel.mended(self.mono_s)

    def _set_aside(self, command: inp.ShelveAlarm | inp.UnshelveAlarm | inp.ResetAlarm) -> None:
        try:
            if isinstance(command, inp.ShelveAlarm):
                why_not = self.alarms.shelve(command.alarm, command.minutes, self.mono_s, command.who)
                if why_not:
                    self._refuse(command, why_not, "Acknowledge it instead")
            elif isinstance(command, inp.UnshelveAlarm):
                self.alarms.unshelve(command.alarm, command.who)
            elif not self.alarms.reset(command.alarm, self.mono_s, self.utc_s, command.who):
                self._refuse(command, "its cause is still there, or it was not acknowledged", "Acknowledge it first")
        except KeyError:
            self._refuse(command, f"no alarm {command.alarm!r} is up", "It may have cleared meanwhile")

    def _probe_command(self, command: inp.SetPlace | inp.SetProbeState | inp.StartDip) -> None:
        channel = self._by_name.get(command.probe)
        if channel is None:
            names = ", ".join(self._by_name) or "none"
            self._refuse(command, f"no probe {command.probe!r} on this furnace", f"Its probes are: {names}")
        elif isinstance(command, inp.SetPlace):
            old = channel.tracker.place
            channel.tracker.set_place(command.place)
            self._say(ev.PlaceChanged, probe=command.probe, old=old, new=command.place)
        elif isinstance(command, inp.SetProbeState):
            before = channel.tracker.state
            channel.tracker.force(command.state, self.mono_s)
            self._say(
                ev.ProbeStateChanged, probe=command.probe, old=before, new=command.state, why=f"said {command.who}"
            )
        else:
            self._watches[command.probe].announce(self.mono_s, command.depth_mm, command.stirred)
            if channel.tracker.place is not Place.DIP:
                old = channel.tracker.place
                channel.tracker.set_place(Place.DIP)
                self._say(ev.PlaceChanged, probe=command.probe, old=old, new=Place.DIP)

    def _typed_in(self, command: inp.EnterTemperature) -> None:
        if not -273.15 <= command.temp_c <= HIGHEST_MEANT_C:
            self._refuse(command, f"{command.temp_c:g} degC cannot be meant", "Check the figure and the unit")
            return
        at_s = self._back(command.ago_s)
        self._typed = (at_s, command.temp_c, command.source)
        text = f"{say_c(command.temp_c)} read off {command.source}"
        self._say(ev.Marked, what="typed_temperature", text=text, at_mono_s=at_s, value=command.temp_c)

    # -- saying -------------------------------------------------------------------------------------------------------

    def _back(self, ago_s: float) -> float:
        return self.mono_s - max(ago_s, 0.0)

    def _say(self, kind: type, **fields: object) -> None:
        self._out.append(
            kind(furnace=self.config.furnace, seq=self.seq, mono_s=self.mono_s, utc_s=self.utc_s, **fields)
        )

    def _mark(self, what: str, text: str) -> None:
        self._say(ev.Marked, what=what, text=text, at_mono_s=self.mono_s)

    def _refuse(self, command: inp.Command, what: str, remedy: str) -> None:
        name = type(command).__struct_config__.tag
        self._say(ev.CommandRefused, command=str(name), what=what, remedy=remedy)

    def _alarm_said(self, alarm: ev.AlarmView, by: str) -> None:
        self._say(ev.AlarmChanged, alarm=alarm, by=by)

    def _call_said(self, call: ev.CallView, how: str, why: str) -> None:
        self._say(ev.CallChanged, call=call, how=how, why=why)
