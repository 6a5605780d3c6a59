"""Foresight and profile at work in the engine: what the probes show goes to the guide, its advice becomes calls.

In: the engine's probes, metal and power each second; commands that begin, move on and stop a profile. Out: calls to cut
the power and for the next step, alarms for a dead flame and a furnace that does not respond, events for the record.
"""

from collections.abc import Callable, Sequence

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.config import EngineConfig
from pourcall.contract.events import CallKind
from pourcall.contract.inputs import Answer, PowerLevel
from pourcall.contract.profile_plan import ProfilePlan
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.units import say_c
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.bath.dips import panel_pair
from pourcall.engine.bath.metal import MetalNow
from pourcall.engine.calls import CallManager
from pourcall.engine.guidance.forecasting import Guide, Sight
from pourcall.engine.guidance.profile_advice import Advice, Say
from pourcall.engine.melt.melt_run import MeltRun, PowerKnob
from pourcall.engine.sensing.measurement import USABLE, ProbeChannel

IN_METAL = (ProbeState.IN_METAL, ProbeState.FROZEN_IN)
ON_ITS_WAY = (ProbeState.ENTERING, ProbeState.SETTLING, ProbeState.LEAVING)
RECKONED_WITHIN_C = 30.0  # the model's figure stands in between dips while its 90 % interval is no wider (ours)
ALARMS = ("flame_out", "not_responding")


class Guiding:
    """One furnace. `say` takes the type of an event and its fields."""

    def __init__(
        self, config: EngineConfig, calls: CallManager, alarms: AlarmManager, say: Callable[..., None]
    ) -> None:
        self.guide = Guide(config)
        self._config, self._calls, self._alarms, self._say = config, calls, alarms, say
        self._panel: tuple[float, float] | None = None  # when the panel was read, what it showed; till compared
        self._asked: PowerLevel | None = None  # what the step that is up asks for
        self._asked_dial: float | None = None

    # -- begin and end ------------------------------------------------------------------------------------------------

    def start(
        self, command: inp.StartMelt, run: MeltRun, channels: Sequence[ProbeChannel], power: PowerKnob, mono_s: float
    ) -> None:
        """A melt begins."""
        room_c = metal_c = chamber_c = None
        for channel in channels:
            last = channel.last
            if last is None:
                continue
            room_c = last.cold_junction_c if last.cold_junction_c is not None else room_c
            if channel.tracker.place is Place.CHAMBER:
                chamber_c = last.temp_c
            elif channel.tracker.place is Place.MELT:
                metal_c = last.temp_c
        self.guide.start(command, power, mono_s, room_c=room_c, metal_c=metal_c, chamber_c=chamber_c)
        if command.profile is not None:
            self.follow(command.profile, run, mono_s, None)

    def end(self, mono_s: float) -> None:
        """The melt is over."""
        if self.guide.guiding:
            self._changed("ended", "the melt ended")
        self.guide.end(mono_s)

    # -- what people say ----------------------------------------------------------------------------------------------

    def command(
        self,
        command: inp.RunProfile | inp.StopProfile | inp.NextSegment,
        run: MeltRun,
        metal_c: float | None,
        mono_s: float,
    ) -> tuple[str, str]:
        """Begin, stop, go on. What was wrong and what to do, or two empty texts."""
        profile = self.guide.profile
        if isinstance(command, inp.RunProfile):
            plan = command.profile
            if plan.alloy != run.plan.alloy.key:
                return f"that profile was resolved for {plan.alloy}, this melt is {run.plan.alloy.key}", "Run it anew"
            limit = run.plan.lowest_limit
            if any(segment.to_c > limit.limit_c for segment in plan.segments):
                return f"that profile goes above {say_c(limit.limit_c)}, the limit of the {limit.whose}", "Run another"
            self.follow(plan, run, mono_s, metal_c)
            return "", ""
        if profile is None or profile.over:
            return "no profile runs", "Begin one with `pourcall profile run`"
        if isinstance(command, inp.StopProfile):
            profile.stop(mono_s)
            self._end_calls("the profile was stopped")
            self._changed("stopped", "the power stays as it is")
            return "", ""
        if not profile.told(mono_s, metal_c):
            return "this segment is a ramp: it is over when the metal is there", "Wait, or stop the profile"
        self._calls.end(CallKind.STEP, "told to go on")
        self._moved()
        return "", ""

    def follow(self, plan: ProfilePlan, run: MeltRun, mono_s: float, metal_c: float | None) -> None:
        """Guide by this profile from now on."""
        how = self.guide.follow(plan, run, mono_s, metal_c)
        self._end_calls("another profile guides")
        self._changed(how, "", plan)

    def answered(self, kind: CallKind, answer: Answer, metal_c: float | None, mono_s: float) -> PowerLevel | None:
        """A person answered a call; returns how the power stands by that answer, where it says so."""
        profile, done = self.guide.profile, answer is Answer.DONE
        if kind is CallKind.CUT_POWER:
            if profile is not None and not profile.over:
                profile.answer(done, mono_s)
            return PowerLevel.OFF if done else None
        if kind is CallKind.STEP and done:
            if profile is not None and profile.waits and profile.told(mono_s, metal_c):
                self._moved()
            return self._asked
        return None

    @property
    def asked(self) -> tuple[PowerLevel | None, float | None]:
        """What the step that is up asks for: a level of burner or knob, a figure on the panel."""
        return self._asked, self._asked_dial

    def marked_power(self) -> None:
        """The knob was set, by a person's word: a step that asked for it is done."""
        if self._asked is not None:
            self._asked = None
            self._calls.end(CallKind.STEP, "the power is set")

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
        before, self._panel = self._panel, (at_s, panel_c)
        self._compare(dips, metal, rate_c_per_min, before, mono_s)

    def dipped(
        self, dip: ev.Dip, dips: Sequence[ev.Dip], metal: MetalNow, rate_c_per_min: float | None, mono_s: float
    ) -> None:
        """A dip is over: foresight goes by it, and the panel read beside it may be compared."""
        if dip.temp_c is None or dip.u_c is None:
            if dip.fault is not None and dip.fault.below_liquidus:
                self.guide.not_liquid(mono_s)
            return
        self.guide.settled(dip.temp_c, dip.u_c, mono_s)
        if self._panel is not None:
            self._compare(dips, metal, rate_c_per_min, None, mono_s)

    def _compare(
        self,
        dips: Sequence[ev.Dip],
        metal: MetalNow,
        rate_c_per_min: float | None,
        before: tuple[float, float] | None,
        mono_s: float,
    ) -> None:
        if self._panel is None:
            return
        panel_s, panel_c = self._panel
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
        self._panel = None
        metal_c = pair[0]
        self.guide.compared(metal_c, panel_c)
        self._say(ev.PanelCompared, metal_c=metal_c, panel_c=panel_c)

    # -- time ---------------------------------------------------------------------------------------------------------

    def tick(
        self,
        run: MeltRun,
        channels: Sequence[ProbeChannel],
        metal: MetalNow,
        rate_c_per_min: float | None,
        power: PowerKnob,
        mono_s: float,
        utc_s: float,
    ) -> None:
        """A second passed in a melt."""
        guide = self.guide
        guide.set_power(power, mono_s)
        sight = self._look(run, channels, metal, rate_c_per_min, mono_s)
        before = None if guide.profile is None else (guide.profile.index, guide.profile.over)
        said = guide.tick(run, sight, power, mono_s)
        profile = guide.profile
        if profile is not None and not run.lifted(mono_s):
            if before != (profile.index, profile.over):
                self._moved()
            if said:
                self._advise(said, profile.cut_called, mono_s)
            if not profile.cut_called and guide.guiding:
                self._calls.end(CallKind.CUT_POWER, "power is off" if power.off else "it rises less")
        furnace, found = self._config.furnace, guide.found
        for kind, detail in zip(ALARMS, (found.flame_out, found.not_responding), strict=True):
            self._alarms.set_condition(kind, furnace, bool(detail), mono_s, utc_s, detail=detail)

    def _look(
        self,
        run: MeltRun,
        channels: Sequence[ProbeChannel],
        metal: MetalNow,
        rate_c_per_min: float | None,
        mono_s: float,
    ) -> Sight:
        """What the probes show now; what stays in the pot, and the chamber, teach the forecast on the way."""
        guide = self.guide
        standing_c = chamber_c = None
        busy = lifted = run.lifted(mono_s)
        for channel in channels:
            reading, state, place = channel.last, channel.tracker.state, channel.tracker.place
            usable = reading is not None and reading.reason in USABLE and mono_s - reading.at_mono_s <= 5.0
            temp_c = reading.temp_c if reading is not None and usable else None
            if place is Place.CHAMBER:
                chamber_c = temp_c
                if temp_c is not None and not lifted:
                    guide.chamber(temp_c, mono_s)
            elif place is Place.DIP:
                busy = busy or state is not ProbeState.OUT
            elif place is Place.MELT:
                if state in IN_METAL:
                    if temp_c is not None and not lifted:
                        standing_c = temp_c
                        guide.read(temp_c, channel.u_c or 0.0, mono_s)
                else:
                    busy = busy or state in ON_ITS_WAY
        if metal.dipped and metal.live and not metal.held and metal.temp_c is not None and not lifted:
            guide.settled(metal.temp_c, metal.u_c, mono_s)  # a dip that goes on and is worth a figure already
        metal_c = metal.temp_c if metal.temp_c is not None else self._reckoned_c()
        return Sight(metal_c, rate_c_per_min, standing_c, chamber_c, busy)

    def _reckoned_c(self) -> float | None:
        """Between dips the profile goes by the model, while that knows the metal well enough."""
        span = self.guide.seen.metal_c
        if span.low is None or span.high is None or self.guide.ahead is None or not self.guide.ahead.seen:
            return None
        return span.mid if span.high - span.low <= RECKONED_WITHIN_C else None

    def _advise(self, said: Sequence[Advice], cut_called: bool, mono_s: float) -> None:
        """Advice in words becomes calls: the cut for itself, everything else as one step."""
        steps: list[Advice] = []
        for advice in said:
            if advice.say is Say.CUT or (advice.say is Say.LATE and cut_called):
                self._calls.cut(advice.text, advice.why, mono_s)
            else:
                steps.append(advice)
        if steps:
            self._asked = next((one.level for one in steps if one.level is not None), None)
            self._asked_dial = next((one.dial for one in steps if one.dial is not None), None)
            text = ". ".join(one.text.rstrip(".") for one in steps)
            waits = any(one.say is Say.NEXT for one in steps)
            self._calls.step(text, steps[0].why or self._place_words(steps[0]), mono_s, until_told=waits)

    @staticmethod
    def _place_words(advice: Advice) -> str:
        return f"segment {advice.segment} of {advice.of}"

    def _end_calls(self, why: str) -> None:
        self._asked = None
        for kind in (CallKind.CUT_POWER, CallKind.STEP):
            self._calls.end(kind, why)

    def _moved(self) -> None:
        profile = self.guide.profile
        if profile is not None:
            self._changed("over" if profile.over else "moved", "")

    def _changed(self, how: str, text: str, plan: ProfilePlan | None = None) -> None:
        profile = self.guide.profile
        if profile is None:
            return
        of = len(profile.plan.segments)
        self._say(
            ev.ProfileChanged,
            profile=profile.plan.name,
            hash=profile.plan.hash,
            segment=min(profile.index + 1, of),
            of=of,
            how=how,
            text=text,
            plan=plan,
        )
