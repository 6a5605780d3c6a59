"""The engine of one furnace. Inputs in at one door, in order; readings and events out; time is data.

The same inputs give the same outputs, byte for byte, in any process: nothing here asks a clock, a file or chance.
What is judged where: samples in measurement.py, what a probe does in probe_state.py, what the metal is at in metal.py,
where the melt stands in melt_state.py, what lies ahead in guidance.py, pour_call.py and calls.py for instructions,
manager.py for alarms, what people say in commands.py.
"""

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.config import EngineConfig
from pourcall.contract.frames import RawKind, SampleFlag
from pourcall.contract.message import Told
from pourcall.contract.reading import Place, ProbeState, Reading
from pourcall.contract.snapshot import DipView, FurnaceSnapshot
from pourcall.contract.status import Reason
from pourcall.engine import view
from pourcall.engine.alarms.fume import DISTURBED_S, fume_level, set_fume_conditions
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.alarms.temperatures import set_temperature_conditions
from pourcall.engine.bath.dip_view import dip_view
from pourcall.engine.bath.dips import DipWatch, dip_spread_c, evaluate_dip
from pourcall.engine.bath.melt_arrests import MeltArrests
from pourcall.engine.bath.metal import MetalHistory, MetalNow, metal_now, metal_rate_c_per_min
from pourcall.engine.calls import CallManager
from pourcall.engine.commands import Orders
from pourcall.engine.guidance.guidance import GuidanceInput, ProfileGuidance
from pourcall.engine.melt.melt_run import MeltRun, PowerKnob
from pourcall.engine.melt.melt_state import band_of
from pourcall.engine.melt.pour_call import Judgement, judge
from pourcall.engine.sensing.link_health import BoardLink
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.engine.sensing.sensor_health import SensorConditions, expanded_u_c

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
        self.by_name = {c.config.name: c for c in self.channels}
        self.links = {board.name: BoardLink(board) for board in config.boards}
        self._chips = {board.name: board.chip for board in config.boards}
        self.watches = {c.config.name: DipWatch() for c in self.channels}
        self._sensors = {c.config.name: SensorConditions(c) for c in self.channels}
        self.alarms = AlarmManager(self._alarm_said, self._explains)
        self.calls = CallManager(self._call_said)
        self.guiding = ProfileGuidance(config, self.calls, self.alarms, self.say)
        self.arrests = MeltArrests(config, self.alarms, self.say)
        self.orders = Orders(self)
        self.power = PowerKnob()
        self.run: MeltRun | None = None
        self.state = ev.MeltState.EMPTY
        self.metal = MetalNow(None, 0.0, "no reading yet")
        self.rate_c_per_min: float | None = None
        self.judgement: Judgement | None = None
        self.history = MetalHistory()
        self.dips: list[ev.Dip] = []
        self._ready_s = -1e9  # last time the metal was in or above the window
        self.typed: tuple[float, float, str] | None = None
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
            self.orders.obey(item.command)
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
            self.alarms.set_condition(item.kind, "daemon", item.present, self.mono_s, self.utc_s, detail=item.detail)
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
                self.mark("unknown_channel", f"board {board} sends channel {sample.channel}: no probe is set up for it")
            return
        if link is not None and link.mismatch:
            self._lost(channel, Reason.CONFIG)  # whose probe this is, nobody knows (fault S7)
            return
        alloy = None if self.run is None else self.run.plan.alloy
        before = channel.tracker.state
        reading, why = channel.take(sample, item.late_s, item.mono_s, item.utc_s, alloy)
        self._out.append(reading)
        self.arrests.take(channel, reading)
        if channel.tracker.state is not before:
            self._probe_moved(channel, before, why)
        if reading.temp_c is not None and reading.reason is not Reason.LATE:
            self._watch_dip(channel, reading.temp_c)
        self._judge_sensor(channel)
        if item.mono_s - self._evaluated_s >= EVALUATE_S:
            self._evaluate()

    def melt_dips(self) -> tuple[ev.Dip, ...]:
        """Dips of the running melt, in order."""
        run = self.run
        return () if run is None else tuple(dip for dip in self.dips if dip.ended_mono_s >= run.began_s)

    def dip_spread_c(self) -> float | None:
        """How far the last three dips of the running melt lie apart; None: they tell nothing of it."""
        dips = self.melt_dips()
        return dip_spread_c(dips, self.watches[dips[-1].probe].power_maybe_on_until_s) if dips else None

    def dip_now(self) -> DipView | None:
        """The dip that goes on, for the person who holds the probe."""
        watched = [(channel, self.watches[channel.config.name]) for channel in self.channels]
        alloy = None if self.run is None else self.run.plan.alloy
        return dip_view(watched, self.mono_s, alloy, power_on=self.power.on_since_s is not None)

    def _watch_dip(self, channel: ProbeChannel, temp_c: float) -> None:
        if channel.tracker.place is not Place.DIP:
            return
        watch = self.watches[channel.config.name]
        ended = watch.update(channel, self.mono_s, temp_c, power_off=bool(self.power.off))
        if ended is None:
            return
        number = 1 if self.run is None else self.run.dips + 1
        if self.run is not None:
            self.run.dips = number
        alloy = None if self.run is None else self.run.plan.alloy
        dip = evaluate_dip(
            ended, channel, number, self.mono_s, self.utc_s, alloy, self.dips, watch.power_maybe_on_until_s
        )
        self.dips.append(dip)
        del self.dips[:-50]
        self.say(ev.DipRecorded, dip=dip)
        if dip.temp_c is not None and dip.u_c is not None:
            self.history.add(self.mono_s, MetalNow(dip.temp_c, dip.u_c, f"dip {number}"))
        self.guiding.dipped(dip, self.melt_dips(), self.metal, self.rate_c_per_min, self.mono_s)

    def _probe_moved(self, channel: ProbeChannel, before: ProbeState, why: str) -> None:
        now = channel.tracker.state
        self.say(ev.ProbeStateChanged, probe=channel.config.name, old=before, new=now, why=why)
        run = self.run
        if run is None or channel.tracker.place is not Place.MELT:
            return
        if now is ProbeState.LEAVING:
            left_s = self.mono_s - channel.tracker.rule.span_s
            self.history.drop_after(left_s - 1.0)
            pourable = self.state in (ev.MeltState.READY, ev.MeltState.ABOVE)
            recently = self.mono_s - max(self.calls.pour_ended_s, self._ready_s) <= LIFT_AFTER_CALL_S
            if run.lift_s is None and run.next_mould is not None and (pourable or recently):
                self.orders.lift(run, left_s, proposed=True)
        elif (
            now in (ProbeState.ENTERING, ProbeState.SETTLING)
            and run.lift_s is not None
            and run.lift_proposed
            and not any(pour.at_mono_s >= run.lift_s for pour in run.pours)
            and self.mono_s - run.lift_s <= RETURN_WITHIN_S
        ):
            run.lift_s, run.lift_proposed = None, False
            self.mark("lift_withdrawn", "the probe is back in the metal: the pot was not lifted")

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
            self.say(ev.LinkChanged, board=item.board, up=link.is_up, detail=item.detail)

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
        self.mark("board_restarted", f"board {board} says that it restarted")

    def _store(self, item: inp.StoreIn) -> None:
        if item.problem == self.store_problem:
            return
        old, self.store_problem = self.store_problem, item.problem
        if old:
            self.alarms.set_condition(old, "record", False, self.mono_s, self.utc_s, at_once=True)
        if item.problem:
            self.alarms.set_condition(
                item.problem, "record", True, self.mono_s, self.utc_s, detail=item.detail, at_once=True
            )
        self.say(ev.StoreChanged, problem=item.problem, detail=item.detail)

    def _explain(self) -> None:
        self.alarms.update_suppression()

    def _explains(self, subject: str) -> str:
        """The board behind a probe: what befalls the board explains what befalls its probes."""
        channel = self.by_name.get(subject)
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
        self.arrests.tick(self.channels, self.mono_s, self.utc_s)
        self._evaluate()
        if self.run is not None:
            self.guiding.tick(
                GuidanceInput(
                    self.run, self.channels, self.metal, self.rate_c_per_min, self.power, self.mono_s, self.utc_s
                )
            )
        self.alarms.tick(self.mono_s, self.utc_s)
        self._explain()

    def _evaluate(self) -> None:
        """What the metal is at, where the melt stands, what to call and to warn of."""
        mono_s, run = self.mono_s, self.run
        self._evaluated_s = mono_s
        dips = self.melt_dips()
        alloy = None if run is None else run.plan.alloy
        self.metal = metal = metal_now(
            self.channels, self.watches, dips[-1] if dips else None, self.typed, self.power.on_since_s, mono_s, alloy
        )
        self.rate_c_per_min = metal_rate_c_per_min(metal, self.by_name, mono_s)
        self.judgement = None
        if run is None:
            self.set_state(ev.MeltState.EMPTY, "no melt runs")
            self._set_flag(ev.Flag.NO_METAL_READING, 0)
            self._set_flag(ev.Flag.FUME, 0)
            set_temperature_conditions(self.alarms, self.config, None, None, None, self.channels, mono_s, self.utc_s)
            return
        if not run.lifted(mono_s):
            self.history.add(mono_s, metal)
        mould = run.next_mould
        lifted = run.lifted(mono_s)
        if mould is not None and metal.temp_c is not None and not lifted:
            self.judgement = judge(
                metal.temp_c,
                metal.u_c,
                mould,
                run.plan,
                number=(run.next_index or 0) + 1,
                calling=self.calls.up(ev.CallKind.POUR) is not None,
            )
            self.judgement = self.arrests.judged(self.judgement)
        if not lifted:
            tap_c = run.tap_window_c
            band = band_of(metal.temp_c, self.rate_c_per_min, run.plan.alloy, tap_c, self.state)
            band, why = self.arrests.band(band, metal)
            self.set_state(view.next_state(self.state, band), why or view.state_why(band, metal))
        if self.state in (ev.MeltState.READY, ev.MeltState.ABOVE):
            self._ready_s = mono_s
        ahead = self.guiding.ahead(mono_s)
        self.calls.judge(
            run,
            metal,
            self.rate_c_per_min,
            self.state,
            self.judgement,
            self.power,
            mono_s,
            guided=ahead.guided,
            cut_due=ahead.cut_due,
        )
        chamber = next((c for c in self.channels if c.tracker.place is Place.CHAMBER), None)
        chamber_c = None if chamber is None or chamber.last is None else chamber.last.temp_c
        can_dip = any(c.tracker.place is Place.DIP for c in self.channels)
        self.calls.judge_dip(
            run,
            metal,
            chamber_c,
            can_dip,
            dips,
            mono_s,
            could_be_c=ahead.could_be_c,
            ready_in_s=ahead.ready_s,
        )
        self._set_flag(ev.Flag.NO_METAL_READING, int(metal.temp_c is None and not lifted))
        self._judge_fume(run, metal.temp_c, lifted=lifted)
        set_temperature_conditions(
            self.alarms,
            self.config,
            None if lifted else run.plan,
            metal,
            self.rate_c_per_min,
            self.channels,
            mono_s,
            self.utc_s,
            tap_max_c=run.tap_window_c[1],
            poured=mould is None,
        )

    def _judge_fume(self, run: MeltRun, temp_c: float | None, *, lifted: bool) -> None:
        skimmed = run.skimmed_s is not None and self.mono_s - run.skimmed_s < DISTURBED_S
        level = self.flags.get(ev.Flag.FUME, 0)
        level = fume_level(run.plan, temp_c, disturbed=skimmed or lifted, level=level)
        self._set_flag(ev.Flag.FUME, level)
        if not lifted:
            set_fume_conditions(self.alarms, run.plan, self.config.furnace, temp_c, level, self.mono_s, self.utc_s)

    def set_state(self, new: ev.MeltState, why: str) -> None:
        """Where the melt stands."""
        if new is not self.state:
            old, self.state = self.state, new
            self.say(ev.MeltStateChanged, old=old, new=new, why=why)

    def _set_flag(self, flag: ev.Flag, level: int) -> None:
        if self.flags.get(flag, 0) != level:
            self.flags[flag] = level
            self.say(ev.FlagChanged, flag=flag, level=level)

    # -- saying -------------------------------------------------------------------------------------------------------

    def say(self, kind: type, **fields: object) -> None:
        """An event of this moment."""
        self._out.append(
            kind(furnace=self.config.furnace, seq=self.seq, mono_s=self.mono_s, utc_s=self.utc_s, **fields)
        )

    def mark(self, what: str, text: str) -> None:
        """A mark for the record, of this moment."""
        self.say(ev.Marked, what=what, text=text, at_mono_s=self.mono_s)

    def _alarm_said(self, alarm: ev.AlarmView, by: str) -> None:
        self.say(ev.AlarmChanged, alarm=alarm, by=by)

    def _call_said(self, call: ev.CallView, how: str, why: Told) -> None:
        self.say(ev.CallChanged, call=call, how=how, why=why)
