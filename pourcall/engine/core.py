"""The engine of one furnace. Inputs in, in order; readings and events out; time is data.

The same inputs give the same outputs, byte for byte, in any process: nothing here asks a clock, a file or chance.
One way through: samples become readings (sensing/), readings and dips one temperature of the metal (bath/), that and
the melt (melt/) and the forecast (guidance/) one situation (situation.py); calls, alarms, the instruction and the
snapshot are functions of the situation. What people tell enters by commands.py and is written by facts.py.
"""

from collections.abc import Sequence
from typing import assert_never

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.config import EngineConfig
from pourcall.contract.frames import SampleFlag
from pourcall.contract.message import Told, tell
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.status import Reason
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.alarms.probes import ProbeConditions
from pourcall.engine.bath.dips import DipWatch, evaluate_dip
from pourcall.engine.bath.melt_arrests import MeltArrests
from pourcall.engine.bath.metal import MetalHistory, MetalNow, dip_figure
from pourcall.engine.calls import CallManager
from pourcall.engine.commands import CommandHandler
from pourcall.engine.evaluation import Evaluation
from pourcall.engine.facts import ShopFacts
from pourcall.engine.guidance.guidance import GuidanceInput, ProfileGuidance
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.engine.melt.pour_call import Judgement
from pourcall.engine.outputs import Outputs
from pourcall.engine.sensing.heat_bounds import Side
from pourcall.engine.sensing.link_health import BoardLink
from pourcall.engine.sensing.measurement import ProbeChannel
from pourcall.engine.sensing.sensor_health import SensorConditions
from pourcall.engine.situation import Situation
from pourcall.engine.view import FurnaceView, Shown

EVALUATE_S = 0.45  # the melt is judged at most so often between ticks; a reading is judged at once
RETURN_WITHIN_S = 60.0
COOLS_C_PER_MIN = -2.0  # a pot of 1 to 5 kg in the open loses at least ten times as much (metal/heat/transfer.py)
ASKED_S = 120.0  # a skim that was asked for and not told: by then it is done, or nobody went
DOUBT_BACK_S = 2.0  # what a probe said so shortly before it was found out is forgotten
_RESTARTED = int(SampleFlag.RESTARTED)


class Engine:
    """One furnace. `handle` each input in order; `snapshot` whenever somebody looks."""

    def __init__(self, config: EngineConfig) -> None:
        self.config = config
        self.outputs = Outputs(config.furnace)
        self.channels = tuple(ProbeChannel(probe) for probe in config.probes)
        self._by_input = {(c.config.board, c.config.channel): c for c in self.channels}
        self._by_name = {c.config.name: c for c in self.channels}
        self._links = {board.name: BoardLink(board) for board in config.boards}
        self._chips = {board.name: board.chip for board in config.boards}
        self._watches = {c.config.name: DipWatch() for c in self.channels}
        self._sensors = {c.config.name: SensorConditions(c) for c in self.channels}
        say = self.outputs.say
        self.alarms = AlarmManager(lambda alarm, by: say(ev.AlarmChanged, alarm=alarm, by=by), self._board_of)
        self.calls = CallManager(lambda call, how, why: say(ev.CallChanged, call=call, how=how, why=why))
        self._probes = ProbeConditions(self.alarms)
        self.guiding = ProfileGuidance(config, self.calls, self.alarms, say)
        self.arrests = MeltArrests(config, self.alarms, say)
        self.facts = ShopFacts(config, self.channels, self.calls, self.alarms, self.guiding, self.arrests, self.outputs)
        self._commands = CommandHandler(
            self.facts, self.calls, self.alarms, self.guiding, self._by_name, self._watches, self.outputs
        )
        shown = Shown(self.calls, self.alarms, self.guiding, self.arrests)
        self._evaluation = Evaluation(config, self.outputs, self.facts, self.channels, self._watches, shown)
        self._view = FurnaceView(
            config,
            self.outputs,
            self.facts,
            self.channels,
            self._watches,
            self._links,
            shown,
        )
        self._doubts: dict[str, tuple[object, ...]] = {}  # as they were last told to the record
        self._power_board = ""  # the one that last reported what it applies
        self._store_problem = inp.StoreProblem.NONE
        self._unknown_inputs: set[tuple[str, str]] = set()

    # -- what others read ---------------------------------------------------------------------------------------------

    @property
    def situation(self) -> Situation:
        """All that is so now."""
        return self._evaluation.situation

    @property
    def metal(self) -> MetalNow:
        """What the metal is at."""
        return self.situation.metal

    @property
    def rate_c_per_min(self) -> float | None:
        """How fast the metal itself heats."""
        return self.situation.rate_c_per_min

    @property
    def state(self) -> ev.MeltState:
        """Where the melt stands."""
        return self.situation.state

    @property
    def judgement(self) -> Judgement | None:
        """Whether the mould that is next may be poured now."""
        melt = self.situation.melt
        return None if melt is None or melt.next is None else melt.next.judgement

    @property
    def run(self) -> MeltRun | None:
        """The running melt."""
        return self.facts.run

    @property
    def history(self) -> MetalHistory:
        """What the metal was at."""
        return self.facts.history

    # -- inputs -------------------------------------------------------------------------------------------------------

    def handle(self, item: inp.Input) -> list[ev.Output]:
        """One input, in the order of its sequence number; everything it leads to."""
        out = self.outputs.begin(item)
        if isinstance(item, inp.SampleIn | inp.TickIn):
            self.facts.power.seen(item.mono_s)
        match item:
            case inp.SampleIn():
                self._sample(item)
            case inp.TickIn():
                self._tick()
            case inp.CommandIn():
                self._commands.apply(item.command, self.metal, self.rate_c_per_min)
                self._evaluation.update()
            case inp.LinkIn():
                self._link(item)
            case inp.BoardStatusIn():
                if link := self._links.get(item.board):
                    link.heard(item.mono_s)
                    self._power_board = item.board
                    self.facts.power.report(item.status.applied_permille, item.mono_s)
                    self.guiding.heat.applies(item.status.applied_permille)
            case inp.IdentityIn():
                if link := self._links.get(item.board):
                    link.heard(item.mono_s)
                    link.identified(item.identity)
                    self._set_link_conditions(link)
            case inp.StoreIn():
                self._store(item)
            case inp.DaemonIn():
                self.alarms.set_condition(
                    item.kind, "daemon", item.present, item.mono_s, item.utc_s, detail=item.detail
                )
            case _:
                assert_never(item)
        return out

    # -- samples ------------------------------------------------------------------------------------------------------

    def _worked(self, mono_s: float) -> bool:
        """Somebody is at the bath: metal added, skimmed, or a skim just asked for."""
        skim = self.calls.up(ev.CallKind.SKIM)
        asked = skim is not None and mono_s - skim.raised_mono_s < ASKED_S
        return asked or (self.run is not None and self.run.worked(mono_s))

    def _sample(self, item: inp.SampleIn) -> None:
        board, sample = item.board, item.sample
        link = self._links.get(board)
        if link is not None:
            link.heard(item.mono_s)
            if sample.flags & _RESTARTED:
                self.outputs.mark(ev.MarkKind.BOARD_RESTARTED, tell("melt.board_restarted", board=board))
        channel = self._by_input.get((board, sample.channel))
        if channel is None:
            if (board, sample.channel) not in self._unknown_inputs:
                self._unknown_inputs.add((board, sample.channel))
                self.outputs.mark(
                    ev.MarkKind.UNKNOWN_CHANNEL, tell("melt.unknown_channel", board=board, channel=sample.channel)
                )
            return
        if link is not None and link.mismatch:
            self._lost(channel, Reason.CONFIG)  # whose probe this is, nobody knows (fault S7)
            return
        alloy = None if self.run is None else self.run.plan.alloy
        before = channel.tracker.state
        lifted = self.run is not None and self.run.lifted(item.mono_s)
        trusted = channel.trusted
        worked = self._worked(item.mono_s)
        reading, sign = channel.take(sample, item.late_s, item.mono_s, item.utc_s, alloy, lifted=lifted, worked=worked)
        self.outputs.put(reading)
        if trusted and not channel.trusted:
            self._doubted(channel)
        self.arrests.take(channel, reading)
        if sign is not None and channel.tracker.state is not before:
            self._probe_moved(channel, before, tell(f"probe.sign.{sign.value}"))
        self._watch_lift(channel)
        if channel.trusted and reading.temp_c is not None and reading.reason is not Reason.LATE:
            self._watch_dip(channel, reading.temp_c)
        self._set_sensor_conditions(channel)
        self._tell_trust(channel)
        if item.mono_s - self._evaluation.at_s >= EVALUATE_S:
            self._evaluation.update()

    def _tell_trust(self, channel: ProbeChannel) -> None:
        """The record knows how far it is believed: a restart in mid-melt forgets no doubt, and makes no more of one."""
        name, doubted = channel.config.name, channel.trust.doubted
        if doubted is None:
            if self._doubts.pop(name, None) is not None:
                self.outputs.say(ev.TrustChanged, probe=name)
            return
        proves = round(doubted.need_s), doubted.from_nowhere, doubted.only_in, doubted.lost_s, doubted.hottest
        told = (True, doubted.cause, *proves) if doubted.proving else (False, doubted.cause)
        if self._doubts.get(name) == told:
            return
        self._doubts[name] = told
        level, hottest, beyond = doubted.level, doubted.hottest, self.guiding.heat.found(name)
        self.outputs.say(
            ev.TrustChanged,
            probe=name,
            proving=doubted.proving,
            cause=doubted.cause.value,
            quiet_s=doubted.need_s,
            level_c=None if level is None else level.temp_c,
            level_c_per_min=0.0 if level is None else level.rate_c_per_min,
            level_mono_s=0.0 if level is None else level.at_s,
            too_hot=beyond is not None and beyond.side is Side.HOT,
            bound_c=None if beyond is None else beyond.bound_c,
            lost_mono_s=doubted.lost_s,
            from_nowhere=doubted.from_nowhere,
            only_in=doubted.only_in,
            hottest_c=None if hottest is None else hottest[1],
            hottest_mono_s=0.0 if hottest is None else hottest[0],
        )

    def _doubted(self, channel: ProbeChannel) -> None:
        """From now on it is not believed: a dip that was on is none, and of what it last said nothing is kept."""
        self._watches[channel.config.name].forget()
        if channel.tracker.place is Place.MELT:
            self.facts.history.drop_after(channel.trust.trouble_s - DOUBT_BACK_S)

    def _watch_dip(self, channel: ProbeChannel, temp_c: float) -> None:
        if channel.tracker.place is not Place.DIP:
            return
        facts, outputs = self.facts, self.outputs
        watch = self._watches[channel.config.name]
        ended = watch.update(channel, outputs.mono_s, temp_c)
        if ended is None:
            return
        number = 1 if self.run is None else self.run.count_dip()
        alloy = None if self.run is None else self.run.plan.alloy
        dip = evaluate_dip(
            ended,
            channel,
            number,
            outputs.mono_s,
            outputs.utc_s,
            alloy,
            facts.dips,
            facts.power.maybe_on_until_s,
        )
        figure = dip_figure(dip, outputs.mono_s)
        if figure is not None:
            facts.history.add(outputs.mono_s, figure)
        facts.dipped(dip, self.metal, self.rate_c_per_min)

    def _watch_lift(self, channel: ProbeChannel) -> None:
        """A probe that surely left metal that was ready: the pot was lifted. One that cold returns chill is none."""
        run, mono_s = self.run, self.outputs.mono_s
        if run is None or channel.tracker.place is not Place.MELT or channel.trust.alarm:
            return
        expected = self._evaluation.called(channel) and not self._worked(mono_s)
        left_s = channel.tracker.left_for_sure(mono_s, expected=expected)
        if left_s is not None and self._evaluation.may_be_lift(run, left_s):
            self.facts.history.drop_after(left_s - 1.0)
            self.facts.lift(run, left_s, proposed=True)

    def _probe_moved(self, channel: ProbeChannel, before: ProbeState, why: Told) -> None:
        now, mono_s, run = channel.tracker.state, self.outputs.mono_s, self.run
        self.outputs.say(ev.ProbeStateChanged, probe=channel.config.name, old=before, new=now, why=why)
        if run is None or channel.tracker.place is not Place.MELT or channel.trust.alarm:
            return
        if now is ProbeState.LEAVING:
            self.facts.history.drop_after(mono_s - channel.tracker.rule.span_s - 1.0)
        elif (
            now in (ProbeState.ENTERING, ProbeState.SETTLING)
            and run.lift_s is not None
            and run.lift_proposed
            and not run.poured_since_lift
            and mono_s - run.lift_s <= RETURN_WITHIN_S
        ):
            self.facts.withdraw_lift(run)

    def _watch_return(self) -> None:
        """Metal in the open cools, by tens of degrees a minute: where it does not, the pot stands in the furnace, told
        or not. Where it does, a person is asked (the instruction). Less hot than liquid, the probe may stand in a shell
        of its own on the bench."""
        now, run = self.situation, self.run
        if run is None or now.melt is None or not now.melt.perhaps_back or now.rate_c_per_min is None:
            return
        metal_c = now.metal.temp_c
        if metal_c is not None and metal_c > run.plan.alloy.liquidus_c and now.rate_c_per_min >= COOLS_C_PER_MIN:
            self.facts.returned(run, now.mono_s, seen=True)

    def _set_sensor_conditions(self, channel: ProbeChannel) -> None:
        mono_s = self.outputs.mono_s
        lifted = self.run is not None and self.run.lifted(mono_s) and channel.tracker.place is not Place.CHAMBER
        self._sensors[channel.config.name].set_conditions(self.alarms, mono_s, self.outputs.utc_s, lifted=lifted)

    # -- links, store -------------------------------------------------------------------------------------------------

    def _link(self, item: inp.LinkIn) -> None:
        link = self._links.get(item.board)
        if link is None:
            return
        before = link.view
        link.link(item)
        self._set_link_conditions(link)
        if item.kind is not inp.LinkKind.BAD_FRAMES or link.view != before:
            self.outputs.say(ev.LinkChanged, board=item.board, up=link.is_up, detail=item.detail)

    def _set_link_conditions(self, link: BoardLink) -> None:
        lost = link.set_conditions(self.alarms, self.outputs.mono_s, self.outputs.utc_s)
        if lost and link.config.name == self._power_board:
            self.facts.power.unheard()
        if lost:
            for channel in self.channels:
                if channel.config.board == link.config.name:
                    self._lost(channel)
        self.alarms.update_suppression()

    def _lost(self, channel: ProbeChannel, reason: Reason = Reason.LINK_LOST) -> None:
        """A lost link, or another board than it was, is a reading with a reason, not silence."""
        reading = channel.lose(reason, self.outputs.mono_s, self.outputs.utc_s)
        self.outputs.put(reading)

    def _store(self, item: inp.StoreIn) -> None:
        if item.problem == self._store_problem:
            return
        old, self._store_problem = self._store_problem, item.problem
        if old:
            self.alarms.set_condition(old, "record", False, item.mono_s, item.utc_s, at_once=True)
        if item.problem:
            self.alarms.set_condition(
                item.problem, "record", True, item.mono_s, item.utc_s, detail=item.detail, at_once=True
            )
        self.outputs.say(ev.StoreChanged, problem=item.problem, detail=item.detail)

    def _board_of(self, subject: str) -> str:
        """The board behind a probe: what befalls the board suppresses what befalls its probes."""
        channel = self._by_name.get(subject)
        return subject if channel is None else channel.config.board

    # -- time ---------------------------------------------------------------------------------------------------------

    def _tick(self) -> None:
        mono_s, utc_s, run = self.outputs.mono_s, self.outputs.utc_s, self.run
        for link in self._links.values():
            self._set_link_conditions(link)
        self.facts.power.passes(mono_s)
        for channel in self.channels:
            channel.refresh_uncertainty(self._chips.get(channel.config.board, ""))
            if run is not None and not run.lifted(mono_s):
                trusted = channel.trusted
                channel.look_whether_stuck(mono_s, self.facts.power.high_for_s(mono_s), run.plan.alloy)
                if trusted and not channel.trusted:
                    self._doubted(channel)
            self._set_sensor_conditions(channel)
            sensor = self._sensors[channel.config.name]
            board = self._links.get(channel.config.board)
            heard_s = None if board is None else board.last_valid_s
            if sensor.fell_silent(mono_s, heard_s) and not (board is not None and board.lost):
                self._lost(channel, Reason.NO_VALUE if sensor.silent else Reason.LINK_LOST)
        believed = [channel for channel in self.channels if channel.trusted]
        self.arrests.tick(self.channels, mono_s, utc_s)
        self._look_at_doubted(believed)
        self._evaluation.update()
        self._watch_return()
        heated_s = None if run is None or run.next_mould is None else self._heated_s(run)
        known = self.metal.temp_c is not None
        self._probes.set(self.channels, mono_s, utc_s, heated_s=heated_s, known=known)
        if self.run is not None:
            believed = [channel for channel in self.channels if channel.trusted]
            self.guiding.tick(
                GuidanceInput(self.run, self.channels, self.metal, self.rate_c_per_min, self.facts.power, mono_s, utc_s)
            )
            self._look_at_doubted(believed)
        for channel in self.channels:
            self._tell_trust(channel)
        self.alarms.tick(mono_s, utc_s)
        self.alarms.update_suppression()

    def _look_at_doubted(self, believed: Sequence[ProbeChannel]) -> None:
        """What was just found of them counts at once."""
        for channel in believed:
            if not channel.trusted:
                self._doubted(channel)
                self._set_sensor_conditions(channel)

    def _heated_s(self, run: MeltRun) -> float | None:
        """For how long the power has been on, the pot in the furnace and nobody at the bath."""
        mono_s, since_s = self.outputs.mono_s, self.facts.power.on_since_s
        out = run.lift_s is not None  # for as long as nobody says that it is back
        return None if since_s is None or out or self._worked(mono_s) else mono_s - since_s

    def snapshot(self) -> FurnaceSnapshot:
        """The furnace as it stands after the last input."""
        return self._view.snapshot(self.situation, self._evaluation.flags, self._store_problem)
