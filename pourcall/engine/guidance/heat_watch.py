"""Plausibility by physics: each probe that stays in the metal against what the furnace can have done.

In: power, charge and readings, once a second; the bounds: sensing/heat_bounds.py. Out: first a question, whether the
power is as it was marked, for people forget to mark it; where nobody answers, or the answer is that it is so, the probe
is believed no more. Whoever marks the power otherwise has explained it; so has, once in a melt, who turns it up again
where it was marked so all along. Each probe has its own question, one at a time. Pure; times of ours, judged on
simulated melts (tests/normal).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from pourcall.contract.config import EngineConfig
from pourcall.contract.inputs import PowerLevel, StartMelt
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import Place, ProbeState
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.engine.melt.power_knob import PowerKnob
from pourcall.engine.sensing.heat_bounds import Beyond, HeatBounds, Side
from pourcall.engine.sensing.heat_floor import weakest
from pourcall.engine.sensing.heat_look import Heating, Look
from pourcall.engine.sensing.measurement import USABLE, ProbeChannel
from pourcall.engine.sensing.trust import Cause
from pourcall.engine.situation import PowerDoubt
from pourcall.furnace.forecast import Outlook
from pourcall.metal.heat.curve import curve_of

ASKS_AFTER_S: dict[Side, float] = {Side.HOT: 20.0, Side.COLD: 60.0}  # outside without a pause
ANSWER_S: dict[Side, float] = {Side.HOT: 120.0, Side.COLD: 180.0}  # for a person at the furnace
FULL_PERMILLE = 900  # of what a board applies
HELD_BELOW_C = 30.0  # below the tap window: as hot as that a thermostat may hold it where it should be
WORKED_S = 120.0  # cold metal lies about the tip
FRESH_S = 5.0
PEAK_SHARE, PEAK_LEAST_C = 1.4, 20.0  # so well a learned coast is known
ROOM_C = 20.0


@dataclass(slots=True)
class _Outside:
    """One probe outside its bounds."""

    beyond: Beyond
    since_s: float
    seen_s: float  # last
    asked_s: float | None = None  # since when a person has been asked
    as_marked: bool = False  # a person looked


class HeatWatch:
    """One furnace. `tick` once a second while a melt runs and the pot is in the furnace."""

    def __init__(self, config: EngineConfig) -> None:
        self._panel = config.panel is not None
        self._bounds: dict[str, HeatBounds] = {}
        self._outside: dict[str, _Outside] = {}
        self._found: dict[str, Beyond] = {}  # by probe that is believed no more
        self._explained: set[str] = set()  # not believed, but a person has explained it
        self._kept_c: dict[str, float] = {}  # the most that a furnace was left at with its power off
        self._channels: Sequence[ProbeChannel] = ()
        self._start: StartMelt | None = None
        self._plan: MeltPlan | None = None
        self._told_again = False  # a power that was marked so already
        self._lifted = self._lifted_before = False  # how much is in the pot, nobody knows since
        self.doubt: PowerDoubt | None = None
        self._ticked_s = 0.0

    @property
    def stands(self) -> bool:
        """A probe is believed no more for it."""
        return bool(self._found)

    def found(self, name: str) -> Beyond | None:
        """What a probe that is believed no more was beyond."""
        return self._found.get(name)

    # -- what happens -------------------------------------------------------------------------------------------------

    def start(
        self, command: StartMelt, channels: Sequence[ProbeChannel], mono_s: float, *, off_since_s: float | None
    ) -> None:
        """A melt begins, or goes on. off_since_s: since when the power is marked off."""
        self._lifted = self._lifted_before = self._told_again = False
        self._start, self._channels = command, channels
        self._begin(command.plan, mono_s)
        if command.so_far is None:
            return
        for doubt in command.so_far.doubts:
            if doubt.cause == Cause.UNEXPLAINED and doubt.bound_c is not None:
                side = Side.HOT if doubt.too_hot else Side.COLD
                self._found[doubt.probe] = Beyond(side, doubt.bound_c, doubt.bound_c)
        if off_since_s is not None:
            for bounds in self._bounds.values():
                bounds.ceiling.goes_on(off_since_s)

    def change(self, old: MeltPlan, new: MeltPlan, mono_s: float) -> None:
        """Another alloy or charge: nothing but how hot the furnace was is kept."""
        if old.alloy != new.alloy or old.charge_kg != new.charge_kg:
            self._keep()
            self._begin(new, mono_s)

    def end(self) -> None:
        """The melt is over."""
        self._keep()
        self._bounds.clear()
        self._outside.clear()
        self._found.clear()
        self.doubt = None

    def added(self, mass_kg: float | None, mono_s: float) -> None:
        """Metal went in; None: nobody knows how much."""
        plan = self._plan
        more_kg = 0.0 if mass_kg is None or plan is None else mass_kg
        for bounds in self._bounds.values():
            if plan is None or more_kg <= 0.0:
                bounds.disturbed(mono_s)
            else:
                bounds.added(mono_s, more_kg / (more_kg + max(plan.charge_kg, more_kg)), plan.lowest_limit.limit_c)

    def lifted(self) -> None:
        """The pot left the furnace."""
        self._outside.clear()
        self._lifted_before, self._lifted = self._lifted, True

    def back(self, mono_s: float, *, never_left: bool) -> None:
        """It stands in the furnace again. never_left: the lift that was proposed was none."""
        if never_left:
            self._lifted = self._lifted_before
            return
        for bounds in self._bounds.values():
            bounds.disturbed(mono_s)

    def told_power(self, level: PowerLevel, at_s: float, mono_s: float, *, changed: bool) -> None:
        """A person set the power, at a moment that may be past."""
        if changed and not self._bounds:
            self._kept_c.clear()  # heated between two melts
        cold = Side.COLD in {one.beyond.side for one in self._outside.values()} | {
            beyond.side for beyond in self._found.values()
        }
        again = not changed and level is PowerLevel.HIGH and cold and not self._told_again
        self._told_again |= again
        if not changed and not again:
            self.looked_at_power()
            return
        for name, outside in list(self._outside.items()):
            if changed or outside.beyond.side is Side.COLD:
                self._bounds[name].anchor(outside.beyond.temp_c)
                del self._outside[name]
        for channel in self._channels:
            found = self._found.get(channel.config.name)
            before = changed and at_s <= channel.trust.trouble_s  # of an earlier melt: it was so when it was found
            if (changed if found is not None else before) or (again and found is not None and found.side is Side.COLD):
                self._explained.add(channel.config.name)
                self._mend_explained(channel, mono_s)

    def applies(self, permille: int) -> None:
        """A board reports what it applies. Between two melts it heats the furnace as a person's mark does."""
        if permille > 0 and not self._bounds:
            self._kept_c.clear()

    def looked_at_power(self) -> None:
        """A person looked: the power is as it is marked."""
        for outside in self._outside.values():
            outside.as_marked = True

    # -- time ---------------------------------------------------------------------------------------------------------

    def tick(
        self,
        run: MeltRun,
        power: PowerKnob,
        mono_s: float,
        *,
        told_kg: float | None,
        peak_c: float | None,
    ) -> None:
        """told_kg: what was told to be in the pot; peak_c: the most that a learned furnace coasts to, cut now."""
        self.doubt = None
        gone_s, self._ticked_s = mono_s - self._ticked_s, mono_s
        heating = heating_of(power, panel=self._panel)
        if run.lifted(mono_s):
            if heating is not Heating.OFF:
                for each in self._bounds.values():
                    each.ceiling.powered()
            return
        mass_kg = max(run.plan.charge_kg, told_kg or 0.0)
        held_c = run.tap_window_c[0] - HELD_BELOW_C if power.applied_permille in (None, 0) else run.tap_window_c[1]
        for channel in self._channels:
            bounds = self._bounds.get(channel.config.name)
            if bounds is None or channel.tracker.place is not Place.MELT:
                self._found.pop(channel.config.name, None)  # it stands in no metal any more: what it said is no matter
                self._outside.pop(channel.config.name, None)
                continue
            self._mend_explained(channel, mono_s)
            self._forgiven(channel)
            temp_c = _standing_c(channel, mono_s)
            beyond = bounds.look(Look(mono_s, temp_c, heating, mass_kg, held_c, peak_c))
            if beyond is not None and beyond.side is Side.COLD and (self._lifted or _worked(run, mono_s)):
                beyond = None
            self._weigh(channel, beyond, mono_s, gone_s, believed=temp_c is not None)
        if self.doubt is None:
            self._choose(mono_s)

    def _weigh(
        self, channel: ProbeChannel, beyond: Beyond | None, mono_s: float, gone_s: float, *, believed: bool
    ) -> None:
        """How long a probe has been outside; asked about for long enough, it is believed no more."""
        name = channel.config.name
        if name in self._found:
            return
        outside = self._outside.get(name)
        if beyond is None or (outside is not None and outside.beyond.side is not beyond.side):
            if believed:
                self._outside.pop(name, None)
            elif outside is not None:  # out of the metal for a while: neither answered nor waited for
                outside.since_s += gone_s
                outside.asked_s = None if outside.asked_s is None else outside.asked_s + gone_s
            return
        if outside is None:
            outside = self._outside[name] = _Outside(beyond, mono_s, mono_s)
        outside.beyond, outside.seen_s = beyond, mono_s
        waited = outside.asked_s is not None and mono_s - outside.asked_s >= ANSWER_S[beyond.side]
        if waited or (outside.as_marked and mono_s - outside.since_s >= ASKS_AFTER_S[beyond.side]):
            channel.trust.lied(mono_s, Cause.UNEXPLAINED, why_of(beyond))
            self._found[name] = beyond
            del self._outside[name]
            self.doubt = self._stands(name, beyond)

    def _choose(self, mono_s: float) -> None:
        """What is asked about: the probe that has been outside for longest, of those that are long enough."""
        here = [(name, one) for name, one in self._outside.items() if one.seen_s == mono_s]
        due = [(name, one) for name, one in here if mono_s - one.since_s >= ASKS_AFTER_S[one.beyond.side]]
        if due:
            name, one = min(due, key=lambda item: item[1].since_s)
            one.asked_s = mono_s if one.asked_s is None else one.asked_s
            stands = bool(self._found)
            self.doubt = PowerDoubt(
                name, one.beyond.side, one.beyond.temp_c, one.beyond.bound_c, asked=True, stands=stands
            )
        elif self._found:
            name, found = next(iter(self._found.items()))
            self.doubt = self._stands(name, found)
        elif here:
            name, one = here[0]
            self.doubt = PowerDoubt(name, one.beyond.side, one.beyond.temp_c, one.beyond.bound_c, asked=False)

    def _stands(self, name: str, found: Beyond) -> PowerDoubt:
        """Of a probe that is believed no more: what it says now, and the bound it was beyond."""
        last = next((channel.last for channel in self._channels if channel.config.name == name), None)
        temp_c = found.temp_c if last is None or last.temp_c is None else last.temp_c
        return PowerDoubt(name, found.side, temp_c, found.bound_c, asked=False, stands=True)

    def _mend_explained(self, channel: ProbeChannel, mono_s: float) -> None:
        """Why it was not believed is explained: it may prove itself as soon as it says anything at all."""
        name = channel.config.name
        if name in self._explained and channel.trust.alarm is not Cause.UNEXPLAINED:
            self._explained.discard(name)
        elif name in self._explained and channel.last is not None and channel.last.temp_c is not None:
            self._explained.discard(name)
            channel.mended(mono_s)
            self._forgiven(channel)

    def _forgiven(self, channel: ProbeChannel) -> None:
        """A person has looked at the probe, and it has proved itself: where it stands now is where the metal is."""
        name = channel.config.name
        if name in self._found and channel.trusted:
            del self._found[name]
            self._anchor(channel)

    def _anchor(self, channel: ProbeChannel) -> None:
        last = channel.last
        if last is not None and last.temp_c is not None:
            self._bounds[channel.config.name].anchor(last.temp_c)

    def _begin(self, plan: MeltPlan, mono_s: float) -> None:
        metal, command, self._plan = curve_of(plan.alloy), self._start, plan
        room_c = ROOM_C if command is None or command.room_c is None else command.room_c
        least = None if command is None else weakest(command.model)
        self._outside.clear()
        self._bounds = {
            channel.config.name: HeatBounds(
                plan.alloy,
                metal,
                max(plan.charge_kg, 0.05),
                mono_s,
                sheath_s=channel.tracker.rule.tau_metal_s,
                room_c=room_c,
                least=least,
                kept_c=self._kept_c.get(channel.config.name),
            )
            for channel in self._channels
        }

    def _keep(self) -> None:
        """A pot and a wall are no hotter in the next melt than they are left in this one."""
        most_c = {name: bounds.ceiling.most_c for name, bounds in self._bounds.items()}
        self._kept_c = {name: kept_c for name, kept_c in most_c.items() if kept_c is not None}


def heating_of(power: PowerKnob, *, panel: bool) -> Heating:
    """What marks and board say. panel: full may well be on and off by a thermostat. A board that drives nothing
    reports nought.
    """
    applied = power.applied_permille or 0
    if applied > 0:
        return Heating.FULL if applied >= FULL_PERMILLE else Heating.SOME
    match power.level:
        case None:
            return Heating.OFF if power.drives else Heating.UNKNOWN
        case PowerLevel.OFF:
            return Heating.OFF
        case PowerLevel.HIGH if not panel and not power.drives:
            return Heating.FULL
        case _:
            return Heating.SOME


def not_obeyed(power: PowerKnob) -> Message:
    """A board applies power that is marked off; nothing: it does not."""
    applied = power.applied_permille or 0
    if power.level is not PowerLevel.OFF or applied <= 0:
        return NOTHING
    return tell("alarm.applies", applied_share=applied / 1000.0)


def foreseen_peak_c(outlook: Outlook) -> float | None:
    """Where a learned furnace coasts to, at most, its power cut now."""
    high_c, now_c = outlook.coast_c.high, outlook.metal_c.mid
    if high_c is None or now_c is None:
        return None
    return now_c + PEAK_SHARE * max(high_c - now_c, PEAK_LEAST_C)


def why_of(beyond: Beyond) -> Message:
    """Why it is not believed, for its alarm."""
    return tell(f"alarm.beyond.{beyond.side.value}", reads_c=beyond.temp_c, bound_c=beyond.bound_c)


def _standing_c(channel: ProbeChannel, mono_s: float) -> float | None:
    """What a believed probe in the metal reads now."""
    last = channel.last
    if last is None or last.reason not in USABLE or mono_s - last.at_mono_s > FRESH_S:
        return None
    return last.temp_c if channel.trusted and channel.tracker.state is ProbeState.IN_METAL else None


def _worked(run: MeltRun, mono_s: float) -> bool:
    return run.added_s is not None and 0.0 <= mono_s - run.added_s < WORKED_S
