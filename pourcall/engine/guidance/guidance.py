"""The profile at work in the engine: what the probes show goes to forecast and profile, advice becomes calls.

In: the engine's probes, metal and power each second; commands that begin, move on and stop a profile; what people do
to the metal. Out: calls to cut the power and for the next step, alarms for a dead flame and a furnace that does not
respond, events for the record, what the forecast tells the rest of the engine.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import assert_never

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.config import EngineConfig
from pourcall.contract.events import CallKind, ProfileHow
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import Answer, PowerLevel
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.contract.plan import MeltPlan
from pourcall.contract.profile_plan import ProfilePlan
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import AheadView, ProfileView
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.bath.dips import panel_pair
from pourcall.engine.bath.metal import MetalNow
from pourcall.engine.calls import CallManager
from pourcall.engine.guidance.forecast_view import ahead_view, profile_view
from pourcall.engine.guidance.forecasting import AtStart, ForecastTracker
from pourcall.engine.guidance.heat_watch import HeatWatch, foreseen_peak_c, not_obeyed
from pourcall.engine.guidance.profile_advice import Advice, Panel, Say
from pourcall.engine.guidance.profile_run import Observed, ProfileRun
from pourcall.engine.guidance.response import Findings, FurnaceObserved, ResponseWatch
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.engine.melt.power_knob import PowerKnob
from pourcall.engine.sensing.measurement import USABLE, ProbeChannel
from pourcall.engine.situation import Ahead

IN_METAL = (ProbeState.IN_METAL, ProbeState.FROZEN_IN)
ON_ITS_WAY = (ProbeState.ENTERING, ProbeState.SETTLING, ProbeState.LEAVING)
FRESH_S = 5.0  # an older reading tells nothing of now
# Between dips the profile follows the estimated metal temperature as long as its 90 % interval is no wider (ours); a
# pour is never called on an estimate.
ESTIMATED_WITHIN_C = 30.0
ALARMS = ("flame_out", "not_responding", "power_not_obeying")
Refusal = tuple[Message, Message]  # what was wrong, what to do
NOT_REFUSED: Refusal = (NOTHING, NOTHING)


@dataclass(frozen=True, slots=True)
class GuidanceInput:
    """What the engine knows of a running melt at one second."""

    run: MeltRun
    channels: Sequence[ProbeChannel]
    metal: MetalNow
    rate_c_per_min: float | None
    power: PowerKnob
    mono_s: float
    utc_s: float


@dataclass(frozen=True, slots=True)
class _Probes:
    """What the probes show at one second; temperatures degC, None where nothing tells."""

    metal_c: float | None  # best figure for the metal
    standing_c: float | None  # of a probe that stays in the metal
    chamber_c: float | None
    between_lumps: bool  # its tip may still be
    busy: bool  # lifted, a dip going on, a probe on its way


class ProfileGuidance:
    """One furnace. `say` takes the type of an event and its fields."""

    def __init__(
        self, config: EngineConfig, calls: CallManager, alarms: AlarmManager, say: Callable[..., None]
    ) -> None:
        self.tracker = ForecastTracker(config)
        self.findings = Findings()
        self.heat = HeatWatch(config)
        self.panel_offset_c: float | None = None
        self._config, self._calls, self._alarms, self._say = config, calls, alarms, say
        self._fuel = config.kind == "fuel"
        self._profile: ProfileRun | None = None
        self._response: ResponseWatch | None = None
        self._advice: Told = NOTHING
        self._dial: float | None = None  # what should stand on the panel, in its own unit
        self._panel_read: tuple[float, float] | None = None  # when the panel was read, what it showed; till compared
        self._asked: PowerLevel | None = None  # what the step that is up asks for
        self._asked_dial: float | None = None
        self._interrupted = False  # a step was up when the pot left the furnace

    # -- begin and end ------------------------------------------------------------------------------------------------

    def start(
        self, command: inp.StartMelt, run: MeltRun, channels: Sequence[ProbeChannel], power: PowerKnob, mono_s: float
    ) -> None:
        """A melt begins."""
        room_c = metal_c = chamber_c = None
        for channel in channels:
            last = channel.last
            if last is None or not channel.trusted:
                continue
            room_c = last.cold_junction_c if last.cold_junction_c is not None else room_c
            if channel.tracker.place is Place.CHAMBER:
                chamber_c = last.temp_c
            elif channel.tracker.place is Place.MELT:
                metal_c = last.temp_c
        model = self.tracker.start(command, power, mono_s, AtStart(room_c, metal_c, chamber_c))
        self.panel_offset_c = model.panel_offset_c
        self.heat.start(command, channels, mono_s, off_since_s=power.off_since_s)
        if run.lift_s is not None:
            self.lifted()
        self._profile, self._advice, self._dial = None, NOTHING, None
        self._response, self.findings = ResponseWatch(fuel=self._fuel, power_w=_least_power_w(model)), Findings()
        if command.profile is not None:
            self.follow(command.profile, run, mono_s, None)

    def change(self, old: MeltPlan, new: MeltPlan, power: PowerKnob, mono_s: float) -> None:
        """Another charge or alloy in mid-melt; a profile's temperatures hold for the alloy they were worked out for."""
        self.tracker.change(old, new, power, mono_s)
        self.heat.change(old, new, mono_s)
        if self.guiding and self._profile is not None and old.alloy.key != new.alloy.key:
            self._leave(self._profile, tell("guidance.alloy_changed", alloy=new.alloy.name))

    def end(self, mono_s: float) -> None:
        """The melt is over."""
        if self.guiding:
            self._changed(ProfileHow.ENDED, tell("call.ended.melt_ended"))
        self.tracker.end(mono_s)
        self.heat.end()
        self._profile, self._response, self.findings = None, None, Findings()

    # -- what people say and do ---------------------------------------------------------------------------------------

    def command(
        self,
        command: inp.RunProfile | inp.StopProfile | inp.NextSegment,
        run: MeltRun,
        metal_c: float | None,
        mono_s: float,
    ) -> Refusal:
        """Begin, stop, go on. What was wrong and what to do; both empty: it was done."""
        match command:
            case inp.RunProfile():
                return self._run(command.profile, run, metal_c, mono_s)
            case inp.StopProfile():
                return self._stop()
            case inp.NextSegment():
                return self._next_segment(metal_c, mono_s)
            case _:
                assert_never(command)

    def _stop(self) -> Refusal:
        profile = self._profile
        if profile is None or profile.over:
            return tell("guidance.none_runs"), tell("guidance.none_runs.remedy")
        self._leave(profile, tell("guidance.power_stays"))
        return NOT_REFUSED

    def _next_segment(self, metal_c: float | None, mono_s: float) -> Refusal:
        profile = self._profile
        if profile is None or profile.over:
            return tell("guidance.none_runs"), tell("guidance.none_runs.remedy")
        if not profile.told(mono_s, metal_c):
            return tell("guidance.ramp"), tell("guidance.ramp.remedy")
        self._calls.end(CallKind.STEP, tell("call.ended.told_on"))
        self._moved(profile)
        return NOT_REFUSED

    def _leave(self, profile: ProfileRun, why: Message) -> None:
        """No more guidance by this profile; the power stays as the person has it."""
        profile.stop()
        self._end_calls(tell("call.ended.profile_stopped"))
        self._changed(ProfileHow.STOPPED, why)

    def _run(self, plan: ProfilePlan, run: MeltRun, metal_c: float | None, mono_s: float) -> Refusal:
        alloy, limit = run.plan.alloy.key, run.plan.lowest_limit
        if plan.alloy != alloy:
            return (
                tell("guidance.other_alloy", profile_alloy=plan.alloy, alloy=alloy),
                tell("guidance.other_alloy.remedy"),
            )
        hottest_c = max((segment.to_c for segment in plan.segments), default=limit.limit_c)
        if hottest_c > limit.limit_c:
            return (
                tell("guidance.above_limit", to_c=hottest_c, whose=limit.whose, limit_c=limit.limit_c),
                tell("guidance.above_limit.remedy"),
            )
        self.follow(plan, run, mono_s, metal_c)
        return NOT_REFUSED

    def follow(self, plan: ProfilePlan, run: MeltRun, mono_s: float, metal_c: float | None) -> None:
        """Guide by this profile from now on."""
        running = self._profile
        if running is not None and not running.over:
            running.change(plan, metal_c)
            how = ProfileHow.CHANGED
        else:
            window_c = run.tap_window_c
            running = ProfileRun(plan, mono_s, fuel=self._fuel, panel=self._panel(), window_c=window_c)
            running.change(plan, metal_c)  # a melt that is half hot begins half-way
            self._profile, how = running, ProfileHow.BEGAN
        self._advice, self._dial = NOTHING, None
        self._end_calls(tell("call.ended.another_profile"))
        self._changed(how, NOTHING, plan)

    def answered(self, kind: CallKind, answer: Answer, metal_c: float | None, mono_s: float) -> PowerLevel | None:
        """A person answered a call; returns how the power stands by that answer, where it says so."""
        profile, done = self._profile, answer is Answer.DONE
        if kind is CallKind.CUT_POWER:
            if profile is not None and not profile.over:
                profile.answer(done, mono_s)
            return PowerLevel.OFF if done else None
        if kind is CallKind.STEP and done:
            if profile is not None and profile.waits and profile.told(mono_s, metal_c):
                self._moved(profile)
            return self._asked
        return None

    def marked_power(self) -> None:
        """The knob was set, by a person's word: a step that asked for it is done."""
        if self._asked is not None:
            self._asked = None
            self._calls.end(CallKind.STEP, tell("call.ended.power_set"))

    def lifted(self) -> None:
        """The pot left the furnace: what the profile asked for is not for now."""
        self.heat.lifted()
        self._interrupted = self._calls.up(CallKind.STEP) is not None

    def back(self, out_s: float, mono_s: float) -> None:
        """The pot stands in the furnace: what was asked for as it left is asked for again. out_s: 0, it never left."""
        self.heat.back(mono_s, never_left=out_s <= 0.0)
        if out_s > 0.0:
            self.tracker.pot_is_back(out_s, mono_s)
        if self._interrupted and self._profile is not None:
            self._profile.say_again()
        self._interrupted = False

    def added(self, mass_kg: float | None, mono_s: float) -> None:
        """Cold metal went in; None: what was announced as still to come."""
        if self._response is not None:
            self._response.added(mono_s)
        self.tracker.added(mass_kg, mono_s)
        self.heat.added(mass_kg, mono_s)

    def disturbed(self, mono_s: float) -> None:
        """Lid, skim, stirring."""
        if self._response is not None:
            self._response.disturbed(mono_s)

    def settled(self, temp_c: float, u_c: float, mono_s: float) -> None:
        """A figure of another instrument held in the metal."""
        self.tracker.settled(temp_c, u_c, mono_s)

    # -- the panel ----------------------------------------------------------------------------------------------------

    def panel_read(
        self,
        at_s: float,
        panel_c: float,
        dips: Sequence[ev.Dip],
        metal: MetalNow,
        rate_c_per_min: float | None,
        mono_s: float,
    ) -> None:
        """The panel was read off. Where the metal is known too and both stand still, they are a pair for the record."""
        before, self._panel_read = self._panel_read, (at_s, panel_c)
        self._compare(dips, metal, rate_c_per_min, before)

    def dipped(
        self, dip: ev.Dip, dips: Sequence[ev.Dip], metal: MetalNow, rate_c_per_min: float | None, mono_s: float
    ) -> None:
        """A dip is over: the forecast goes by it, and the panel read beside it may be compared."""
        if dip.temp_c is None or dip.u_c is None:
            if dip.fault is not None and dip.fault.below_liquidus:
                self.tracker.not_liquid(mono_s)
            return
        self.tracker.settled(dip.temp_c, dip.u_c, mono_s)
        self._compare(dips, metal, rate_c_per_min, None)

    def _compare(
        self,
        dips: Sequence[ev.Dip],
        metal: MetalNow,
        rate_c_per_min: float | None,
        before: tuple[float, float] | None,
    ) -> None:
        """A panel read while the metal was known and both stood still: from now on it is dialled by that."""
        if self._panel_read is None:
            return
        panel_s, panel_c = self._panel_read
        pair = panel_pair(
            panel_s,
            panel_c,
            dips=dips,
            live_c=metal.temp_c if metal.live and not metal.dipped else None,
            rate_c_per_min=rate_c_per_min,
            panel_before=before,
        )
        if pair is None:
            return
        self._panel_read = None
        metal_c = pair[0]
        self.panel_offset_c = metal_c - panel_c
        if self._profile is not None:
            self._profile.set_panel(self._panel())
        self._say(ev.PanelCompared, metal_c=metal_c, panel_c=panel_c)

    def _panel(self) -> Panel | None:
        own = self._config.panel
        if own is None:
            return None
        return Panel(unit=own.unit, step=own.step, offset_c=self.panel_offset_c or 0.0, max_c=own.max_c)

    # -- what it tells the engine -------------------------------------------------------------------------------------

    @property
    def guiding(self) -> bool:
        """A profile runs and is not over."""
        return self._profile is not None and not self._profile.over

    @property
    def asked(self) -> tuple[PowerLevel | None, float | None]:
        """What the step that is up asks for: a level of burner or knob, a figure on the panel."""
        return self._asked, self._asked_dial

    def ahead(self, mono_s: float) -> Ahead:
        """What the rest of the engine goes by."""
        tracker, guided = self.tracker, self.guiding
        return Ahead(
            guided=guided,
            cut_due=None if guided else tracker.cut_due(mono_s),
            could_be_c=tracker.could_be_c,
            ready_s=tracker.ready_in_s(mono_s),
            peak_c=tracker.peak_with_power_off,
        )

    def ahead_view(self, mono_s: float, *, chamber_only: bool) -> AheadView | None:
        """The forecast as the snapshot shows it. chamber_only: no probe is in the metal."""
        return ahead_view(self.tracker, mono_s, chamber_only=chamber_only)

    def profile_view(self, mono_s: float) -> ProfileView | None:
        """The profile as the snapshot shows it; None: none was begun."""
        run = self._profile
        return None if run is None else profile_view(run, mono_s, self._dial, self._advice)

    # -- time ---------------------------------------------------------------------------------------------------------

    def tick(self, now: GuidanceInput) -> None:
        """A second passed in a melt."""
        self.tracker.set_power(now.power, now.mono_s)
        probes = self._look(now)
        if self._response is not None:
            self.findings = self._response.update(self._observed(now, probes))
        if now.run.lifted(now.mono_s):
            self.tracker.pot_is_out()
        else:
            self._guide(now, probes)
        peak_c = foreseen_peak_c(self.tracker.outlook) if self.tracker.learned else None
        self.heat.tick(now.run, now.power, now.mono_s, told_kg=self.tracker.mass_kg, peak_c=peak_c)
        furnace, found = self._config.furnace, self.findings
        silent = NOTHING if self.heat.stands else found.not_responding  # the probe says of it what there is to say
        for kind, detail in zip(ALARMS, (found.flame_out, silent, not_obeyed(now.power)), strict=True):
            self._alarms.set_condition(kind, furnace, bool(detail), now.mono_s, now.utc_s, detail=detail)

    def _observed(self, now: GuidanceInput, probes: _Probes) -> FurnaceObserved:
        run, mass_kg = now.run, self.tracker.mass_kg
        return FurnaceObserved(
            mono_s=now.mono_s,
            power=now.power.level,
            metal_c=probes.standing_c,
            chamber_c=probes.chamber_c,
            alloy=run.plan.alloy,
            mass_kg=run.plan.charge_kg if mass_kg is None else mass_kg,
            target_c=None if run.next_mould is None else run.tap_window_c[0],
            between_lumps=probes.between_lumps,
            busy=probes.busy,
        )

    def _guide(self, now: GuidanceInput, probes: _Probes) -> None:
        """Forecast anew where it is time to, and say what the profile says."""
        low_c, high_c = now.run.tap_window_c
        profile, mono_s = self._profile, now.mono_s
        if profile is None or profile.over:
            self.tracker.look(low_c, now.run.aim_c, mono_s, each_second=False)
            return
        self.tracker.look(low_c, profile.plan.segments[-1].to_c, mono_s, each_second=True)
        before = profile.index
        profile.set_window(low_c, high_c)
        if profile.waits and self._calls.up(CallKind.STEP) is None and CallKind.STEP not in now.run.not_now(mono_s):
            profile.say_wait_again()  # put off, or another step took its place: it waits all the same
        said = profile.tick(Observed(mono_s, probes.metal_c, now.rate_c_per_min, now.power.level, self.tracker.coast))
        if profile.index != before:
            self._moved(profile)
        self._advise(said, mono_s)
        if not profile.cut_called and not profile.over:
            off = bool(now.power.off)
            self._calls.end(CallKind.CUT_POWER, tell("call.ended.power_off" if off else "call.ended.rises_less"))

    def _look(self, now: GuidanceInput) -> _Probes:
        """What the probes show now; what stays in the pot, and the chamber, go to the forecast on the way."""
        tracker, metal, mono_s = self.tracker, now.metal, now.mono_s
        standing_c = chamber_c = None
        between_lumps = False
        busy = lifted = now.run.lifted(mono_s)
        for channel in now.channels:
            reading, state, place = channel.last, channel.tracker.state, channel.tracker.place
            usable = reading is not None and reading.reason in USABLE and mono_s - reading.at_mono_s <= FRESH_S
            temp_c = reading.temp_c if reading is not None and usable else None
            if place is Place.CHAMBER:
                chamber_c = temp_c
                if temp_c is not None and not lifted:
                    tracker.chamber(temp_c, mono_s)
            elif place is Place.DIP:
                busy = busy or state is not ProbeState.OUT
            elif place is Place.MELT:
                if state in IN_METAL:
                    if temp_c is not None and not lifted:
                        standing_c, between_lumps = temp_c, channel.tracker.between_lumps
                        tracker.read(temp_c, channel.u_c or 0.0, mono_s)
                else:
                    busy = busy or state in ON_ITS_WAY
        if metal.dipped and metal.live and not metal.held and metal.temp_c is not None and not lifted:
            tracker.settled(metal.temp_c, metal.u_c, mono_s)  # a dip that goes on and is worth a figure already
        metal_c = metal.temp_c if metal.temp_c is not None else tracker.estimated_c(ESTIMATED_WITHIN_C)
        return _Probes(metal_c, standing_c, chamber_c, between_lumps, busy)

    def _advise(self, said: Sequence[Advice], mono_s: float) -> None:
        """Advice becomes calls: the cut for itself, everything else as one step."""
        cuts = [one for one in said if one.say in (Say.CUT, Say.OVER)]
        steps = [one for one in said if one.say not in (Say.CUT, Say.OVER)]
        for one in cuts:
            self._advice = one.text
            self._calls.cut(one.text, one.why, mono_s)
        if not steps:
            return
        first = steps[0]
        text = first.text if len(steps) == 1 else tell("profile.steps", steps=tuple(one.text for one in steps))
        why = first.why or tell("profile.place", segment=first.segment, of=first.of)
        self._asked = next((one.level for one in steps if one.level is not None), None)
        self._asked_dial = next((one.dial for one in steps if one.dial is not None), None)
        self._dial = self._dial if self._asked_dial is None else self._asked_dial
        self._advice = self._advice if cuts else text
        self._calls.step(text, why, mono_s, until_told=any(one.say is Say.NEXT for one in steps))

    def _end_calls(self, why: Message) -> None:
        self._asked = None
        for kind in (CallKind.CUT_POWER, CallKind.STEP):
            self._calls.end(kind, why)

    def _moved(self, profile: ProfileRun) -> None:
        self._changed(ProfileHow.OVER if profile.over else ProfileHow.MOVED)

    def _changed(self, how: ProfileHow, text: Message = NOTHING, plan: ProfilePlan | None = None) -> None:
        profile = self._profile
        if profile is None:
            return
        self._say(
            ev.ProfileChanged,
            profile=profile.plan.name,
            hash=profile.plan.hash,
            segment=profile.number,
            of=len(profile.plan.segments),
            how=how,
            text=text,
            plan=plan,
        )


def _least_power_w(model: FurnaceModel) -> float | None:
    """The least the furnace gives at full power, by what was learned; None: nothing was."""
    if model.version == 0 and not model.power_known:
        return None
    return model.value("power_w") * math.exp(-2.0 * model.spread("power_w"))
